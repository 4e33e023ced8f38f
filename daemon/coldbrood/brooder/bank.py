"""A bank of sampled boxes: each carries its own parameters and a Kalman filter of jug, box and stray heat.

Stray heat (`w`) is what the two nodes leave out: wind on the lid, chicks out by day, sun, an outdoor
probe that errs. It wanders with a memory of two hours, so that the range of a forecast is made
of what the model does not know and not of the readings' noise alone.
State rows are jug_c, box_c, stray_w; covariance rows jj, jb, jw, bb, bw, ww; parameter rows the
logarithms of k_jug (at 40 K apart), k_box, box_j_per_k and the factor on the chicks' heat; the fifth, the
towel's, is what k_jug holds now beyond its usual, since each fill is a little different and one in six has
the jug wrapped or bare against habit. That lasts from one fill to the next; what was learned of the usual
stays. The sixth is that of how far the jug draws the air (`thermal.air_k_per_w`): box_c is walls, litter and
all that is slow, and the probe feels the air, which follows a part of the jug at once.
"""

import math
from dataclasses import dataclass, replace
from functools import cache
from statistics import NormalDist
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from coldbrood.brooder.specs import DAY_UNREST_K, BoxSpec
from coldbrood.brooder.thermal import SHARE_BASE, SHARE_ROOT, blocks, priors

Array = NDArray[np.float64]

SAMPLES = 256
STRAY_MEMORY_S = 7200.0
# Stray heat as kelvin of box over outdoor, times k_box: deviation of the standing state by night; by day
# there is `specs.DAY_UNREST_K` besides. What wind takes is a share of how far the box is over outdoor air: a
# box hot from a fresh jug loses more to it (own choice, on simulated boxes: with 1.7 K for all, the squared
# errors within three hours of a fill were 1.4 to 1.8 of what was expected, later 0.6).
STRAY_K = 0.9
STRAY_SHARE = 0.09
JUG_DRIFT_K2_PER_S = 0.3**2 / 3600.0
BOX_DRIFT_K2_PER_S = 0.15**2 / 3600.0
# The readings' error remembers for ten minutes (physics.md section 5): thinned readings weigh less. It is
# wider than a probe's own, as two nodes are not the box: with 0.15 too few boxes outlived a fresh jug's first
# hour, and forecasts from it were too sure (own choice, on simulated boxes).
PROBE_SD_C = 0.3
PROBE_MEMORY_S = 600.0
SURPRISE_SD = 2.5
LONGEST_STEP_S = 600.0
FILL_SD_C = 7.0
LOG_WALK_PER_SQRT_H = 0.02
# One fill in so many has the towel the other way, and what a towel does is known so well (own choice). A
# jug without its towel at noon may lack it at night: half of the fills have it as the last one had.
OTHER_TOWEL_ONE_IN = 6
TOWEL_LOG_SD = 0.2
AS_LAST_SHARE = 0.5
AS_USUAL_LOG = 0.4  # within this of its usual a jug has its towel as usual
# And each fill gives by so much more or less than the last: where the jug stands, how full it is.
FILL_LOG_SD = 0.1
TOWEL, AIR = 4, 5
LEARNED = (0, 1, 2, 3, AIR)  # the rows that wander and are stirred; the towel's is on or off
# Packed covariance rows to a whole 3 x 3 and back.
_FULL = np.array([[0, 1, 2], [1, 3, 4], [2, 4, 5]])
_UPPER = (np.array([0, 0, 0, 1, 1, 2]), np.array([0, 1, 2, 1, 2, 2]))


@dataclass(frozen=True, slots=True, eq=False)
class Bank:
    """`theta` (6, n), `mean` (3, n), `cov` (6, n), `log_w` (n,), at `t_s`; `draws` counts chances."""

    t_s: float
    seed: int
    draws: int
    theta: Array
    mean: Array
    cov: Array
    log_w: Array


class Drive3(NamedTuple):
    """What acts over a step: outdoor air in C, its deviation with the hour's unrest, and the chicks' heat.

    That is in W, before the learned factor.
    """

    outdoor_c: float
    outdoor_sd_c: float
    heat_w: float


class Coefs(NamedTuple):
    """One step for each sample; see `coefs`.

    `push` (3, 5, n) takes jug, box, stray, exchange beyond the linear and heat to the next state;
    its first three columns are the transition of the covariance.
    """

    push: Array
    stray_kept: float
    dt_s: float
    share_base: Array
    share_root: Array
    k_box: Array
    heat_factor: Array
    felt: Array


