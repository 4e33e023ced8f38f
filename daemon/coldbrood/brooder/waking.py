"""Whether, and when, the cold or the heat to come is worth a waking."""

from collections.abc import Callable

import numpy as np

from coldbrood.brooder.band import hard_floor_c
from coldbrood.brooder.bank import Array
from coldbrood.brooder.hold import chance_under, cold_kh, heat_kh
from coldbrood.brooder.paths import Paths
from coldbrood.brooder.plan import waking_cost_kh

SURE = 0.85
NEAR_S = 900.0
# A jug put in now lifts the box over its floor by then.
WARMED_S = 900.0


def is_worth_waking(
    paths: Paths,
    filled: Callable[[], Paths],
    floor_c: Array,
    chance: Array,
    up_s: float,
    risk: float,
    lead_s: float,
) -> bool:
    """Whether to wake a keeper who is up again at `up_s`, for floors of shape (n,).

    `filled` gives the same paths with a fill by one who takes `lead_s` to come; it is asked for only where
    the cold is worth it. `chance` (n,) is that of having been under the floors, as `hold.chance_under` of
    `paths` gives it.

    The cold till then that the fill spares must cost more than the waking, or the chance of the hard floor be
    beyond the risk. While it is not sure that a waking will be needed, it waits until the box is about to
    cross: by then the readings know better. A waking too many costs 4 degree-hours, one that waits for the
    crossing half of one.
    """
    spared = cold_kh(paths, floor_c, up_s, float(paths.t_s[0]) + lead_s + WARMED_S)
    price_kh = waking_cost_kh(risk)
    if float(paths.weights @ spared) > price_kh:
        spared = spared - cold_kh(filled(), floor_c, up_s, float(paths.t_s[0]) + lead_s + WARMED_S)
    if float(paths.weights @ spared) <= price_kh:
        hard_c = np.array([hard_floor_c(float(c)) for c in floor_c])
        if float(np.interp(up_s, paths.t_s, chance_under(paths, hard_c))) <= risk:
            return False
    sure = float(paths.weights @ (spared > price_kh)) >= SURE
    return sure or float(np.interp(paths.t_s[0] + NEAR_S, paths.t_s, chance)) >= 0.5


def heat_is_worth_waking(paths: Paths, ceiling_c: Array, up_s: float, risk: float, lead_s: float) -> bool:
    """Whether the heat until `up_s` that a coming spares costs more than a waking, for ceilings (n,).

    A fresh jug may lift the box over it for an hour; 48 h at 35 C is what set chicks back (V: HEAT48).
    """
    by_sample = heat_kh(paths, ceiling_c, up_s, float(paths.t_s[0]) + lead_s)
    return float(paths.weights @ by_sample) > waking_cost_kh(risk)
