"""Steps of the two-node box are sound at any size, and its priors follow the box on paper."""

from dataclasses import replace

import numpy as np
import pytest
from box_days import SPEC

from coldbrood.brooder import thermal

CASE = {"jug_j_per_k": 15900.0, "k_jug": 1.6, "box_j_per_k": 12000.0, "k_box": 3.5}


def test_no_time_changes_nothing() -> None:
    jug, box = thermal.exact_step(75.0, 20.0, 0.0, **CASE, heat_w=12.0, outdoor_c=5.0)
    assert (float(jug), float(box)) == (75.0, 20.0)


def test_a_long_step_ends_at_the_steady_state() -> None:
    jug, box = thermal.exact_step(75.0, 20.0, 3e6, **CASE, heat_w=12.0, outdoor_c=5.0)
    end = float(thermal.steady_state(3.5, 12.0, 5.0))
    assert end == pytest.approx(5.0 + 12.0 / 3.5)
    assert (float(jug), float(box)) == pytest.approx((end, end), abs=1e-9)


def test_arrays_give_what_each_value_gives_alone() -> None:
    k_box = np.array([0.5, 2.0, 3.5])
    case: dict[str, thermal.Value] = {**CASE, "k_box": k_box}
    _, box = thermal.exact_step(75.0, 20.0, 600.0, **case, heat_w=12.0, outdoor_c=5.0)
    alone = [
        float(thermal.exact_step(75.0, 20.0, 600.0, **{**CASE, "k_box": k}, heat_w=12.0, outdoor_c=5.0)[1])
        for k in k_box
    ]
    assert box.tolist() == pytest.approx(alone, rel=1e-14)


def test_without_loss_the_heat_stays_inside() -> None:
    case = {**CASE, "k_box": 0.0}
    jug, box = thermal.exact_step(75.0, 20.0, 7200.0, **case, heat_w=12.0, outdoor_c=-40.0)
    gained = 15900.0 * (float(jug) - 75.0) + 12000.0 * (float(box) - 20.0)
    assert gained == pytest.approx(12.0 * 7200.0, rel=1e-9)


@pytest.mark.parametrize("k", [1e-12, 1e-6])
def test_tiny_conductances_leave_only_the_heat(k: float) -> None:
    case = {**CASE, "k_jug": k, "k_box": k}
    jug, box = thermal.exact_step(75.0, 20.0, 3600.0, **case, heat_w=12.0, outdoor_c=5.0)
    assert float(jug) == pytest.approx(75.0, abs=1e-4)
    assert float(box) == pytest.approx(20.0 + 12.0 * 3600.0 / 12000.0, abs=1e-4)


def test_equal_time_constants_do_not_divide_by_nothing() -> None:
    # With next to no exchange and a k_box as small, both nodes have the same rate.
    case = {"jug_j_per_k": 1e4, "k_jug": 1e-9, "box_j_per_k": 1e4, "k_box": 0.0}
    jug, box = thermal.exact_step(60.0, 10.0, 3600.0, **case, heat_w=0.0, outdoor_c=0.0)
    assert np.isfinite([float(jug), float(box)]).all()
    assert (float(jug), float(box)) == pytest.approx((60.0, 10.0), abs=1e-6)


def test_time_constants_are_those_of_the_sheet() -> None:
    # physics.md section 2, first case [C: scipy expm].
    assert thermal.time_constants_s(15900.0, 1.6, 12000.0, 3.5) == pytest.approx((2163.956, 15744.973))


@pytest.mark.parametrize(("litres", "at_c", "field"), [(0.0, 60.0, "litres"), (3.8, 101.0, "at_c")])
def test_bad_water_is_named(litres: float, at_c: float, field: str) -> None:
    with pytest.raises(ValueError, match=rf"^{field}: "):
        thermal.water_j_per_k(litres, at_c)


def test_loss_grows_with_air_and_falls_with_insulation() -> None:
    base = thermal.loss_w_per_k(SPEC)
    airier = thermal.loss_w_per_k(replace(SPEC, air_changes_per_h=13.0))
    # 0.33 n V: five more changes of 0.165 m3.
    assert airier - base == pytest.approx(0.33 * 5.0 * 0.165)
    assert thermal.loss_w_per_k(replace(SPEC, insulation_mm=60.0)) < base


def test_a_towel_changes_the_exchange_two_to_threefold() -> None:
    # physics.md section 4: "a towel changes k_j two- to threefold" [C].
    bare, wrapped = thermal.jug_w_per_k(SPEC, False), thermal.jug_w_per_k(SPEC, True)
    assert 2.0 <= bare / wrapped <= 3.0


def test_two_jugs_hold_and_give_twice() -> None:
    one, two = thermal.priors(SPEC), thermal.priors(replace(SPEC, jugs=2))
    assert two.jug_j_per_k == pytest.approx(2.0 * one.jug_j_per_k)
    assert two.k_jug_w_per_k == pytest.approx(2.0 * one.k_jug_w_per_k)


def test_the_stated_wrap_is_the_first_hump() -> None:
    bare, wrapped = thermal.priors(SPEC), thermal.priors(replace(SPEC, jug_wrapped=True))
    assert bare.k_jug_w_per_k == wrapped.k_jug_other_w_per_k > wrapped.k_jug_w_per_k
