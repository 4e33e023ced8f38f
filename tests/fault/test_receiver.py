"""Promise: however the receiver fails, at whatever point, what holds is told and nothing storms.

Each timeline is held whole to what back-off, escalation and flood limit make of it; a repeat is marked.
"""

from fault_receiver import by_way_and_place, without_network


def test_every_way_to_fail_at_every_place_gives_the_whole_timeline() -> None:
    row = by_way_and_place(long=False)
    assert row.wrong == []
    assert (row.places, row.lost) == (60, 0)


def test_two_hours_without_a_network_end_in_one_message_an_alarm_and_one_summary() -> None:
    row = without_network(long=False)
    assert row.wrong == []
    assert row.lost == 0
