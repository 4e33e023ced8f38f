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

from coldbrood.brooder.bank import (
    Array,
    Bank,
    as_usual,
    coefs,
    felt_c,
    felt_now,
    felt_share,
    mixture,
    step_mean,
    weights,
)
from coldbrood.brooder.bends import (
    LADDER_S,
    LID_DEPTH_SHARE,
    LID_LEAST_APART_K,
    Prior,
    Window,
    nats,
    shapes,
    unsure_dip,
    wander,
)
from coldbrood.brooder.specs import BoxSpec
from coldbrood.brooder.thermal import priors

# Columns of the tail, the readings not yet taken into the bank: one row a minute or slower.
TIME, BOX, OUTDOOR, OUTDOOR_SD, HEAT, COUNT, FIRST = range(7)

LEAST_RISE_C = 0.2
LEAST_LEVEL_C = -0.3
DIP_C = 0.4
DIP_SD_C = 4.0
LEAST_HOTTER_K = 5.0
# A place has so many rows before it.
ROWS_BEFORE = 2
# Places so fresh are not looked at, and one younger than the second is not told yet: a later may be likelier.
LEAST_AFTER_S, LEAST_AGE_S = 100.0, 240.0
PROBE_LAG_S = 180.0  # steel-capped in still air: several minutes (physics.md section 9, M)
# The rows of so long must agree on the rise. With a reading each five minutes that is the newest alone, or
# else a refill is seen one reading too late, or never.
AGREED_S = 120.0
SPIKE_C = 0.5
FASTEST_K_PER_S = 0.012
# A refill seen so long after one was asked for is that one: water has to be heated (own choice).
ANSWERED_WITHIN_S = 4500.0
# A bend that is not sure waits for more readings as long as they come within so much of it.
TOLD_WITHIN_S = 600.0
SURE_ENOUGH = 0.95
# One told in doubt gives way to another so much later and so much likelier (own choice: twenty to one).
APART_S = 600.0
FAR_LIKELIER_NATS = 3.0


# Own choices. A lid is lifted some three times a day to look at the chicks, and hardly by night; a refill
# comes near the floor, at the keeper's own hours, most likely when asked for. Then the box need not have
# risen yet: a wrapped jug's rise hides in the healing dip.
UNASKED = Prior(1e-4, 0.01, 0.2)
LIKELY = Prior(5e-3, 0.01, -1.0)
ASKED = Prior(0.05, 0.01, -math.inf)
UNASKED_AT_NIGHT = Prior(1e-4, 1e-3, 0.2)
LIKELY_AT_NIGHT = Prior(5e-3, 1e-3, -1.0)
ASKED_AT_NIGHT = Prior(0.1, 1e-3, -math.inf)
# Over its ceiling a box is opened to cool it, and gets no hot jug.
TOO_HOT = Prior(1e-4, 0.1, 0.2)


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
    share = felt_share(theta)
    out = [(float(state[0, 0]), float(felt_c(share, state)[0]))]
    for before, after in pairwise(knots):
        row = tail[min(np.searchsorted(tail[:, TIME], after), len(tail) - 1)]
        step = coefs(theta, jug_j, float(after - before))
        state = step_mean(step, state, row[OUTDOOR], row[HEAT])
        out.append((float(state[0, 0]), float(felt_c(share, state)[0])))
    if len(knots) == 1:
        out = out[-1:]
    jugs, boxes = np.array(out).T
    return np.interp(tail[:, TIME], knots, jugs), np.interp(tail[:, TIME], knots, boxes)


def _responses(bank: Bank, spec: BoxSpec) -> tuple[Array, Array]:
    """Reading and box in K at each minute of an hour after the jug, as usual, became 1 K hotter: mean sample.

    The air answers at once, the probe in it as late as one with a steel cap does; the box answers slowly.
    """
    c = coefs((as_usual(bank.theta) @ weights(bank))[:, None], priors(spec).jug_j_per_k, LADDER_S)
    jug, box, probe, out, slow = 1.0, 0.0, 0.0, [0.0], [0.0]
    share, follow = float(c.felt[0]), 1.0 - math.exp(-LADDER_S / PROBE_LAG_S)
    (e11, e12), (e21, e22) = c.push[:2, :2, 0].tolist()
    for _ in range(60):
        jug, box = e11 * jug + e12 * box, e21 * jug + e22 * box
        probe += follow * (box + share * (jug - box) - probe)
        out.append(probe)
        slow.append(box)
    return np.array(out), np.array(slow)


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


