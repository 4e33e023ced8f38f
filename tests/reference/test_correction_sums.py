"""Promise: fixed points agree with the reference library of the IAPWS and with worked tables, and a
correction with its uncertainty with sums worked by hand after the GUM, and with chance played out.
"""

import math
import random
from collections.abc import Callable

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from iapws import IAPWS97

from coldbrood.probes import correction
from coldbrood.probes.correction import (
    ICE_U_C,
    STEP_C,
    NoCorrection,
    Point,
    boiling_c,
    boiling_point,
    correct,
    ice_point,
    is_steady,
    pressure_pa,
    steady_part,
    thermometer_point,
)

ACCURACY_C = 0.3

# Height in m: pressure in hPa of the standard atmosphere, boiling point in C (C: reference/standards.md,
# section 6, ISO 2533 and iapws 1.5.5; 899 hPa at 1000 m is in every printed table of that atmosphere, M).

HEIGHTS = {
    0: (1013.25, 99.974),
    500: (954.61, 98.313),
    1000: (898.75, 96.649),
    1500: (845.56, 94.983),
    2000: (794.95, 93.315),
    3000: (701.09, 89.972),
}


@pytest.mark.parametrize(("height_m", "worked"), HEIGHTS.items())
def test_the_boiling_point_at_a_height(height_m: float, worked: tuple[float, float]) -> None:
    pressure = pressure_pa(height_m)
    assert pressure / 100.0 == pytest.approx(worked[0], abs=0.01)
    assert boiling_c(pressure) == pytest.approx(worked[1], abs=0.002)


@settings(deadline=None)
@given(st.floats(30_000.0, 110_000.0))
def test_the_boiling_point_is_that_of_the_library(pressure: float) -> None:
    library_c = IAPWS97(P=pressure / 1e6, x=0).T - 273.15
    assert boiling_c(pressure) == pytest.approx(library_c, abs=1e-6)


@pytest.mark.parametrize("pressure", [29_999.0, 110_001.0, math.nan])
def test_a_pressure_of_no_place_is_refused(pressure: float) -> None:
    with pytest.raises(ValueError, match="30000 to 110000 Pa"):
        boiling_c(pressure)
    with pytest.raises(ValueError, match="-500 to 11000 m"):
        pressure_pa(20_000.0)


def test_one_point_worked_by_hand() -> None:
    """Six readings 0.25 and 0.3125 in turn: mean 0.28125, s = 0.034233; u2 = s2/6 + step2/12 + 0.05**2."""
    found = correct(ice_point([0.25, 0.3125] * 3))
    assert found.offset_c == pytest.approx(-0.28125)
    assert found.gain == 1.0
    u_c = math.sqrt(0.034233**2 / 6 + 0.0625**2 / 12 + 0.05**2)
    assert found.u_c(0.0) == pytest.approx(2 * u_c, rel=1e-4)
    assert found.u_c(0.0) == pytest.approx(0.1098, abs=1e-3)
    far_c = 2 * math.hypot(u_c, 0.5 / math.sqrt(3))
    assert found.u_c(30.0) == pytest.approx(far_c)


def test_two_points_give_a_line_through_both() -> None:
    ice = ice_point([0.5] * 6)
    bath = thermometer_point([36.25] * 6, 35.0, 0.1)
    found = correct(bath, ice)
    assert found.gain == pytest.approx(35.0 / 35.75)
    assert found.gain * 0.5 + found.offset_c == pytest.approx(0.0)
    assert found.gain * 36.25 + found.offset_c == pytest.approx(35.0)
    assert found.u_c(35.0) == pytest.approx(2 * bath.error_u_c)
    assert found.u_c(0.0) == pytest.approx(2 * ice.error_u_c)
    middle_c = math.hypot(0.5 * ice.error_u_c, 0.5 * bath.error_u_c)
    assert found.u_c(17.5) == pytest.approx(2 * middle_c)


def covered(seed: int, thermometer: Callable[[random.Random], float]) -> float:
    """How often twice the stated uncertainty holds the truth at 30 C, over drawn sensors and thermometers."""
    rng = random.Random(seed)
    inside, runs = 0, 1500
    for _ in range(runs):
        gain, offset = rng.uniform(0.98, 1.02), rng.uniform(-0.5, 0.5)

        def read(true_c: float, gain: float = gain, offset: float = offset) -> tuple[float, ...]:
            raws = ((true_c - offset) / gain + rng.gauss(0.0, 0.04) for _ in range(8))
            return tuple(round(raw / STEP_C) * STEP_C for raw in raws)

        ice = ice_point(read(rng.gauss(0.0, ICE_U_C)))
        found = correct(ice, thermometer_point(read(35.0 + thermometer(rng)), 35.0, ACCURACY_C))
        raw = (30.0 - offset) / gain
        inside += abs(raw * found.gain + found.offset_c - 30.0) <= found.u_c(30.0)
    return inside / runs


def test_the_stated_uncertainty_covers_the_truth() -> None:
    """Chance played out as in JCGM 101:2008: 95 times in 100 where the errors are normal, and no less often
    where the thermometer's is anywhere within its stated accuracy.
    """
    assert 0.93 <= covered(5, lambda rng: rng.gauss(0.0, ACCURACY_C / math.sqrt(3.0))) <= 0.97
    assert covered(6, lambda rng: rng.uniform(-ACCURACY_C, ACCURACY_C)) >= 0.95


def test_boiling_says_that_it_is_less_sure_by_height_than_by_barometer() -> None:
    readings = [99.5] * 6
    by_height = boiling_point(readings, pressure_pa(0.0), correction.WEATHER_U_PA)
    by_barometer = boiling_point(readings, pressure_pa(0.0), 100.0)
    assert by_height.u_c > by_barometer.u_c > 0.3
    slope = (by_height.u_c**2 - by_barometer.u_c**2) ** 0.5 / math.sqrt(900.0**2 - 100.0**2) * 100.0
    assert slope == pytest.approx(0.028, abs=0.001)  # C per hPa near sea level (C: standards.md section 6)


def test_steady_is_the_last_six_within_two_steps() -> None:
    cooling = [20.0, 12.0, 6.0, 3.0, 1.5, 0.8, 0.5]
    rest = [0.375, 0.3125, 0.375, 0.3125, 0.3125, 0.25]
    assert not is_steady(cooling)
    assert not is_steady(rest[:5])
    assert is_steady(cooling + rest)
    assert steady_part(cooling + rest) == tuple(rest)
    assert steady_part([0.3125] * 9) == (0.3125,) * 9


@pytest.mark.parametrize(
    ("points", "said"),
    [
        ((Point(0.0, 0.05, ()),), "no reading came"),
        ((ice_point([18.0] * 6),), "too far off for a sensor that works"),
        ((ice_point([0.1] * 6), thermometer_point([5.1] * 6, 5.0, 0.1)), "10 C at least"),
        ((ice_point([0.0] * 6), thermometer_point([15.0] * 6, 11.0, 0.1)), "slope would be 0.733"),
    ],
)
def test_what_makes_no_correction_is_told(points: tuple[Point, ...], said: str) -> None:
    with pytest.raises(NoCorrection, match=said):
        correct(*points)
