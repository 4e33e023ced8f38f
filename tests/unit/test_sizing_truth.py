"""Boxes richer than the model lie in the range that sizing gives on paper, and those called weak are weak."""

from functools import cache

import numpy as np
from nightsim.scenario import Scenario, draw
from nightsim.seeds_tune import TUNE
from nightsim.truth import ONE, Acting

from coldbrood.brooder.band import floor_by_age_c
from coldbrood.brooder.sizing import SPARE_H, median_or_day_h, size
from coldbrood.brooder.specs import Flock

AGE, OUTDOOR_C, WIND_M_S, INTERVAL_H = 1.0, 2.0, 0.5, 4.0
FLOOR_C = floor_by_age_c(AGE)


def true_hold_h(s: Scenario) -> float:
    """The hold of a true box after a fill at its floor: four nodes, radiation, wind; a steady calm night."""
    acts = Acting(OUTDOOR_C, WIND_M_S, 0.0, s.box.heat_weight(s.chicks, AGE, 1.0))
    nodes = (s.spec.fill_c, s.spec.fill_c, FLOOR_C, FLOOR_C)
    for minute in range(1, 1441):
        nodes = s.box.minute(ONE, nodes, float(s.spec.jug_wrapped), acts, 60.0)
        if minute >= 60 and nodes[2] < FLOOR_C:
            return 0.0 if minute == 60 else minute / 60.0
    return 24.0


@cache
def holds() -> np.ndarray[tuple[int, int], np.dtype[np.float64]]:
    """True hold, and early, middle and late end on paper in h, one row a box of the seeds to tune on."""
    rows = []
    for seed in TUNE[:120]:
        s = draw(seed)
        on_paper = size(s.spec, Flock(s.chicks, AGE, "layer"), OUTDOOR_C, FLOOR_C)
        late_h = 24.0 if on_paper.late_h is None else on_paper.late_h
        rows.append((true_hold_h(s), on_paper.early_h or 0.0, median_or_day_h(on_paper), late_h))
    return np.array(rows)


def test_the_truth_lies_in_the_range_at_least_as_often_as_said() -> None:
    # All of 120 boxes did when this was written: the range on paper is wide, since it must also hold boxes
    # worse measured than these. The readings narrow it.
    true_h, early_h, _, late_h = holds().T
    assert np.mean((early_h <= true_h) & (true_h <= late_h)) >= 0.8


def test_the_middle_on_paper_is_near_the_middle_of_the_true_ones_and_not_above() -> None:
    true_h, _, middle_h, _ = holds().T
    assert 0.6 < np.median(middle_h) / np.median(true_h) < 1.1


def test_boxes_called_too_weak_are_the_weak_ones() -> None:
    true_h, _, middle_h, _ = holds().T
    weak, called = true_h < INTERVAL_H, middle_h < INTERVAL_H + SPARE_H
    assert 20 <= weak.sum() <= 60
    assert called[weak].mean() >= 0.9  # a weak box is hardly ever missed
    assert called[~weak].mean() <= 0.2  # and few strong ones are blamed
