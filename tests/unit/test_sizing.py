"""A box on paper gets its hold as a range, is called too weak where it is, and is told what helps most."""

from dataclasses import replace

import numpy as np
import pytest
from box_days import FLOCK, SPEC

from coldbrood.brooder.bank import draw
from coldbrood.brooder.sizing import (
    SPARE_H,
    Sizing,
    alone_c,
    helps,
    least_air_changes_per_h,
    median_or_day_h,
    refitted,
    resting_samples_c,
    size,
    too_weak,
    weighted_quantile,
)
from coldbrood.brooder.thermal import loss_w_per_k, priors

BARE = replace(SPEC, insulation_mm=0.0, air_changes_per_h=20.0)


def ordered(found: Sizing) -> bool:
    early, middle, late = (24.0 if h is None else h for h in (found.early_h, found.median_h, found.late_h))
    return early <= middle <= late


@pytest.mark.parametrize("outdoor_c", [-10.0, 0.0, 5.0, 12.0, 20.0])
def test_the_range_is_in_order(outdoor_c: float) -> None:
    assert ordered(size(SPEC, FLOCK, outdoor_c, 18.0))


def test_a_warm_night_is_held_beyond_a_day_and_a_bare_box_in_frost_not_at_all() -> None:
    assert size(SPEC, FLOCK, 20.0, 18.0).median_h is None
    assert size(BARE, FLOCK, -10.0, 21.0).median_h == 0.0


def test_the_same_question_has_the_same_answer() -> None:
    assert size(SPEC, FLOCK, 5.0, 18.0) == size(SPEC, FLOCK, 5.0, 18.0)


def test_a_learned_box_is_known_better_than_one_on_paper() -> None:
    bank = draw(SPEC, 3)
    centre = bank.theta.mean(axis=1)[:, None]
    narrow = replace(bank, theta=centre + 0.1 * (bank.theta - centre))
    paper, known = size(SPEC, FLOCK, 5.0, 18.0), size(SPEC, FLOCK, 5.0, 18.0, narrow)
    assert known.early_h is not None
    assert known.late_h is not None
    assert paper.early_h is not None
    assert paper.late_h is not None
    assert known.late_h - known.early_h < 0.6 * (paper.late_h - paper.early_h)


def test_resting_is_where_loss_and_chicks_balance() -> None:
    bank = draw(SPEC, 1)
    centre = replace(bank, theta=np.repeat(bank.theta[:, :1], bank.theta.shape[1], axis=1))
    empty = resting_samples_c(centre, replace(FLOCK, chicks=0), 4.0)
    assert empty == pytest.approx(4.0, abs=1e-9)
    few, many = (resting_samples_c(centre, replace(FLOCK, chicks=n), 4.0)[0] for n in (5, 20))
    assert 4.0 < few < many


def test_alone_a_box_is_the_less_sure_the_less_sure_the_night() -> None:
    bank = draw(SPEC, 1)
    cold_c, middle_c = alone_c(bank, FLOCK, 8.0, 0.0)
    assert 8.0 < cold_c < middle_c
    assert middle_c == pytest.approx(size(SPEC, FLOCK, 8.0, 18.0).resting_c)
    doubted_cold_c, doubted_middle_c = alone_c(bank, FLOCK, 8.0, 3.0)
    assert doubted_cold_c < cold_c - 2.0
    assert doubted_middle_c == pytest.approx(middle_c, abs=0.4)


def test_quantiles_of_weighted_samples() -> None:
    values, w = np.array([3.0, 1.0, 2.0]), np.array([0.2, 0.5, 0.3])
    assert weighted_quantile(values, w, 0.5) == 1.0
    assert weighted_quantile(values, np.array([0.6, 0.2, 0.2]), 0.5) == 3.0


def test_too_weak_goes_by_the_middle_of_the_range() -> None:
    held = size(SPEC, FLOCK, 5.0, 18.0)
    middle_h = median_or_day_h(held)
    assert too_weak(held, middle_h - SPARE_H + 0.1)
    assert not too_weak(held, middle_h - SPARE_H - 0.1)
    assert not too_weak(size(SPEC, FLOCK, 20.0, 18.0), 24.0)


def test_what_helps_stands_in_order_and_the_colder_night_last() -> None:
    found = helps(SPEC, FLOCK, 5.0, 18.0)
    assert [h.key for h in found][-1] == "night"
    assert {h.key for h in found} == {"insulation", "leak", "litres", "jugs", "towel", "chicks", "night"}
    gains = [h.gain_h for h in found[:-1]]
    assert gains == sorted(gains, reverse=True)
    assert all(h.before == found[0].before for h in found)
    assert found[-1].gain_h < 0.0
    assert all(h.gain_h > 0.0 for h in found if h.key in ("insulation", "leak", "litres", "jugs", "chicks"))


def test_no_leak_is_closed_that_the_chicks_breathe_by() -> None:
    # Twenty day-olds need about 5 changes an hour of 165 L: the config's air_changes_per_h (C).
    assert least_air_changes_per_h(SPEC, 20) == pytest.approx(5.0, abs=0.1)
    tight = replace(SPEC, air_changes_per_h=least_air_changes_per_h(SPEC, FLOCK.chicks))
    assert "leak" not in {h.key for h in helps(tight, FLOCK, 5.0, 18.0)}


def test_a_learned_bank_moves_with_the_box() -> None:
    thick = replace(SPEC, insulation_mm=60.0)
    bank = draw(SPEC, 1)
    moved = refitted(bank, SPEC, thick)
    ratio = np.exp(moved.theta[1] - bank.theta[1])
    assert ratio == pytest.approx(loss_w_per_k(thick, 0.0) / loss_w_per_k(SPEC, 0.0))
    assert moved.theta[3] == pytest.approx(bank.theta[3])
    assert refitted(moved, thick, SPEC).theta == pytest.approx(bank.theta)
    more = refitted(bank, SPEC, replace(SPEC, jugs=2))
    assert np.exp(more.theta[0] - bank.theta[0]) == pytest.approx(2.0)
    assert priors(replace(SPEC, jugs=2)).jug_j_per_k == pytest.approx(2.0 * priors(SPEC).jug_j_per_k)


def test_help_for_a_learned_box_starts_from_what_was_learned() -> None:
    bank = draw(SPEC, 1)
    leaky = replace(bank, theta=bank.theta + np.array([0.0, 0.3, 0.0, 0.0, 0.0, 0.0])[:, None])
    assert helps(SPEC, FLOCK, 5.0, 18.0, leaky)[0].before == size(SPEC, FLOCK, 5.0, 18.0, leaky)
    assert median_or_day_h(size(SPEC, FLOCK, 5.0, 18.0, leaky)) < median_or_day_h(
        size(SPEC, FLOCK, 5.0, 18.0)
    )


@pytest.mark.parametrize(
    ("outdoor_c", "floor_c", "said"),
    [(float("nan"), 18.0, "outdoor_c: nan"), (5.0, float("inf"), "floor_c: inf")],
)
def test_what_is_no_temperature_is_refused_by_name(outdoor_c: float, floor_c: float, said: str) -> None:
    with pytest.raises(ValueError, match=said):
        size(SPEC, FLOCK, outdoor_c, floor_c)


def test_an_interval_of_no_hours_is_refused() -> None:
    with pytest.raises(ValueError, match="interval_h: 0"):
        too_weak(size(SPEC, FLOCK, 5.0, 18.0), 0.0)
