"""A refill seen in the box readings: told from a lid that was opened, sun on the box, and noise.

The readings of the last half hour are held against what the old jug would have given. A lid opened
leaves a dip that heals and no more; a hot jug bends the curve upward at once, by about as much
as a jug at its fill temperature must; sun comes on slowly and without a dip.
"""

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

import numpy as np

from coldbrood.brooder.bank import Array, Bank, coefs, step_mean, weights
from coldbrood.brooder.specs import BoxSpec
from coldbrood.brooder.thermal import priors

# Columns of the tail, the readings not yet taken into the bank: one row a minute or slower.
TIME, BOX, OUTDOOR, OUTDOOR_SD, HEAT, COUNT, FIRST = range(7)

LEAST_RISE_C = 0.2
LID_NEAR_S = 480.0
LID_DROP_C = 0.6
LEAST_LEVEL_C = -0.3
DIP_C = 0.4
DIP_SD_C = 4.0
LEAST_HOTTER_K = 10.0
LEAST_AFTER_S = 100.0
LADDER_S = 60.0
# The rows of so long must agree on the rise. With a reading each five minutes that is the newest alone, or
# else a refill is seen one reading too late, or never.
AGREED_S = 120.0
SPIKE_C = 0.5
FASTEST_K_PER_S = 0.012
# What readings do by themselves within half an hour: deviations.
NOISE_SD_C = 0.06
MEMORY_SD_C = 0.10
LEVEL_SD_C = 0.25
SLOPE_K_PER_H = 1.0
BEND_K_PER_H15 = 4.0
# A lid's dip heals as the probe's lag (minutes) and as the box's own mass (a third of an hour): K, s.
HEALING = ((3.0, 150.0), (1.5, 400.0), (0.6, 1200.0))
# The jug's rise against the expected one: another towel, a fill less hot.
MEAN_SHARE = 0.9
SHARE_SD = 0.45
# A refill seen so long after one was asked for is that one: water has to be heated (own choice).
ANSWERED_WITHIN_S = 4500.0


@dataclass(frozen=True, slots=True)
class Prior:
    """What speaks for a refill at this time before the readings do: log odds, and the least rise in K.

    The first of each holds where a lid was lifted, the second where none was seen.
    """

    lid_nats: float
    bare_nats: float
    least_rise_c: float
    least_bare_rise_c: float


# Own choices. A lid is mostly lifted to look at the chicks, and near the floor or at the keeper's own hours
# more often for a refill; where one was asked for, mostly for that, and by night for little else. Then the
# box need not have risen yet: a wrapped jug's rise hides in the healing dip.
UNASKED = Prior(-5.0, -11.0, LEAST_RISE_C, 1.0)
LIKELY = Prior(-1.0, -8.5, -1.0, 0.5)
ASKED = Prior(1.0, -8.5, -math.inf, 0.5)
ASKED_AT_NIGHT = Prior(3.0, -8.5, -math.inf, 0.5)


@dataclass(frozen=True, slots=True)
class Refill:
    """A refill at watch time `t_s`; `rise_c` is how far the box stands above what the old jug gave."""

    t_s: float
    rise_c: float
    kind: Literal["seen", "noted"]


@dataclass(frozen=True, slots=True)
class Due:
    """A refill known of and not yet taken into the bank; the lid was open from `lid_s`.

    `fill_c` is how hot the keeper said the water was, `asked_c` how hot it was asked for if not as usual;
    `chance` is how likely it came.
    """

    t_s: float
    lid_s: float
    fill_c: float | None
    kind: Literal["seen", "noted"]
    asked_c: float | None = None
    chance: float = 1.0


@dataclass(frozen=True, slots=True)
class Ask:
    """A fill that was asked for at `t_s`, with water of `fill_c` or, if None, as hot as usual."""

    t_s: float
    fill_c: float | None = None


