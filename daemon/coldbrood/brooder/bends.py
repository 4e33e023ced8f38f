"""What the newest readings look like if nothing happened, a lid was lifted, chicks came home, or a jug came.

Each is a normal density of the readings less what the old jug would have given; a refill is as likely as its
share of them. A lid's dip goes down and heals, a jug's warmth comes at once and stays, with a lid's dip
under it; wind and sun wander.
"""

import math
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np

from coldbrood.brooder.bank import OTHER_TOWEL_ONE_IN, Array

LADDER_S = 60.0
PRIOR_PER_S = 300.0
# A refill may have come at any time between two readings so far apart: so many times are tried, or else one.
TIMES_TRIED = ((120.0, 5), (30.0, 3))

# What readings do by themselves within half an hour: deviations.
NOISE_SD_C = 0.06
MEMORY_SD_C = 0.10
GUST_SD_C, GUST_S = 0.25, 1200.0
LEVEL_SD_C = 0.25
SLOPE_K_PER_H = 1.0
BEND_K_PER_H15 = 4.0
# A lid's dip: with the lid open for a minute as deep as a part of what box and outdoors are apart
# (half-normal). Ways to open it: for how long in s, how fast the probe follows in s, and the part of the dip
# that walls and litter lost: own choices, as most lids are shut within two minutes, and five cool a hot box.
LID_DEPTH_SHARE = 0.2
LID_LEAST_APART_K = 5.0
LID_DEPTHS = np.array([NormalDist().inv_cdf(0.5 + (k + 0.5) / 16.0) for k in range(8)])
LIDS = ((40.0, 150.0, 0.05), (80.0, 300.0, 0.1), (60.0, 200.0, 0.2), (300.0, 150.0, 0.3), (300.0, 250.0, 0.2))
USUAL_LID = 1.0 - math.exp(-60.0 / 200.0)
LID_KEPT_S = 3600.0
# A dip just before a place may be that of the lid alone: so long before it.
EARLIER_LID_S = 360.0
# No dip is quite one of these: so much of its depth is not sure while it heals (own choice, on simulated
# boxes: with a reading each minute look-ins passed for refills without it).
UNSURE_DIP, UNSURE_DIP_S = 0.15, 400.0
# Chicks that come home, or a pop hole that shuts, warm the air by about so much within minutes and for good:
# once for each three lids (own choice).
HOME_K = 1.0
HOME_S = 300.0
HOME_PER_LID = 0.3
# The jug's rise against the one expected with its usual towel; one in six has the towel the other way, as in
# `bank.OTHER_TOWEL_ONE_IN`.
MEAN_SHARE, SHARE_SD = 0.95, 0.3


@dataclass(frozen=True, slots=True)
class Prior:
    """Before the readings speak: the chance in five minutes of a refill, and of a lid lifted and no more.

    `least_rise_c` is how far the box must have risen for a refill to be held possible.
    """

    refill: float
    lid: float
    least_rise_c: float


def wander(t: Array, level_sd_c: float) -> Array:
    """Covariance of reading less expectation when nothing happened: noise, level, slope, bends."""
    since = t - t[0]
    apart = np.abs(since[:, None] - since)
    short, long = np.minimum(since[:, None], since), np.maximum(since[:, None], since)
    hours = 1.0 / 3600.0
    bends = BEND_K_PER_H15**2 * (short * hours) ** 2 * (3.0 * long - short) * hours / 6.0
    return np.asarray(
        NOISE_SD_C**2 * np.eye(len(t))
        + MEMORY_SD_C**2 * np.exp(-apart / 600.0)
        + GUST_SD_C**2 * np.exp(-apart / GUST_S)
        + LEVEL_SD_C**2
        + level_sd_c**2
        + (SLOPE_K_PER_H * hours) ** 2 * since[:, None] * since
        + bends
    )


def unsure_dip(t: Array, over: Array) -> Array:
    """Covariance (rows, rows) of how the deepest dip differs from any lid in LIDS, from its beginning on."""
    depths = np.maximum.accumulate(over) - over
    low = int(depths.argmax())
    shut = np.flatnonzero(depths[:low] < 0.1 * depths[low])
    begun = t > t[shut[-1] if len(shut) else 0]
    part = UNSURE_DIP * depths[low] * begun * np.exp(-np.maximum(t - t[low], 0.0) / UNSURE_DIP_S)
    return np.asarray(part[:, None] * part * np.exp(-np.abs(t[:, None] - t) / UNSURE_DIP_S))


