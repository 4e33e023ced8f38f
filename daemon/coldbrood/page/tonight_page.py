"""Tonight's picture: each box as it was and as it is forecast, with the range, as a chart and as a table."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from coldbrood.brooder.bank import Array
from coldbrood.journal.reader import JournalReader
from coldbrood.page.chart import Line, Mark, Picture, Point, Range, draw
from coldbrood.page.frame import rows
from coldbrood.page.markup import Child, Html, tag
from coldbrood.page.night_words import cooler_c
from coldbrood.page.now_page import Now, box_name, tonight_words
from coldbrood.page.outlook import Outlook
from coldbrood.page.past import bins, refills
from coldbrood.page.phrases import BAND_REASONS, PLAN_REASONS, TIMETABLE_REASONS
from coldbrood.page.speech import Speech
from coldbrood.watch.assess import BoxView
from coldbrood.watch.localtime import DAY_S, is_night, local, next_wall_s, night_ahead, wall_of, watch_of
from coldbrood.watch.site import Site
from coldbrood.watch.takeback import standing
from coldbrood.watch.wording import sentence

BEHIND_S: Final = 10 * 3600.0
AHEAD_S: Final = 14 * 3600.0
STEP_S: Final = 600.0
ROW_S: Final = 3600.0


@dataclass(frozen=True, slots=True)
class Kept:
    """Of the past hours in the journal: the air outside, and each refill as (box, Unix time)."""

    outside: list[Point]
    refills: list[tuple[str, float]]


@dataclass(frozen=True, slots=True)
class Behind:
    """The past hours of one box: its air, the air outside, its refills; Unix times."""

    box: list[Point]
    outside: list[Point]
    refills: list[float]


def body(page: Now) -> list[Child]:
    """One part for each box in use. Raises JournalError."""
    with page.desk.reader() as reader:
        kept = look_back(page, reader)
    parts = [_box(page, kept, view) for view in page.view.state.views.values()]
    return [tag("h1", page.speech.say("Tonight")), *parts]


def _box(page: Now, kept: Kept, view: BoxView) -> Html:
    ahead, behind = page.desk.outlook(page.view, view.box), behind_of(page, kept, view.box)
    speech = page.speech
    return tag(
        "section",
        tag("h2", sentence(box_name(speech, view.box))),
        tag("ul", [tag("li", line) for line in sayings(page, view, ahead)], class_="sayings"),
        draw(picture(page, view, ahead, behind)),
        _key(speech),
        tag(
            "details",
            tag("summary", speech.say("The same as a table")),
            _table(page, view, ahead),
            id=f"table-{view.box}",
        ),
        class_="whole",
    )


def look_back(page: Now, reader: JournalReader) -> Kept:
    """What the journal knows of the past hours, asked once for all boxes."""
    now, site = page.view.now, page.view.site
    from_s, to_s = now.wall_s - BEHIND_S, now.wall_s + 60.0
    outside = [
        [(b.wall_s, b.mean_c) for b in found]
        for name, found in bins(reader, from_s, to_s, STEP_S).items()
        if name in site.probes and site.probes[name].role == "outdoor"
    ]
    poured = refills(reader, standing(reader.notes(from_s, to_s)), from_s, to_s)
    return Kept(outside[0] if outside else [], [(one.box, one.wall_s) for one in poured])


def behind_of(page: Now, kept: Kept, box: str) -> Behind:
    """The past hours of one box, from the sight and the journal."""
    now, seen = page.view.now, page.view.state.sight.boxes[box]
    track = [
        (wall_of(now, t_s), celsius)
        for t_s, celsius in (*seen.track, *((seen.newest,) if seen.newest else ()))
    ]
    return Behind(
        box=[point for point in track if point[0] >= now.wall_s - BEHIND_S],
        outside=kept.outside,
        refills=[wall_s for subject, wall_s in kept.refills if subject == box],
    )


def picture(page: Now, view: BoxView, ahead: Outlook, behind: Behind) -> Picture:
    """The chart of one box."""
    speech, site, now = page.speech, page.view.site, page.view.now
    to_s = now.wall_s + AHEAD_S

    def points(values: Array) -> list[Point]:
        at = [wall_of(now, float(t_s)) for t_s in ahead.at_s]
        return [(s, float(v)) for s, v in zip(at, shown_in(site, values), strict=True) if s <= to_s]

    def past(found: list[Point]) -> list[Point]:
        return [(s, float(shown_in(site, np.array([v]))[0])) for s, v in found]

    name = box_name(speech, view.box)
    return Picture(
        title=speech.say("{box}: past hours and forecast", box=sentence(name)),
        summary=" ".join(sayings(page, view, ahead)),
        name=f"chart-{view.box}",
        from_s=now.wall_s - BEHIND_S,
        to_s=to_s,
        ranges=[
            Range("outside", points(ahead.outdoor_c[0]), points(ahead.outdoor_c[2])),
            Range("box-ahead", points(ahead.box_c[0]), points(ahead.box_c[2])),
        ],
        lines=[
            Line("limit", speech.say("floor"), points(ahead.floor_c)),
            Line("limit", speech.say("ceiling"), points(ahead.ceiling_c)),
            Line("outside", "", past(behind.outside)),
            Line("outside-ahead", speech.say("outside"), points(ahead.outdoor_c[1])),
            Line("box-past", "", past(behind.box)),
            Line("ahead", name, points(ahead.box_c[1])),
        ],
        marks=[*_marks(page, view, ahead), *(Mark("refill", "", at, foot=True) for at in behind.refills)],
        shade=[_night(page)],
        unit=speech.unit,
        hour_of=lambda s: local(site, s).hour,
        hour_text=lambda s: hour_text(site, s),
    )


def shown_in(site: Site, celsius: Array) -> Array:
    """Temperatures in the keeper's unit."""
    return celsius * 1.8 + 32.0 if site.keeper.unit == "F" else celsius


