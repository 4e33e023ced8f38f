"""The box against published examples, handbook water, and scipy's matrix exponential."""

import warnings

import numpy as np
import pytest
from box_days import SPEC
from scipy.linalg import expm
from scipy.optimize import brentq

from coldbrood.brooder import thermal

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # ht and iapws warn at import about optional parts
    import ht
    from CoolProp.CoolProp import PropsSI
    from iapws import IAPWS97

FIRST = (15900.0, 1.6, 12000.0, 3.5)


def step(
    jug_c: float, box_c: float, dt_s: float, case: tuple[float, ...], heat_w: float, outdoor_c: float
) -> tuple[float, float]:
    jug_j, k_jug, box_j, k_box = case
    jug, box = thermal.exact_step(
        jug_c,
        box_c,
        dt_s,
        jug_j_per_k=jug_j,
        k_jug=k_jug,
        box_j_per_k=box_j,
        k_box=k_box,
        heat_w=heat_w,
        outdoor_c=outdoor_c,
    )
    return float(jug), float(box)


@pytest.mark.parametrize("at_c", [5.0, 10.0, 20.0, 40.0, 60.0, 80.0, 95.0])
def test_water_holds_what_iapws_says(at_c: float) -> None:
    # IAPWS-IF97 by iapws 1.5.5 [C]; check value 1 of physics.md: 3.8 L at 60 C, 15.628 kJ/K, 0.1 %.
    water = IAPWS97(T=at_c + 273.15, P=0.101325)
    assert thermal.water_j_per_k(1.0, at_c) == pytest.approx(water.rho * water.cp, rel=1e-3)


def test_water_of_the_jug() -> None:
    # physics.md check value 1: IAPWS-IF97 [C].
    assert thermal.water_j_per_k(3.8) == pytest.approx(15628.0, rel=1e-3)


def test_heating_a_jug_measured_cold() -> None:
    # physics.md check value 2: 3.8 L measured at 10 C, from 10 to 80 C, 1112.6 kJ, 0.5 %; IAPWS-IF97 [C].
    assert thermal.water_j_per_k(3.8, 10.0) * 70.0 == pytest.approx(1112.6e3, rel=5e-3)


def test_the_cup_of_the_published_example() -> None:
    # WPI, MA1022 course material 1996 [V]: 95 C in a room at 20 is 90 after 1 min; 65 after 7.4 min.
    # A cup alone: no exchange with a jug, so the box node is the cup.
    k = np.log(75.0 / 70.0) / 60.0

    def over(t_s: float) -> float:
        return step(20.0, 95.0, t_s, (1.0, 1e-15, 1.0, float(k)), 0.0, 20.0)[1] - 65.0

    assert brentq(over, 1.0, 3600.0) / 60.0 == pytest.approx(7.4, abs=0.05)
    assert brentq(over, 1.0, 3600.0) / 60.0 == pytest.approx(7.404, abs=0.001)  # exactly, [C]


@pytest.mark.parametrize(
    ("case", "heat_w", "outdoor_c", "start", "dt_s", "after"),
    [
        (FIRST, 12.0, 5.0, (75.0, 20.0), 3600.0, (59.4067815690, 24.7719977480)),
        (FIRST, 0.0, 0.0, (60.0, 10.0), 14400.0, (22.8180133121, 8.4007090630)),
        ((31800.0, 3.0, 9000.0, 2.2), 8.0, -5.0, (40.0, 18.0), 900.0, (38.2843513741, 19.6012553781)),
        (FIRST, 12.0, 5.0, (75.0, 20.0), 60.0, (74.6696318540, 20.2331848999)),
        (FIRST, 12.0, 5.0, (75.0, 20.0), 43200.0, (12.5002450594, 9.9303925497)),
    ],
)
def test_steps_of_the_sheet(
    case: tuple[float, ...],
    heat_w: float,
    outdoor_c: float,
    start: tuple[float, float],
    dt_s: float,
    after: tuple[float, float],
) -> None:
    # physics.md check values 4 and 5: scipy.linalg.expm [C], 1e-8.
    assert step(*start, dt_s, case, heat_w, outdoor_c) == pytest.approx(after, abs=1e-8)


