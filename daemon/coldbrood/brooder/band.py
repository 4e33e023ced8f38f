"""The comfort band at the box probe: by age, moved by what the keeper saw of the chicks.

The probe reads the air of a box in which chicks huddle round a jug. Published brooder tables
(33 to 35 C in the first days) are for air at the chick, at a heat source it can leave, so they
are no floor here. Marks: V read in the source, C computed, M from memory.
"""

import math
from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True, slots=True)
class SeenLookIn:
    """What the keeper saw at `t_s` (watch time), with the box reading then if there was one."""

    kind: str
    t_s: float
    box_c: float | None = None


@dataclass(frozen=True, slots=True)
class Band:
    """Comfort band of the box air in degrees Celsius, and in plain words why it lies there."""

    floor_c: float
    hard_floor_c: float
    ceiling_c: float
    reason: str


LOOK_IN_KINDS = ("huddled", "spread", "panting", "drinking", "loud", "apart", "weak")


def c_from_f(temperature_f: float) -> float:
    """Degrees Fahrenheit to degrees Celsius, exact by definition."""
    return (temperature_f - 32.0) / 1.8


_LEAST_METABOLISM_C = c_from_f(96.0)  # V: Barott, Byerly, Pringle 1936, chicks of 10 to 100 h
_TWICE_METABOLISM_C = c_from_f(70.0)  # V: the same; below this the newborn can no longer make it up


def newborn_air_c(metabolism_ratio: float) -> float:
    """Air at the chick, in C, at which a newborn's metabolism is this many times its least.

    Linear from 1 at 35.6 C to 2 at 21.1 C (V: Barott, Byerly, Pringle 1936).
    Raises ValueError outside 1 to 2, where nothing was measured.
    """
    if not 1.0 <= metabolism_ratio <= 2.0:
        raise ValueError(f"metabolism_ratio: {metabolism_ratio}: must be 1 to 2")
    return _LEAST_METABOLISM_C - (metabolism_ratio - 1.0) * (_LEAST_METABOLISM_C - _TWICE_METABOLISM_C)


HUDDLE_GAIN_C = 5.0
"""What a group in a box is warmer than the air about it: C, 36.6 less 31, lower critical temperature
of single chicks (V: PREF 2014) and of a group in a box (V: Xin and Harmon 1996), rounded down."""

COMFORT_WIDTH_C = 2.2
"""Width of a young chick's zone of comfort, 4 F (V: Czarick): one verdict moves an end by this much."""

_FLOOR = (
    (3.0, newborn_air_c(2.0)),
    (7.0, 18.0),
    (10.0, 15.0),
    (14.0, 12.8),
    (18.0, 10.0),
)
_HARD_FLOOR_LEAST_C = 7.0
_CEILING_FIRST_C = 34.0
_CEILING_LAST_C = 30.0
_BEST_GROWTH = ((0.0, 34.7), (9.0, 30.8), (18.0, 26.7), (32.0, 18.9))

_HOLDS_S = 6 * 3600.0
_GONE_S = 24 * 3600.0
_SPREAD_LETS_DOWN_C = 1.0
_VERDICT_MARGIN_C = 0.5


def _on_line(age_days: float, knots: tuple[tuple[float, float], ...]) -> float:
    days, values = zip(*knots, strict=True)
    return float(np.interp(age_days, days, values))


def best_growth_c(age_days: float) -> float:
    """Whole-room air for best growth without a hover, in C; flat after day 32.

    V: Barott and Pringle 1947 (to day 9), 1949 (to day 18), 1950 (to day 32); straight between.
    """
    return _on_line(age_days, _BEST_GROWTH)


def floor_by_age_c(age_days: float) -> float:
    """Lower end of the band in box air, in C, before any look-in; straight between these knots.

    To day 3, 21.1: the newborn's limit (V: Barott, Byerly, Pringle 1936), asked of the box air
    though the huddle makes it warmer still. Trials at 27 to 29 cost growth, not lives
    (V: Barott and Pringle 1947; May and Lott 2000), so those are no floor.
    Day 7, 18.0: chicks hold their own warmth from day 4 to 6 (V: AVI 2021); 8 h a day at 18 in
    week 1 changed neither vent temperature nor survival (V: COLD8 2023, broilers); FAO keeps 18
    as the least house temperature (V: Glatz, FAO).
    Day 10, 15.0: between its neighbours; self-regulation is full at 10 to 14 days (M).
    Day 14, 12.8: low end of what suits pullets after brooding, 55 F (V: AA2).
    Day 18 and on, 10.0: coldest box keepers report with lively chicks (common practice, no source).
    """
    return _on_line(age_days, _FLOOR)


def hard_floor_by_age_c(age_days: float) -> float:
    """Under this the alarm is critical whatever else, in C: the floor less what the huddle gains.

    In the first days that is 16.1, where even the huddle stands at the newborn's limit (C from
    V: PREF, Xin and Harmon, Barott). Never under 7: the coldest air a published trial held
    feathered birds in, from week 4, ate more and grew slower (V: CYC, 7.1).
    """
    return hard_floor_c(floor_by_age_c(age_days))


