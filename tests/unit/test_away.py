"""A refill that falls due while nobody is there is asked for before they leave, and only then."""

from dataclasses import replace

import pytest
from sites import START_WALL_S, make_site
from watching import Watching

from coldbrood.settings.build import away_of
from coldbrood.watch.assess import before_leaving
from coldbrood.watch.events import Note, Now

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
