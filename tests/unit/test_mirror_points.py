"""Promise: a reading is one line of the InfluxDB line protocol, the same each time, or counted as timeless.

The form is held to the protocol's own rules: measurement,tags field=value time, tags sorted, escaped.
"""

import math
from dataclasses import replace

import pytest
from sites import START_WALL_S, make_site

from coldbrood.mirror.feed import Mark, _Course
from coldbrood.mirror.points import AHEAD_MOST_S, FIRST_WALL_S, lines_of
from coldbrood.watch.events import Reading

READING = Reading("box-a", "temperature_c", 24.5, 24.75, 1000.0, START_WALL_S + 0.1234, True)


def lines(*readings: Reading, wall_s: float = START_WALL_S) -> tuple[list[str], int]:
    found = lines_of(make_site(), readings, wall_s)
    return found.lines, found.timeless


def test_a_box_reading_carries_its_box() -> None:
    """InfluxDB v2 docs, "Line protocol": tag keys sorted for speed, whole numbers of milliseconds (M)."""
    text = "reading,box=a,probe=box-a,role=box,site=larch-lane temperature_c=24.75 1775901600123"
    assert lines(READING) == ([text], 0)
    assert lines(READING, READING) == ([text, text], 0)


def test_an_outdoor_reading_of_unknown_age_says_so() -> None:
    reading = replace(READING, probe="outdoor", quantity="battery_pct", value=80.0, late=True)
    text = "reading,age=unknown,probe=outdoor,role=outdoor,site=larch-lane battery_pct=80 1775901600123"
    assert lines(reading) == ([text], 0)


def test_a_probe_no_longer_in_the_config_is_mirrored_all_the_same() -> None:
    text = "reading,probe=old\\ one\\,\\=,site=larch-lane temperature_c=24.75 1775901600123"
    assert lines(replace(READING, probe="old one,=")) == ([text], 0)


@pytest.mark.parametrize("wall_s", [0.0, FIRST_WALL_S - 1.0, START_WALL_S + AHEAD_MOST_S + 1.0])
def test_a_time_that_cannot_be_is_counted_not_sent(wall_s: float) -> None:
    assert lines(replace(READING, wall_s=wall_s), READING)[1] == 1


def test_what_is_no_number_has_no_line() -> None:
    assert lines(replace(READING, value=math.nan)) == ([], 0)


def test_the_mark_passes_only_what_was_taken_twice_a_minute_apart() -> None:
    course = _Course(safe=Mark(10), sent=Mark(10))
    for at_s, seq in ((100.0, 20), (130.0, 30), (159.0, 40)):
        course.sent = Mark(seq)
        course.taken.append((at_s, course.sent))
    assert [course.ripe(s, 60.0).seq for s in (159.9, 160.0, 189.9, 190.0, 500.0)] == [10, 20, 20, 30, 40]
    course.settle(Mark(20))
    assert (course.safe.seq, course.sent.seq, [mark.seq for _, mark in course.taken]) == (20, 40, [30, 40])
    course.doubt()
    assert (course.safe.seq, course.sent.seq, list(course.taken)) == (20, 20, [])
    assert course.ripe(1e9, 60.0).seq == 20
