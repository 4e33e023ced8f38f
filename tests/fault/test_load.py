"""Promise: while one probe sends five hundred messages a second, the alarm of another box is told.

Memory holds, and what is dropped of the flood is counted. How soon it is told is for the benchmark to say.
"""

from fault_load import row


def test_an_alarm_comes_through_a_flood_and_memory_holds() -> None:
    made = row(long=False)
    assert made.wrong == []
    assert made.places == 2
