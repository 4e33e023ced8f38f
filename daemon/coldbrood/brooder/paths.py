"""Forecast paths of the box: each sample runs on with its own parameters and its own night outside."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from coldbrood.brooder.bank import (
    FILL_SD_C,
    Array,
    Bank,
    Coefs,
    coefs_of,
    felt_c,
    felt_share,
    felt_var,
    spread_normals,
    step_cov,
    step_mean,
    unsure_k,
    weights,
    with_towels,
)
from coldbrood.brooder.flock import flock_heat_w
from coldbrood.brooder.specs import BoxSpec, Flock, OutdoorCurve
from coldbrood.brooder.thermal import priors

# Variances are smooth: each third point of the means' grid is enough for them.
COV_STRIDE = 3
# The grid: the asked step for three hours, then longer and longer ones, as the range grows hours wide.
LONGER_AFTER_S = ((0.0, 1.0), (3 * 3600.0, 2.0), (6 * 3600.0, 3.0), (12 * 3600.0, 6.0))
DAY_S = 86400.0
# The exchange stands still within a step, so steps are short while a fresh jug warms the box.
SETTLING_S = (150.0, 300.0, 450.0, 600.0, 900.0, 1200.0, 1500.0, 1800.0, 2400.0)
FRESH_JUG_K = 25.0
KNOTS_C = np.array([5.0, 18.0, 31.0])


@dataclass(frozen=True, slots=True, eq=False)
class Paths:
    """`t_s` (n,), `box_c` (samples, n), `sd_c` (samples, n), `weights` (samples,) summing to one."""

    t_s: Array
    box_c: Array
    sd_c: Array
    weights: Array


def heat_curve(flock: Flock, after_s: Array) -> Array:
    """Parabolas in box temperature for the flock's heat at times after now: (3, n), constant term first.

    Exact while the heat is a parabola (CIGR's sensible heat is one); the caller clamps at 0.
    """
    ages = np.linspace(0.0, max(float(after_s[-1]), 1.0), 5)
    heats = np.array(
        [flock_heat_w(replace(flock, age_days=flock.age_days + a / DAY_S), KNOTS_C) for a in ages]
    )
    parabolas = np.linalg.solve(np.vander(KNOTS_C, increasing=True), heats.T)
    return np.stack([np.interp(after_s, ages, row) for row in parabolas])


def heat_at(parabola: Array, box_c: Array) -> Array:
    """The flock's heat in W at box temperatures, never under 0."""
    return np.asarray(np.maximum(parabola[0] + box_c * (parabola[1] + box_c * parabola[2]), 0.0))


def outdoor_paths(bank: Bank, outdoor: OutdoorCurve, t_s: Array) -> Array:
    """One night outside for each sample, (n, samples): the same quantile of the curve all along."""
    quantile = spread_normals(np.random.default_rng((bank.seed, 7)), 1, bank.theta.shape[1])[0]
    mean_c, sd_c = outdoor.at(t_s)
    return np.asarray(mean_c[:, None] + sd_c[:, None] * quantile)


def _times(horizon_s: float, step_s: float) -> Array:
    """Times after now, from 0 to the horizon or the first step beyond it."""
    times = [0.0]
    while times[-1] < horizon_s - 1e-9 * step_s:
        longer = max(times_as_long for after_s, times_as_long in LONGER_AFTER_S if after_s <= times[-1])
        times.append(times[-1] + longer * step_s)
    return np.array(times)


def _grid(t_s: Array, extra: list[float]) -> Array:
    inside = [e for e in extra if t_s[0] < e < t_s[-1]]
    return np.asarray(np.union1d(t_s, inside), dtype=np.float64)


def _steps(
    bank: Bank, spec: BoxSpec, grids: Sequence[Array], refills: dict[float, float]
) -> list[list[Coefs]]:
    """Coefficients of each step of some grids; steps of one length share theirs. A fill sets towels anew."""
    jug_j = priors(spec).jug_j_per_k
    gaps_s = [np.round(np.diff(t_s), 3) for t_s in grids]
    lengths = np.unique(np.concatenate(gaps_s))
    now = then = coefs_of(bank.theta, jug_j, lengths)
    filled_s = min(refills, default=math.inf)
    if refills:
        rng = np.random.default_rng((bank.seed, 8))
        then = coefs_of(with_towels(bank.theta, spec, rng), jug_j, lengths)
    return [
        [
            (now if t < filled_s else then)[i]
            for t, i in zip(t_s, np.searchsorted(lengths, gap_s), strict=False)
        ]
        for t_s, gap_s in zip(grids, gaps_s, strict=True)
    ]


def _means(
    bank: Bank, steps: list[Coefs], t_s: Array, out_c: Array, heat: Array, refills: dict[float, float]
) -> Array:
    """Means (n, samples) of the air at the probe along the grid `t_s`."""
    mean, share = bank.mean.copy(), felt_share(bank.theta)
    boxes = np.empty((len(t_s), mean.shape[1]))
    mid_c = 0.5 * (out_c[:-1] + out_c[1:])
    for i, t in enumerate(t_s):
        boxes[i] = felt_c(share, mean)
        if t in refills:
            mean[0] = refills[t]
        if i + 1 < len(t_s):
            share = steps[i].felt
            mean = step_mean(steps[i], mean, mid_c[i], heat_at(heat[:, i], boxes[i]))
    return boxes


def _vars(
    bank: Bank, steps: list[Coefs], t_s: Array, unrest_k: Array, apart_k: Array, refills: dict[float, float]
) -> Array:
    """Variances (n, samples) of the air at the probe along the coarse grid `t_s`.

    `unrest_k` (n,) and how far the box is over outdoor air, `apart_k` (n, samples), are of its times.
    """
    cov, share = bank.cov, felt_share(bank.theta)
    out = np.empty((len(t_s), cov.shape[1]))
    for i, t in enumerate(t_s):
        out[i] = felt_var(share, cov)
        if t in refills:
            cov = cov.copy()
            cov[0], cov[1:3] = FILL_SD_C**2, 0.0
        if i + 1 < len(t_s):
            share = steps[i].felt
            cov = step_cov(steps[i], cov, unsure_k(float(unrest_k[i]), apart_k[i]))
    return out


def _between(t_s: Array, knots_s: Array, values: Array) -> Array:
    """Rows of `values` (k, samples) at times `t_s`, linear between knots."""
    right = np.clip(np.searchsorted(knots_s, t_s, side="right"), 1, len(knots_s) - 1)
    left = right - 1
    share = ((t_s - knots_s[left]) / (knots_s[right] - knots_s[left]))[:, None]
    return np.asarray((1.0 - share) * values[left] + share * values[right])


def _has_fresh_jug(bank: Bank) -> bool:
    return float(weights(bank) @ (bank.mean[0] - bank.mean[1])) > FRESH_JUG_K


def roll(
    bank: Bank,
    spec: BoxSpec,
    outdoor: OutdoorCurve,
    flock: Flock,
    horizon_s: float,
    step_s: float,
    refills: tuple[tuple[float, float], ...] = (),
) -> Paths:
    """Paths from the bank's own time on; `refills` as (t_s, fill_c). Refills before that time are let go.

    `step_s` is the first step; later ones are longer. Raises ValueError for a horizon or a step that is
    not positive.
    """
    if not (horizon_s > 0.0 and step_s > 0.0):
        raise ValueError(f"horizon_s, step_s: {horizon_s}, {step_s}: more than 0")
    t_s = bank.t_s + _times(horizon_s, step_s)
    hot = {t: fill for t, fill in refills if bank.t_s <= t < t_s[-1]}
    fresh = [*hot, bank.t_s] if _has_fresh_jug(bank) else [*hot]
    fine = _grid(t_s, [*hot, *(at + after for at in fresh for after in SETTLING_S)])
    out_c, heat = outdoor_paths(bank, outdoor, fine), heat_curve(flock, fine - fine[0])
    coarse = _grid(np.append(t_s[::COV_STRIDE], t_s[-1]), list(hot))
    short, long = _steps(bank, spec, (fine, coarse), hot)
    boxes = _means(bank, short, fine, out_c, heat, hot)
    apart_k = (boxes - out_c)[np.searchsorted(fine, coarse)]
    variances = _vars(bank, long, coarse, outdoor.unrest_at(coarse), apart_k, hot)
    sd = np.sqrt(_between(t_s, coarse, variances))
    keep = np.searchsorted(fine, t_s)
    return Paths(t_s, np.ascontiguousarray(boxes[keep].T), np.ascontiguousarray(sd.T), weights(bank))