@dataclass(frozen=True, slots=True)
class Bend:
    """An upward bend: when, since when the box had been open, by how much, its log odds to be a refill."""

    t_s: float
    lid_s: float
    rise_c: float
    nats: float

    @property
    def chance(self) -> float:
        """That it is a refill."""
        return 1.0 / (1.0 + math.exp(-min(self.nats, 50.0)))


def may_have_risen(tail: Array) -> bool:
    """A cheap gate: the newest reading stands above the least of the tail."""
    return len(tail) >= 4 and tail[-1, BOX] - tail[:-1, BOX].min() > LEAST_RISE_C


def without_refill(bank: Bank, spec: BoxSpec, tail: Array) -> tuple[Array, Array]:
    """Jug and box (two arrays of the tail's length) that the bank's mean sample expects with no refill."""
    w = weights(bank)
    theta = (bank.theta @ w)[:, None]
    state = (bank.mean @ w)[:, None]
    jug_j = priors(spec).jug_j_per_k
    knots = np.unique(np.append(np.arange(bank.t_s, tail[-1, TIME], 300.0), tail[-1, TIME]))
    out = [(float(state[0, 0]), float(state[1, 0]))]
    for before, after in pairwise(knots):
        row = tail[min(np.searchsorted(tail[:, TIME], after), len(tail) - 1)]
        step = coefs(theta, jug_j, float(after - before))
        state = step_mean(step, state, row[OUTDOOR], row[HEAT])
        out.append((float(state[0, 0]), float(state[1, 0])))
    if len(knots) == 1:
        out = out[-1:]
    jugs, boxes = np.array(out).T
    return np.interp(tail[:, TIME], knots, jugs), np.interp(tail[:, TIME], knots, boxes)


def _response(bank: Bank, spec: BoxSpec) -> Array:
    """Box in K at each minute after the jug became 1 K hotter, for the bank's mean sample, over an hour."""
    c = coefs((bank.theta @ weights(bank))[:, None], priors(spec).jug_j_per_k, LADDER_S)
    jug, box, out = 1.0, 0.0, [0.0]
    (e11, e12), (e21, e22) = c.push[:2, :2, 0].tolist()
    for _ in range(60):
        jug, box = e11 * jug + e12 * box, e21 * jug + e22 * box
        out.append(box)
    return np.array(out)


def _without_spikes(t: Array, over: Array) -> Array:
    """Rows that jump above both neighbours are cut; the newest rises no faster than a jug lifts a box."""
    calm = over.copy()
    calm[1:-1] = np.minimum(over[1:-1], np.maximum(over[:-2], over[2:]) + SPIKE_C)
    highest = max(over[-2], 0.0) + SPIKE_C + FASTEST_K_PER_S * (t[-1] - t[-2])
    calm[-1] = min(over[-1], highest)
    return calm


def _levels(over: Array) -> Array:
    """Where the box stood up to each row: the highest that three rows in turn agreed on, so no dip counts.

    Never under the expectation by more than a little: a tail may begin inside a dip.
    """
    padded = np.concatenate([over[:1], over, over[-1:]])
    agreed = np.median(np.stack([padded[:-2], padded[1:-1], padded[2:]]), axis=0)
    return np.maximum.accumulate(np.maximum(agreed, LEAST_LEVEL_C))


def _wander(t: Array) -> Array:
    """Covariance of reading less expectation when nothing happened: noise, level, slope, bends."""
    since = t - t[0]
    apart = np.abs(since[:, None] - since)
    short, long = np.minimum(since[:, None], since), np.maximum(since[:, None], since)
    hours = 1.0 / 3600.0
    bends = BEND_K_PER_H15**2 * (short * hours) ** 2 * (3.0 * long - short) * hours / 6.0
    return np.asarray(
        NOISE_SD_C**2 * np.eye(len(t))
        + MEMORY_SD_C**2 * np.exp(-apart / 600.0)
        + LEVEL_SD_C**2
        + (SLOPE_K_PER_H * hours) ** 2 * since[:, None] * since
        + bends
    )