def test_many_small_steps_are_one_large() -> None:
    # physics.md check value 5: 720 steps of 60 s, 1e-9.
    jug, box = 75.0, 20.0
    for _ in range(720):
        jug, box = step(jug, box, 60.0, FIRST, 12.0, 5.0)
    assert (jug, box) == pytest.approx(step(75.0, 20.0, 43200.0, FIRST, 12.0, 5.0), abs=1e-9)


def test_any_box_agrees_with_scipy() -> None:
    # scipy.linalg.expm of the 3 x 3 [[A, b], [0, 0]], over drawn boxes, 1e-8.
    rng = np.random.default_rng(3)
    for _ in range(200):
        jug_j, k_jug, box_j, k_box = np.exp(rng.normal(np.log([16e3, 1.0, 12e3, 2.0]), 1.0))
        heat_w, outdoor_c, dt_s = rng.uniform(0, 40), rng.uniform(-20, 25), rng.uniform(1, 40000)
        m = np.zeros((3, 3))
        m[0, :2] = -k_jug / jug_j, k_jug / jug_j
        m[1] = k_jug / box_j, -(k_jug + k_box) / box_j, (heat_w + k_box * outdoor_c) / box_j
        expected = (expm(m * dt_s) @ [70.0, 15.0, 1.0])[:2]
        got = step(70.0, 15.0, dt_s, (jug_j, k_jug, box_j, k_box), heat_w, outdoor_c)
        assert got == pytest.approx(tuple(expected), abs=1e-8)


def test_when_the_box_falls_through_its_floors() -> None:
    # physics.md section 2 and check value 6 [C: scipy brentq]: through 18, 16, 14 C, 0.01 s.
    for floor_c, at_s in ((18.0, 14008.806), (16.0, 17722.514), (14.0, 22557.777)):

        def over(t_s: float, floor_c: float = floor_c) -> float:
            return step(75.0, 20.0, t_s, FIRST, 12.0, 5.0)[1] - floor_c

        assert brentq(over, 4000.0, 40000.0, xtol=1e-6) == pytest.approx(at_s, abs=0.01)


def test_loss_of_the_box_of_the_sheet() -> None:
    # physics.md check value 7 [C: ISO 6946 method], inside area: 1.773 W/K, 0.1 %. 12 mm plywood (0.13)
    # over 30 mm EPS (0.038) stand as 33.508 mm of EPS: the spec states one layer.
    from dataclasses import replace

    spec = replace(SPEC, insulation_mm=30.0 + 12.0 / 0.13 * 0.038, air_changes_per_h=0.0)
    assert thermal.loss_w_per_k(spec) == pytest.approx(1.773, rel=1e-3)


def test_blind_directions_give_the_same_box() -> None:
    # physics.md section 5 and check value 9 [C: expm]: three parameter sets, one box curve, 0.002 K.
    sets = (
        (65.0, 1.8126, 3.0270, 11757.0, 10.378),
        (75.0, 1.6, 3.5, 12000.0, 12.0),
        (85.0, 1.4789, 3.9862, 12633.0, 13.667),
    )
    curves = np.array(
        [
            [step(fill, 20.0, t, (15900.0, kj, cb, kb), q, 5.0)[1] for t in np.arange(0.0, 43201.0, 600.0)]
            for fill, kj, kb, cb, q in sets
        ]
    )
    assert np.abs(curves - curves[1]).max() < 0.002
    assert np.ptp(curves[1]) > 10.0


def film_w_per_m2k(jug_c: float, air_c: float, height_m: float) -> float:
    """Free convection (Churchill, by ht) and radiation of a jug wall, air by CoolProp."""
    film = (jug_c + air_c) / 2.0 + 273.15
    rho, mu, cp, k = (PropsSI(q, "T", film, "P", 101325.0, "Air") for q in ("D", "V", "C", "L"))
    grashof = 9.80665 / film * (jug_c - air_c) * height_m**3 / (mu / rho) ** 2
    nusselt = ht.conv_free_immersed.Nu_vertical_plate_Churchill(cp * mu / k, grashof)
    return float(nusselt * k / height_m + 4.0 * 0.9 * 5.670374e-8 * film**3)


