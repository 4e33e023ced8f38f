"""Promise: cooler water is asked for only where the usual overheats, and never under 35 C."""

import numpy as np
import pytest

from coldbrood.brooder.cooler import cooler_fills_c, is_too_hot, night_fill_c
from coldbrood.brooder.paths import Paths

# Four hours to rising, in which each box stands still: 0.2 K for each kelvin of the water above 20 C.
T_S = np.arange(0.0, 4.0 * 3600.0 + 1.0, 600.0)
PRICE_KH = 4.0

# No fill; one at bedtime; one at bedtime and a waking.
FILLS = np.array([[0, 0, 0], [1, 0, 0], [1, 0, 1]], dtype=bool)


def heats(hot_kh: tuple[float, float, float]) -> bool:
    return is_too_hot(FILLS, np.repeat(np.array(hot_kh)[:, None], 4, axis=1))


def test_heat_of_a_fill_at_bedtime_is_too_much() -> None:
    assert heats((0.0, 0.6, 9.0))


@pytest.mark.parametrize("hot_kh", [(9.0, 0.5, 0.0), (0.0, 0.0, 9.0)])
def test_heat_that_comes_otherwise_is_not_of_it(hot_kh: tuple[float, float, float]) -> None:
    assert not heats(hot_kh)


def test_with_no_fill_on_offer_none_is_too_hot() -> None:
    assert not is_too_hot(FILLS[:1], np.full((1, 4), 9.0))


def test_water_is_tried_in_steps_of_five_down_to_35() -> None:
    assert cooler_fills_c(50.0).tolist() == [45.0, 40.0, 35.0]
    assert cooler_fills_c(47.0).tolist() == [42.0, 37.0]
    assert cooler_fills_c(38.0).tolist() == []


def best_c(floor_c: float, ceiling_c: float, usual_c: float = 80.0) -> float:
    """The water to ask for, in two boxes one of which is 1 K the warmer."""

    def filled(water_c: float) -> Paths:
        box_c = np.array([[20.0], [21.0]]) + 0.2 * (water_c - 20.0) + 0.0 * T_S
        return Paths(T_S, box_c, np.full_like(box_c, 1e-3), np.full(2, 0.5))

    flat = np.ones(len(T_S))
    return night_fill_c(filled, floor_c * flat, ceiling_c * flat, usual_c, T_S[-1], PRICE_KH)


def test_where_the_usual_is_not_too_hot_it_stays() -> None:
    assert best_c(18.0, 33.1) == 80.0


@pytest.mark.parametrize(
    ("floor_c", "ceiling_c", "by_hand_c"),
    [
        (18.0, 32.0, 75.0),  # the two at 31 and 32 C: no heat, and hotter than need be is no harm
        (18.0, 30.0, 65.0),  # 29 and 30 C
        (29.2, 30.0, 65.0),  # one 0.2 K under: 0.4; at 70 C one 1 K over: half of 2
        (28.5, 30.0, 65.0),  # cold none at 29 and 30 C
        (29.5, 30.0, 70.0),  # one 1 K over for 4 h: half of 2 degree-hours; at 65 C one 0.5 K under: 1
    ],
)
def test_of_the_waters_that_do_no_harm_the_hottest(
    floor_c: float, ceiling_c: float, by_hand_c: float
) -> None:
    assert best_c(floor_c, ceiling_c) == by_hand_c


def test_cold_costs_no_more_than_the_waking_that_ends_it() -> None:
    """No water keeps a box between 36 and 31 C: rather a waking for cold than heat and a waking for that."""
    assert best_c(36.0, 31.0) == 70.0


def test_with_nothing_cooler_to_try_the_usual_stays() -> None:
    assert best_c(0.0, 20.0, usual_c=38.0) == 38.0
