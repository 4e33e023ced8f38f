"""Milestones of a batch, each with its reason: interval loosened, jugs stopped, box out, outdoors.

The readings decide where they can: a box that is known says where it ends tonight with no jug in it. Where
it is not known the rule of the trade stands in, and is called so. Both need chicks that were not seen
huddled lately: they outrank either. Ages, nights and limits of weather are common practice, no source,
unless one stands beside.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from coldbrood.brooder.timetable import Interval, interval

JUGS_MAY_STOP_DAY = 10.0
BOX_OUT_DAY = 17.5
OUTDOORS_DAY = 21.0
WARM_DAY_C, WARM_NIGHT_C = 16.0, 10.0
QUIET_FOR_JUGS, QUIET_FOR_BOX_OUT = 2.0, 3.0
"""Nights without a huddle that each needs (own choice). Look-ins must show them: silence is no proof."""

TRADE = "by the rule of the trade, common practice"


@dataclass(frozen=True, slots=True)
class Advice:
    """One thing to tell. `key` stays the same while the advice does, so that it can be told once."""

    key: str
    text: str


@dataclass(frozen=True, slots=True)
class Weather:
    """Outdoors in C: highs and lows of the last two days, newest first, and tonight's low; None: not known.

    `tonight_cold_c` is the 10 % end of tonight's low.
    """

    highs_c: tuple[float | None, float | None] = (None, None)
    lows_c: tuple[float | None, float | None] = (None, None)
    tonight_c: float | None = None
    tonight_cold_c: float | None = None

    @property
    def warm(self) -> bool:
        """Whether the last two days and nights were warm, and tonight is foreseen so."""
        highs = all(high is not None and high >= WARM_DAY_C for high in self.highs_c)
        lows = all(low is not None and low >= WARM_NIGHT_C for low in (*self.lows_c, self.tonight_c))
        return highs and lows


@dataclass(frozen=True, slots=True)
class BoxFacts:
    """One box this morning.

    `quiet_nights` are the nights for which look-ins show no huddle, `huddled` is one seen in the last day.
    `alone_c` is the box without a jug tonight, 10 % end and middle; None: not known.
    """

    quiet_nights: float
    floor_c: float
    huddled: bool = False
    alone_c: tuple[float, float] | None = None


def milestones(age_days: float, weather: Weather, boxes: Mapping[str, BoxFacts]) -> tuple[Advice, ...]:
    """The milestones that hold this morning. Raises ValueError for an age or weather that is no number."""
    table = interval(age_days, weather.highs_c[0], weather.lows_c[0])
    if not boxes:
        return ()
    return (*_interval(table, boxes), *_weaning(age_days, weather, boxes))


def _quiet(boxes: Mapping[str, BoxFacts], nights: float) -> str:
    """ "" where every box had that many nights without a huddle, else why not."""
    name, least = min(boxes.items(), key=lambda item: item[1].quiet_nights)
    if least.quiet_nights >= nights:
        return ""
    if least.huddled:
        return f"the chicks of box {name} were seen huddled"
    return f"no look-in shows that the chicks of box {name} had {nights:g} nights without a huddle"


def _interval(table: Interval, boxes: Mapping[str, BoxFacts]) -> Iterator[Advice]:
    """The timetable's step to longer hours; the forecast of a known box decides, whatever the table says."""
    if table.hours is None or table.hours <= 4.0:
        return
    huddled = [name for name, box in boxes.items() if box.huddled]
    if huddled:
        said = f"The interval stays at 4 h, not {table.hours:g}: chicks seen huddled in box {huddled[0]}."
        yield Advice("interval-waits", said)
        return
    yield Advice(
        f"interval-{table.hours:g}",
        f"The timetable loosens to {table.hours:g} h: {table.reason}, no huddle seen in a day ({TRADE}). "
        "Where a box is known its forecast asks sooner or later than that.",
    )