def _log_odds(over: Array, shape: Array, mean: float, sd: float, cov: Array) -> float:
    """Log odds that `over` holds `shape` times a normal amount (mean, sd) against that it does not.

    Closed form of two normal densities that differ by one rank.
    """
    shaped, plain = np.linalg.solve(cov, np.stack([shape, over], axis=1)).T
    weight, pull = float(shape @ shaped), float(shape @ plain)
    share = 1.0 + sd * sd * weight
    return 0.5 * ((sd * pull + mean / sd) ** 2 / share - (mean / sd) ** 2 - math.log(share))


@dataclass(frozen=True, slots=True)
class _Window:
    """The tail against its expectation; `response` is that of the box to a jug 1 K hotter, by the minute."""

    t: Array
    over: Array
    wander: Array
    response: Array
    hotter_k: float


def _lid_cov(w: _Window, i: int) -> Array:
    """What a lid opened before row `i` adds: rows in the dip tell nothing, the rest heals."""
    levels = _levels(w.over[:i])
    extra = np.zeros_like(w.wander)
    dipped = np.flatnonzero(w.over[:i] < levels - DIP_C)
    extra[dipped, dipped] = DIP_SD_C**2
    after = np.where(w.t >= w.t[i], w.t - 0.5 * (w.t[i - 1] + w.t[i]), np.inf)
    for sd, memory_s in HEALING:
        heal = np.exp(-after / memory_s)
        extra += sd**2 * heal[:, None] * heal
    return extra


def _drop(w: _Window, at_s: float, i: int) -> float:
    """The sharpest fall in the minutes before row `i`: an open lid shows as one."""
    near = w.over[: i + 1][w.t[: i + 1] > at_s - LID_NEAR_S]
    return float(np.max(np.maximum.accumulate(near) - near)) if len(near) else 0.0


def _bend_at(w: _Window, i: int, prior: Prior) -> Bend | None:
    """Try a jug put in just before row `i`, against a lid shut at that time and no more."""
    at = 0.5 * (w.t[i - 1] + w.t[i])
    levels = _levels(w.over[:i])
    rise = float(w.over[w.t >= w.t[-1] - AGREED_S].min() - levels[-1])
    open_rows = np.flatnonzero(w.over[: i + 1] < np.append(levels, levels[-1]) - DIP_C)
    bare = _drop(w, at, i) < LID_DROP_C
    if rise < (prior.least_bare_rise_c if bare else prior.least_rise_c):
        return None
    jug = np.interp(w.t - at, np.arange(len(w.response)) * LADDER_S, w.response, left=0.0)
    cov = w.wander + _lid_cov(w, i)
    nats = _log_odds(w.over, jug, MEAN_SHARE * w.hotter_k, SHARE_SD * w.hotter_k, cov)
    lid = float(w.t[max(open_rows[0] - 1, 0)]) if len(open_rows) else at
    return Bend(float(at), min(lid, float(at)), rise, nats + (prior.bare_nats if bare else prior.lid_nats))


def find_bend(bank: Bank, spec: BoxSpec, tail: Array, prior: Prior = UNASKED) -> Bend | None:
    """The likeliest refill in the tail, or None. Needs two rows before it and 2.5 minutes after."""
    if not may_have_risen(tail):
        return None
    jug, box = without_refill(bank, spec, tail)
    hotter_k = spec.fill_c - float(jug[-1])
    if hotter_k < LEAST_HOTTER_K:
        return None
    t = tail[:, TIME]
    over = _without_spikes(t, tail[:, BOX] - box)
    w = _Window(t, over, _wander(t), _response(bank, spec), hotter_k)
    places = [i for i in range(2, len(t)) if t[-1] - t[i] >= LEAST_AFTER_S]
    bends = [b for i in places if (b := _bend_at(w, i, prior)) is not None]
    best = max(bends, key=lambda b: b.nats, default=None)
    return best if best is not None and best.nats > 0.0 else None