def felt_share(theta: Array) -> Array:
    """Part of the jug in the air at the probe (n,), the rest of it box, for parameters (6, n)."""
    x = np.exp(theta[0] + theta[AIR])
    return np.asarray(x / (1.0 + x))


def felt_c(share: Array, mean: Array) -> Array:
    """Air at the probe in C (..., n), for states (3, ..., n)."""
    return np.asarray(mean[1] + share * (mean[0] - mean[1]))


def felt_var(share: Array, cov: Array) -> Array:
    """Variance of the air at the probe (..., n), of covariances (6, ..., n)."""
    rest = 1.0 - share
    return np.asarray(share * share * cov[0] + 2.0 * share * rest * cov[1] + rest * rest * cov[3])


def felt_cov(share: Array, cov: Array) -> Array:
    """Covariances of the air at the probe with jug, box and stray heat (3, ..., n)."""
    rest = 1.0 - share
    return np.stack([share * cov[i] + rest * cov[j] for i, j in ((0, 1), (1, 3), (2, 4))])


def felt_now(bank: Bank) -> tuple[float, float]:
    """Mean and standard deviation in C of the air at the probe."""
    share = felt_share(bank.theta)
    return mixture(weights(bank), felt_c(share, bank.mean), felt_var(share, bank.cov))


def rng_of(bank: Bank) -> np.random.Generator:
    """The chance of this moment: the same for the same seed and count of draws."""
    return np.random.default_rng((bank.seed, bank.draws))


@cache
def _quantiles(n: int) -> tuple[float, ...]:
    normal = NormalDist()
    return tuple(normal.inv_cdf((i + 0.5) / n) for i in range(n))


def spread_normals(rng: np.random.Generator, rows: int, n: int = SAMPLES) -> Array:
    """Standard normals of shape (rows, n), each row a shuffle of the n mid-quantiles."""
    even = np.array(_quantiles(n))
    return np.stack([rng.permutation(even) for _ in range(rows)])


def draw(spec: BoxSpec, seed: int) -> Bank:
    """A bank from the priors, without a reading."""
    p = priors(spec)
    rng = np.random.default_rng((seed, 0))
    centre = np.log([p.k_jug_w_per_k, p.k_box_w_per_k, p.box_j_per_k, 1.0])
    theta = centre[:, None] + np.array(p.log_sd)[:, None] * spread_normals(rng, 4)
    air = math.log(p.air_k_per_w) + p.air_log_sd * spread_normals(np.random.default_rng((seed, 1)), 1)
    theta = with_towels(np.vstack([theta, np.zeros(SAMPLES), air]), spec, rng, as_last_share=0.0)
    nothing = np.zeros((3, SAMPLES)), np.zeros((6, SAMPLES)), np.zeros(SAMPLES)
    return Bank(0.0, seed, 1, theta, *nothing)


def as_usual(theta: Array) -> Array:
    """The same parameters (6, n) with each jug as it usually is."""
    usual = theta.copy()
    usual[0] -= theta[TOWEL]
    usual[TOWEL] = 0.0
    return usual


def with_towels(
    theta: Array, spec: BoxSpec, rng: np.random.Generator, as_last_share: float = AS_LAST_SHARE
) -> Array:
    """Parameters (6, n) after another fill: the jug stands otherwise, and its towel may be the other way.

    So many keep the towel as it was, of the rest one in six has it against habit.
    """
    p, n = priors(spec), theta.shape[1]
    by_chance = rng.permutation(n) % OTHER_TOWEL_ONE_IN == 0
    as_last = rng.permutation(n) < as_last_share * n
    other = np.where(as_last, np.abs(theta[TOWEL]) > AS_USUAL_LOG, by_chance)
    apart = math.log(p.k_jug_other_w_per_k / p.k_jug_w_per_k) + TOWEL_LOG_SD * spread_normals(rng, 1, n)[0]
    new = as_usual(theta)
    new[TOWEL] = np.where(other, apart, 0.0) + FILL_LOG_SD * spread_normals(rng, 1, n)[0]
    new[0] += new[TOWEL]
    return new


