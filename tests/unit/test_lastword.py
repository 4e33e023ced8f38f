"""Promise: the last word comes once on every channel at any hour, and the next start takes it back."""

from sites import START_WALL_S, make_site
from watching import Watching

from coldbrood.watch.events import GoingDown, Started
from coldbrood.watch.lastword import STAYED_S, is_unsaid

DOWN = "Nobody watches from"
BACK = "Watching again at"


def watched() -> Watching:
    watching = Watching(make_site(channels=2), START_WALL_S)
    watching.send_c("box-a", 33.0)
    watching.pass_s(30.0)
    return watching


def count(watching: Watching, start: str) -> int:
    return sum(told.send.title.startswith(start) for told in watching.told)


def test_it_is_said_once_on_each_channel_and_noted() -> None:
    watching = watched()
    watching.do(GoingDown("cell at 3.1 V"))
    watching.do(GoingDown("cell at 3.0 V"))
    assert count(watching, DOWN) == 2
    assert [line.reason for line in watching.history if line.kind == "power"] == ["cell at 3.1 V"]
    assert not is_unsaid(watching.state)


def test_the_next_start_says_once_that_it_watches_again() -> None:
    watching = watched()
    watching.do(GoingDown("x"))
    for _ in range(2):
        watching.do(Started(20.0, sure=True))
        watching.pass_s(30.0)
    assert (count(watching, DOWN), count(watching, BACK)) == (2, 2)


def test_a_word_that_never_left_is_not_said_after_the_start() -> None:
    watching = watched()
    watching.outcome = "try-again"
    watching.do(GoingDown("x"))
    assert is_unsaid(watching.state)
    told = count(watching, DOWN)
    watching.outcome = "accepted"
    watching.do(Started(20.0, sure=True))
    watching.pass_s(900.0)
    assert count(watching, DOWN) == told
    assert not is_unsaid(watching.state)


def test_a_board_that_stays_up_says_that_the_watch_goes_on() -> None:
    watching = watched()
    watching.do(GoingDown("x"))
    watching.send_c("box-a", 33.0)
    watching.pass_s(STAYED_S - 30.0)
    assert count(watching, BACK) == 0
    watching.pass_s(60.0)
    assert count(watching, BACK) == 2
    assert watching.state.health.going_down_t_s is None
    watching.do(GoingDown("y"))
    assert count(watching, DOWN) == 4


def test_with_no_last_word_a_start_says_nothing_of_it() -> None:
    watching = watched()
    watching.do(Started(20.0, sure=True))
    watching.pass_s(30.0)
    assert count(watching, BACK) == 0
