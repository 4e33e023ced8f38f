"""A refill that falls due while nobody is there is asked for before they leave, and only then."""

from dataclasses import replace

import pytest
from sites import START_WALL_S, make_site
from watching import Watching

from coldbrood.settings.build import away_of
from coldbrood.watch.assess import before_leaving
from coldbrood.watch.events import Note, Now
from coldbrood.watch.localtime import next_wall_s, watch_of
from coldbrood.watch.rounds import night_plans

HOUR_S = 3600.0
NOW = Now(5000.0, START_WALL_S, synced=True)  # a Saturday, 10:00


def watching(*away: str) -> Watching:
    made = make_site()
    keeper = replace(made.keeper, away=tuple(away_of(text) for text in away))
    return Watching(replace(made, keeper=keeper), START_WALL_S)


def run_to_noon(watched: Watching) -> float | None:
    """A box that cools from a fill at ten, seen each five minutes; hours to the first nudge, if any."""
    watched.do(Note("fill", "refill", "a", watched.t_s, watched.wall_s))
    for n in range(24):
        watched.send_c("box-a", 27.0 - 0.05 * n)
        watched.send_c("outdoor", 8.0)
        watched.pass_s(300.0)
        asked = [one for one in watched.told if one.send.key.startswith("refill-now")]
        if asked:
            return (asked[0].wall_s - START_WALL_S) / HOUR_S
    return None


def test_by_default_nobody_leaves() -> None:
    assert before_leaving(make_site(), NOW, 9000.0) == 9000.0
    assert before_leaving(watching("sat 11:00-18:00").site, NOW, None) is None


@pytest.mark.parametrize(
    ("due_h", "asked_h"),
    [
        (0.5, 0.5),  # before they leave
        (3.0, 1.0),  # while they are away: by the time they leave
        (9.0, 9.0),  # after they are back
        (-1.0, -1.0),  # overdue stays overdue
    ],
)
def test_a_time_while_away_becomes_the_time_of_leaving(due_h: float, asked_h: float) -> None:
    site = watching("sat 11:00-18:00").site
    found = before_leaving(site, NOW, NOW.t_s + due_h * HOUR_S)
    assert found == pytest.approx(NOW.t_s + asked_h * HOUR_S)


def test_who_is_away_already_is_asked_at_the_time_itself() -> None:
    site = watching("sat 09:00-18:00").site
    assert before_leaving(site, NOW, NOW.t_s + HOUR_S) == pytest.approx(NOW.t_s + HOUR_S)


def test_the_nudge_comes_before_they_leave_and_not_without_cause() -> None:
    at_home, leaving, short = watching(), watching("sat 11:30-20:00"), watching("sat 11:30-11:45")
    assert run_to_noon(at_home) is None
    asked_h = run_to_noon(leaving)
    assert asked_h is not None
    assert asked_h == pytest.approx(1.0, abs=0.1)  # half an hour before leaving: the lead
    assert leaving.told[-1].send.body.startswith("Nobody is there from 11:30. ")
    assert run_to_noon(short) is None


def test_the_nights_plan_knows_when_nobody_is_there() -> None:
    """Bedtime's own plan asks for no fill in the hours of a night shift; without it, it does."""
    home, working = (cold_evening(*shift) for shift in ((), ("sat 23:00-06:00",)))
    wanted, planned = (night_plans(one.site, one.state, one.now)["a"] for one in (home, working))
    back_s = watch_of(working.now, next_wall_s(working.site, working.wall_s, 6 * 3600))
    leaves_s = watch_of(working.now, next_wall_s(working.site, working.wall_s, 23 * 3600))
    while_away = [[t for t in plan.wake_s if leaves_s <= t < back_s] for plan in (wanted, planned)]
    assert while_away[0], "the night wants one who wakes"
    assert not while_away[1]


def cold_evening(*away: str) -> Watching:
    """Half a day of a box in the frost that a fill keeps warm for four hours, until just before bedtime."""
    watched = watching(*away)
    for n in range(12 * 12 - 1):
        if n % 48 == 0:
            watched.do(Note(f"fill-{n}", "refill", "a", watched.t_s, watched.wall_s))
        watched.send_c("outdoor", -2.0 + 0.0625 * (n % 3))
        watched.send_c("box-a", 30.0 - 0.2 * (n % 48) + 0.0625 * (n % 2))
        watched.pass_s(300.0)
    return watched
