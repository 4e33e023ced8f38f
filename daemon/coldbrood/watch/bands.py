"""Floor and ceiling ahead: chicks grow older, look-ins fade."""

from collections.abc import Callable
from typing import Literal

import numpy as np

from coldbrood.brooder.band import SeenLookIn, band
from coldbrood.brooder.bank import Array
from coldbrood.watch.sight import BoxSight
from coldbrood.watch.site import Site

FLOOR_STEP_S = 7200.0


def band_ahead(site: Site, seen: BoxSight, age: float, t_s: float, at_s: Array) -> tuple[Array, Array]:
    """Floor and ceiling at each time ahead: chicks grow older, look-ins fade. Straight between two hours."""
    knots_s = np.append(np.arange(at_s[0], at_s[-1], FLOOR_STEP_S), at_s[-1])
    own = site.batch.floors
    bands = [band(age + (at - t_s) / 86_400.0, seen.look_ins, at, own) for at in knots_s.tolist()]
    return (
        np.interp(at_s, knots_s, [its.floor_c for its in bands]),
        np.interp(at_s, knots_s, [its.ceiling_c for its in bands]),
    )


def end_of_band(
    site: Site, look_ins: tuple[SeenLookIn, ...], age: float, t_s: float, end: Literal["floor_c", "ceiling_c"]
) -> Callable[[float], float]:
    """One end of the band by the age that the chicks will have, with the look-ins fading on the way."""
    own = site.batch.floors

    def at(days: float) -> float:
        its = band(days, look_ins, t_s + (days - age) * 86_400.0, own)
        return its.floor_c if end == "floor_c" else its.ceiling_c

    return at
