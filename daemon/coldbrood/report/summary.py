"""The first page, to be pinned to the wall: what happened in figures, what was learned, what to change."""

from collections.abc import Iterator
from datetime import datetime
from html import escape

from coldbrood.report import markup as m
from coldbrood.report.account import Account
from coldbrood.report.plots import batch_plot
from coldbrood.report.taught import OUTDOOR_C, Taught
from coldbrood.report.water import total
from coldbrood.report.words import CHICKS, Words

CHANGES_MOST = 5


def summary(account: Account) -> str:
    """The summary as one section."""
    words = account.words
    caution = words.safe(
        "What the chicks show outranks every figure here. Hot water scalds: carry the jug closed. "
        "For chicks that weaken, ask a vet."
    )
    holds = "".join(_holds(words, taught) for taught in account.taught) or _no_holds(words)
    parts = [
        _head(account),
        f'<div class="tiles">{"".join(_tiles(account))}</div>',
        *(
            m.plot(batch_plot(words, account.facts, box), _plot_words(words, box))
            for box in account.facts.boxes
        ),
        '<div class="halves">',
        _half(words.safe("How long a fill holds"), holds),
        _half(words.safe("What to change next time"), _changes(account)),
        "</div>",
        m.paragraph(caution, "caution"),
    ]
    return f'<section id="summary">{"".join(parts)}</section>'


def _half(title: str, inside: str) -> str:
    return f"<div><h3>{title}</h3>{inside}</div>"


def _head(account: Account) -> str:
    facts, words = account.facts, account.words
    batch, told = facts.site.batch, facts.told
    ends = words.day_year(datetime.fromtimestamp(told.to_s, facts.site.zone).date())
    state = words.say("still open; told up to {day}", day=ends)
    if not told.is_open:
        state = words.say("closed {day}", day=ends)
    which = words.say("Batch")
    if told.of > 1:
        which = words.say("Batch {n} of {all}", n=told.number, all=told.of)
    title = words.safe(
        "{site}: the chicks of {day}", site=escape(facts.site.name), day=words.day_year(batch.arrival)
    )
    about = words.safe(
        "{batch}, {n} chicks ({kind}), day 0 {day0}, to day {day} ({state}).",
        batch=which,
        n=sum(flock.began for flock in account.flocks),
        kind=words.say(CHICKS.get(batch.kind, batch.kind)),
        day0=words.day_year(batch.day0),
        day=words.plain(account.last_day),
        state=state,
    )
    return f"<h1>{title}</h1>{m.paragraph(about)}"


def _tile(figure: str, says: str) -> str:
    return f'<div class="tile"><b>{figure}</b><span>{says}</span></div>'


def _tiles(account: Account) -> Iterator[str]:
    words, say = account.words, account.words.safe
    began, left = sum(f.began for f in account.flocks), sum(f.left for f in account.flocks)

    def of(name: str, part: int, whole_name: str, whole: int) -> str:
        return say("{n} of {all}", n=words.count(name, part), all=words.count(whole_name, whole))

    yield _tile(of("chicks-left", left, "chicks-began", began), say("chicks at the end"))
    early, later = account.lost(early=True), account.lost(early=False)
    lost = f"{words.count('lost-early', early)} + {words.count('lost-later', later)}"
    yield _tile(lost, say("lost: first 72 h + later"))
    nights = words.count("nights", len({night.evening for night in account.nights}))
    woken = say("{n} in {nights}", n=words.count("wakings", len(account.wakings)), nights=nights)
    yield _tile(woken, say("times woken, in so many whole nights"))
    yield _tile(
        words.count("timetable-wakings", account.timetable_wakings), say("times by the age timetable")
    )
    water = total(part for _, part in account.water)
    yield _tile(words.count("refills", water.refills), say("refills seen or noted"))
    kwh = say("of hot water, about {kwh} kWh", kwh=words.count("kwh", water.fresh_kwh))
    yield _tile(f"{words.count('litres', water.litres)} L", kwh)
    lowest = min((night.low_c for night in account.nights if night.low_c is not None), default=None)
    under = sum(night.under_min for night in account.nights)
    yield _tile(words.heat("lowest", lowest), say("the coldest of all nights, in the box"))
    yield _tile(f"{words.count('under-min', under)} min", say("under the floor at night, in all"))
    judged = [night for night in account.nights if night.inside is not None]
    inside = sum(bool(night.inside) for night in judged)
    yield _tile(
        of("inside", inside, "judged", len(judged)),
        say("nights' lows within the range foreseen (4 of 5 are meant)"),
    )


def _plot_words(words: Words, box: str) -> str:
    return words.safe(
        "{box}: the line is the mean of each hour, its shade lowest to highest; triangles are refills.",
        box=escape(words.box_first(box)),
    )


def _holds(words: Words, taught: Taught) -> str:
    young = taught.holds[0]
    rows = [
        (
            degrees_label(words, out_c),
            words.hold(f"pin-{taught.box}-{out_c:g}-early", sizing.early_h),
            words.hold(f"pin-{taught.box}-{out_c:g}-median", sizing.median_h),
            words.hold(f"pin-{taught.box}-{out_c:g}-late", sizing.late_h),
        )
        for out_c, sizing in zip(OUTDOOR_C, young.at, strict=True)
    ]
    caption = words.safe(
        "{box}, {n} chicks of day {day}: the 10, 50 and 90 % points",
        box=escape(words.box_first(taught.box)),
        n=taught.chicks,
        day=f"{young.age_days:g}",
    )
    basis = "" if taught.readings_taught else " " + words.safe("(on paper only: nothing was read)")
    head = (words.safe("Outside"), words.safe("cautious"), words.safe("middle"), words.safe("late"))
    return m.table(f"{caption}{basis}", head, rows)


def degrees_label(words: Words, celsius: float) -> str:
    """An outdoor temperature as a head; both units, since the table is looked up at any thermometer."""
    sign = "\N{DEGREE SIGN}"
    return f"{words.plain(celsius)} {sign}C ({words.plain(celsius * 1.8 + 32)} {sign}F)"


def _no_holds(words: Words) -> str:
    return m.paragraph(
        words.safe(
            "What the boxes know is that of the newest batch: see its report. What this one taught stands in "
            "the journal's line of the day it was closed."
        )
    )


def _changes(account: Account) -> str:
    words = account.words
    if not account.changes:
        return m.paragraph(words.safe("The figures ask for no change."))
    items = "".join(
        f"<li><b>{escape(change.act)}.</b> {escape(change.why)}</li>"
        for change in account.changes[:CHANGES_MOST]
    )
    more = len(account.changes) - CHANGES_MOST
    rest = words.safe("{n} more on the last page.", n=more)
    return f"<ol>{items}</ol>" + (m.paragraph(rest) if more > 0 else "")
