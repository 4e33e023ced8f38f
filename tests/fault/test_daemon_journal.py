"""Promise: no state of the journal's file keeps the daemon from starting, warning and keeping what comes."""

from fault_journal import at_the_start, under_the_daemon


def test_a_journal_damaged_or_too_new_at_the_start_is_set_aside_and_said() -> None:
    row = at_the_start(long=False)
    assert (row.places, row.lost, row.wrong) == (2, 0, [])


def test_a_journal_deleted_under_the_daemon_is_made_anew_with_all_that_waited() -> None:
    row = under_the_daemon(long=False)
    assert (row.places, row.lost, row.wrong) == (1, 0, [])
