"""The hold's chances against scipy's normal distribution and against a crossing found by root finding."""

import math

import numpy as np
import pytest
from box_days import SPEC, flat
from scipy.optimize import brentq
from scipy.stats import norm

from coldbrood.brooder import bank as banks
from coldbrood.brooder.hold import hold, normal_cdf
from coldbrood.brooder.paths import Paths, roll
from coldbrood.brooder.specs import Flock
from coldbrood.brooder.thermal import exact_step, exchange_share, priors


def test_the_normal_distribution_is_scipys() -> None:
    # scipy.stats.norm.cdf [C]; Abramowitz and Stegun 26.2.17 states an error under 7.5e-8 (from memory).
    z = np.linspace(-9.0, 9.0, 2001)
    assert np.abs(normal_cdf(z) - norm.cdf(z)).max() < 7.5e-8


def test_a_mixture_crosses_where_scipy_says() -> None:
    # Three straight falls of different error: the 10, 50 and 90 % points by scipy brentq on the mixture [C].
    t_s = np.arange(0.0, 36001.0, 600.0)
    starts, per_h, sds, w = [21.0, 22.0, 23.5], 0.8, [0.3, 0.5, 0.8], [0.2, 0.5, 0.3]
    box_c = np.array(starts)[:, None] - per_h * t_s / 3600.0
    paths = Paths(t_s, box_c, np.array(sds)[:, None] + 0.0 * box_c, np.array(w))
    found = hold(paths, np.full(len(t_s), 18.0), 0.05)

    def chance(at_s: float, level: float) -> float:
        z = [(18.0 - s + per_h * at_s / 3600.0) / sd for s, sd in zip(starts, sds, strict=True)]
        return float(np.dot(w, norm.cdf(z))) - level

    for level, at_s in (
        (0.05, found.refill_by_s),
        (0.1, found.early_s),
        (0.5, found.median_s),
        (0.9, found.late_s),
    ):
        assert at_s == pytest.approx(brentq(chance, 0.0, 36000.0, args=(level,)), abs=20.0)


def test_a_bank_that_knows_finds_the_time_of_the_sheets_box() -> None:
    # physics.md section 2, first case [C: scipy brentq], but with the exchange that falls as the jug cools:
    # the crossing by exact steps of 10 s, whose exchange is looked up each time, within a minute.
    p = priors(SPEC)
    bank = banks.settle(banks.draw(SPEC, 1), SPEC, 0.0, 20.0)
    no_air = math.log(1e-9)  # the sheet's box is read where the two nodes say, not in the air between
    truth = np.append(np.log([1.6, 3.5, 12000.0, 1.0]), [0.0, no_air])
    bank.theta[:] = truth[:, None]
    bank.mean[0], bank.mean[1], bank.cov[:] = 75.0, 20.0, 0.0
    empty = Flock(0, 2.0, "layer")
    paths = roll(bank, SPEC, flat(5.0, 0.0), empty, 43200.0, 300.0)
    found = hold(
        Paths(paths.t_s, paths.box_c, 0.0 * paths.sd_c, paths.weights), np.full(len(paths.t_s), 14.0), 0.1
    )
    jug, box, t_s = 75.0, 20.0, 0.0
    while box >= 14.0:
        share = float(exchange_share(np.array(jug - box)))
        j, b = exact_step(
            jug,
            box,
            10.0,
            jug_j_per_k=p.jug_j_per_k,
            k_jug=1.6 * share,
            box_j_per_k=12000.0,
            k_box=3.5,
            heat_w=0.0,
            outdoor_c=5.0,
        )
        jug, box, t_s = float(j), float(b), t_s + 10.0
    assert found.median_s == pytest.approx(t_s, abs=60.0)
