"""The hold of a box on paper is that of scipy on the same physics: ISO, CIGR and IAPWS figures by hand."""

import math
import warnings

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from coldbrood.brooder.bank import Bank, draw
from coldbrood.brooder.sizing import resting_samples_c, size
from coldbrood.brooder.specs import BoxSpec, Flock

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # iapws warns at import about optional parts
    from iapws import IAPWS97

# The box of physics.md section 3, inside 0.75 x 0.55 x 0.40 m, walls of 12 mm plywood and 30 mm EPS. As one
# layer of 0.038 W/mK that is 33.5 mm: R = 0.13 + 0.8817 + 0.04 = 1.0517 m2K/W (ISO 6946 surfaces: V).
PAPER = BoxSpec("a", 0.75, 0.55, 0.40, 33.5, 0.038, 10.0, 1, 3.8, 70.0, False)
CHICKS, MASS_KG = 14, 0.070  # layers of day 7 (M)
FLOCK = Flock(CHICKS, 7.0, "layer")

# By hand, from the walls' inner face: 1.865 / (0.8817 + 0.04) = 2.023 W/K (with the inner film it would be
# check value 7, 1.773 by 0.951 x 1.865); air 0.33 x 10 x 0.165 = 0.545 (V: 0.33 n V).
LOSS_W_PER_K = 2.023 + 0.545
# Check value 1: 3.8 L at 60 C, kJ/K, by IAPWS-IF97.
WATER = IAPWS97(T=333.15, P=0.101325)
JUG_J_PER_K = 3.8 * WATER.rho * WATER.cp
BOX_J_PER_K = 12000.0
JUG_M2 = 0.117  # side and top, physics.md section 4 (C)
# Of the jug's 11.56 W/m2K 5.14 go into the air (physics.md section 4, C); from there on into 1.865 m2 of
# walls by 2.04 x 3^0.27 W/m2K, and out with the leak.
AIR_K_PER_W = 5.14 / 11.56 / (1.865 * 2.04 * 3.0**0.27 + 0.545)


def film_w_per_m2k(apart_k: float) -> float:
    """Physics.md section 4: a 0.20 m wall in air at 20 C, 6.3 dT^0.168, within 2 % (C: ht and CoolProp)."""
    return 6.3 * math.pow(max(apart_k, 0.1), 0.168)


def sensible_w(air_c: float) -> float:
    """CIGR 2002, layers: 6.28 m^0.75 W at 20 C, sensible 0.61 THP - 0.228 t^2 per 1000 W (M, existence V)."""
    thp = 1000.0 + 20.0 * (20.0 - air_c)
    return CHICKS * 6.28 * math.pow(MASS_KG, 0.75) * max(0.0, 0.61 * thp - 0.228 * air_c**2) / 1000.0


def reference_hold_h(outdoor_c: float, floor_c: float) -> float:
    """Two nodes by scipy's Radau from the floor, read in the air between; the first hour is not judged."""

    def slope(_t: float, y: np.ndarray[tuple[int], np.dtype[np.float64]]) -> list[float]:
        jug_c, box_c = float(y[0]), float(y[1])
        given_w = JUG_M2 * film_w_per_m2k(jug_c - box_c) * (jug_c - box_c)
        lost_w = LOSS_W_PER_K * (box_c - outdoor_c)
        return [-given_w / JUG_J_PER_K, (given_w + sensible_w(box_c) - lost_w) / BOX_J_PER_K]

    found = solve_ivp(
        slope, (0.0, 86400.0), [70.0, floor_c], method="Radau", rtol=1e-8, atol=1e-8, dense_output=True
    )
    at = np.arange(3600.0, 86401.0, 60.0)
    jug_c, box_c = found.sol(at)
    drawn = JUG_M2 * 11.78 * AIR_K_PER_W
    air_c = box_c + drawn / (1.0 + drawn) * (jug_c - box_c)
    under = at[air_c < floor_c]
    return float(under[0]) / 3600.0


def centre_bank() -> Bank:
    """All samples alike, at the middle of the priors and of the towel as stated."""
    bank = draw(PAPER, 1)
    theta = np.append(np.log([JUG_M2 * 11.78, LOSS_W_PER_K, BOX_J_PER_K, 1.0]), [0.0, math.log(AIR_K_PER_W)])
    return Bank(
        0.0, 1, 1, np.repeat(theta[:, None], bank.theta.shape[1], axis=1), bank.mean, bank.cov, bank.log_w
    )


@pytest.mark.parametrize(
    ("outdoor_c", "floor_c"), [(-5.0, 15.0), (0.0, 15.0), (0.0, 18.0), (5.0, 15.0), (5.0, 18.0), (10.0, 18.0)]
)
def test_the_hold_is_that_of_an_independent_solver(outdoor_c: float, floor_c: float) -> None:
    # The film law of the sheet is good to 2 %; on a flat evening that moves the time by as much again.
    expected_h = reference_hold_h(outdoor_c, floor_c)
    got_h = size(PAPER, FLOCK, outdoor_c, floor_c, centre_bank()).median_h
    assert got_h == pytest.approx(expected_h, rel=0.03)


@pytest.mark.parametrize("outdoor_c", [-10.0, 0.0, 10.0])
def test_the_resting_box_balances_cigr_heat_against_iso_loss(outdoor_c: float) -> None:
    expected_c = brentq(lambda t: sensible_w(t) - LOSS_W_PER_K * (t - outdoor_c), outdoor_c, 40.0)
    assert resting_samples_c(centre_bank(), FLOCK, outdoor_c)[0] == pytest.approx(expected_c, abs=0.02)


def test_a_shipping_box_of_day_olds_stands_nine_degrees_over_its_air() -> None:
    # Check value 8: 88 chicks of 40 g, loss 2.5 W/K, 6.4 W/kg sensible: rise 9.0 K (V: XR XH, C). By
    # CIGR they give 13.5 W at 25 C, early factor and all: what was measured asks for a factor of 1.66.
    bank = centre_bank()
    cigr_w = 88 * 0.7 * 6.28 * 0.038**0.75 * (0.61 * 900.0 - 0.228 * 25.0**2) / 1000.0
    theta = bank.theta.copy()
    theta[1], theta[3] = math.log(2.5), math.log(88 * 0.040 * 6.4 / cigr_w)
    told = Bank(0.0, 1, 1, theta, bank.mean, bank.cov, bank.log_w)
    rest_c = resting_samples_c(told, Flock(88, 0.0, "layer"), 16.0)[0]
    assert rest_c - 16.0 == pytest.approx(9.0, abs=0.1)
