"""The batch by day, a week at a time: band, lows and highs, refills, wakings, forecast and truth, losses."""

from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Final

from coldbrood.brooder.band import band
from coldbrood.journal.reader import HistoryLine, JournalReader, wall_range
from coldbrood.page.acts import cause_of
from coldbrood.page.markup import Child, Html, tag
from coldbrood.page.now_page import Now, box_name
from coldbrood.page.past import Bin, bins, refills
from coldbrood.page.phrases import CAUSES, LOOK_INS
from coldbrood.page.speech import Speech
from coldbrood.watch.conditions import CONDITIONS
from coldbrood.watch.events import Note
from coldbrood.watch.localtime import DAY_S, age_days, is_night, local
from coldbrood.watch.nightline import NightLine, read_line
from coldbrood.watch.refillline import Poured
from coldbrood.watch.takeback import standing
from coldbrood.watch.wording import sentence

BIN_S: Final = 900.0
FIRST_H: Final = 72
WEEK_STARTS: Final = {"monday": 0, "saturday": 5, "sunday": 6}
WEEKS_MOST: Final = 520


@dataclass(frozen=True, slots=True)
class Facts:
    """A week and the day before it, as the journal has it; notes that were taken back are left out."""

    bins: dict[str, list[Bin]]
    notes: list[Note]
    history: list[HistoryLine]
    forecasts: list[tuple[float, NightLine]] = field(default_factory=list)
    refills: list[Poured] = field(default_factory=list)


def week_of(page: Now, back: int) -> tuple[date, date]:
    """First and last day of the week `back` weeks before this one, by the config's first weekday."""
    today = local(page.view.site, page.view.now.wall_s).date()
    since = (today.weekday() - WEEK_STARTS[page.desk.page.week_starts]) % 7
    first = today - timedelta(days=since + 7 * back)
    return first, min(today, first + timedelta(days=6))


def gather(page: Now, reader: JournalReader, first: date, last: date) -> Facts:
    """Everything of those days. Raises JournalError."""
    from_s, to_s = wall_range(page.view.site.zone, first - timedelta(days=1), last)
    notes = standing(reader.notes(from_s, to_s + DAY_S))
    history = reader.history(from_s, to_s)
    told = ((line.wall_s, read_line(line.line)) for line in history if line.line.kind == "forecast")
    return Facts(
        bins=bins(reader, from_s, to_s, BIN_S),
        notes=notes,
        history=history,
        forecasts=[(wall_s, night) for wall_s, night in told if night is not None],
        refills=refills(reader, notes, from_s, to_s),
    )


def body(page: Now, back: int) -> list[Child]:
    """The week, its newest day on top. Raises JournalError."""
    back = max(0, min(back, WEEKS_MOST))
    first, last = week_of(page, back)
    with page.desk.reader() as reader:
        facts = gather(page, reader, first, last)
    begun = page.view.site.batch.arrival
    days = [first + timedelta(days=n) for n in range((last - first).days + 1)]
    shown = [_day(page, facts, day) for day in reversed(days) if day >= begun]
    say = page.speech.say
    ways = [
        tag("a", say("Earlier week"), href=f"/days?back={back + 1}", class_="button")
        if first > begun
        else None,
        tag("a", say("Later week"), href=f"/days?back={back - 1}", class_="button") if back else None,
    ]
    head = say("{first} to {last}", first=page.speech.day(first), last=page.speech.day(last))
    nothing = tag("p", say("Nothing of this batch lies in this week."), class_="whole")
    note = say(
        "Losses of the first {n} h usually come from the journey or the hatch, later ones from the box "
        "(common practice).",
        n=FIRST_H,
    )
    return [
        tag("h1", say("Days"), tag("small", f" {head}")),
        shown or nothing,
        tag("div", ways, class_="taps whole"),
        tag("p", note, class_="why whole"),
    ]


def _day(page: Now, facts: Facts, day: date) -> Html:
    speech, site = page.speech, page.view.site
    from_s, to_s = wall_range(site.zone, day, day)
    age = age_days(site, 0.5 * (from_s + to_s))
    limits = band(age, floors=site.batch.floors)
    title = speech.say("{day}: day {n}", day=speech.day(day), n=int(age))
    lines: list[Child] = [
        _line(
            speech.say("Band"),
            speech.say(
                "{low} to {high}",
                low=speech.bare_degrees(limits.floor_c),
                high=speech.degrees(limits.ceiling_c),
            ),
        ),
        *(_line(name, text) for name, text in _temperatures(page, facts, from_s, to_s)),
        *(_line(name, text) for name, text in _acts(page, facts, from_s, to_s)),
        *(_line(speech.say("Night"), text) for text in _night(page, facts, from_s, to_s)),
    ]
    losses = [_loss(page, facts, note) for note in _within(facts.notes, "loss", from_s, to_s)]
    return tag("section", tag("h2", title), tag("dl", lines, class_="day"), losses)


def _line(name: str, text: str) -> Html:
    return tag("div", tag("dt", name), tag("dd", text))