def settle(bank: Bank, spec: BoxSpec, t_s: float, box_c: float) -> Bank:
    """First sight of the box: the jug may be anything from cold to just filled."""
    span = max(spec.fill_c - box_c, 5.0)
    jug_c, share = box_c + 0.5 * span, felt_share(bank.theta)
    mean = np.stack([np.full(SAMPLES, jug_c), (box_c - share * jug_c) / (1.0 - share), np.zeros(SAMPLES)])
    cov = np.zeros((6, SAMPLES))
    # Walls and litter may be far from their balance yet: twice the usual stray heat.
    cov[0], cov[3], cov[5] = (0.35 * span) ** 2, 0.2**2, 4.0 * stray_var(np.exp(bank.theta[1]))
    return replace(bank, t_s=t_s, mean=mean, cov=cov)


def unsure_k(outdoor_sd_c: float, apart_k: Array) -> Array:
    """What is not sure of the drive in kelvin of outdoor air, for boxes so many kelvin over it (..., n)."""
    return np.asarray(np.hypot(outdoor_sd_c, STRAY_SHARE * apart_k))


def stray_var(k_box: Array, drive_sd_k: float | Array = DAY_UNREST_K) -> Array:
    """Variance in W2 of standing stray heat: the model's own, and a drive that is not sure by so much."""
    return np.asarray(k_box**2 * (STRAY_K**2 + drive_sd_k**2))


def coefs(theta: Array, jug_j_per_k: float, dt_s: float) -> Coefs:
    """Exact step of every sample over `dt_s`, for parameters of shape (6, n)."""
    return coefs_of(theta, jug_j_per_k, np.array([dt_s]))[0]


def coefs_of(theta: Array, jug_j_per_k: float, lengths_s: Array) -> list[Coefs]:
    """Exact steps of every sample over each of some lengths, for parameters of shape (6, n).

    The exchange is linear at its 40 K value inside the exponential; what it differs from that
    enters as a heat that is constant over the step. Stray heat enters by its mean over the step.
    """
    k_jug, k_box, box_j, factor = np.exp(theta[:TOWEL])
    m = blocks(lengths_s[:, None], jug_j_per_k, k_jug, box_j, k_box)
    push = np.zeros((3, 5, len(lengths_s), theta.shape[1]))
    push[0, 0], push[0, 1], push[0, 4] = m.e11, m.e12, m.g12 / box_j
    push[1, 0], push[1, 1], push[1, 4] = m.e21, m.e22, m.g22 / box_j
    push[0, 3] = push[0, 4] - m.g11 / jug_j_per_k
    push[1, 3] = push[1, 4] - m.g21 / jug_j_per_k
    base, root = k_jug * (SHARE_BASE - 1.0), k_jug * SHARE_ROOT
    felt = felt_share(theta)
    out = []
    for i, dt_s in enumerate(lengths_s.tolist()):
        kept = math.exp(-dt_s / STRAY_MEMORY_S)
        mean_kept = (1.0 - kept) * STRAY_MEMORY_S / dt_s if dt_s > 0.0 else 1.0
        push[:, 2, i] = push[:, 4, i] * mean_kept
        push[2, 2, i] = kept
        out.append(Coefs(np.ascontiguousarray(push[:, :, i]), kept, dt_s, base, root, k_box, factor, felt))
    return out


def step_mean(c: Coefs, mean: Array, outdoor_c: Array | float, heat_w: Array | float) -> Array:
    """Means (3, ..., n) one step on; `heat_w` is the chicks' before the learned factor."""
    acts = np.empty((5, *mean.shape[1:]))
    acts[:3] = mean
    apart = mean[0] - mean[1]
    acts[3] = apart * (c.share_base + c.share_root * np.sqrt(np.maximum(apart, 0.0)))
    acts[4] = c.heat_factor * heat_w + c.k_box * outdoor_c
    return np.asarray(np.einsum("ijn,j...n->i...n", c.push, acts))


def step_cov(c: Coefs, cov: Array, drive_sd_k: float | Array) -> Array:
    """Covariances (6, ..., n) one step on: F P F' plus the noise of the step, with `unsure_k` (..., n)."""
    f = c.push[:, :3]
    half = np.einsum("ijn,jk...n->ik...n", f, cov[_FULL])
    new = np.asarray(np.einsum("ij...n,kjn->ik...n", half, f)[_UPPER])
    new[0] += JUG_DRIFT_K2_PER_S * c.dt_s
    new[3] += BOX_DRIFT_K2_PER_S * c.dt_s
    new[5] += (1.0 - c.stray_kept**2) * stray_var(c.k_box, drive_sd_k)
    return new


