"""Promise: a refill is expected near the floor and at the keeper's own hours, and at no other time."""

from dataclasses import replace

import pytest
from sites import START_WALL_S, make_site
from views import T_S

from coldbrood.brooder.band import floor_by_age_c
from coldbrood.watch.localtime import age_days, next_wall_s
from coldbrood.watch.sight import first_sight, refill_is_likely

SITE = make_site()
FLOOR_C = floor_by_age_c(age_days(SITE, START_WALL_S))


def likely(over_floor_k: float, wall_s: float = START_WALL_S, dip_k: float = 0.0) -> bool:
    points = [(T_S - 300.0 * i, FLOOR_C + over_floor_k) for i in range(6, 0, -1)]
    points.append((T_S, FLOOR_C + over_floor_k - dip_k))
    box = replace(first_sight(SITE).boxes["a"], track=tuple(points))
    return refill_is_likely(SITE, box, T_S, wall_s)


@pytest.mark.parametrize(
    ("over_floor_k", "expected"), [(-3.0, True), (1.4, True), (1.6, False), (8.0, False)]
)
def test_near_the_floor_it_is(over_floor_k: float, expected: bool) -> None:
    assert likely(over_floor_k) is expected


def test_one_dip_of_a_lid_does_not_make_a_warm_box_cold() -> None:
    assert not likely(3.0, dip_k=6.0)


@pytest.mark.parametrize("hour", ["bedtime_s", "rising_s"])
@pytest.mark.parametrize(("after_min", "expected"), [(-5, False), (0, True), (44, True), (46, False)])
def test_at_the_keepers_own_hours_it_is(hour: str, after_min: int, expected: bool) -> None:
    at = next_wall_s(SITE, START_WALL_S, getattr(SITE.keeper, hour)) + 60.0 * after_min
    assert likely(9.0, wall_s=at) is expected


def test_a_box_not_seen_yet_is_not_near_its_floor() -> None:
    assert not refill_is_likely(SITE, first_sight(SITE).boxes["a"], T_S, START_WALL_S)