def test_the_film_prior_is_near_the_handbook() -> None:
    # physics.md check value 8 [C: ht, CoolProp]: jug 60 in 25, 0.25 m: 11.56, as a prior within 1.5.
    assert film_w_per_m2k(60.0, 25.0, 0.25) == pytest.approx(11.56, abs=0.02)
    share = float(thermal.exchange_share(np.array(35.0)))
    assert 1.0 / 1.5 < thermal.JUG_FILM_W_PER_M2K * share / 11.56 < 1.5


def test_the_exchange_falls_as_churchill_says() -> None:
    # 0.20 m wall in air at 20 C, 5 to 50 K [C: ht, CoolProp]: the line in the square root within 1 %.
    apart = np.array([5.0, 10.0, 20.0, 30.0, 40.0, 50.0])
    films = np.array([film_w_per_m2k(20.0 + d, 20.0, 0.20) for d in apart])
    shares = thermal.exchange_share(apart) * thermal.JUG_FILM_W_PER_M2K
    assert shares == pytest.approx(films, rel=0.01)


def test_the_jugs_exchange_is_near_the_sheet() -> None:
    # physics.md section 4 [C]: 3.8 L bare, 60 in 25: 1.34 W/K; 5 mm towel 0.59 to 0.70. As priors: 15 %.
    share = float(thermal.exchange_share(np.array(35.0)))
    assert thermal.jug_w_per_k(SPEC, False) * share == pytest.approx(1.34, rel=0.15)
    assert 0.85 * 0.59 < thermal.jug_w_per_k(SPEC, True) * share < 1.15 * 0.70


def plate_w_per_m2k(apart_k: float, film_c: float, high_m: float) -> float:
    """Natural convection of an upright plate in air by ht (Churchill) and CoolProp."""
    t_k = film_c + 273.15
    density, viscosity, conductivity, heat = (
        PropsSI(what, "T", t_k, "P", 101_325, "Air") for what in ("D", "V", "L", "C")
    )
    grashof = 9.80665 / t_k * apart_k * high_m**3 * (density / viscosity) ** 2
    prandtl = heat * viscosity / conductivity
    nusselt = ht.conv_free_immersed.Nu_vertical_plate_Churchill(prandtl, grashof)
    return float(nusselt * conductivity / high_m)


@pytest.mark.parametrize(("jug_c", "air_c"), [(60.0, 25.0), (70.0, 20.0), (40.0, 20.0)])
def test_of_what_the_jug_gives_so_much_goes_into_the_air(jug_c: float, air_c: float) -> None:
    # physics.md section 4, a wall 0.25 m high [C: ht, CoolProp]; the rest is radiation, 3.6 sigma Tm3.
    mean_c = 0.5 * (jug_c + air_c)
    convected = plate_w_per_m2k(jug_c - air_c, mean_c, 0.25)
    radiated = 4.0 * 0.9 * 5.670374419e-8 * (mean_c + 273.15) ** 3
    assert convected / (convected + radiated) == pytest.approx(thermal.INTO_AIR, abs=0.02)


def test_the_air_gives_it_on_to_the_walls_as_churchill_says() -> None:
    # 3 K over walls 0.2 to 0.4 m high; lid and floor are no plates, so 15 % will do.
    for high_m in (0.2, 0.3, 0.4):
        ratio = thermal.AIR_FILM_W_PER_M2K / plate_w_per_m2k(3.0, 21.5, high_m)
        assert ratio == pytest.approx(1.0, abs=0.15)


def test_the_air_stands_where_what_comes_and_goes_is_equal() -> None:
    # The balance itself, by a root of it: from the jug into the air, on to the walls and out with the leak.
    k_jug, jug_c, box_c = 1.38, 60.0, 20.0
    onward = thermal.AIR_FILM_W_PER_M2K * thermal.inside_area_m2(SPEC)
    onward += 0.33 * SPEC.air_changes_per_h * SPEC.length_m * SPEC.width_m * SPEC.height_m
    air_c = brentq(lambda c: thermal.INTO_AIR * k_jug * (jug_c - c) - onward * (c - box_c), box_c, jug_c)
    x = k_jug * thermal.air_k_per_w(SPEC)
    assert box_c + x / (1.0 + x) * (jug_c - box_c) == pytest.approx(air_c, abs=1e-6)
