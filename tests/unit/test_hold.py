"""The hold is read off the paths between grid points, its chance never falls, nonsense is refused."""

from statistics import NormalDist

import numpy as np
import pytest

from coldbrood.brooder.bank import Array
from coldbrood.brooder.hold import chance_under, crossing_s, hold
from coldbrood.brooder.paths import Paths

T_S = np.arange(0.0, 36001.0, 600.0)


def falling(starts_c: list[float], per_h: float = 1.0, sd_c: float = 0.5) -> Paths:
    box_c = np.array(starts_c)[:, None] - per_h * T_S / 3600.0
    n = len(starts_c)
    return Paths(T_S, box_c, np.full_like(box_c, sd_c), np.full(n, 1.0 / n))


def floors(floor_c: float) -> Array:
    return np.full(len(T_S), floor_c)


def test_a_straight_fall_gives_the_quantiles_of_its_error() -> None:
    # 22 C falling 1 K/h with an error of 0.5 K crosses 18 C at 4 h, give or take half an hour.
    h = hold(falling([22.0]), floors(18.0), 0.05)
    z = NormalDist().inv_cdf(0.9)
    assert h.early_s == pytest.approx(3600.0 * (4.0 - 0.5 * z), abs=1.0)
    assert h.median_s == pytest.approx(3600.0 * 4.0, abs=1.0)
    assert h.late_s == pytest.approx(3600.0 * (4.0 + 0.5 * z), abs=1.0)
    assert h.refill_by_s == pytest.approx(3600.0 * (4.0 + 0.5 * NormalDist().inv_cdf(0.05)), abs=1.0)


def test_times_are_not_snapped_to_the_grid() -> None:
    medians = [hold(falling([22.0 + d]), floors(18.0), 0.1).median_s for d in (0.0, 0.01, 0.02)]
    assert np.diff(np.array(medians, dtype=np.float64)) == pytest.approx([36.0, 36.0], abs=1.0)


def test_at_the_refill_by_time_the_chance_is_the_risk() -> None:
    paths = falling([21.0, 22.0, 23.5], sd_c=0.3)
    h = hold(paths, floors(18.0), 0.2)
    assert h.refill_by_s is not None
    assert np.interp(h.refill_by_s, T_S, h.chance_under) == pytest.approx(0.2, abs=0.02)


def test_a_smaller_risk_asks_sooner() -> None:
    times = [hold(falling([21.0, 23.0]), floors(18.0), risk).refill_by_s for risk in (0.3, 0.1, 0.02)]
    assert all(t is not None for t in times)
    assert times == sorted(times, reverse=True)  # type: ignore[type-var]  # none is None, asserted above


def test_a_box_that_holds_has_no_time() -> None:
    h = hold(falling([40.0]), floors(18.0), 0.1)
    assert (h.refill_by_s, h.early_s, h.median_s, h.late_s) == (None, None, None, None)
    assert h.chance_under.max() < 1e-6


def test_a_box_already_under_crosses_at_once() -> None:
    h = hold(falling([15.0]), floors(18.0), 0.1)
    assert (h.refill_by_s, h.early_s, h.median_s, h.late_s) == (0.0, 0.0, 0.0, 0.0)


def test_part_of_the_range_may_lie_beyond_the_horizon() -> None:
    h = hold(falling([22.0, 40.0]), floors(18.0), 0.1)
    assert h.early_s is not None
    assert h.late_s is None


def test_the_chance_never_falls_though_the_box_warms_again() -> None:
    box_c = 20.0 + 3.0 * np.cos(T_S / 5000.0)[None, :]
    paths = Paths(T_S, box_c, np.full_like(box_c, 0.4), np.ones(1))
    chance = chance_under(paths, floors(18.5))
    assert np.all(np.diff(chance) >= 0.0)
    assert chance[-1] > 0.9


def test_a_floor_that_falls_with_age_is_followed() -> None:
    stepped = np.where(T_S < 7200.0, 18.0, 10.0)
    assert hold(falling([22.0]), stepped, 0.1).median_s is None


def test_weights_count() -> None:
    paths = falling([20.0, 30.0])
    light = Paths(paths.t_s, paths.box_c, paths.sd_c, np.array([0.05, 0.95]))
    assert hold(paths, floors(18.0), 0.1).refill_by_s is not None
    assert hold(light, floors(18.0), 0.1).refill_by_s is None


def test_a_level_not_reached_has_no_crossing() -> None:
    assert crossing_s(T_S, np.linspace(0.0, 0.4, len(T_S)), 0.5) is None


@pytest.mark.parametrize("risk", [0.0, 1.0, -0.1, float("nan")])
def test_a_risk_that_is_none_is_refused(risk: float) -> None:
    with pytest.raises(ValueError, match=r"^risk: "):
        hold(falling([22.0]), floors(18.0), risk)


def test_floors_of_another_length_are_refused() -> None:
    with pytest.raises(ValueError, match=r"^floor_c: "):
        hold(falling([22.0]), np.full(3, 18.0), 0.1)
