"""From one batch to the next: what the readings taught of a box stays, what belonged to its chicks does not.

The exchange of the jug, the loss of the box and its heat capacity are taken over with a stated widening: the
box was washed, dried and littered anew, the lid went on and off, and the season moved on. The factor on the
chicks' heat begins anew, since other chicks come. So do temperatures and stray heat: nobody has looked yet.
"""

from dataclasses import replace

import numpy as np

from coldbrood.brooder.bank import AIR, SAMPLES, TOWEL, Bank, as_usual, draw, spread_normals, weights
from coldbrood.brooder.estimate import Estimate
from coldbrood.brooder.specs import BoxSpec

WIDEN_LOG_SD = np.array([0.10, 0.15, 0.20])
"""Added in quadrature to the spread of k_jug, k_box and box_j_per_k, as logarithms: own choice, no source.

A bank in use wanders by a tenth a day (`bank.LOG_WALK_PER_SQRT_H`): one day's wander for the jug, two for the
loss, four for what is warmed, of which fresh litter is the most. The spread on paper is 0.3, 0.4 and 0.5.
"""
KEPT_ROWS = len(WIDEN_LOG_SD)


def carried(est: Estimate, spec: BoxSpec) -> Estimate:
    """The estimate with which the next batch in this box begins. A box never read begins on paper.

    Spreads never grow past those on paper: a widening must not make a learned box less known than a new one.
    """
    fresh = draw(spec, est.bank.seed)
    bank = replace(fresh, draws=est.bank.draws + 1)
    if est.first_s is not None:
        bank = replace(bank, theta=_widened(est.bank, fresh))
    return Estimate(bank=bank, tail=np.zeros((0, est.tail.shape[1])))


def _widened(bank: Bank, fresh: Bank) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
    """Parameters (6, n) of equal weight: picked by their weight, then stirred. The towel is as on paper."""
    rng = np.random.default_rng((bank.seed, bank.draws))
    points = (rng.random() + np.arange(SAMPLES)) / SAMPLES
    index = np.minimum(np.searchsorted(np.cumsum(weights(bank)), points), SAMPLES - 1)
    picked = as_usual(bank.theta)[:KEPT_ROWS, index]
    room = np.sqrt(np.maximum(as_usual(fresh.theta)[:KEPT_ROWS].var(axis=1) - picked.var(axis=1), 0.0))
    stir = np.minimum(WIDEN_LOG_SD, room)[:, None] * spread_normals(rng, KEPT_ROWS)
    theta = np.concatenate([picked + stir, fresh.theta[KEPT_ROWS:]])
    theta[0] += theta[TOWEL]
    return theta


def modern(est: Estimate, spec: BoxSpec) -> Estimate:
    """An estimate kept by a version that knew of no air between jug and box: what it learned fits no longer.

    It begins anew on paper, at the time of the old one, and has the box and the jug as they were left.
    """
    if len(est.bank.theta) > AIR:
        return est
    fresh = draw(spec, est.bank.seed)
    return replace(est, bank=replace(est.bank, theta=fresh.theta, log_w=fresh.log_w))