def hour_text(site: Site, wall_s: float) -> str:
    """A full hour under the chart: 22, or 10 pm."""
    hour = local(site, wall_s).hour
    return f"{hour:02d}" if site.keeper.clock_24h else f"{hour % 12 or 12}{'am' if hour < 12 else 'pm'}"


def _night(page: Now) -> tuple[float, float]:
    """The night that is on, from its bedtime, or the next."""
    site, now = page.view.site, page.view.now
    begins_s, ends_s = night_ahead(site, now.wall_s)
    if is_night(site, now.wall_s):
        begins_s = next_wall_s(site, now.wall_s, site.keeper.bedtime_s) - DAY_S
    return begins_s, ends_s


def _marks(page: Now, view: BoxView, ahead: Outlook) -> list[Mark]:
    speech, now = page.speech, page.view.now
    found = [Mark("now", speech.say("now"), now.wall_s)]
    if ahead.plan is not None:
        for at in ahead.plan.wake_s:
            wall_s = wall_of(now, at)
            found.append(Mark("wake", speech.say("up {time}", time=speech.clock(wall_s)), wall_s))
        if ahead.plan.wake_s:
            return found
    if view.refill_by_s is not None and now.t_s < view.refill_by_s < now.t_s + AHEAD_S:
        wall_s = wall_of(now, view.refill_by_s)
        found.append(Mark("wake", speech.say("refill by {time}", time=speech.clock(wall_s)), wall_s))
    return found


def sayings(page: Now, view: BoxView, ahead: Outlook) -> list[str]:
    """The picture in sentences: the plan, what happens without a refill, the night outside, the limits."""
    speech, now, plan = page.speech, page.view.now, ahead.plan
    asks = tonight_words(page, view)
    said = [speech.say("Plan: {plan}.", plan=asks)]
    if plan is not None:
        if not (plan.fill_at_bedtime and is_night(page.view.site, now.wall_s)):
            said[0] = speech.say(
                "Plan: {plan}; {reason}.",
                plan=asks,
                reason=speech.say(PLAN_REASONS.get(plan.reason, plan.reason)),
            )
        cooler = cooler_c(page.view.site, view, plan)
        if cooler is not None:
            said.append(
                speech.say("Fill with water of {water}: hotter is too hot.", water=speech.degrees(cooler))
            )
        low, mid, high = (speech.bare_degrees(value) for value in plan.low_c)
        said.append(
            speech.say(
                "With this plan lowest about {mid} ({low} to {high}) {unit}.",
                mid=mid,
                low=low,
                high=high,
                unit=speech.unit,
            )
        )
        if plan.wake_window_s is not None:
            first, last = (speech.clock(wall_of(now, at)) for at in plan.wake_window_s)
            said.append(speech.say("Any time from {first} to {last} will do.", first=first, last=last))
    said.append(_crossing(page, view))
    said.append(_outside(page, ahead))
    floor, ceiling = speech.degrees(view.band.floor_c), speech.degrees(view.band.ceiling_c)
    said.append(
        speech.say(
            "Floor {floor}, ceiling {ceiling}: {reason}.",
            floor=floor,
            ceiling=ceiling,
            reason=band_words(speech, view),
        )
    )
    return said


