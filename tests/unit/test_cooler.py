"""Promise: cooler water is tried only where a fill at bedtime alone overheats, and never under 40 C."""

import numpy as np
import pytest

from coldbrood.brooder.cooler import cooler_fills

# No fill; one at bedtime; one at bedtime and a waking.
FILLS = np.array([[0, 0, 0], [1, 0, 0], [1, 0, 1]], dtype=bool)


def tried(hot_kh: tuple[float, float, float], fill_c: float = 75.0) -> list[float]:
    return cooler_fills(FILLS, np.repeat(np.array(hot_kh)[:, None], 4, axis=1), fill_c)


def test_heat_of_a_fill_at_bedtime_has_cooler_ones_tried() -> None:
    assert tried((0.0, 0.6, 9.0)) == [65.0, 55.0, 45.0]


@pytest.mark.parametrize("hot_kh", [(9.0, 0.5, 0.0), (0.0, 0.0, 9.0)])
def test_heat_that_comes_otherwise_has_not(hot_kh: tuple[float, float, float]) -> None:
    assert tried(hot_kh) == []


def test_no_water_under_40_is_asked_for() -> None:
    assert tried((0.0, 2.0, 2.0), fill_c=62.0) == [52.0, 42.0]
    assert tried((0.0, 2.0, 2.0), fill_c=45.0) == []


def test_with_no_fill_on_offer_there_is_none() -> None:
    assert cooler_fills(FILLS[:1], np.full((1, 4), 9.0), 75.0) == []
