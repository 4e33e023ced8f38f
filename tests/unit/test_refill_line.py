"""Promise: a refill is kept with the time it was, however late it is seen, and counted once if also noted."""

from dataclasses import replace

import pytest
from sites import START_WALL_S

from coldbrood.brooder.estimate import ONE_REFILL_S
from coldbrood.brooder.refills import Refill
from coldbrood.watch.events import History, Note, Now
from coldbrood.watch.refillline import Poured, each, line_of, seen_by
from coldbrood.watch.takeback import standing

NOW = Now(90_000.0, START_WALL_S, synced=True)
HOUR_S = 3600.0


def seen(hours_ago: float, box: str = "a") -> tuple[float, History]:
    """Seen only now, as from a bundle."""
    return NOW.wall_s, line_of(box, Refill(NOW.t_s - hours_ago * HOUR_S, 4.04, "seen"), NOW)


def noted(hours_ago: float, key: str = "n", fill_c: float | None = 70.0) -> Note:
    ago_s = hours_ago * HOUR_S
    return Note(key, "refill", "a", NOW.t_s - ago_s, NOW.wall_s - ago_s, fill_c=fill_c)


def test_the_line_says_how_far_the_box_rose_and_when_it_was() -> None:
    _, line = seen(5.5)
    assert (line.kind, line.subject, line.state, line.reason) == ("refill", "a", "seen", "rise")
    assert line.detail == "4.0 C at=2026-04-11T04:30:00Z"
    assert seen_by(line) == "the box rose 4.0 C"
    assert line_of("a", Refill(NOW.t_s, 0.0, "noted"), NOW).reason == "note"


@pytest.mark.parametrize(("rise_c", "by"), [(0.3, "rise"), (0.2, "lid"), (-1.4, "lid")])
def test_of_a_refill_that_shows_no_rise_yet_none_is_told(rise_c: float, by: str) -> None:
    line = line_of("a", Refill(NOW.t_s, rise_c, "seen"), NOW)
    assert line.reason == by
    assert ("rose" in seen_by(line)) is (by == "rise")


def test_late_lines_are_put_where_they_belong() -> None:
    found = each([seen(1.0), seen(9.0), seen(4.0, "b")], [])
    assert [(one.box, NOW.wall_s - one.wall_s) for one in found] == [
        ("a", 9.0 * HOUR_S),
        ("b", 4.0 * HOUR_S),
        ("a", HOUR_S),
    ]


def test_a_line_of_before_says_when_it_was_seen() -> None:
    for detail in ("4.0 C", "", "4.0 C at=nonsense"):
        line = replace(seen(5.0)[1], detail=detail)
        assert each([(NOW.wall_s, line)], []) == [Poured("a", NOW.wall_s, None)]
        assert seen_by(line) == f"the box rose {detail.partition(' at=')[0]}"


@pytest.mark.parametrize(("apart_s", "count"), [(ONE_REFILL_S - 1.0, 1), (ONE_REFILL_S + 1.0, 2)])
def test_seen_and_noted_within_three_quarters_of_an_hour_are_one(apart_s: float, count: int) -> None:
    found = each([seen(3.0)], [noted(3.0 - apart_s / HOUR_S)])
    assert len(found) == count
    assert found[0].wall_s == NOW.wall_s - 3.0 * HOUR_S
    assert found[-1].fill_c == 70.0


def test_of_those_seen_within_three_quarters_of_an_hour_the_last_says_when_it_was() -> None:
    """The first was in doubt and gave way; another box, and one an hour on, have nothing to do with it."""
    found = each([seen(3.0), seen(2.6), seen(2.8, "b"), seen(1.0)], [])
    assert [(one.box, NOW.wall_s - one.wall_s) for one in found] == [
        ("b", pytest.approx(2.8 * HOUR_S)),
        ("a", pytest.approx(2.6 * HOUR_S)),
        ("a", HOUR_S),
    ]


def test_a_noted_one_counts_by_its_note_alone_so_that_it_can_be_taken_back() -> None:
    line = (NOW.wall_s, line_of("a", Refill(NOW.t_s, 0.0, "noted"), NOW))
    back = Note("b", "withdraw", "a", NOW.t_s, NOW.wall_s, text="n")
    assert each([line], standing([noted(0.0)])) == [Poured("a", NOW.wall_s, 70.0)]
    assert each([line], standing([noted(0.0), back])) == []
