"""How long the box stays above its floor with no refill, as a range, and the latest time to refill."""

import math
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np

from coldbrood.brooder.bank import Array
from coldbrood.brooder.paths import Paths

_NORMAL = NormalDist()
# The probe steps by 0.0625 C: no path is known finer than that.
LEAST_SD_C = 0.05
FARTHEST_SD = 6.0


@dataclass(frozen=True, slots=True, eq=False)
class Hold:
    """Watch times at which the box probe goes under the floor: 10, 50 and 90 % of the chance.

    None: not within the horizon. `refill_by_s` is the last time by which the chance of having been under
    is at most the risk. `chance_under` (n,) is that chance at each time `at_s` (n,) of the paths, never
    falling.
    """

    refill_by_s: float | None
    early_s: float | None
    median_s: float | None
    late_s: float | None
    chance_under: Array
    at_s: Array


def normal_cdf(z: Array) -> Array:
    """The normal distribution function, absolute error under 1e-7.

    Abramowitz and Stegun 26.2.17 (from memory, checked against scipy in the tests).
    """
    size = np.minimum(np.abs(z), 8.0)
    k = 1.0 / (1.0 + 0.2316419 * size)
    tail = k * (0.319381530 + k * (-0.356563782 + k * (1.781477937 + k * (-1.821255978 + k * 1.330274429))))
    tail = tail * np.exp(-0.5 * size * size) * 0.3989422804014327
    return np.where(z >= 0.0, 1.0 - tail, tail)


def chance_under(paths: Paths, floor_c: Array) -> Array:
    """Chance (n,) that the box was under the floor at or before each time.

    Each sample's greatest chance so far, weighed over the samples: within a sample the error is
    taken as one that lasts.
    """
    z = (floor_c - paths.box_c) / np.maximum(paths.sd_c, LEAST_SD_C)
    worst = np.maximum.accumulate(z, axis=1)
    return np.clip(paths.weights @ normal_cdf(worst), 0.0, 1.0)


def cold_kh(paths: Paths, floor_c: Array, until_s: float, from_s: float = -math.inf) -> Array:
    """Expected degree-hours under floors of shape (n,), from `from_s` or the start to `until_s`: by sample.

    Of a normal box at each time, E max(floor - box, 0) = sd (z Phi(z) + phi(z)), z = (floor - box) / sd.
    """
    begin_s = max(from_s, float(paths.t_s[0]))
    end_s = max(until_s, begin_s)
    first = max(int(np.searchsorted(paths.t_s, begin_s, side="right")) - 1, 0)
    span = slice(first, int(np.searchsorted(paths.t_s, end_s)) + 1)
    sd_c = np.maximum(paths.sd_c[:, span], LEAST_SD_C)
    z = (floor_c[span] - paths.box_c[:, span]) / sd_c
    short_k = sd_c * (z * normal_cdf(z) + 0.3989422804014327 * np.exp(-0.5 * z * z))
    at_s = np.clip(paths.t_s[span], begin_s, end_s)
    return np.asarray(0.5 * ((short_k[:, 1:] + short_k[:, :-1]) @ np.diff(at_s)) / 3600.0)


def heat_kh(paths: Paths, ceiling_c: Array, until_s: float, from_s: float = -math.inf) -> Array:
    """Expected degree-hours over ceilings of shape (n,), as `cold_kh` has them under floors."""
    turned = Paths(paths.t_s, -paths.box_c, paths.sd_c, paths.weights)
    return cold_kh(turned, -ceiling_c, until_s, from_s)


def crossing_s(t_s: Array, chance: Array, level: float) -> float | None:
    """First time at which `chance` (never falling) exceeds `level`, or None.

    Between grid points the normal score is taken as linear: exact for a straight fall with a steady error.
    """
    above = np.flatnonzero(chance > level)
    if len(above) == 0:
        return None
    i = int(above[0])
    if i == 0:
        return float(t_s[0])
    left, right, aim = (_score(float(v)) for v in (chance[i - 1], chance[i], level))
    share = (aim - left) / (right - left) if right > left else 1.0
    return float(t_s[i - 1] + share * (t_s[i] - t_s[i - 1]))


def _score(chance: float) -> float:
    if chance <= 1e-9:
        return -FARTHEST_SD
    return _NORMAL.inv_cdf(min(chance, 1.0 - 1e-9))


def hold(paths: Paths, floor_c: Array, risk: float) -> Hold:
    """The hold of a box against floors of shape (n,), at a risk between 0 and 1.

    Raises ValueError naming what is wrong.
    """
    if not 0.0 < risk < 1.0:
        raise ValueError(f"risk: {risk}: more than 0 and less than 1")
    if floor_c.shape != paths.t_s.shape:
        raise ValueError(f"floor_c: shape {floor_c.shape}: that of paths.t_s {paths.t_s.shape}")
    chance = chance_under(paths, floor_c)
    at = {level: crossing_s(paths.t_s, chance, level) for level in (risk, 0.1, 0.5, 0.9)}
    return Hold(at[risk], at[0.1], at[0.5], at[0.9], chance, paths.t_s)
