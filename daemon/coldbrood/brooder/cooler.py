"""Water less hot than usual for a fill at bedtime, where the usual would take the box over its ceiling."""

import numpy as np
from numpy.typing import NDArray

from coldbrood.brooder.bank import Array

# Own choice: half a degree-hour of heat is where it is worth the keeper's while to mix the water.
TOO_HOT_KH = 0.5
STEP_C = 5.0
COOLEST_C = 35.0


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