@dataclass(frozen=True, slots=True)
class Window:
    """The tail against its expectation, times and differences of shape (rows,), `wander` (rows, rows).

    `jugs` and `dips` hold, for each row from the second on, what a jug 1 K hotter and a lid's dip of 1 K look
    like if they came just before it: (rows, n), n times and ways to heal. With its towel the other way a jug
    lifts the box by `other_share` of that.
    """

    t: Array
    over: Array
    wander: Array
    jugs: list[Array]
    dips: list[Array]
    hotter_k: float
    other_share: float
    lid_k: float


def shapes(t: Array, response: Array, i: int) -> tuple[Array, Array]:
    """What a jug 1 K hotter and a dip of 1 K look like (rows, n), put in at some times just before row `i`.

    `response` is that of the reading to the jug, by the minute.
    """
    gap_s = float(t[i] - t[i - 1])
    some = next((times for apart_s, times in TIMES_TRIED if gap_s > apart_s), 1)
    since = np.maximum(t[:, None] - t[i - 1] - gap_s * (np.arange(some) + 0.5) / some, 0.0)
    jug = np.interp(since, np.arange(len(response)) * LADDER_S, response)
    dips = []
    for open_s, heal_s, kept in LIDS:
        opened = -np.expm1(-np.minimum(since, open_s) / heal_s) / USUAL_LID
        shut = np.maximum(since - open_s, 0.0)
        dips.append(opened * ((1.0 - kept) * np.exp(-shut / heal_s) + kept * np.exp(-shut / LID_KEPT_S)))
    return np.tile(jug, (1, len(LIDS))), np.hstack(dips)


def _log_mean(values: Array) -> float:
    most = float(values.max())
    return most + math.log(float(np.exp(values - most).mean()))


def nats(w: Window, i: int, cov: Array, prior: Prior) -> float:
    """Log odds of a refill just before row `i` against a lid lifted near then and no more, or nothing.

    Normal densities, each against that of nothing: of a dip of depth d, exp(-d a - d2 b / 2); with a jug
    hotter by a normal amount besides, in closed form. Averaged over depths, healings and times.
    """
    first = int(np.searchsorted(w.t, w.t[i - 1] - EARLIER_LID_S))
    jug, dip = w.jugs[i - 1], np.hstack(w.dips[first:])
    n, before = jug.shape[1], sum(earlier.shape[1] for earlier in w.dips[first : i - 1])
    own = slice(before, before + n)
    solved = np.linalg.solve(cov, np.hstack([w.over[:, None], jug, dip]))
    over_, jug_, dip_ = solved[:, 0], solved[:, 1 : n + 1], solved[:, n + 1 :]
    depth = w.lid_k * LID_DEPTHS[:, None]
    lid = -(depth * (dip.T @ over_) + 0.5 * depth**2 * (dip * dip_).sum(axis=0))
    pull = jug.T @ over_ + depth * (jug * dip_[:, own]).sum(axis=0)
    hotter = _hotter(w, pull, (jug * jug_).sum(axis=0))
    gap, rest = (float(apart) / PRIOR_PER_S for apart in (w.t[i] - w.t[i - 1], w.t[-1] - w.t[first]))
    others = (
        0.0,
        math.log(rest * prior.lid) + _log_mean(lid),
        math.log(gap * HOME_PER_LID * prior.lid) + _log_mean(_home(w, i, cov)),
    )
    return math.log(gap * prior.refill) + _log_mean(lid[:, own] + hotter) - float(np.logaddexp.reduce(others))


def _hotter(w: Window, pull: Array, weight: Array) -> Array:
    """Log odds of a jug hotter by a normal amount, its towel as usual or the other way, against none."""
    ways = []
    for share, chance in ((1.0, 1.0 - 1.0 / OTHER_TOWEL_ONE_IN), (w.other_share, 1.0 / OTHER_TOWEL_ONE_IN)):
        mean, sd = MEAN_SHARE * share * w.hotter_k, SHARE_SD * math.sqrt(share) * w.hotter_k
        spread = 1.0 + sd * sd * weight
        log_odds = 0.5 * ((sd * pull + mean / sd) ** 2 / spread - (mean / sd) ** 2 - np.log(spread))
        ways.append(math.log(chance) + log_odds)
    return np.asarray(np.logaddexp(*ways))


def _home(w: Window, i: int, cov: Array) -> Array:
    """Log odds of warmth that came before row `i` and stays, by how much, against nothing."""
    since = np.maximum(w.t - w.t[i - 1], 0.0)
    warmth = 1.0 - np.exp(-since / HOME_S)
    solved = np.linalg.solve(cov, warmth)
    by_k = HOME_K * LID_DEPTHS
    return np.asarray(by_k * float(solved @ w.over) - 0.5 * by_k**2 * float(solved @ warmth))
