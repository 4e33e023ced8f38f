"""Promise: however the receiver fails, at whatever point, what holds is told and nothing storms.

Each timeline is held whole to what back-off, escalation and flood limit make of it; a repeat is marked.
"""

from fault_receiver import by_way_and_place, without_network
from fault_ways import through_the_daemon


def test_every_way_to_fail_at_every_place_gives_the_whole_timeline() -> None:
    row = by_way_and_place(long=False)
    assert row.wrong == []
    assert (row.places, row.lost) == (60, 0)


def test_two_hours_without_a_network_end_in_one_message_an_alarm_and_one_summary() -> None:
    row = without_network(long=False)
    assert row.wrong == []
    assert row.lost == 0


def test_a_receiver_that_fails_under_the_whole_daemon_costs_no_alarm_and_no_reading() -> None:
    row = through_the_daemon(long=False)
    assert row.wrong == []
    assert (row.places, row.lost) == (2, 0)
