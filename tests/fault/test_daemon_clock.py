"""Promise: whatever the wall clock does, the real daemon changes no duration and loses nothing for it."""

from pathlib import Path

import pytest
from fault_clock import boot_in_1970, never_set, step_of_the_clock

STEPS = (("-1 h", -3600.0, True), ("+10 y", 3650 * 86_400.0, False))


@pytest.mark.parametrize(("name", "step_s", "synced"), STEPS)
def test_a_step_of_the_clock_changes_no_alarm(tmp_path: Path, name: str, step_s: float, synced: bool) -> None:
    row = step_of_the_clock(tmp_path, name, step_s, synced=synced)
    assert (row.lost, row.repeated, row.wrong) == (0, 0, [])


def test_a_board_that_boots_in_1970_learns_its_gap_when_the_clock_is_set(tmp_path: Path) -> None:
    row = boot_in_1970(tmp_path, gap_s=7200.0)
    assert (row.lost, row.repeated, row.wrong) == (0, 0, [])


def test_the_doubt_of_a_board_whose_clock_is_never_set_ends_by_itself(tmp_path: Path) -> None:
    row = never_set(tmp_path)
    assert (row.lost, row.repeated, row.wrong) == (0, 0, [])
