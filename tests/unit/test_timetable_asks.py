"""Promise: what is not seen or not known yet keeps its timetable, whatever a forecast holds worth it."""

from dataclasses import replace

import numpy as np
import pytest
from sites import make_site
from views import T_S, make_hold

from coldbrood.brooder import outdoor
from coldbrood.brooder.hold import Hold
from coldbrood.watch.assess import may_rest, refill_by, timetable_asks, why_unsure
from coldbrood.watch.sight import Sight, first_sight

DUE_S = 10_000.0
LEAD_S = 1800.0
SITE = make_site()


@pytest.mark.parametrize("unsure", ["blind", "learning", "no-outdoor"])
def test_it_asks_from_the_keepers_lead_before_it_is_due(unsure: str) -> None:
    assert not timetable_asks(DUE_S, unsure, LEAD_S, DUE_S - LEAD_S - 1.0)
    assert timetable_asks(DUE_S, unsure, LEAD_S, DUE_S - LEAD_S)
    assert timetable_asks(DUE_S, unsure, LEAD_S, DUE_S + 3600.0)


def test_a_box_that_is_seen_and_known_does_not_rest_on_it() -> None:
    assert not timetable_asks(DUE_S, None, LEAD_S, DUE_S)


def test_a_timetable_without_refills_asks_for_none() -> None:
    assert not timetable_asks(None, "blind", LEAD_S, DUE_S)


def silent_for(minutes: float, holds_h: float = 8.0) -> bool:
    box = replace(first_sight(SITE).boxes["a"], newest=(T_S - 60.0 * minutes, 22.0))
    return may_rest(box, crossing(holds_h), 0.1, T_S)


def crossing(after_h: float) -> Hold:
    """A hold whose chance of being under goes from none to all within the hour before that time."""
    at_s = T_S + 3600.0 * np.array([0.0, after_h - 1.0, after_h, 24.0])
    return Hold(None, None, None, None, np.array([0.0, 0.0, 1.0, 1.0]), at_s)


def test_a_known_box_rests_on_its_estimate_for_a_burst_of_lost_messages() -> None:
    assert silent_for(16.0)
    assert silent_for(45.0)
    assert not silent_for(46.0)


def test_a_box_near_its_floor_does_not_rest() -> None:
    assert not silent_for(16.0, holds_h=2.0)


def test_a_box_never_heard_does_not_rest() -> None:
    assert not may_rest(first_sight(SITE).boxes["a"], crossing(8.0), 0.1, T_S)


def heard_outside(ago_s: float | None) -> Sight:
    sight = first_sight(SITE)
    if ago_s is None:
        return sight
    return replace(sight, habit=outdoor.learn(sight.habit, T_S - ago_s, 5.0, None, None))


@pytest.mark.parametrize(
    ("sureness", "blind", "ago_s", "why"),
    [
        ("known", True, 60.0, "blind"),
        ("unknown", False, 60.0, "learning"),
        ("known", False, 3601.0, "no-outdoor"),
        ("known", False, None, "no-outdoor"),
        ("known", False, 3600.0, None),
        ("learning", False, 60.0, None),
    ],
)
def test_why_a_forecast_does_not_decide_alone(
    sureness: str, blind: bool, ago_s: float | None, why: str | None
) -> None:
    assert why_unsure(SITE, heard_outside(ago_s), sureness, blind, T_S) == why


def test_a_site_without_an_outdoor_probe_goes_by_its_forecasts() -> None:
    bare = replace(SITE, probes={n: probe for n, probe in SITE.probes.items() if probe.role != "outdoor"})
    assert why_unsure(bare, first_sight(bare), "known", False, T_S) is None


@pytest.mark.parametrize("unsure", ["blind", "learning", "no-outdoor"])
def test_the_earlier_of_forecast_and_timetable_counts(unsure: str) -> None:
    held = make_hold(0.0, None, None, None)
    assert refill_by(held, T_S - 1.0, unsure) == (T_S - 1.0, f"timetable-{unsure}")
    assert refill_by(held, T_S + 1.0, unsure) == (T_S, f"forecast-{unsure}")
    assert refill_by(held, None, unsure) == (T_S, f"forecast-{unsure}")
    assert refill_by(held, T_S - 1.0, None) == (T_S, "forecast")