def _temperatures(page: Now, facts: Facts, from_s: float, to_s: float) -> list[tuple[str, str]]:
    """Lowest and highest of each box and outside, with their times."""
    speech, site = page.speech, page.view.site
    found = []
    for probe, spec in page.desk.config.site.probes.items():
        span = [b for b in facts.bins.get(probe, []) if from_s <= b.wall_s < to_s]
        if not span:
            continue
        name = speech.say("Outside") if spec.role == "outdoor" else sentence(box_name(speech, spec.box or ""))
        low, high = min(span, key=lambda b: b.low_c), max(span, key=lambda b: b.high_c)
        text = speech.say(
            "{low} ({low_at}) to {high} ({high_at})",
            low=speech.bare_degrees(low.low_c),
            low_at=speech.clock(low.wall_s - BIN_S / 2),
            high=speech.degrees(high.high_c),
            high_at=speech.clock(high.wall_s - BIN_S / 2),
        )
        found.append((name if spec.role == "outdoor" or len(site.boxes) > 1 else speech.say("Box"), text))
    return found


def _acts(page: Now, facts: Facts, from_s: float, to_s: float) -> list[tuple[str, str]]:
    """Refills, look-ins, counts and words of the day."""
    speech = page.speech
    poured = [one.wall_s for one in facts.refills if from_s <= one.wall_s < to_s]
    found = []
    if poured:
        times = ", ".join(speech.clock(at) for at in poured)
        found.append((speech.say("Refills"), f"{len(poured)}: {times}"))
    looks = [
        f"{speech.say(LOOK_INS[note.look_in])} {speech.clock(note.wall_s)}"
        for note in _within(facts.notes, "look-in", from_s, to_s)
        if note.look_in is not None
    ]
    if looks:
        found.append((speech.say("Look-ins"), ", ".join(looks)))
    counts = [f"{n.count} {speech.clock(n.wall_s)}" for n in _within(facts.notes, "count", from_s, to_s)]
    if counts:
        found.append((speech.say("Counted"), ", ".join(counts)))
    found += [(speech.say("Note"), n.text) for n in _within(facts.notes, "text", from_s, to_s) if n.text]
    return found


def _night(page: Now, facts: Facts, from_s: float, to_s: float) -> list[str]:
    """The night that began on this day: woken how often, foreseen what, and what came."""
    speech, site = page.speech, page.view.site
    begun = [(at, night) for at, night in facts.forecasts if from_s <= at < to_s]
    found = []
    for at, night in begun:
        name = f"{sentence(box_name(speech, night.box))}: " if len(site.boxes) > 1 else ""
        probes = [spec.name for spec in site.probes.values() if spec.box == night.box]
        came = [
            b.low_c for probe in probes for b in facts.bins.get(probe, []) if at <= b.wall_s < night.rising_s
        ]
        low, mid, high = (speech.bare_degrees(value) for value in night.low_c)
        if not night.known:
            foreseen = speech.say("by the timetable")
        else:
            foreseen = speech.say("lowest foreseen {mid} ({low} to {high})", mid=mid, low=low, high=high)
        is_over = night.rising_s <= page.view.now.wall_s
        found.append(f"{name}{foreseen}; {_truth(speech, came, is_over)}")
    if begun and begun[0][1].rising_s <= page.view.now.wall_s:
        n = len(wakings(page, facts, begun[0][0], begun[0][1].rising_s))
        found.append(speech.say_n("woken {n} time", "woken {n} times", n))
    return found


def _truth(speech: Speech, came: list[float], is_over: bool) -> str:
    """What the night brought."""
    if not is_over:
        return speech.say("not over yet")
    return speech.say("came {low}", low=speech.degrees(min(came))) if came else speech.say("nothing read")


def wakings(page: Now, facts: Facts, from_s: float, to_s: float) -> set[str]:
    """The alarms whose first nudge went out in the quiet hours: message keys without their channel."""
    found = set()
    for line in facts.history:
        if line.line.kind != "send" or line.line.state != "accepted" or not from_s <= line.wall_s < to_s:
            continue
        key = line.line.subject.rpartition("@")[0]
        condition = CONDITIONS.get(key.partition("/")[0])
        if condition is not None and key.endswith(".1") and is_night(page.view.site, line.wall_s):
            found.add(key)
    return found


def _loss(page: Now, facts: Facts, note: Note) -> Html:
    """One loss: when, how many, the likely cause, and what the box did in the day before."""
    speech, site = page.speech, page.view.site
    cause, words = cause_of(note.text)
    early = age_days(site, note.wall_s) * 24.0 < FIRST_H
    said = [
        speech.say_n("{n} loss", "{n} losses", note.count or 1),
        sentence(box_name(speech, note.box or "")),
        speech.clock(note.wall_s),
        speech.say("in the first {n} h", n=FIRST_H)
        if early
        else speech.say("after the first {n} h", n=FIRST_H),
        speech.say("likely cause: {cause}", cause=speech.say(CAUSES.get(cause, cause))) if cause else "",
        words,
    ]
    probes = [spec.name for spec in site.probes.values() if spec.box == note.box]
    span = [
        b
        for probe in probes
        for b in facts.bins.get(probe, [])
        if note.wall_s - DAY_S <= b.wall_s <= note.wall_s
    ]
    poured = [
        one
        for one in facts.refills
        if one.box == note.box and note.wall_s - DAY_S <= one.wall_s <= note.wall_s
    ]
    before = speech.say("The day before: nothing read.")
    if span:
        before = speech.say(
            "The day before: box {low} to {high}, {n} refills.",
            low=speech.bare_degrees(min(b.low_c for b in span)),
            high=speech.degrees(max(b.high_c for b in span)),
            n=len(poured),
        )
    return tag(
        "div",
        tag("p", ", ".join(part for part in said if part), class_="name"),
        tag("p", before),
        class_="loss",
    )


def _within(notes: list[Note], kind: str, from_s: float, to_s: float) -> list[Note]:
    return [note for note in notes if note.kind == kind and from_s <= note.wall_s < to_s]
