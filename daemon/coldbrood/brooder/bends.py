"""What the newest readings look like if nothing happened, a lid was lifted, chicks came home, or a jug came.

Each is a normal density of the readings less what the old jug would have given; a refill is as likely as its
share of them. A lid's dip goes down and heals, a jug's warmth comes at once and stays, with a lid's dip
under it; wind and sun wander.
"""

import math
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np

from coldbrood.brooder.bank import Array

LADDER_S = 60.0
PRIOR_PER_S = 300.0
# A refill may have come at any time between two readings so far apart: so many times are tried.
LONG_GAP_S, TIMES_TRIED = 120.0, 5

# What readings do by themselves within half an hour: deviations.
NOISE_SD_C = 0.06
MEMORY_SD_C = 0.10
GUST_SD_C, GUST_S = 0.25, 1200.0
LEVEL_SD_C = 0.25
SLOPE_K_PER_H = 1.0
BEND_K_PER_H15 = 4.0
# A lid's dip: as deep as a part of what box and outdoors are apart (half-normal, own choice). Ways to open
# it: for how long in s, how deep against the usual, and how it heals: as the probe follows, in s, but for the
# part that walls and litter lost.
LID_DEPTH_SHARE = 0.2
LID_LEAST_APART_K = 5.0
LID_DEPTHS = np.array([NormalDist().inv_cdf(0.5 + (k + 0.5) / 16.0) for k in range(8)])
LIDS = ((60.0, 1.0, 150.0, 0.05), (60.0, 1.0, 300.0, 0.1), (60.0, 1.0, 200.0, 0.2), (300.0, 2.5, 200.0, 0.3))
LID_KEPT_S = 3600.0
# Chicks that come home, or a pop hole that shuts, warm the air by about so much within minutes and for good:
# once for each three lids (own choice).
HOME_K = 1.0
HOME_S = 300.0
HOME_PER_LID = 0.3
# The jug's rise against the expected one: another towel, a fill less hot.
MEAN_SHARE = 0.9
SHARE_SD = 0.45


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


@dataclass(frozen=True, slots=True)
class Window:
    """The tail against its expectation, times and differences of shape (rows,), `wander` (rows, rows).

    `jugs` and `dips` hold, for each row from the second on, what a jug 1 K hotter and a lid's dip of 1 K look
    like if they came just before it: (rows, n), n times and ways to heal.
    """

    t: Array
    over: Array
    wander: Array
    jugs: list[Array]
    dips: list[Array]
    hotter_k: float
    lid_k: float


def shapes(t: Array, response: Array, i: int) -> tuple[Array, Array]:
    """What a jug 1 K hotter and a dip of 1 K look like (rows, n), put in at some times just before row `i`.

    `response` is that of the reading to the jug, by the minute.
    """
    gap_s = float(t[i] - t[i - 1])
    some = TIMES_TRIED if gap_s > LONG_GAP_S else 1
    since = np.maximum(t[:, None] - t[i - 1] - gap_s * (np.arange(some) + 0.5) / some, 0.0)
    jug = np.interp(since, np.arange(len(response)) * LADDER_S, response)
    dips = []
    for open_s, deep, heal_s, kept in LIDS:
        shut = np.maximum(since - open_s, 0.0)
        healing = (1.0 - kept) * np.exp(-shut / heal_s) + kept * np.exp(-shut / LID_KEPT_S)
        dips.append(deep * np.minimum(since / open_s, 1.0) * healing)
    return np.tile(jug, (1, len(LIDS))), np.hstack(dips)


def _log_mean(values: Array) -> float:
    most = float(values.max())
    return most + math.log(float(np.exp(values - most).mean()))


def nats(w: Window, i: int, cov: Array, prior: Prior) -> float:
    """Log odds of a refill just before row `i` against a lid lifted then or later and no more, or nothing.

    Normal densities, each against that of nothing: of a dip of depth d, exp(-d a - d2 b / 2); with a jug
    hotter by a normal amount besides, in closed form. Averaged over depths, healings and times.
    """
    jug, dip = w.jugs[i - 1], np.hstack(w.dips[i - 1 :])
    n = jug.shape[1]
    solved = np.linalg.solve(cov, np.hstack([w.over[:, None], jug, dip]))
    over_, jug_, dip_ = solved[:, 0], solved[:, 1 : n + 1], solved[:, n + 1 :]
    depth = w.lid_k * LID_DEPTHS[:, None]
    lid = -(depth * (dip.T @ over_) + 0.5 * depth**2 * (dip * dip_).sum(axis=0))
    mean, sd = MEAN_SHARE * w.hotter_k, SHARE_SD * w.hotter_k
    pull = jug.T @ over_ + depth * (jug * dip_[:, :n]).sum(axis=0)
    share = 1.0 + sd * sd * (jug * jug_).sum(axis=0)
    hotter = 0.5 * ((sd * pull + mean / sd) ** 2 / share - (mean / sd) ** 2 - np.log(share))
    gap, rest = (float(w.t[j] - w.t[i - 1]) / PRIOR_PER_S for j in (i, -1))
    others = (
        0.0,
        math.log(rest * prior.lid) + _log_mean(lid),
        math.log(gap * HOME_PER_LID * prior.lid) + _log_mean(_home(w, i, cov)),
    )
    return math.log(gap * prior.refill) + _log_mean(lid[:, :n] + hotter) - float(np.logaddexp.reduce(others))


def _home(w: Window, i: int, cov: Array) -> Array:
    """Log odds of warmth that came before row `i` and stays, by how much, against nothing."""
    since = np.maximum(w.t - w.t[i - 1], 0.0)
    warmth = 1.0 - np.exp(-since / HOME_S)
    solved = np.linalg.solve(cov, warmth)
    by_k = HOME_K * LID_DEPTHS
    return np.asarray(by_k * float(solved @ w.over) - 0.5 * by_k**2 * float(solved @ warmth))
