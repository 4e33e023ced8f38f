"""The comfort band at the box probe: by age, moved by what the keeper saw of the chicks.

The probe reads the air of a box in which chicks huddle round a jug. Published brooder tables
(33 to 35 C in the first days) are for air at the chick, at a heat source it can leave, so they
are no floor here. Marks: V read in the source, C computed, M from memory.
"""

import math
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from coldbrood.brooder.look_ins import (
    COMFORT_WIDTH_C,
    HUDDLE_GAIN_C,
    LOOK_IN_KINDS,
    Moment,
    SeenLookIn,
    ceiling_moved,
    floor_moved,
)

__all__ = [
    "COMFORT_WIDTH_C",
    "HUDDLE_GAIN_C",
    "LOOK_IN_KINDS",
    "Band",
    "SeenLookIn",
    "band",
    "best_growth_c",
    "c_from_f",
    "ceiling_by_age_c",
    "floor_by_age_c",
    "hard_floor_by_age_c",
    "hard_floor_c",
    "newborn_air_c",
]


@dataclass(frozen=True, slots=True)
class Band:
    """Comfort band of the box air in degrees Celsius, and in plain words why it lies there."""

    floor_c: float
    hard_floor_c: float
    ceiling_c: float
    reason: str


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


HARD_CEILING_OVER_C = 2.0
"""From the ceiling, 34 in the first days, to where the upper critical air begins, 36 (V: UCT)."""

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


@cache
def _line(knots: tuple[tuple[float, float], ...]) -> NDArray[np.float64]:
    """Days and values (2, knots): a look asks for them some forty times."""
    return np.array(knots, dtype=np.float64).T


def _on_line(age_days: float, knots: tuple[tuple[float, float], ...]) -> float:
    return float(np.interp(age_days, *_line(knots)))


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


def hard_ceiling_c(ceiling_c: float) -> float:
    """Over this heat is critical whatever else, in C.

    In the first days that is 36, where the upper critical air begins (V: UCT); panting starts at 38
    (V: Misson 1976).
    """
    return ceiling_c + HARD_CEILING_OVER_C


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

    The chicks outrank the thermometer: huddled raises the floor, spread may let it down, never under the
    hard floor, panting lowers the ceiling; see look_ins.py. Drinking, loud, apart and weak do not move it:
    they speak of other things (isolation alone makes a chick loud, V: Marx 2001). Look-ins later than `t_s`
    are left out. Raises ValueError for an age that is no number and for an unknown kind.
    """
    _check(age_days, look_ins)
    floor_line = floor_by_age_c if not floors else lambda age: _on_line(age, floors)
    floor_c = floor_line(age_days)
    hard_c, ceiling_c = hard_floor_c(floor_c), ceiling_by_age_c(age_days)
    moment = Moment(age_days, t_s, floor_line, ceiling_by_age_c)
    floor_shift, ceiling_shift = floor_moved(look_ins, moment), ceiling_moved(look_ins, moment)
    return Band(
        floor_c=max(hard_c, floor_c + floor_shift.by_c),
        hard_floor_c=hard_c,
        ceiling_c=ceiling_c + ceiling_shift.by_c,
        reason=f"chicks of day {max(0, math.floor(age_days))}{floor_shift.why}{ceiling_shift.why}",
    )
