"""The keeper's time is up, asleep or away without a gap, by weekday, over midnight and clock changes."""

from dataclasses import replace
from datetime import datetime
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sites import make_site

from coldbrood.settings.build import away_of
from coldbrood.watch.site import Away, Site
from coldbrood.watch.whereabouts import (
    last_at_hand_wall_s,
    next_up_wall_s,
    stretches,
    up_until_wall_s,
    whereabouts,
)

WORK = "mon-fri 07:30-16:30"


def site(*away: str, zone: str = "Etc/UTC", bedtime: str = "22:00", rising: str = "06:30") -> Site:
    made = make_site(zone=ZoneInfo(zone))
    bed, rise = (int(at[:2]) * 3600 + int(at[3:]) * 60 for at in (bedtime, rising))
    keeper = replace(made.keeper, bedtime_s=bed, rising_s=rise, away=tuple(away_of(text) for text in away))
    return replace(made, keeper=keeper)


def at(text: str, zone: str = "Etc/UTC") -> float:
    """Unix time of a local `2026-04-13 07:30` (a Monday)."""
    return datetime.strptime(text, "%Y-%m-%d %H:%M").replace(tzinfo=ZoneInfo(zone)).timestamp()


@pytest.mark.parametrize(
    ("text", "weekdays"),
    [
        ("mon-fri 07:30-16:30", (0, 1, 2, 3, 4)),
        ("sat 09:00-12:00", (5,)),
        ("fri-mon 09:00-12:00", (4, 5, 6, 0)),
        ("sun-sun 09:00-12:00", (6,)),
    ],
)
def test_weekdays_run_on_over_the_week_end(text: str, weekdays: tuple[int, ...]) -> None:
    assert away_of(text).weekdays == weekdays


def test_a_text_becomes_seconds_of_the_day() -> None:
    assert away_of("sat 09:00-12:15") == Away((5,), 9 * 3600, 12 * 3600 + 900)


@pytest.mark.parametrize(
    ("when", "where"),
    [
        ("2026-04-13 06:29", "asleep"),
        ("2026-04-13 06:30", "up"),
        ("2026-04-13 07:30", "away"),
        ("2026-04-13 16:29", "away"),
        ("2026-04-13 16:30", "up"),
        ("2026-04-13 22:00", "asleep"),
        ("2026-04-18 10:00", "up"),
    ],
)
def test_a_working_week(when: str, where: str) -> None:
    assert whereabouts(site(WORK), at(when)) == where


@pytest.mark.parametrize(
    ("when", "where"),
    [
        ("2026-04-17 20:59", "up"),
        ("2026-04-17 21:00", "away"),
        ("2026-04-18 02:00", "away"),
        ("2026-04-18 05:00", "asleep"),
        ("2026-04-18 21:30", "up"),
        ("2026-04-19 02:00", "asleep"),
    ],
)
def test_a_night_out_goes_over_midnight_into_a_day_that_is_not_named(when: str, where: str) -> None:
    assert whereabouts(site("fri 21:00-04:00"), at(when)) == where


def test_the_stretches_of_a_day() -> None:
    found = stretches(site(WORK), at("2026-04-13 00:00"), at("2026-04-14 00:00"))
    told = [(one.where, (one.to_wall_s - one.from_wall_s) / 3600.0) for one in found]
    assert told == [("asleep", 6.5), ("up", 1.0), ("away", 9.0), ("up", 5.5), ("asleep", 2.0)]


def test_a_night_of_the_clock_change_is_an_hour_shorter() -> None:
    zone = "Europe/Berlin"  # 2026-03-29: 02:00 becomes 03:00 (IANA data base)
    found = stretches(site(zone=zone), at("2026-03-28 22:00", zone), at("2026-03-29 06:30", zone))
    assert [(one.where, one.to_wall_s - one.from_wall_s) for one in found] == [("asleep", 7.5 * 3600.0)]
    evening = at("2026-03-28 20:00", zone)
    assert up_until_wall_s(site(zone=zone), evening) == at("2026-03-28 22:00", zone)


def test_who_sleeps_by_day_and_works_by_night() -> None:
    shift = site("mon-fri 21:30-06:00", bedtime="07:00", rising="14:30")
    assert whereabouts(shift, at("2026-04-14 03:00")) == "away"
    assert whereabouts(shift, at("2026-04-14 10:00")) == "asleep"
    assert next_up_wall_s(shift, at("2026-04-14 03:00")) == at("2026-04-14 06:00")


def test_when_the_keeper_can_come_next() -> None:
    assert next_up_wall_s(site(WORK), at("2026-04-13 10:00")) == at("2026-04-13 16:30")
    assert next_up_wall_s(site(WORK), at("2026-04-13 23:00")) == at("2026-04-14 06:30")
    assert next_up_wall_s(site(WORK), at("2026-04-13 18:00")) == at("2026-04-13 18:00")
    assert up_until_wall_s(site(WORK), at("2026-04-13 06:45")) == at("2026-04-13 07:30")
    assert up_until_wall_s(site(WORK), at("2026-04-13 12:00")) == at("2026-04-13 12:00")


@pytest.mark.parametrize(
    ("now", "by", "last"),
    [
        ("06:45", "10:00", "07:30"),  # due while away: due before leaving
        ("06:45", "16:30", "07:30"),
        ("06:45", "17:00", "17:00"),  # someone is back by then
        ("06:45", "07:15", "07:15"),
        ("10:00", "12:00", "12:00"),  # already away: nobody can come earlier
        ("20:00", "23:50", "23:50"),  # asleep is at hand: the plan weighs the waking
    ],
)
def test_a_refill_due_while_away_is_due_before_leaving(now: str, by: str, last: str) -> None:
    day = "2026-04-13 "
    assert last_at_hand_wall_s(site(WORK), at(day + now), at(day + by)) == at(day + last)


def test_a_keeper_who_is_never_at_hand_is_told_as_such() -> None:
    never = site("mon-sun 06:00-23:00")
    assert next_up_wall_s(never, at("2026-04-13 10:00")) is None


times = st.integers(0, 24 * 60 - 1)
absences = st.builds(
    lambda days, from_min, to_min: Away(tuple(days), 60 * from_min, 60 * to_min),
    st.sets(st.integers(0, 6), min_size=1),
    times,
    times,
)


@settings(max_examples=50, deadline=None)
@given(st.lists(absences, max_size=3), st.integers(0, 86_400 * 400), st.floats(60.0, 200_000.0))
def test_stretches_agree_with_the_moment_at_every_moment(away: list[Away], begin: int, long_s: float) -> None:
    made = make_site(zone=ZoneInfo("Europe/Berlin"))
    made = replace(made, keeper=replace(made.keeper, away=tuple(away)))
    from_s = at("2026-01-01 00:00") + begin
    found = stretches(made, from_s, from_s + long_s)
    assert found[0].from_wall_s == from_s
    assert found[-1].to_wall_s == from_s + long_s
    for one, after in pairwise(found):
        assert one.to_wall_s == after.from_wall_s
        assert one.where != after.where
    for one in found:
        for part in (0.0, 0.3, 0.99):
            moment = one.from_wall_s + part * (one.to_wall_s - one.from_wall_s)
            assert whereabouts(made, moment) == one.where
