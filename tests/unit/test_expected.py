"""Promise: a refill is expected when asked for, near the floor, at the keeper's own hours, and else not."""

import pytest
from sites import START_WALL_S, make_site
from views import T_S

from coldbrood.brooder.band import Band
from coldbrood.brooder.bends import Prior
from coldbrood.brooder.refills import (
    ANSWERED_WITHIN_S,
    ASKED,
    ASKED_AT_NIGHT,
    LIKELY,
    LIKELY_AT_NIGHT,
    TOO_HOT,
    UNASKED,
    UNASKED_AT_NIGHT,
    Ask,
)
from coldbrood.watch.expected import is_open, prior_of_refill
from coldbrood.watch.localtime import next_wall_s

SITE = make_site()
FLOOR_C = 20.0
AROUND = Band(FLOOR_C, 16.0, 34.0, "for a test")
BEDTIME_WALL_S = next_wall_s(SITE, START_WALL_S, SITE.keeper.bedtime_s)


def expected(
    over_floor_k: float, wall_s: float = START_WALL_S, dip_k: float = 0.0, asked: bool = False
) -> Prior:
    points = [(T_S - 300.0 * i, FLOOR_C + over_floor_k) for i in range(6, 0, -1)]
    points.append((T_S, FLOOR_C + over_floor_k - dip_k))
    return prior_of_refill(SITE, points, AROUND, asked, T_S, wall_s)


@pytest.mark.parametrize(
    ("over_floor_k", "prior"), [(-3.0, LIKELY), (1.4, LIKELY), (1.6, UNASKED), (8.0, UNASKED)]
)
def test_near_the_floor_it_is(over_floor_k: float, prior: Prior) -> None:
    assert expected(over_floor_k) is prior


def test_one_dip_of_a_lid_does_not_make_a_warm_box_cold() -> None:
    assert expected(3.0, dip_k=6.0) is UNASKED


@pytest.mark.parametrize(
    ("hour", "after_min", "prior"),
    [
        ("bedtime_s", -5, UNASKED),
        ("bedtime_s", 0, LIKELY_AT_NIGHT),
        ("bedtime_s", 44, LIKELY_AT_NIGHT),
        ("bedtime_s", 46, UNASKED_AT_NIGHT),
        ("rising_s", -5, UNASKED_AT_NIGHT),
        ("rising_s", 0, LIKELY),
        ("rising_s", 44, LIKELY),
        ("rising_s", 46, UNASKED),
    ],
)
def test_at_the_keepers_own_hours_it_is(hour: str, after_min: int, prior: Prior) -> None:
    at = next_wall_s(SITE, START_WALL_S, getattr(SITE.keeper, hour)) + 60.0 * after_min
    assert expected(9.0, wall_s=at) is prior


def test_a_box_not_seen_yet_is_not_near_its_floor() -> None:
    assert prior_of_refill(SITE, (), AROUND, False, T_S, START_WALL_S) is UNASKED


@pytest.mark.parametrize(
    ("wall_s", "prior"), [(START_WALL_S, ASKED), (BEDTIME_WALL_S + 60.0, ASKED_AT_NIGHT)]
)
def test_asked_for_it_is_wherever_the_box_stands(wall_s: float, prior: Prior) -> None:
    assert expected(9.0, wall_s=wall_s, asked=True) is prior


@pytest.mark.parametrize(("over_floor_k", "prior"), [(13.9, ASKED), (14.1, TOO_HOT)])
def test_over_its_ceiling_a_box_is_opened_to_cool_it_though_a_refill_was_asked_for(
    over_floor_k: float, prior: Prior
) -> None:
    assert expected(over_floor_k, asked=True) is prior


def test_an_ask_is_open_until_it_is_answered_or_old() -> None:
    ask = Ask(T_S)
    assert is_open(ask, None, T_S + 60.0)
    assert is_open(ask, T_S - 3600.0, T_S + 60.0)
    assert not is_open(ask, T_S + 1200.0, T_S + 1500.0)
    assert is_open(ask, T_S + 1200.0, T_S + 1500.0, in_doubt=True)
    assert not is_open(ask, T_S + 1200.0, T_S + ANSWERED_WITHIN_S, in_doubt=True)
    assert not is_open(ask, None, T_S + ANSWERED_WITHIN_S)
    assert not is_open(None, None, T_S)


def test_a_refill_placed_just_before_its_ask_answers_it() -> None:
    """With a reading each five minutes a refill is placed half way between two, and that may be too early."""
    assert not is_open(Ask(T_S), T_S - 300.0, T_S + 3600.0)
