"""Promise: cooler water is tried only where a fill at bedtime alone overheats, and never under 35 C."""

import numpy as np
import pytest

from coldbrood.brooder.cooler import cooler_fills_c, is_too_hot

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
