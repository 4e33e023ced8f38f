"""Promise: killed at the n-th file operation or send, or at random, it recovers all that was taken."""

from fault_kills import at_random, by_place


def test_kills_at_numbered_places_lose_nothing() -> None:
    row = by_place(long=False)
    assert row.places >= 8
    assert (row.lost, row.wrong) == (0, [])


def test_kills_at_random_lose_nothing() -> None:
    row = at_random(long=False)
    assert row.places >= 4
    assert (row.lost, row.wrong) == (0, [])
