"""Promise: bedtime says what to do and what sleeping costs; the morning says what came, cold included."""

from dataclasses import replace
from itertools import pairwise

import pytest
from sites import START_WALL_S, make_site
from views import T_S, make_hold, make_view

from coldbrood.brooder.hold import Hold
from coldbrood.brooder.plan import NightPlan
from coldbrood.watch.digest import NightForecast, bedtime_words, dusk_words, morning_words
from coldbrood.watch.events import Now
from coldbrood.watch.sight import BoxSight, first_sight

SITE = make_site()
BED = Now(T_S, START_WALL_S + 12 * 3600.0, synced=True)  # 22:00 of the second day
RISE = Now(T_S + 8.5 * 3600.0, START_WALL_S + 20.5 * 3600.0, synced=True)
NEVER = make_hold(None, None, None, None)


def plan(**other: object) -> NightPlan:
    whole = NightPlan(
        fill_at_bedtime=True,
        bedtime_fill_c=75.0,
        wake_s=(),
        wake_window_s=None,
        sleep_through=NEVER,
        holds_until=NEVER,
        low_c=(20.1, 21.0, 22.2),
        chance_under=0.0,
        cost_kh=0.25,
        reason="",
    )
    return replace(whole, **other)  # type: ignore[arg-type] # any field of the plan


def hold_at(hours: float) -> Hold:
    at = hours * 60.0
    return make_hold(at - 60, at - 45, at, at + 90)


def said(night: NightPlan, **view: object) -> tuple[str, str]:
    words = bedtime_words(SITE, BED, {"a": make_view(**view)}, {"a": night})
    return words.title, words.body


def test_one_fill_and_sleep() -> None:
    title, body = said(plan())
    assert title == "One fill now, then sleep: box A"
    assert body == (
        "Box A: lowest tonight about 21 C (20.1 C to 22.2 C), floor 18 C. "
        "Carry the jug closed: the water scalds."
    )


def test_a_waking_is_named_with_its_window_and_the_cost_of_sleeping_on() -> None:
    wake_s = T_S + 5 * 3600.0
    night = plan(
        wake_s=(wake_s,), wake_window_s=(wake_s - 1800.0, wake_s + 1800.0), sleep_through=hold_at(6.0)
    )
    title, body = said(night)
    assert title == "One fill now, up at 03:00: box A"
    assert "Sleeping through: under the floor about 04:00 (03:15 to 05:30)." in body
    assert "Any time from 02:30 to 03:30 will do." in body


def test_cold_that_is_not_worth_a_waking_is_said_all_the_same() -> None:
    _, body = said(plan(fill_at_bedtime=False, holds_until=hold_at(7.0)))
    assert "It may go a little under its floor, about 05:00 (04:15 to 06:30): not worth a waking." in body
    _, after_rising = said(plan(fill_at_bedtime=False, holds_until=hold_at(9.0)))
    assert "under its floor" not in after_rising


@pytest.mark.parametrize(
    ("view", "why"), [({"blind": True}, "its probe is silent"), ({"sureness": "unknown"}, "not known yet")]
)
def test_what_is_not_known_rests_on_the_timetable(view: dict[str, object], why: str) -> None:
    title, body = said(plan(), **view)
    assert title == "Tonight by the timetable: box A"
    assert body.startswith(f"Box A: {why}; next refill 22:30, then every 4 h.")


def slept(*box_c: float) -> BoxSight:
    """A night's track with a point each five minutes, ending at rising."""
    start_s = RISE.t_s - 300.0 * len(box_c)
    track = tuple((start_s + 300.0 * n, value) for n, value in enumerate(box_c))
    assert all(after - before == 300.0 for (before, _), (after, _) in pairwise(track))
    return replace(first_sight(SITE).boxes["a"], track=track)


def morning(box: BoxSight, wakings: int = 0) -> tuple[str, str]:
    told = [NightForecast("a", (20.1, 21.0, 22.2), 0, known=True)]
    words = morning_words(SITE, RISE, {"a": box}, told, 8.5 * 3600.0, wakings, [], [])
    return words.title, words.body


def test_the_morning_tells_forecast_and_what_came() -> None:
    assert morning(slept(24.0, 22.5, 23.0)) == (
        "Morning: woken not at all",
        "Box A: lowest 22.5 C at 06:20; forecast was 21 C (20.1 C to 22.2 C).",
    )
    assert morning(slept(24.0), wakings=2)[0] == "Morning: woken 2 times"


def test_a_box_that_wants_a_refill_soon_is_named_first() -> None:
    told = [NightForecast("a", (20.1, 21.0, 22.2), 0, known=True)]
    boxes = {"a": slept(24.0, 22.5, 23.0)}
    words = morning_words(SITE, RISE, boxes, told, 8.5 * 3600.0, 1, [], [], ["a"])
    assert words.title == "Fill now, first thing: box A"
    assert words.body.startswith("Woken once. Box A: lowest 22.5 C at 06:20;")
    assert words.body.endswith("Carry the jug closed: the water scalds.")


def test_time_under_the_floor_is_told_to_the_minute() -> None:
    # The floor on day 2 is 21.1 C (brooder/band.py): four points of five minutes lie under it.
    _, body = morning(slept(22.0, 20.9, 20.5, 20.0, 20.8, 21.4))
    assert body.startswith("Box A: lowest 20 C at 06:15, under its floor for 20 min; forecast was")
    _, short = morning(slept(22.0, 21.0, 21.4))
    assert "under its floor" not in short


def test_a_night_without_a_box_seen_is_said() -> None:
    unseen = first_sight(SITE).boxes["a"]
    assert morning(unseen)[1] == "No box was seen last night."


def test_dusk_names_each_count() -> None:
    boxes = first_sight(make_site("ab")).boxes
    assert "box A 16, box B 16" in dusk_words(boxes).body


def test_a_fill_asked_for_cooler_says_how_warm_in_the_keepers_unit() -> None:
    _, usual = said(plan())
    assert "water of" not in usual
    _, cooler = said(plan(bedtime_fill_c=50.0))
    assert "Fill with water of 50 C: hotter is too hot. Carry the jug closed: the water scalds." in cooler
    _, unfilled = said(plan(fill_at_bedtime=False, bedtime_fill_c=50.0))
    assert "water of" not in unfilled
