"""Chicks grow by the table of their kind and give heat by number, mass and air; never less than none."""

import numpy as np
import pytest

from coldbrood.brooder.flock import chick_heat_w, early_factor, flock_heat_w, mass_kg
from coldbrood.brooder.specs import ChickKind, Flock


@pytest.mark.parametrize(
    ("kind", "age_days", "grams"),
    [("layer", 0, 38), ("layer", 14, 125), ("layer", 90, 475), ("broiler", 7, 125), ("broiler", -1, 41)],
)
def test_mass_stands_in_the_table(kind: ChickKind, age_days: float, grams: float) -> None:
    assert mass_kg(age_days, kind) == pytest.approx(grams / 1000.0)


def test_mass_grows_at_a_steady_rate_between_two_ages() -> None:
    assert mass_kg(3.5, "layer") == pytest.approx((38 * 70) ** 0.5 / 1000.0)


def test_an_array_of_air_gives_what_each_air_gives_alone() -> None:
    air_c = np.linspace(-10.0, 80.0, 256)
    total_w, sensible_w = chick_heat_w(0.06, air_c, "layer")
    alone = [chick_heat_w(0.06, float(c), "layer") for c in air_c]
    assert np.array_equal(total_w, [one[0] for one in alone])
    assert np.array_equal(sensible_w, [one[1] for one in alone])


def test_heat_of_one_air_is_a_plain_float() -> None:
    total_w, sensible_w = chick_heat_w(0.04, 20.0, "layer")
    assert type(total_w) is float
    assert type(sensible_w) is float
    assert type(flock_heat_w(Flock(16, 1.0, "layer"), 20.0)) is float


def test_heat_in_great_heat_is_none_not_less() -> None:
    assert chick_heat_w(0.04, 75.0, "layer") == (0.0, 0.0)
    assert chick_heat_w(0.04, 45.0, "layer")[1] == 0.0


@pytest.mark.parametrize(
    ("age_days", "factor"), [(-1, 0.7), (0, 0.7), (2, 0.7), (2.5, 0.85), (3, 1), (40, 1)]
)
def test_the_unfed_newborn_gives_less(age_days: float, factor: float) -> None:
    assert early_factor(age_days) == pytest.approx(factor)


def test_flock_is_the_sum_of_its_chicks() -> None:
    one_w = chick_heat_w(mass_kg(8.0, "broiler"), 22.0, "broiler")[1]
    assert flock_heat_w(Flock(16, 8.0, "broiler"), 22.0) == pytest.approx(16 * one_w)
    assert flock_heat_w(Flock(16, 1.0, "layer"), 22.0) == pytest.approx(
        16 * 0.7 * chick_heat_w(mass_kg(1.0, "layer"), 22.0, "layer")[1]
    )


def test_flock_takes_an_array_of_any_shape() -> None:
    air_c = np.array([[10.0, 20.0, 30.0], [15.0, 25.0, 50.0]])
    heat_w = flock_heat_w(Flock(16, 5.0, "layer"), air_c)
    assert heat_w.shape == (2, 3)
    assert heat_w[0, 1] == flock_heat_w(Flock(16, 5.0, "layer"), 20.0)


def test_an_empty_box_gives_no_heat() -> None:
    assert flock_heat_w(Flock(0, 5.0, "layer"), 20.0) == 0.0


def test_bad_input_is_refused_by_name() -> None:
    with pytest.raises(ValueError, match=r"chicks: -1: must be 0 or more"):
        flock_heat_w(Flock(-1, 5.0, "layer"), 20.0)
    with pytest.raises(ValueError, match=r"mass_kg: 0.0: must be more than 0"):
        chick_heat_w(0.0, 20.0, "layer")
    with pytest.raises(ValueError, match=r"kind: 'duck': must be one of layer, broiler"):
        mass_kg(1.0, "duck")  # type: ignore[arg-type]  # the point is a kind the types forbid
    with pytest.raises(ValueError, match=r"age_days: nan: must be a finite"):
        mass_kg(float("nan"), "layer")