def _bend_at(w: Window, i: int, prior: Prior) -> Bend | None:
    """Try a jug put in just before row `i`. Rows in an earlier dip tell nothing."""
    at = 0.5 * (w.t[i - 1] + w.t[i])
    levels = _levels(w.over[:i])
    rise = float(w.over[w.t >= w.t[-1] - AGREED_S].min() - levels[-1])
    if rise < prior.least_rise_c:
        return None
    dipped = np.flatnonzero(w.over[:i] < levels - DIP_C)
    cov = w.wander.copy()
    cov[dipped, dipped] += DIP_SD_C**2
    open_rows = np.flatnonzero(w.over[: i + 1] < np.append(levels, levels[-1]) - DIP_C)
    lid = float(w.t[max(open_rows[0] - 1, 0)]) if len(open_rows) else at
    return Bend(float(at), min(lid, float(at)), rise, nats(w, i, cov, prior))


def _window(bank: Bank, spec: BoxSpec, tail: Array, fill_c: float) -> Window:
    """The tail against what the old jug would have given, and a new one of `fill_c`."""
    jug, box = without_refill(bank, spec, tail)
    t, (response, slow) = tail[:, TIME], _responses(bank, spec)
    made = [shapes(t, response, i) for i in range(1, len(t))]
    _, sd_c = felt_now(bank)
    _, jug_sd_c = mixture(weights(bank), bank.mean[0], bank.cov[0])
    unsure = jug_sd_c * np.interp(t - bank.t_s, np.arange(len(slow)) * LADDER_S, slow)
    over = _without_spikes(t, tail[:, BOX] - box)
    p = priors(spec)
    return Window(
        t,
        over,
        wander(t, sd_c) + unsure[:, None] * unsure + unsure_dip(t, over),
        [jug for jug, _ in made],
        [dip for _, dip in made],
        max(fill_c - float(jug[-1]), LEAST_HOTTER_K),
        p.k_jug_other_w_per_k / p.k_jug_w_per_k,
        LID_DEPTH_SHARE * max(float((tail[:, BOX] - tail[:, OUTDOOR]).max()), LID_LEAST_APART_K),
    )


def find_bend(
    bank: Bank, spec: BoxSpec, tail: Array, prior: Prior = UNASKED, asked_c: float | None = None
) -> Bend | None:
    """The likeliest refill in the tail, or None. Told once sure, or where the next reading would come late.

    The water looked for is of `asked_c`, if such was asked for, or else as hot as usual.
    """
    best = max(_bends(bank, spec, tail, prior, asked_c), key=lambda b: b.nats, default=None)
    if best is None or not _is_old_enough(best, tail):
        return None
    next_s = 2.0 * tail[-1, TIME] - tail[-2, TIME]
    return None if best.chance < SURE_ENOUGH and next_s <= best.t_s + TOLD_WITHIN_S else best


def surer_bend(
    bank: Bank, spec: BoxSpec, tail: Array, told: Due, prior: Prior = UNASKED, asked_c: float | None = None
) -> Bend | None:
    """A refill `told` in doubt, weighed again: the same if it is surer now, or a later one far likelier.

    The bank is still without it. None where the readings say neither: that there was none they may not show.
    """
    bends = _bends(bank, spec, tail, prior, asked_c)
    same = next((bend for bend in bends if bend.t_s == told.t_s), None)
    least = FAR_LIKELIER_NATS + (0.0 if same is None else max(same.nats, 0.0))
    later = [bend for bend in bends if bend.t_s > told.t_s and bend.nats > least]
    best = max(later, key=lambda b: b.nats, default=None)
    if best is not None and _is_old_enough(best, tail):
        return best
    return same if same is not None and same.chance > told.chance else None


def _bends(bank: Bank, spec: BoxSpec, tail: Array, prior: Prior, asked_c: float | None) -> list[Bend]:
    """Places in the tail where a refill may have been, with two rows before them and some minutes after."""
    if not may_have_risen(tail):
        return []
    w = _window(bank, spec, tail, spec.fill_c if asked_c is None else asked_c)
    places = [i for i in range(ROWS_BEFORE, len(w.t)) if w.t[-1] - w.t[i] >= LEAST_AFTER_S]
    bends = (_bend_at(w, i, prior) for i in places)
    return [bend for bend in bends if bend is not None]


def _is_old_enough(bend: Bend, tail: Array) -> bool:
    return bend.nats > 0.0 and bool(tail[-1, TIME] - bend.t_s >= LEAST_AGE_S)
