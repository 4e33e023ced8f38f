"""Heat and mass of chicks against CIGR 2002, measurements of groups, and an open data set of weights.

Marks as in the reference sheets: V read in the source, C computed, M from memory.
"""

import numpy as np
import pytest

from coldbrood.brooder.flock import chick_heat_w, early_factor, mass_kg
from coldbrood.brooder.specs import ChickKind

ONE_HPU_LAYER_KG = (1000.0 / 6.28) ** (1.0 / 0.75)  # mass that gives 1000 W at 20 C by the layer line

# V: ChickWeight, R package datasets, 50 chicks on four diets; means over all, C. Grams by day.
CHICK_WEIGHT_G = {
    0: 41.1,
    2: 49.2,
    4: 60.0,
    6: 74.3,
    8: 91.2,
    10: 107.8,
    12: 129.2,
    14: 143.8,
    16: 168.1,
    18: 190.2,
    20: 209.7,
    21: 218.7,
}

# V: Xin and Harmon 1996, day-old, unfed, in shipping boxes: air C -> total W/kg, sensible W/kg
MEASURED_W_PER_KG = {20.0: (10.3, 7.8), 25.0: (9.1, 6.4), 30.0: (8.5, 5.7), 35.0: (8.4, 5.2)}


@pytest.mark.parametrize(
    ("kind", "mass", "air_c", "total_w", "sensible_w", "within"),
    [("layer", 0.040, 20.0, 0.562, 0.291, 0.001), ("broiler", 0.150, 25.0, 2.304, 1.041, 0.002)],
)
def test_cigr_lines(
    kind: ChickKind, mass: float, air_c: float, total_w: float, sensible_w: float, within: float
) -> None:
    """CIGR 2002, formula M, values C (poultry.md checks 2 and 3)."""
    assert chick_heat_w(mass, air_c, kind) == pytest.approx((total_w, sensible_w), abs=within)


@pytest.mark.parametrize(
    ("kind", "mass", "expected"),
    [
        ("broiler", 0.040, [1.04, 0.59, 0.95, 0.49, 0.85, 0.39, 0.76, 0.27]),
        ("broiler", 0.300, [4.74, 2.67, 4.30, 2.23, 3.87, 1.75, 3.44, 1.22]),
        ("layer", 0.080, [1.04, 0.59, 0.94, 0.49, 0.85, 0.38, 0.76, 0.27]),
        ("layer", 0.150, [1.67, 0.94, 1.51, 0.79, 1.36, 0.62, 1.21, 0.43]),
    ],
)
def test_cigr_table(kind: ChickKind, mass: float, expected: list[float]) -> None:
    """CIGR 2002 at 15, 20, 25, 30 C, total and sensible in turn, C (poultry.md section 3)."""
    total_w, sensible_w = chick_heat_w(mass, np.array([15.0, 20.0, 25.0, 30.0]), kind)
    assert np.column_stack((total_w, sensible_w)).ravel() == pytest.approx(expected, abs=0.0051)


@pytest.mark.parametrize(("air_c", "sensible_w"), [(0.0, 854.0), (20.0, 518.8), (40.0, 1.2), (45.0, 0.0)])
def test_sensible_heat_of_one_unit(air_c: float, sensible_w: float) -> None:
    """CIGR 2002 per 1000 W at 20 C, formula M, values C (poultry.md check 4); never under 0 above 40."""
    assert chick_heat_w(ONE_HPU_LAYER_KG, air_c, "layer")[1] == pytest.approx(sensible_w, abs=0.1)


def test_a_prior_on_the_flocks_heat_holds_both_bases() -> None:
    """Layer line 3.65 W, measured 6.4 W/kg 4.10 W for 16 of 40 g at 25 C (V: Xin and Harmon; C: check 5)."""
    by_line_w = 16 * chick_heat_w(0.040, 25.0, "layer")[1]
    assert by_line_w == pytest.approx(3.65, abs=0.01)
    measured_w = 16 * 0.040 * MEASURED_W_PER_KG[25.0][1]
    assert (
        abs(np.log(measured_w / by_line_w)) < 0.3
    )  # within one deviation of the prior of physics.md section 5


@pytest.mark.parametrize("air_c", MEASURED_W_PER_KG)
def test_total_heat_of_a_day_old_group(air_c: float) -> None:
    """V: Xin and Harmon 1996, unfed; the model within 35 % (poultry.md check 6)."""
    model_w_per_kg = early_factor(1.0) * chick_heat_w(0.040, air_c, "layer")[0] / 0.040
    assert model_w_per_kg == pytest.approx(MEASURED_W_PER_KG[air_c][0], rel=0.35)


def test_the_early_factor_is_what_the_measured_group_asks_for() -> None:
    """C: layer line over measured total at 20 C and 40 g is 1.36 (V: Xin and Harmon 1996)."""
    over = chick_heat_w(0.040, 20.0, "layer")[0] / 0.040 / MEASURED_W_PER_KG[20.0][0]
    assert over == pytest.approx(1.36, abs=0.01)
    assert early_factor(0.0) == pytest.approx(1.0 / over, abs=0.05)


@pytest.mark.parametrize("air_c", MEASURED_W_PER_KG)
def test_sensible_heat_of_a_day_old_group_is_not_overstated(air_c: float) -> None:
    """V: Xin and Harmon 1996. The daemon must not count on heat that the chicks do not give."""
    sensible_w_per_kg = early_factor(1.0) * chick_heat_w(0.040, air_c, "layer")[1] / 0.040
    assert sensible_w_per_kg <= MEASURED_W_PER_KG[air_c][1]


@pytest.mark.parametrize("age_days", CHICK_WEIGHT_G)
def test_layers_run_up_to_a_quarter_under_the_open_data_set(age_days: int) -> None:
    """V: ChickWeight; layers may run 10 to 25 % under it (poultry.md check 11)."""
    assert 0.75 <= mass_kg(age_days, "layer") * 1000.0 / CHICK_WEIGHT_G[age_days] <= 1.0


@pytest.mark.parametrize(("age_days", "least_g", "most_g"), [(14, 100, 120), (28, 260, 325), (42, 450, 500)])
def test_layers_against_handbook_weights(age_days: float, least_g: float, most_g: float) -> None:
    """M: NRC 1994, white and brown layer pullets; the model within 15 % of the pair."""
    assert least_g * 0.85 <= mass_kg(age_days, "layer") * 1000.0 <= most_g * 1.15


@pytest.mark.parametrize(
    ("age_days", "female_g", "male_g"), [(7, 120, 130), (14, 300, 320), (21, 515, 560), (28, 790, 860)]
)
def test_broilers_against_handbook_weights(age_days: float, female_g: float, male_g: float) -> None:
    """V: NRC 1984, female and male."""
    assert female_g <= mass_kg(age_days, "broiler") * 1000.0 <= male_g
