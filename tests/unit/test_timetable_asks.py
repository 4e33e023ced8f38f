"""Promise: what is not seen or not known yet keeps its timetable, whatever a forecast holds worth it."""

from dataclasses import replace

import pytest
from sites import make_site
from views import T_S, make_hold

from coldbrood.brooder import outdoor
from coldbrood.watch.assess import refill_by, timetable_asks, why_unsure
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
