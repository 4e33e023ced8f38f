"""Promise: each disk operation may fail, once or for good, at any time: no reading and no alarm is lost."""

from fault_disk import at_the_start, for_good_while_running, once_while_running, unwritable_at_the_start


def test_each_operation_fails_once_while_running() -> None:
    row = once_while_running(long=False)
    assert (row.places, row.lost, row.wrong) == (12, 0, [])


def test_all_operations_fail_from_the_nth_on() -> None:
    row = for_good_while_running(long=False)
    assert row.places >= 2
    assert (row.lost, row.wrong) == (0, [])


def test_operations_fail_at_the_start() -> None:
    row = at_the_start(long=False)
    assert row.places >= 4
    assert (row.lost, row.wrong) == (0, [])


def test_a_disk_that_cannot_be_written_at_the_start_ends_no_watch() -> None:
    row = unwritable_at_the_start(long=False)
    assert (row.places, row.lost, row.wrong) == (1, 0, [])
