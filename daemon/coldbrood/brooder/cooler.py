"""Water less hot than usual for a fill at bedtime, where the usual would take the box over its ceiling."""

import numpy as np
from numpy.typing import NDArray

from coldbrood.brooder.bank import Array

# Own choice: half a degree-hour of heat is where it is worth the keeper's while to mix the water.
TOO_HOT_KH = 0.5
STEPS_C = (-10.0, -20.0, -30.0)
COOLEST_C = 40.0


def cooler_fills(fills: NDArray[np.bool_], hot_kh: Array, fill_c: float) -> list[float]:
    """Temperatures in C to try besides the usual `fill_c`, hottest first; none where that is not too hot.

    `fills` (candidates, k) marks who fills when, bedtime first; `hot_kh` (candidates, draws) is the heat over
    the ceiling that came of it. A fill at bedtime and no other is what counts.
    """
    alone = fills[:, 0] & (fills.sum(axis=1) == 1)
    if not alone.any() or float(hot_kh[alone].mean()) <= TOO_HOT_KH:
        return []
    return [fill_c + step for step in STEPS_C if fill_c + step >= COOLEST_C]
