"""Bedtime's forecast is kept in the journal's history as it was, and comes back from it whole."""

from datetime import UTC, datetime

import pytest
from sites import START_WALL_S, make_site
from watching import Watching

from coldbrood.watch.events import Bedtime, History
from coldbrood.watch.nightline import KIND, NightLine, read_line


@pytest.fixture(scope="module")
def watch() -> Watching:
    """A box read for twelve hours, at bedtime."""
    watch = Watching(make_site(), wall_s=START_WALL_S)
    for _ in range(144):
        watch.send_c("box-a", 27.0)
        watch.send_c("outdoor", 6.0)
        watch.pass_s(300.0)
    return watch


def lines(watch: Watching) -> list[History]:
    return [line for line in watch.history if line.kind == KIND]


def test_each_bedtime_leaves_one_line_a_box(watch: Watching) -> None:
    assert [(line.subject, line.state, line.reason) for line in lines(watch)] == [("a", "known", "bedtime")]


def test_the_line_holds_what_the_ledger_told_the_morning(watch: Watching) -> None:
    (line,) = lines(watch)
    night = read_line(line)
    (told,) = watch.state.ledger.forecasts
    assert night is not None
    assert night.low_c == tuple(round(value, 2) for value in told.low_c)
    assert len(night.wake_s) == told.wakings
    assert night.known is told.known


def test_its_times_are_those_of_the_night(watch: Watching) -> None:
    night = read_line(lines(watch)[0])
    assert night is not None
    assert datetime.fromtimestamp(night.rising_s, UTC).strftime("%d %H:%M") == "12 06:30"
    bedtime_s = datetime(2026, 4, 11, 22, tzinfo=UTC).timestamp()
    assert all(bedtime_s <= at <= night.rising_s for at in night.wake_s)
    assert night.outdoor_c[0] < 7.0
    assert night.outdoor_c[1] > 0.0
    assert night.low_c == tuple(sorted(night.low_c))


def test_with_no_reading_the_line_says_so() -> None:
    watch = Watching(make_site("ab"), wall_s=START_WALL_S)
    watch.do(Bedtime())
    assert [(line.subject, line.state) for line in lines(watch)] == [
        ("a", "by-timetable"),
        ("b", "by-timetable"),
    ]
    nights = [read_line(line) for line in lines(watch)]
    assert [night.known for night in nights if night is not None] == [False, False]


FULL = (
    "low_c=19.40,23.40,25.40 floor_c=21.10 outdoor_c=1.20,0.90 fill=yes wake=2026-04-12T02:15:00Z,"
    "2026-04-12T05:00:00Z under=2026-04-12T01:55:00Z,2026-04-12T03:51:00Z,- rising=2026-04-12T06:30:00Z"
)


def test_a_line_is_read_word_by_word() -> None:
    def at(hour: int, minute: int) -> float:
        return datetime(2026, 4, 12, hour, minute, tzinfo=UTC).timestamp()

    assert read_line(History(KIND, "a", "known", "bedtime", FULL)) == NightLine(
        box="a",
        known=True,
        low_c=(19.4, 23.4, 25.4),
        floor_c=21.1,
        outdoor_c=(1.2, 0.9),
        fill=True,
        wake_s=(at(2, 15), at(5, 0)),
        under_s=(at(1, 55), at(3, 51), None),
        rising_s=at(6, 30),
    )


@pytest.mark.parametrize(
    "detail",
    [
        "",
        "low_c",
        FULL.replace("19.40,", ""),
        FULL.replace("rising=", "rose="),
        FULL.replace("01:55", "25:55"),
    ],
)
def test_a_line_that_says_less_is_none(detail: str) -> None:
    assert read_line(History(KIND, "a", "known", "bedtime", detail)) is None


def test_a_line_of_another_kind_is_none() -> None:
    assert read_line(History("alarm", "a", "known", "bedtime", FULL)) is None
