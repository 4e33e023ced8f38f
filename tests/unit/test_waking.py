"""Promise: a sleeper is woken when the cold or heat ahead is dearer than the waking, and not while unsure."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from coldbrood.brooder.bank import Array
from coldbrood.brooder.hold import chance_under, cold_kh, heat_kh
from coldbrood.brooder.paths import Paths
from coldbrood.brooder.waking import heat_is_worth_waking, is_worth_waking

T_S = np.arange(0.0, 8.0 * 3600.0 + 1.0, 600.0)
UP_S = 8.0 * 3600.0
FLOOR_C: Array = np.full(len(T_S), 18.0)


def fan(*starts_c: float, per_h: float = 1.0, sd_c: float = 0.05) -> Paths:
    """Boxes that fall straight from where they start, each as likely as the others."""
    box_c = np.array(starts_c)[:, None] - per_h * T_S / 3600.0
    n = len(starts_c)
    return Paths(T_S, box_c, np.full_like(box_c, sd_c), np.full(n, 1.0 / n))


def warmed(paths: Paths, from_s: float = 0.0, box_c: float = 30.0) -> Callable[[], Paths]:
    """The same with a jug that brings each box to `box_c` at a time."""
    return lambda: replace(paths, box_c=np.where(from_s < T_S, box_c, paths.box_c))


def worth(paths: Paths, risk: float, filled: Callable[[], Paths] | None = None) -> bool:
    chance = chance_under(paths, FLOOR_C)
    return is_worth_waking(paths, filled or warmed(paths), FLOOR_C, chance, UP_S, risk, 0.0)


def test_degree_hours_are_the_area_under_the_floor() -> None:
    # From 20 C by 1 K/h: under 18 C after 2 h, 6 K short at 8 h: 6 x 6 / 2 = 18 degree-hours.
    assert cold_kh(fan(20.0, 30.0), FLOOR_C, UP_S) == pytest.approx([18.0, 0.0], abs=0.05)
    assert cold_kh(fan(20.0), FLOOR_C, 4.0 * 3600.0) == pytest.approx([2.0], abs=0.05)


def test_an_error_alone_makes_cold_of_a_box_at_its_floor() -> None:
    # E max(-X, 0) of X normal with deviation s is s / sqrt(2 pi): over 8 h of s = 1 that is 3.19.
    assert cold_kh(fan(18.0, per_h=0.0, sd_c=1.0), FLOOR_C, UP_S) == pytest.approx([3.1915], abs=1e-3)


def test_heat_is_cold_upside_down() -> None:
    hot = fan(30.0, per_h=-1.0)
    assert heat_kh(hot, np.full(len(T_S), 32.0), UP_S) == pytest.approx([18.0], abs=0.05)


def test_a_night_that_must_go_cold_wakes_at_once() -> None:
    assert worth(fan(21.0, 21.5, 22.0), 0.1)


def test_a_night_that_stays_warm_enough_does_not() -> None:
    # 1.5 h under the floor at the end: about one degree-hour, and a waking costs four.
    assert not worth(fan(24.5), 0.1)


def test_while_it_is_not_sure_it_waits_for_the_crossing() -> None:
    half = fan(20.5, 20.5, 28.0)  # two go far under, one holds: the mean cold is dear, the need not sure
    assert not worth(half, 0.1)
    late = Paths(T_S, half.box_c - 2.4, half.sd_c, half.weights)  # now the two stand at the floor
    assert worth(late, 0.1)


def test_a_small_chance_of_the_hard_floor_is_worth_it_by_itself() -> None:
    # Cold for minutes only, yet five degrees under: no price in degree-hours is asked.
    box_c = np.full((1, len(T_S)), 17.95)
    box_c[0, -2:] = 11.0
    paths = Paths(T_S, box_c, np.full_like(box_c, 0.05), np.ones(1))
    assert float(cold_kh(paths, FLOOR_C, UP_S)[0]) < 4.0
    assert worth(paths, 0.1)


def test_cold_that_comes_before_the_keeper_could_help_is_no_reason() -> None:
    # From 17.5 C by 0.5 K/h, up in three hours: 3.75 degree-hours, of which 2.9 after the first hour.
    paths, up_s = fan(17.5, per_h=0.5), 3.0 * 3600.0
    chance = chance_under(paths, FLOOR_C)
    assert is_worth_waking(paths, warmed(paths), FLOOR_C, chance, up_s, 0.08, 0.0)
    assert not is_worth_waking(paths, warmed(paths), FLOOR_C, chance, up_s, 0.08, 2700.0)


def test_cold_that_a_fill_does_not_end_is_no_reason() -> None:
    # 7.5 degree-hours under the floor to the end of the night, of which the jug spares half a kelvin's worth.
    paths = fan(17.5, per_h=0.1)
    assert worth(paths, 0.1)
    assert not worth(paths, 0.1, lambda: replace(paths, box_c=paths.box_c + 0.2))


def test_the_fill_is_not_worked_out_for_a_night_that_holds() -> None:
    def never() -> Paths:
        raise AssertionError("a forecast more, for nothing")

    assert not worth(fan(30.0, per_h=0.5), 0.1, never)


def test_heat_that_is_over_before_the_keeper_comes_is_no_reason() -> None:
    ceiling_c = np.full(len(T_S), 34.0)
    assert heat_is_worth_waking(fan(37.0, per_h=1.0), ceiling_c, UP_S, 0.1, 0.0)
    assert not heat_is_worth_waking(fan(37.0, per_h=1.0), ceiling_c, UP_S, 0.1, 1800.0)


def test_a_dearer_waking_wakes_less() -> None:
    # A wider risk makes a waking dearer: 4 degree-hours at one in ten, 16 at four in ten.
    paths = fan(22.0, 22.2)
    assert worth(paths, 0.1)
    assert not worth(fan(24.0), 0.4)


def test_an_hour_of_a_fresh_jugs_heat_is_slept_through() -> None:
    ceiling_c = np.full(len(T_S), 34.0)
    assert not heat_is_worth_waking(fan(35.5), ceiling_c, UP_S, 0.1, 0.0)
    assert heat_is_worth_waking(fan(37.5), ceiling_c, UP_S, 0.1, 0.0)