def advance(bank: Bank, jug_j_per_k: float, to_s: float, drive: Drive3) -> Bank:
    """The bank at `to_s`, by equal steps of ten minutes at most, without a reading."""
    span = to_s - bank.t_s
    if span <= 0.0:
        return bank
    steps = math.ceil(span / LONGEST_STEP_S)
    c = coefs(bank.theta, jug_j_per_k, span / steps)
    mean, cov = bank.mean, bank.cov
    for _ in range(steps):
        cov = step_cov(c, cov, unsure_k(drive.outdoor_sd_c, mean[1] - drive.outdoor_c))
        mean = step_mean(c, mean, drive.outdoor_c, drive.heat_w)
    return replace(bank, t_s=to_s, mean=mean, cov=cov)


def weights(bank: Bank) -> Array:
    """Weights of the samples, summing to one."""
    w = np.exp(bank.log_w - bank.log_w.max())
    return np.asarray(w / w.sum())


def mixture(w: Array, mean: Array, var: Array) -> tuple[float, float]:
    """Mean and standard deviation of a mixture of normals."""
    centre = float(w @ mean)
    return centre, math.sqrt(max(float(w @ (var + (mean - centre) ** 2)), 0.0))


def reading_var(dt_s: float) -> float:
    """Variance of a reading `dt_s` after the last: inflated for the memory of its error.

    (1 + p) / (1 - p) with p = exp(-dt / memory), physics.md section 5.
    """
    p = math.exp(-max(dt_s, 1.0) / PROBE_MEMORY_S)
    return PROBE_SD_C**2 * (1.0 + p) / (1.0 - p)


def update(bank: Bank, box_c: float, var: float) -> tuple[Bank, float]:
    """Take one box reading with error variance `var`: the bank, and its normalised innovation squared.

    A surprise beyond 2.5 deviations of the whole bank counts as if the reading were that much
    noisier, for all samples alike: a lid's dip neither moves the state far nor picks parameters.
    """
    share = felt_share(bank.theta)
    expected_c = felt_c(share, bank.mean)
    cross, own = felt_cov(share, bank.cov), felt_var(share, bank.cov)
    centre, sd = mixture(weights(bank), expected_c, own)
    nis = (box_c - centre) ** 2 / (sd**2 + var)
    if nis > SURPRISE_SD**2:
        var = (box_c - centre) ** 2 / SURPRISE_SD**2 - sd**2
    innovation = box_c - expected_c
    total = own + var
    gain = cross / total
    left, right = cross[[0, 0, 0, 1, 1, 2]], gain[[0, 1, 2, 1, 2, 2]]
    log_w = bank.log_w - 0.5 * (innovation**2 / total + np.log(total))
    log_w -= log_w.max()
    after = replace(bank, mean=bank.mean + gain * innovation, cov=bank.cov - left * right, log_w=log_w)
    return after, nis


def loosen(bank: Bank, dt_s: float) -> Bank:
    """Let the parameters wander by about a tenth a day, and pick anew when few samples carry the weight."""
    rng = rng_of(bank)
    walk = LOG_WALK_PER_SQRT_H * math.sqrt(dt_s / 3600.0)
    theta = bank.theta.copy()
    theta[LEARNED, :] += walk * rng.standard_normal((len(LEARNED), SAMPLES))
    bank = replace(bank, theta=theta, draws=bank.draws + 1)
    w = weights(bank)
    return _pick_anew(bank, w, rng) if 1.0 / float(w @ w) < 0.5 * SAMPLES else bank


def _pick_anew(bank: Bank, w: Array, rng: np.random.Generator) -> Bank:
    """Systematic resampling; parameters shrunk and stirred so that their whole covariance stays.

    Liu and West 2001 (from memory), with a share of 0.15. The towel is on or off, and is not stirred.
    """
    points = (rng.random() + np.arange(SAMPLES)) / SAMPLES
    index = np.minimum(np.searchsorted(np.cumsum(w), points), SAMPLES - 1)
    usual = as_usual(bank.theta)[LEARNED, :]
    centre = usual @ w
    apart = usual - centre[:, None]
    cov = (apart * w) @ apart.T + 1e-8 * np.eye(len(LEARNED))
    share = 0.15
    keep = math.sqrt(1.0 - share**2)
    stir = share * np.linalg.cholesky(cov) @ rng.standard_normal((len(LEARNED), SAMPLES))
    theta = bank.theta[:, index]
    theta[LEARNED, :] = centre[:, None] + keep * apart[:, index] + stir
    theta[0] += theta[TOWEL]
    return replace(
        bank, theta=theta, mean=bank.mean[:, index], cov=bank.cov[:, index], log_w=np.zeros(SAMPLES)
    )
