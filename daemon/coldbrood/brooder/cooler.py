"""Water less hot than usual for a fill by night, where the usual would take the box over its ceiling."""

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from coldbrood.brooder.bank import Array
from coldbrood.brooder.hold import cold_kh, heat_kh
from coldbrood.brooder.paths import Paths

# Own choice: half a degree-hour of heat is where it is worth the keeper's while to mix the water.
TOO_HOT_KH = 0.5
# Heat costs half of what cold does (own choice): a fresh jug's is over in an hour, and the chicks move away
# from it; cold stays till someone comes.
HOT_SHARE = 0.5
STEP_C = 5.0
COOLEST_C = 35.0
AS_GOOD_KH = 0.25  # what differs by no more is as good (own choice)


def is_too_hot(fills: NDArray[np.bool_], hot_kh: Array) -> bool:
    """Whether a fill at bedtime as hot as usual, and no other, brings the box over its ceiling.

    `fills` (candidates, k) marks who fills when, bedtime first; `hot_kh` (candidates, draws) is the heat over
    the ceiling that came of it.
    """
    alone = fills[:, 0] & (fills.sum(axis=1) == 1)
    return bool(alone.any()) and float(hot_kh[alone].mean()) > TOO_HOT_KH


def cooler_fills_c(fill_c: float) -> Array:
    """Temperatures in C (n,) to try besides the usual, hottest first."""
    return np.arange(fill_c - STEP_C, COOLEST_C - 0.5, -STEP_C)


def night_fill_c(
    filled: Callable[[float], Paths],
    floor_c: Array,
    ceiling_c: Array,
    fill_c: float,
    up_s: float,
    price_kh: float,
) -> float:
    """How hot the water of a fill by night should be: `fill_c`, or less where that is too hot till `up_s`.

    `filled` gives the paths with a fill of so many C; `floor_c` and `ceiling_c` (n,) are of their times. Heat
    and cold cost their degree-hours; cold no more than the waking of `price_kh` that would end it, heat that
    waking besides. Of those as good the hottest.
    """

    def heat_and_cost(water_c: float) -> tuple[float, float]:
        paths = filled(water_c)
        hot = heat_kh(paths, ceiling_c, up_s, float(paths.t_s[0]))
        cold = cold_kh(paths, floor_c, up_s, float(paths.t_s[0]))
        cost = HOT_SHARE * hot + price_kh * (hot > price_kh) + np.minimum(cold, price_kh)
        return float(paths.weights @ hot), float(paths.weights @ cost)

    heat, cost = heat_and_cost(fill_c)
    if heat <= TOO_HOT_KH:
        return fill_c
    costs = {fill_c: cost, **{c: heat_and_cost(c)[1] for c in map(float, cooler_fills_c(fill_c))}}
    least = min(costs.values())
    return next(c for c, cost in costs.items() if cost <= least + AS_GOOD_KH)