def _weaning(age_days: float, weather: Weather, boxes: Mapping[str, BoxFacts]) -> Iterator[Advice]:
    if age_days < JUGS_MAY_STOP_DAY:
        return
    why_not, why = _jugs(weather, boxes)
    if why_not:
        what = "jugs and the hen box" if age_days >= BOX_OUT_DAY else "jugs"
        yield Advice("jugs-stay", f"Keep the {what} for now, or go back to them: {why_not}.")
        return
    ready = "Keep one ready; go back to it if they huddle or it turns cold."
    yield Advice("jugs-may-stop", f"The jugs may stop: {why}. {ready}")
    if age_days >= BOX_OUT_DAY:
        yield _box_out(age_days, boxes)
    if age_days >= OUTDOORS_DAY:
        yield _outdoors(age_days, weather, boxes)


def _jugs(weather: Weather, boxes: Mapping[str, BoxFacts]) -> tuple[str, str]:
    """Why the jugs may not stop yet, and else why they may."""
    unquiet = _quiet(boxes, QUIET_FOR_JUGS)
    if unquiet:
        return unquiet, ""
    cold = [_alone_words(name, box) for name, box in boxes.items() if box.alone_c and _is_cold(box)]
    if cold:
        return "; ".join(cold), ""
    known = [_alone_words(name, box) for name, box in boxes.items() if box.alone_c]
    if len(known) == len(boxes):
        return "", f"{'; '.join(known)}; no huddle in two nights"
    if weather.warm:
        return "", f"{_warm_words(weather)}; no huddle in two nights ({TRADE})"
    rule = f"days of {WARM_DAY_C:g} C (61 F) and nights of {WARM_NIGHT_C:g} C (50 F) or more"
    return f"two {rule} in a row, and tonight, are not seen yet ({TRADE})", ""


def _is_cold(box: BoxFacts) -> bool:
    """Whether the cold end of tonight without a jug lies under the floor."""
    return box.alone_c is not None and box.alone_c[0] < box.floor_c


def _alone_words(name: str, box: BoxFacts) -> str:
    cold_c, middle_c = box.alone_c or (0.0, 0.0)
    return (
        f"box {name} without a jug ends at {_both(middle_c)} tonight, {_both(cold_c)} at the cold end, "
        f"floor {_both(box.floor_c)}"
    )


def _warm_words(weather: Weather) -> str:
    high_c, low_c, tonight_c = weather.highs_c[0] or 0.0, weather.lows_c[0] or 0.0, weather.tonight_c or 0.0
    last = f"the last of {_both(high_c)} and a night of {_both(low_c)}"
    return f"two warm days, {last}, tonight {_both(tonight_c)}"


def _both(celsius: float) -> str:
    return f"{celsius:.0f} C ({celsius * 1.8 + 32.0:.0f} F)"


def _box_out(age_days: float, boxes: Mapping[str, BoxFacts]) -> Advice:
    unquiet = _quiet(boxes, QUIET_FOR_BOX_OUT)
    if unquiet:
        return Advice("box-stays", f"The hen box stays for now: {unquiet}.")
    text = (
        f"The hen box may come out: day {age_days:.0f}, no jug needed, no huddle in three nights ({TRADE}). "
        "Only if they sleep spread and feather up."
    )
    return Advice("box-out", text)


def _outdoors(age_days: float, weather: Weather, boxes: Mapping[str, BoxFacts]) -> Advice:
    why_not, cold_c = _quiet(boxes, QUIET_FOR_BOX_OUT), weather.tonight_cold_c
    if not why_not and (cold_c is None or cold_c < WARM_NIGHT_C):
        low = "is not known" if cold_c is None else f"may be {_both(cold_c)}"
        why_not = f"tonight's low {low}, {WARM_NIGHT_C:g} C (50 F) is asked for ({TRADE})"
    if why_not or cold_c is None:
        return Advice("outdoors-waits", f"Not outdoors for the night yet: {why_not}.")
    text = (
        f"The chicks may move outdoors in mild weather, dry and out of the wind: day {age_days:.0f}, tonight "
        f"{_both(cold_c)} at the least, no huddle in three nights ({TRADE}). Watch the first nights; "
        "feathers are full only at four to six weeks."
    )
    return Advice("outdoors", text)