def _crossing(page: Now, view: BoxView) -> str:
    speech, now, held = page.speech, page.view.now, view.hold
    if held.early_s is None:
        return speech.say("Without a refill it stays above its floor for a day.")
    early = speech.clock_near(wall_of(now, held.early_s), now.wall_s)
    if held.median_s is None or held.late_s is None:
        return speech.say("Without a refill it may go under its floor from {early} on.", early=early)
    return speech.say(
        "Without a refill it goes under its floor about {mid} ({early} to {late}).",
        mid=speech.clock_near(wall_of(now, held.median_s), now.wall_s),
        early=early,
        late=speech.clock_near(wall_of(now, held.late_s), now.wall_s),
    )


def _outside(page: Now, ahead: Outlook) -> str:
    """The lowest outdoor air up to rising."""
    speech, now = page.speech, page.view.now
    until_s = watch_of(now, _night(page)[1])
    inside = ahead.at_s <= until_s if (ahead.at_s <= until_s).any() else ahead.at_s > 0
    coldest = int(np.argmin(np.where(inside, ahead.outdoor_c[1], np.inf)))
    low, mid, high = (speech.bare_degrees(float(ahead.outdoor_c[n, coldest])) for n in range(3))
    time = speech.clock(wall_of(now, float(ahead.at_s[coldest])))
    return speech.say(
        "Outside lowest about {mid} ({low} to {high}) {unit} at {time}.",
        mid=mid,
        low=low,
        high=high,
        unit=speech.unit,
        time=time,
    )


def band_words(speech: Speech, view: BoxView) -> str:
    """Why the band lies where it does."""
    _, *why = view.band.reason.split("; ")
    age = speech.say("chicks of day {day}", day=int(view.age_days))
    table = speech.say(TIMETABLE_REASONS.get(view.timetable.reason, view.timetable.reason))
    return "; ".join([age, *(speech.say(BAND_REASONS.get(part, part)) for part in why), table])


def _key(speech: Speech) -> Html:
    """What the strokes mean, in words."""
    say = speech.say
    return tag(
        "p",
        tag("span", say("Whole line: read. Broken line: forecast, if nobody refills.")),
        tag("span", say("Area: eight nights in ten lie in it. Triangle: a refill. Shaded: the night.")),
        class_="key",
    )


def _table(page: Now, view: BoxView, ahead: Outlook) -> Html:
    speech, now = page.speech, page.view.now
    hours = [float(ahead.at_s[0]) + ROW_S * n for n in range(int(AHEAD_S / ROW_S) + 1)]

    def at(values: Array, t_s: float) -> str:
        return speech.bare_degrees(float(np.interp(t_s, ahead.at_s, values)))

    head = [
        speech.say("Time"),
        speech.say("Box"),
        speech.say("Range"),
        speech.say("Floor"),
        speech.say("Outside"),
    ]
    lines: list[list[Child]] = [
        [
            speech.clock(wall_of(now, t_s)),
            at(ahead.box_c[1], t_s),
            speech.say("{low} to {high}", low=at(ahead.box_c[0], t_s), high=at(ahead.box_c[2], t_s)),
            at(ahead.floor_c, t_s),
            at(ahead.outdoor_c[1], t_s),
        ]
        for t_s in hours
    ]
    caption = speech.say(
        "{box}: forecast if nobody refills, {unit}",
        box=sentence(box_name(speech, view.box)),
        unit=speech.unit,
    )
    return rows(head, lines, caption)
