"""Promise: night, age and times of day are those of the keeper's own clock, also over summer time."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from sites import START_WALL_S, make_site

from coldbrood.watch.events import Now
from coldbrood.watch.localtime import (
    age_days,
    clock_text,
    degrees_text,
    difference_text,
    is_night,
    next_wall_s,
    night_ahead,
    night_sun,
    wall_of,
    watch_of,
)

CET = ZoneInfo("CET")


def wall(text: str) -> float:
    return datetime.fromisoformat(text).timestamp()


@pytest.mark.parametrize(
    ("at", "night"),
    [
        ("2026-04-11T21:59:59+00:00", False),
        ("2026-04-11T22:00:00+00:00", True),
        ("2026-04-12T03:00:00+00:00", True),
        ("2026-04-12T06:29:59+00:00", True),
        ("2026-04-12T06:30:00+00:00", False),
    ],
)
def test_night_is_from_bedtime_to_rising(at: str, night: bool) -> None:
    assert is_night(make_site(), wall(at)) is night


def test_age_counts_from_midnight_of_arrival_and_is_never_negative() -> None:
    site = make_site()
    assert age_days(site, wall("2026-04-10T00:00:00+00:00")) == 0.0
    assert age_days(site, wall("2026-04-11T12:00:00+00:00")) == pytest.approx(1.5)
    assert age_days(site, 0.0) == 0.0


def test_bedtime_stays_on_the_keepers_clock_over_both_changes_of_summer_time() -> None:
    site = make_site(zone=CET)
    for before, hours in (("2026-03-28T22:00:00+01:00", 23), ("2026-10-24T22:00:00+02:00", 25)):
        due = next_wall_s(site, wall(before), site.keeper.bedtime_s)
        assert due - wall(before) == hours * 3600.0
        assert datetime.fromtimestamp(due, CET).strftime("%H:%M") == "22:00"


def test_next_is_strictly_after() -> None:
    site = make_site()
    at = wall("2026-04-11T22:00:00+00:00")
    assert next_wall_s(site, at, site.keeper.bedtime_s) == at + 86_400.0
    assert next_wall_s(site, at - 1.0, site.keeper.bedtime_s) == at


def test_night_ahead_is_the_rest_of_this_night_or_the_whole_next_one() -> None:
    site = make_site()
    by_day = night_ahead(site, wall("2026-04-11T15:00:00+00:00"))
    assert by_day == (wall("2026-04-11T22:00:00+00:00"), wall("2026-04-12T06:30:00+00:00"))
    at = wall("2026-04-12T02:00:00+00:00")
    assert night_ahead(site, at) == (at, wall("2026-04-12T06:30:00+00:00"))


@pytest.mark.parametrize("hour", range(24))
def test_the_suns_night_holds_or_follows_the_moment(hour: int) -> None:
    at = datetime(2026, 4, 11, tzinfo=UTC) + timedelta(hours=hour)
    sunset, sunrise = night_sun(make_site(), at.timestamp())
    assert sunset is not None
    assert sunrise is not None
    assert 8 * 3600 < sunrise - sunset < 12 * 3600
    assert at.timestamp() < sunrise
    assert sunset - at.timestamp() < 14 * 3600


def test_watch_time_and_wall_time_go_back_and_forth() -> None:
    now = Now(t_s=1000.0, wall_s=START_WALL_S, synced=True)
    assert wall_of(now, 1060.0) == START_WALL_S + 60.0
    assert watch_of(now, wall_of(now, 77.0)) == 77.0


def test_figures_are_said_in_the_keepers_unit_and_clock() -> None:
    plain, other = make_site(), make_site(unit="F", clock_24h=False)
    assert degrees_text(plain.keeper, 19.84) == "19.8 C"
    assert degrees_text(plain.keeper, 21.0) == "21 C"
    assert degrees_text(plain.keeper, -0.04) == "0 C"
    assert degrees_text(other.keeper, 21.1) == "70 F"
    assert degrees_text(other.keeper, -40.0) == "-40 F"
    assert difference_text(other.keeper, 1.0) == "1.8 F"
    assert clock_text(plain, wall("2026-04-11T02:40:00+00:00")) == "02:40"
    assert clock_text(other, wall("2026-04-11T02:40:00+00:00")) == "2:40 am"
    assert clock_text(other, wall("2026-04-11T00:05:00+00:00")) == "12:05 am"
    assert clock_text(other, wall("2026-04-11T12:05:00+00:00")) == "12:05 pm"
