"""The chicks: mass by age and the heat they give.

Marks: V read in the source, C computed, M from memory.
"""

import math
from collections.abc import Mapping
from typing import TypeVar, overload

import numpy as np
from numpy.typing import NDArray

from coldbrood.brooder.specs import ChickKind, Flock

Array = NDArray[np.float64]
T = TypeVar("T")

_MASS_G: Mapping[ChickKind, tuple[tuple[float, float], ...]] = {
    # M: usual layer type, middle of the range at each week; day 42 mean of NRC 1994 white and brown (M).
    "layer": ((0, 38), (7, 70), (14, 125), (21, 195), (28, 280), (42, 475)),
    # V: NRC 1984, mean of female and male, weeks 1 to 4; day 0 M. Today's fast lines grow well above it.
    "broiler": ((0, 41), (7, 125), (14, 310), (21, 537.5), (28, 825)),
}
_LOG_G = {
    kind: (np.array([day for day, _ in table]), np.log([grams for _, grams in table]))
    for kind, table in _MASS_G.items()
}
_W_AT_20C: Mapping[ChickKind, float] = {"layer": 6.28, "broiler": 10.62}

_EARLY_FACTOR = 0.7
_EARLY_UNTIL_DAY = 2.0
_FULL_FROM_DAY = 3.0


def _of_kind(table: Mapping[ChickKind, T], kind: ChickKind) -> T:
    if kind not in table:
        raise ValueError(f"kind: {kind!r}: must be one of {', '.join(table)}")
    return table[kind]


def mass_kg(age_days: float, kind: ChickKind) -> float:
    """Mean mass of one chick in kg: steady growth rate between the table's ages, flat beyond its ends.

    Raises ValueError for an age that is no number or an unknown kind.
    """
    if not math.isfinite(age_days):
        raise ValueError(f"age_days: {age_days}: must be a finite number of days")
    days, log_g = _of_kind(_LOG_G, kind)
    return math.exp(float(np.interp(age_days, days, log_g))) / 1000.0


@overload
def chick_heat_w(mass_kg: float, air_c: float, kind: ChickKind) -> tuple[float, float]: ...
@overload
def chick_heat_w(mass_kg: float, air_c: Array, kind: ChickKind) -> tuple[Array, Array]: ...
def chick_heat_w(
    mass_kg: float, air_c: float | Array, kind: ChickKind
) -> tuple[float, float] | tuple[Array, Array]:
    """Total and sensible heat of one fed chick in W, at air of any shape; neither goes under 0.

    CIGR 2002 (Pedersen and Saellvik): 6.28 m^0.75 (layer) or 10.62 m^0.75 (broiler) at 20 C; per
    1000 W at 20 C the total is 1000 + 20 (20 - t), the sensible part 0.61 of that less 0.228 t^2
    (formula M, existence V). Raises ValueError for a mass that is not positive or an unknown kind.
    """
    if not mass_kg > 0.0:
        raise ValueError(f"mass_kg: {mass_kg}: must be more than 0")
    w_at_20c = _of_kind(_W_AT_20C, kind) * mass_kg**0.75
    total_w = w_at_20c * (1.4 - 0.02 * air_c)
    sensible_w = 0.61 * total_w - w_at_20c * 0.000228 * air_c * air_c
    if isinstance(total_w, np.ndarray) and isinstance(sensible_w, np.ndarray):
        return np.maximum(total_w, 0.0), np.maximum(sensible_w, 0.0)
    return max(float(total_w), 0.0), max(float(sensible_w), 0.0)


def early_factor(age_days: float) -> float:
    """What a day-old gives of the heat of a fed chick of its mass: 0.7 to day 2, whole from day 3.

    Measured on unfed groups at 20 C, 10.3 W/kg (V: Xin and Harmon 1996) against 14.1 by the layer
    line (C): 1 / 1.36.
    """
    part = (age_days - _EARLY_UNTIL_DAY) / (_FULL_FROM_DAY - _EARLY_UNTIL_DAY)
    return _EARLY_FACTOR + (1.0 - _EARLY_FACTOR) * min(1.0, max(0.0, part))


@overload
def flock_heat_w(flock: Flock, air_c: float) -> float: ...
@overload
def flock_heat_w(flock: Flock, air_c: Array) -> Array: ...
def flock_heat_w(flock: Flock, air_c: float | Array) -> float | Array:
    """Sensible heat of all chicks of one box in W, at box air of any shape.

    A prior only: scattered active chicks give up to twice as much, and wet litter takes most of
    it away (V: Reece and Lott). Raises ValueError for a count under 0.
    """
    if flock.chicks < 0:
        raise ValueError(f"chicks: {flock.chicks}: must be 0 or more")
    sensible_w = chick_heat_w(mass_kg(flock.age_days, flock.kind), air_c, flock.kind)[1]
    return flock.chicks * early_factor(flock.age_days) * sensible_w
