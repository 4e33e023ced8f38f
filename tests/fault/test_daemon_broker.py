"""Promise: whatever the broker does, each reading that it took from a probe is kept once, and in order."""

from fault_broker import loops, password_changed


def test_a_broker_that_is_killed_slow_or_half_open_costs_no_reading() -> None:
    row = loops(long=False)
    assert (row.places, row.lost, row.wrong) == (3, 0, [])


def test_a_password_that_was_changed_and_put_right_costs_no_reading() -> None:
    row = password_changed(long=False)
    assert (row.places, row.lost, row.wrong) == (1, 0, [])