def hard_floor_c(floor_c: float) -> float:
    """The hard floor that belongs to a floor, in C."""
    return max(_HARD_FLOOR_LEAST_C, floor_c - HUDDLE_GAIN_C)


def ceiling_by_age_c(age_days: float) -> float:
    """Upper end of the band in box air, in C, before any look-in.

    First 34.0: upper critical air is 36 to 37 (V: UCT), panting starts at 38 (V: Misson 1976), and
    48 h at 35 already set layer chicks back (V: HEAT48); one under that, since a chick in a box
    cannot walk away from the heat and too hot harms more than too cool (V: Hamissou Maman).
    Then the line of best growth plus one zone of comfort (V: Barott and Pringle; Czarick), down
    to 30, about where grown fowl begin to suffer (M): below that it would be the weather's alarm.
    """
    line_c = best_growth_c(age_days) + COMFORT_WIDTH_C
    return min(_CEILING_FIRST_C, max(_CEILING_LAST_C, line_c))


def _weight(age_s: float) -> float:
    """Full for 6 h, then straight down to nothing at 24 h (our choice: one night, no source)."""
    return min(1.0, max(0.0, (_GONE_S - age_s) / (_GONE_S - _HOLDS_S)))


def _latest(look_ins: tuple[SeenLookIn, ...], t_s: float, first_at_a_tie: str) -> SeenLookIn | None:
    """The newest verdict on warmth up to `t_s`: a newer one takes the place of an older."""
    verdicts = [
        seen for seen in look_ins if seen.kind in ("huddled", "spread", "panting") and seen.t_s <= t_s
    ]
    return max(verdicts, key=lambda seen: (seen.t_s, seen.kind == first_at_a_tie), default=None)


def _push_c(beyond_c: float | None) -> float:
    """How far a verdict moves an end: one zone of comfort, or past the reading it was given at.

    Bounded by the huddle's gain, so that one look-in cannot ask what no jug can give.
    """
    if beyond_c is None:
        return COMFORT_WIDTH_C
    return min(HUDDLE_GAIN_C, max(COMFORT_WIDTH_C, beyond_c + _VERDICT_MARGIN_C))


def _floor_shift(seen: SeenLookIn | None, floor_c: float, t_s: float) -> tuple[float, str]:
    if seen is None or seen.kind == "panting" or _weight(t_s - seen.t_s) == 0.0:
        return 0.0, ""
    weight = _weight(t_s - seen.t_s)
    if seen.kind == "spread":
        return -weight * _SPREAD_LETS_DOWN_C, "; floor let down, chicks seen spread"
    push_c = _push_c(None if seen.box_c is None else seen.box_c - floor_c)
    return weight * push_c, "; floor raised, chicks seen huddled"


def _ceiling_shift(seen: SeenLookIn | None, ceiling_c: float, t_s: float) -> tuple[float, str]:
    if seen is None or seen.kind != "panting" or _weight(t_s - seen.t_s) == 0.0:
        return 0.0, ""
    push_c = _push_c(None if seen.box_c is None else ceiling_c - seen.box_c)
    return -_weight(t_s - seen.t_s) * push_c, "; ceiling lowered, chicks seen panting"


def _check(age_days: float, look_ins: tuple[SeenLookIn, ...]) -> None:
    if not math.isfinite(age_days):
        raise ValueError(f"age_days: {age_days}: must be a finite number of days")
    for seen in look_ins:
        if seen.kind not in LOOK_IN_KINDS:
            raise ValueError(f"look_ins.kind: {seen.kind!r}: must be one of {', '.join(LOOK_IN_KINDS)}")


def band(
    age_days: float,
    look_ins: tuple[SeenLookIn, ...] = (),
    t_s: float = 0.0,
    floors: tuple[tuple[float, float], ...] = (),
) -> Band:
    """The band at `t_s`, for chicks of this age; before day 0 it is that of day 0.

    `floors` is a floor of the keeper's own as (day, C), straight between, in place of that of the trade;
    the hard floor keeps its distance to it.

    The chicks outrank the thermometer. The newest of huddled, spread and panting counts: huddled
    raises the floor, above the reading it was seen at where that is known; spread lets it down by
    1 C, never under the hard floor; panting lowers the ceiling. All fade (`_weight`). Drinking,
    loud, apart and weak do not move it: they speak of other things (isolation alone makes a chick
    loud, V: Marx 2001). Look-ins later than `t_s` are left out. Raises ValueError for an age that
    is no number and for an unknown kind.
    """
    _check(age_days, look_ins)
    floor_c = _on_line(age_days, floors) if floors else floor_by_age_c(age_days)
    hard_c, ceiling_c = hard_floor_c(floor_c), ceiling_by_age_c(age_days)
    floor_shift_c, floor_why = _floor_shift(_latest(look_ins, t_s, "huddled"), floor_c, t_s)
    ceiling_shift_c, ceiling_why = _ceiling_shift(_latest(look_ins, t_s, "panting"), ceiling_c, t_s)
    return Band(
        floor_c=max(hard_c, floor_c + floor_shift_c),
        hard_floor_c=hard_c,
        ceiling_c=ceiling_c + ceiling_shift_c,
        reason=f"chicks of day {max(0, math.floor(age_days))}{floor_why}{ceiling_why}",
    )
