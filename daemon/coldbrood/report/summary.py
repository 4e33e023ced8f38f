"""The first page, to be pinned to the wall: what happened in figures, what was learned, what to change."""

from collections.abc import Iterator
from datetime import date, datetime
from html import escape

from coldbrood.report import markup as m
from coldbrood.report.account import Account
from coldbrood.report.plots import batch_plot, day_month
from coldbrood.report.taught import OUTDOOR_C, Taught
from coldbrood.report.water import total
from coldbrood.watch.wording import box_title, sentence

CHANGES_MOST = 5


def day_text(day: date) -> str:
    """A date in words that no one reads the other way round."""
    return f"{day_month(day)} {day.year}"


def summary(account: Account) -> str:
    """The summary as one section."""
    parts = [
        _head(account),
        f'<div class="tiles">{"".join(_tiles(account))}</div>',
        *(m.plot(batch_plot(account.facts, box), _plot_words(box)) for box in account.facts.boxes),
        '<div class="halves">',
        f"<div><h3>How long a fill holds</h3>{''.join(map(_holds, account.taught)) or _no_holds()}</div>",
        f"<div><h3>What to change next time</h3>{_changes(account)}</div>",
        "</div>",
        m.paragraph(
            "What the chicks show outranks every figure here. Hot water scalds: carry the jug closed. "
            "For chicks that weaken, ask a vet.",
            "caution",
        ),
    ]
    return f'<section id="summary">{"".join(parts)}</section>'


def _head(account: Account) -> str:
    facts = account.facts
    batch, told = facts.site.batch, facts.told
    ends = day_text(datetime.fromtimestamp(told.to_s, facts.site.zone).date())
    state = f"still open; told up to {ends}" if told.is_open else f"closed {ends}"
    chicks = sum(flock.began for flock in account.flocks)
    which = f"Batch {told.number} of {told.of}" if told.of > 1 else "Batch"
    return f"<h1>{escape(facts.site.name)}: the chicks of {day_text(batch.arrival)}</h1>" + m.paragraph(
        f"{which}, {chicks} {batch.kind} chicks, day 0 {day_text(batch.day0)}, "
        f"to day {account.last_day:.0f} ({state})."
    )


def _tile(figure: str, says: str) -> str:
    return f'<div class="tile"><b>{figure}</b><span>{says}</span></div>'


def _tiles(account: Account) -> Iterator[str]:
    keeper = account.facts.site.keeper
    began, left = sum(f.began for f in account.flocks), sum(f.left for f in account.flocks)
    yield _tile(f"{m.count('chicks-left', left)} of {m.count('chicks-began', began)}", "chicks at the end")
    early, later = account.lost(early=True), account.lost(early=False)
    yield _tile(
        f"{m.count('lost-early', early)} + {m.count('lost-later', later)}", "lost: first 72 h + later"
    )
    nights = len({night.evening for night in account.nights})
    woken = len(account.wakings)
    yield _tile(
        f"{m.count('wakings', woken)} in {m.count('nights', nights)}", "times woken, in so many whole nights"
    )
    yield _tile(m.count("timetable-wakings", account.timetable_wakings), "times by the age timetable")
    water = total(part for _, part in account.water)
    yield _tile(m.count("refills", water.refills), "refills seen or noted")
    yield _tile(
        f"{m.count('litres', water.litres)} L", f"of hot water, about {m.count('kwh', water.fresh_kwh)} kWh"
    )
    lows = [night for night in account.nights if night.low_c is not None]
    lowest = min((night.low_c for night in lows if night.low_c is not None), default=None)
    under = sum(night.under_min for night in account.nights)
    yield _tile(m.degrees("lowest", lowest, keeper), "the coldest of all nights, in the box")
    yield _tile(f"{m.count('under-min', under)} min", "under the floor at night, in all")
    judged = [night for night in account.nights if night.inside is not None]
    inside = sum(bool(night.inside) for night in judged)
    yield _tile(
        f"{m.count('inside', inside)} of {m.count('judged', len(judged))}",
        "nights' lows within the range foreseen (4 of 5 are meant)",
    )


def _plot_words(box: str) -> str:
    return (
        f"{sentence(box_title(box))}: the line is the mean of each hour, its shade lowest to highest; "
        "triangles are refills."
    )


def _holds(taught: Taught) -> str:
    young = taught.holds[0]
    rows = [
        (
            degrees_label(out_c),
            hours(f"pin-{taught.box}-{out_c:g}-early", sizing.early_h),
            hours(f"pin-{taught.box}-{out_c:g}-median", sizing.median_h),
            hours(f"pin-{taught.box}-{out_c:g}-late", sizing.late_h),
        )
        for out_c, sizing in zip(OUTDOOR_C, young.at, strict=True)
    ]
    basis = "" if taught.readings_taught else " (on paper only: nothing was read)"
    caption = (
        f"{sentence(box_title(taught.box))}, {taught.chicks} chicks of day {young.age_days:g}: the points of "
        f"10, 50 and 90 % of the chance{basis}"
    )
    return m.table(escape(caption), ("Outside", "cautious", "middle", "late"), rows)


def degrees_label(celsius: float) -> str:
    """An outdoor temperature as a head; both units, since the table is looked up at any thermometer."""
    return f"{celsius:g} C ({celsius * 1.8 + 32:g} F)"


def hours(name: str, value: float | None) -> str:
    """A hold in hours; None is beyond a day, 0 a jug that cannot warm the box."""
    if value is None:
        return "over 24 h"
    return m.figure(name, value, "not at all" if value == 0.0 else f"{value:.1f} h")


def _no_holds() -> str:
    return m.paragraph(
        "What the boxes know is that of the newest batch: see its report. What this one taught stands in the "
        "journal's line of the day it was closed."
    )


def _changes(account: Account) -> str:
    if not account.changes:
        return m.paragraph("The figures ask for no change.")
    items = "".join(
        f"<li><b>{escape(change.act)}.</b> {escape(change.why)}</li>"
        for change in account.changes[:CHANGES_MOST]
    )
    more = len(account.changes) - CHANGES_MOST
    return f"<ol>{items}</ol>" + (m.paragraph(f"{more} more on the last page.") if more > 0 else "")
