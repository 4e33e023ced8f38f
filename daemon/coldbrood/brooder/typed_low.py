"""A low for tonight that the keeper typed, as from the radio, weighed by how well such lows did before.

Its errors (typed less what came) are averaged with a prior: a regional forecast of the night's low errs by
2 C, and one site lies 2 C off its region (both M: usual errors a day ahead; valleys and towns). So a keeper
whose radio always says 3 C too much loses nothing by typing it: the difference is learned.
"""

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from coldbrood.brooder.specs import OutdoorCurve

Array = NDArray[np.float64]

LEAST_C, MOST_C = -40.0, 35.0
NIGHTS_KEPT = 20
PRIOR_SD_C = 2.0
PRIOR_NIGHTS = 5.0
"""How many nights the prior's deviation counts as (own choice, no source)."""
PRIOR_BIAS_NIGHTS = 1.0
"""Weight of no bias: PRIOR_SD_C squared over the square of 2 C, the site's difference from its region."""
GAP_S = 7200.0
SCORED_FROM_S = 4 * 3600.0
DAY_AFTER_S = 6 * 3600.0


@dataclass(frozen=True, slots=True)
class Typed:
    """One typed low and what came of it: the lowest reading since; `whole` while no gap was over 2 h."""

    t_s: float
    low_c: float
    until_t_s: float
    seen_t_s: float
    came_c: float = math.inf
    whole: bool = True


@dataclass(frozen=True, slots=True)
class Lows:
    """What typed lows did at this site: the errors of past nights in C, the newest last, and tonight's."""

    errors_c: tuple[float, ...] = ()
    tonight: Typed | None = None


def read(text: str) -> float:
    """The low in the text of a note, in C. Raises ValueError: field, value, what is allowed."""
    try:
        low_c = float(text)
    except ValueError:
        low_c = math.nan
    if not LEAST_C <= low_c <= MOST_C:
        raise ValueError(f"low: {text or 'missing'}: a number, {LEAST_C:g} to {MOST_C:g} C")
    return low_c


def say(lows: Lows, t_s: float, low_c: float, until_t_s: float) -> Lows:
    """Take a low typed at `t_s` for the night that is over at `until_t_s`. A newer one takes its place.

    Raises ValueError for a low that no radio would say.
    """
    if not LEAST_C <= low_c <= MOST_C:
        raise ValueError(f"low: {low_c:g}: {LEAST_C:g} to {MOST_C:g} C")
    return replace(settle(lows, t_s), tonight=Typed(t_s, low_c, until_t_s, t_s))


def unsay(lows: Lows, t_s: float) -> Lows:
    """Take back the low typed at `t_s`, if it is still tonight's."""
    if lows.tonight is None or lows.tonight.t_s != t_s:
        return lows
    return replace(lows, tonight=None)


def see(lows: Lows, t_s: float, outdoor_c: float) -> Lows:
    """Take one outdoor reading: it may be the low that came, or show that the night is over."""
    lows = settle(lows, t_s)
    typed = lows.tonight
    if typed is None or t_s <= typed.seen_t_s:
        return lows
    whole = typed.whole and t_s - typed.seen_t_s <= GAP_S
    typed = replace(typed, seen_t_s=t_s, came_c=min(typed.came_c, outdoor_c), whole=whole)
    return replace(lows, tonight=typed)


def settle(lows: Lows, t_s: float) -> Lows:
    """A night that is over gives its error, if it was seen whole and was not typed at its very end."""
    typed = lows.tonight
    if typed is None or t_s <= typed.until_t_s:
        return lows
    scored = typed.whole and typed.until_t_s - typed.t_s >= SCORED_FROM_S and t_s - typed.seen_t_s <= GAP_S
    if not (scored and math.isfinite(typed.came_c)):
        return replace(lows, tonight=None)
    return Lows((*lows.errors_c, typed.low_c - typed.came_c)[-NIGHTS_KEPT:])


def trust(lows: Lows) -> tuple[float, float]:
    """Bias of typed lows, and the deviation of the next one about it, both in C.

    Normal errors with unknown mean and spread under a conjugate prior (M: Gelman and others, Bayesian Data
    Analysis): the mean shrinks to 0 with the weight of one night, the variance to 2 C squared with five.
    """
    n = len(lows.errors_c)
    weight = PRIOR_BIAS_NIGHTS + n
    bias = sum(lows.errors_c) / weight
    about = sum((error - bias) ** 2 for error in lows.errors_c) + PRIOR_BIAS_NIGHTS * bias**2
    var = (PRIOR_NIGHTS * PRIOR_SD_C**2 + about) / (PRIOR_NIGHTS + n)
    return bias, math.sqrt(var * (1.0 + 1.0 / weight))


def tonight(lows: Lows, t_s: float) -> tuple[float, float] | None:
    """Mean and deviation in C that the typed low gives for tonight's low; None without one."""
    if lows.tonight is None or t_s > lows.tonight.until_t_s:
        return None
    bias, sd_c = trust(lows)
    return lows.tonight.low_c - bias, sd_c


def combine(mean_c: float, sd_c: float, typed: tuple[float, float] | None) -> tuple[float, float]:
    """Two opinions of the low as one, each weighed by its precision. Their errors are taken as unrelated."""
    if typed is None:
        return mean_c, sd_c
    own, others = 1.0 / max(sd_c, 1e-6) ** 2, 1.0 / typed[1] ** 2
    return (own * mean_c + others * typed[0]) / (own + others), 1.0 / math.sqrt(own + others)


def bent(curve: OutdoorCurve, lows: Lows) -> OutdoorCurve:
    """The outdoor curve with the typed low in it.

    The correction is nothing now, whole at the curve's own low before the night is over, and fades over six
    hours after it: a low says little of the day. A low that the air has already passed bends nothing down.
    """
    now_s = float(curve.t_s[0])
    typed = tonight(lows, now_s)
    if typed is None or lows.tonight is None:
        return curve
    ahead = np.flatnonzero(curve.t_s <= lows.tonight.until_t_s)
    low = int(ahead[np.argmin(curve.mean_c[ahead])])
    if low == 0:
        return curve
    mean_c, sd_c = float(curve.mean_c[low]), float(curve.sd_c[low])
    new_c, new_sd_c = combine(mean_c, sd_c, typed)
    share = _share(curve.t_s, float(curve.t_s[low]), now_s)
    return OutdoorCurve(
        curve.t_s,
        curve.mean_c + share * (new_c - mean_c),
        curve.sd_c * (1.0 - share * (1.0 - new_sd_c / max(sd_c, 1e-6))),
        curve.unrest_k,
    )


def _share(t_s: Array, low_t_s: float, now_s: float) -> Array:
    """How much of the correction holds at each time, shape (n,)."""
    rising = (t_s - now_s) / (low_t_s - now_s)
    falling = 1.0 - (t_s - low_t_s) / DAY_AFTER_S
    return np.clip(np.minimum(rising, falling), 0.0, 1.0)
