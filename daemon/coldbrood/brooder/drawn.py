"""Nights drawn from the bank: the same boxes and weathers for every choice of fills, and what comes of it."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from coldbrood.brooder.band import ceiling_by_age_c, hard_ceiling_c, hard_floor_c
from coldbrood.brooder.bank import (
    FILL_SD_C,
    Array,
    Bank,
    coefs,
    felt_c,
    felt_var,
    spread_normals,
    step_cov,
    step_mean,
    unsure_k,
    weights,
    with_towels,
)
from coldbrood.brooder.paths import DAY_S, heat_at, heat_curve
from coldbrood.brooder.specs import BoxSpec, Flock, OutdoorCurve
from coldbrood.brooder.thermal import priors

GRID_S = 900.0
# A jug needs this long to warm a cold box: till then "under the floor" is no fault of the plan.
WARMING_S = 3600.0
WAKINGS_APART = 8
FIRST_INNER = 2  # a keeper who is asked now comes on this step
DRAWS = 96

Floor = Callable[[float], float]
There = Callable[[float], bool]


def always(_t_s: float) -> bool:
    """Of a keeper who can be woken at any time."""
    return True


@dataclass(frozen=True, eq=False)
class Night:
    """What all candidates share: `t_s`, `floor_c`, `ceiling_c`, `unrest_k` (k,), `outdoor_c` (k, draws).

    Then the boxes.

    `there` (k,) says when someone is at hand to fill, with water of `fill_c`.
    """

    t_s: Array
    there: NDArray[np.bool_]
    outdoor_c: Array
    unrest_k: Array
    floor_c: Array
    ceiling_c: Array
    heat: Array
    theta: Array
    fill_theta: Array
    mean: Array
    cov: Array
    off_sd: Array
    jug_j: float
    fill_c: float

    @cached_property
    def off_k(self) -> Array:
        """Error of each drawn box in K, (k + 1, k, draws): row 0 without a fill, row j + 1 after one at j."""
        return _off_by(self)


@dataclass(frozen=True, slots=True, eq=False)
class Outcome:
    """Of each candidate: chance of the hard floor (c,), and by draw (c, draws) what follows.

    Degree-hours under the floor and over the ceiling, whether the box went over the hard ceiling, its lowest.
    """

    chance: Array
    cold_kh: Array
    hot_kh: Array
    hot: NDArray[np.bool_]
    low_c: Array


def draw_night(
    bank: Bank,
    spec: BoxSpec,
    rising_s: float,
    outdoor: OutdoorCurve,
    flock: Flock,
    floor_of: Floor,
    fill_c: float,
    ceiling_of: Floor = ceiling_by_age_c,
    there: There = always,
) -> Night:
    """Equal-weight boxes from the bank, each with its own quantile of the outdoor and of its own error."""
    t_s: Array = bank.t_s + GRID_S * np.arange(int((rising_s - bank.t_s) / GRID_S) + 1, dtype=np.float64)
    points = (np.arange(DRAWS) + 0.5) / DRAWS
    pick = np.minimum(np.searchsorted(np.cumsum(weights(bank)), points), len(bank.log_w) - 1)
    rng = np.random.default_rng((bank.seed, 11))
    outside, off = spread_normals(rng, 2, DRAWS)
    mean_c, sd_c = outdoor.at(t_s)
    ages = flock.age_days + (t_s - bank.t_s) / DAY_S
    return Night(
        t_s=t_s,
        there=np.array([there(float(t)) for t in t_s]),
        outdoor_c=mean_c[:, None] + sd_c[:, None] * outside,
        unrest_k=outdoor.unrest_at(t_s),
        floor_c=np.array([floor_of(float(a)) for a in ages]),
        ceiling_c=np.array([ceiling_of(float(a)) for a in ages]),
        heat=heat_curve(flock, t_s - t_s[0]),
        theta=bank.theta[:, pick],
        fill_theta=with_towels(bank.theta[:, pick], spec, rng),
        mean=bank.mean[:, pick],
        cov=bank.cov[:, pick],
        off_sd=off,
        jug_j=priors(spec).jug_j_per_k,
        fill_c=fill_c,
    )


def _off_by(night: Night) -> Array:
    k = len(night.t_s)
    c, filled = (coefs(theta, night.jug_j, GRID_S) for theta in (night.theta, night.fill_theta))
    mean, cov = (np.repeat(start[:, None, :], k + 1, axis=1) for start in (night.mean, night.cov))
    var = np.empty((k + 1, k, DRAWS))
    for i in range(k):
        var[0, i] = felt_var(c.felt, cov[:, 0])
        var[1:, i] = felt_var(filled.felt, cov[:, 1:])
        mean[0, i + 1] = night.fill_c
        cov[0, i + 1], cov[1:3, i + 1] = FILL_SD_C**2, 0.0
        out_c, unrest_k = night.outdoor_c[i], float(night.unrest_k[i])
        for step, rows in ((c, slice(0, 1)), (filled, slice(1, i + 2))):
            it = mean[:, rows]
            cov[:, rows] = step_cov(step, cov[:, rows], unsure_k(unrest_k, it[1] - out_c))
            mean[:, rows] = step_mean(step, it, out_c, heat_at(night.heat[:, i], felt_c(step.felt, it)))
        mean[:, i + 2 :], cov[:, i + 2 :] = mean[:, :1], cov[:, :1]
    return np.sqrt(var) * night.off_sd


def play(night: Night, fills: NDArray[np.bool_], bed_c: Array | float | None = None) -> Outcome:
    """All candidates at once; `fills` (candidates, k) marks the grid times at which a hot jug goes in.

    At the night's `fill_c`, and at bedtime at `bed_c` where given, one for all or of shape (candidates,).
    """
    before, after = (coefs(theta, night.jug_j, GRID_S) for theta in (night.theta, night.fill_theta))
    shape = (len(fills), DRAWS)
    mean = np.repeat(night.mean[:, None, :], len(fills), axis=1)
    cold, hot, low = np.zeros(shape), np.zeros(shape), np.full(shape, np.inf)
    under, over = np.zeros(shape, dtype=bool), np.zeros(shape, dtype=bool)
    last = np.zeros(len(fills), dtype=np.intp)
    hard_c = [hard_floor_c(float(floor_c)) for floor_c in night.floor_c]
    warm_from = np.where(fills[:, 0], night.t_s[0] + WARMING_S, night.t_s[0])
    for i, t in enumerate(night.t_s):
        share = np.where((last > 0)[:, None], after.felt, before.felt)
        air = felt_c(share, mean)
        shown = air + night.off_k[last, i]
        cold += np.maximum(night.floor_c[i] - shown, 0.0)
        hot += np.maximum(shown - night.ceiling_c[i], 0.0)
        over |= shown > hard_ceiling_c(float(night.ceiling_c[i]))
        low = np.minimum(low, shown)
        under |= (shown < hard_c[i]) & (t >= warm_from)[:, None]
        if fills[:, i].any():
            hot_c = np.broadcast_to(night.fill_c if i or bed_c is None else bed_c, len(fills))
            mean[0, fills[:, i]] = hot_c[fills[:, i], None]
            last = np.where(fills[:, i], i + 1, last)
        for c, rows in ((before, last == 0), (after, last > 0)):
            if rows.any():
                it = mean[:, rows]
                mean[:, rows] = step_mean(c, it, night.outdoor_c[i], heat_at(night.heat[:, i], air[rows]))
    hours = GRID_S / 3600.0
    return Outcome(under.mean(axis=1), cold * hours, hot * hours, over, low)


def candidates(there: NDArray[np.bool_], bed: tuple[bool, ...], wakings: int) -> NDArray[np.bool_]:
    """Every set of `wakings` grid times two hours apart, with each choice at bedtime: (candidates, k).

    Only at times at which someone is `there` (k,), and at bedtime too.
    """
    k = len(there)
    inner = [i for i in range(FIRST_INNER, k - 2) if there[i]]
    bed = bed if there[0] else (False,)
    sets = [s for s in combinations(inner, wakings) if wakings < 2 or s[1] - s[0] >= WAKINGS_APART]
    fills = np.zeros((len(bed) * len(sets), k), dtype=bool)
    for row, (at_bed, chosen) in enumerate((b, s) for b in bed for s in sets):
        fills[row, list(chosen)] = True
        fills[row, 0] = at_bed
    return fills
