"""The band against published temperatures for chicks: where it must lie below, above, or on them.

Marks as in the reference sheets: V read in the source, C computed, M from memory.
"""

import numpy as np
import pytest

from coldbrood.brooder.band import (
    HUDDLE_GAIN_C,
    band,
    best_growth_c,
    c_from_f,
    newborn_air_c,
)

AGES = np.linspace(0.0, 42.0, 169)

# Lower ends of published columns, (last day of the row, C). All are for air at the chick at a heat
# source, or for a whole room, and for best results: so the floor of box air must lie below each.
LOWEST: dict[str, list[tuple[int, float]]] = {
    # V: Barott and Pringle 1947, 1949, 1950 (J. Nutrition): best growth, whole room, no hover
    "best growth, whole room": [(2, 34.4), (9, 30.6), (18, 26.7), (25, 22.8), (32, 18.9)],
    # V: a layer breeder's management guide, 2017, at bird level (address left out: trade name)
    "layer guide, bird level": [(2, 35), (4, 33), (7, 31), (14, 28), (21, 26), (28, 22), (42, 18)],
    # V: Clauer, small-flock chart, least of each row, 92, 85 and 80 F
    "small-flock chart": [(7, 33.3), (21, 29.4), (35, 26.7)],
    # V: Penn State Extension, hot-spot rule 92 F less 5 F a week; C
    "hot-spot rule": [(7, 33.3), (14, 30.6), (21, 27.8), (28, 25.0), (35, 22.2)],
    # V: Glatz, FAO Poultry Development Review: house lowered to ambient, not below 18
    "FAO least house": [(42, 18)],
}


def row(column: list[tuple[int, float]], age_days: float) -> float:
    return next((value for until, value in column if age_days <= until), column[-1][1])


@pytest.mark.parametrize("name", LOWEST)
def test_floor_lies_below_each_published_column(name: str) -> None:
    column = LOWEST[name]
    ages = [age for age in AGES if age <= column[-1][0]]
    too_high = [(age, band(age).floor_c) for age in ages if band(age).floor_c >= row(column, age)]
    if name == "FAO least house":  # a least for any age: the floor may pass it only while the young need more
        assert {round(age) for age, _ in too_high} <= set(range(8))
        return
    assert too_high == []


@pytest.mark.parametrize("age_days", [0.0, 1.0, 2.0, 3.0])
def test_first_days_floor_is_at_the_newborns_limit(age_days: float) -> None:
    """V: Barott, Byerly and Pringle 1936: below 21.1 C (70 F) a chick of 10 to 100 h cannot make it up."""
    assert band(age_days).floor_c >= c_from_f(70.0)


@pytest.mark.parametrize("age_days", [0.0, 1.0, 2.0, 3.0])
def test_first_days_hard_floor_leaves_a_huddled_newborn_at_its_limit(age_days: float) -> None:
    """C from V: single chicks 36.6, groups in a box 31 (PREF 2014; Xin and Harmon 1996): 5 K gained."""
    assert HUDDLE_GAIN_C <= 36.6 - 31.0
    assert band(age_days).hard_floor_c + HUDDLE_GAIN_C >= c_from_f(70.0)


@pytest.mark.parametrize(("age_days", "trial_c"), [(0.0, 28.0), (9.0, 26.7), (5.0, 27.0)])
def test_floor_lies_below_trials_that_cost_growth_but_no_lives(age_days: float, trial_c: float) -> None:
    """V: Barott and Pringle 1947 (29.4 to 26.7, days 0 to 9), May and Lott 2000 (28 at the start)."""
    assert band(age_days).floor_c < trial_c


def test_week_1_floor_is_no_lower_than_a_night_shift_chicks_bore() -> None:
    """V: COLD8 2023: broilers at 18 C for 8 h a day in week 1 kept vent temperature and survival."""
    assert all(band(age).floor_c >= 18.0 for age in AGES if age <= 7.0)


def test_floor_stays_within_what_keepers_see_with_lively_chicks() -> None:
    """Common practice, no source: 10 to 26 C at the box probe."""
    assert all(10.0 <= band(age).floor_c <= 26.0 for age in AGES)


def test_hard_floor_stays_above_what_kills() -> None:
    """V: Hastings 1909, the author's estimate: newly hatched chicks healthy 21 to 38, dead under 4 C."""
    assert all(band(age).hard_floor_c > 4.0 for age in AGES)


def test_ceiling_lies_under_every_published_onset_of_heat_stress() -> None:
    """V: UCT, upper critical 36 to 37; Misson 1976, panting from air 38; HEAT48, harm from 48 h at 35."""
    assert all(band(age).ceiling_c < 35.0 for age in AGES)


def test_ceiling_lies_above_best_growth_but_for_the_first_two_days() -> None:
    """V: Barott and Pringle. In the first days it may cut it, by under 1 K: the box gives no way out."""
    assert all(band(age).ceiling_c >= best_growth_c(age) - 1.0 for age in AGES)
    assert all(band(age).ceiling_c > best_growth_c(age) for age in AGES if age > 2.0)


@pytest.mark.parametrize(
    ("age_days", "expected_c"), [(0, 34.7), (4.5, 32.8), (9, 30.8), (18, 26.7), (25, 22.8), (32, 18.9)]
)
def test_line_of_best_growth(age_days: float, expected_c: float) -> None:
    """V: Barott and Pringle 1947, 1949, 1950; day 4.5 and 25 C (poultry.md check 10)."""
    assert best_growth_c(age_days) == pytest.approx(expected_c, abs=0.3)


@pytest.mark.parametrize(("ratio", "air_c"), [(1.0, 35.6), (1.5, 28.35), (2.0, 21.1)])
def test_newborn_metabolism(ratio: float, air_c: float) -> None:
    """V: Barott, Byerly and Pringle 1936; C (poultry.md check 9): 0.1 in the ratio is 1.45 K."""
    assert newborn_air_c(ratio) == pytest.approx(air_c, abs=0.05)


@pytest.mark.parametrize(
    ("fahrenheit", "celsius"), [(95, 35.0), (90, 32.2), (70, 21.1), (60, 15.6), (50, 10.0), (30, -1.1)]
)
def test_fahrenheit(fahrenheit: float, celsius: float) -> None:
    """C: poultry.md check 1."""
    assert c_from_f(fahrenheit) == pytest.approx(celsius, abs=0.05)
