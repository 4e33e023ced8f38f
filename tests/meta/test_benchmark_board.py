"""The benchmark of the board runs to its end and gives each figure with its bar; its sums are as stated."""

import json
import subprocess
import sys
from pathlib import Path

import as_on_board
import pytest
from board_sums import Battery, Board, Card

IMPORTS = """
import sys, as_on_board
as_on_board.hide(sys.argv[1])
from coldbrood.deliver.channel import ChannelUrl, usable
import coldbrood.cli.run, coldbrood.page.host
assert usable(ChannelUrl("", "json://127.0.0.1:9/"))
import requests.compat, pytest
"""
SCRIPT = Path(__file__).parents[1] / "benchmarks" / "board.py"


def test_a_tiny_run_gives_one_object_with_every_figure(tmp_path: Path) -> None:
    command = [sys.executable, str(SCRIPT), "--tiny", "--json", "--folder", str(tmp_path)]
    done = subprocess.run(command, capture_output=True, text=True, timeout=110)
    assert done.returncode == 0, done.stderr
    figures = json.loads(done.stdout)
    assert set(figures) == {
        "resident_after_a_day_mib",
        "resident_after_a_send_mib",
        "start_to_first_reading_s",
        "written_a_day_mb",
    }
    for figure in figures.values():
        assert figure["value"] > 0.0
        assert figure["holds"] is (figure["value"] <= figure["bar"])
    assert list(tmp_path.iterdir()) == []


def test_a_cards_life_is_its_writes_over_those_of_a_day() -> None:
    """C: 16 GB * 500 = 8,000 GB; at 50 times 10 MB a day, 16,000 days."""
    assert Card(16.0, 500.0, 50.0).years(10.0) == pytest.approx(16_000 / 365.25)
    assert Card(amplification=10.0).years(10.0) == pytest.approx(5 * Card(amplification=50.0).years(10.0))
    with pytest.raises(ValueError, match=r"mb_a_day: 0\.0: more than 0"):
        Card().years(0.0)


def test_a_boards_day_is_its_rest_and_its_busy_hours() -> None:
    """C: 1 W for 24 h, and 360 s ten times slower are an hour at 0.5 W more."""
    assert Board(1.0, 0.5, 10.0).wh_a_day(360.0) == pytest.approx(24.5)
    assert Board(1.0, 0.5, 10.0).wh_a_day(1e9) == pytest.approx(36.0)


def test_a_batterys_days_are_its_usable_watt_hours_over_those_of_a_day() -> None:
    """C: 20 Ah * 12 V * 0.5 * 0.85 = 102 Wh; at 25.5 Wh a day, 4 days."""
    assert Battery(20.0, 12.0, 0.5, 0.85).days(25.5) == pytest.approx(4.0)


def test_as_on_a_board_a_daemon_finds_its_own_libraries_and_none_of_the_test_tools() -> None:
    """Chardet comes with the test tools, and requests takes it where it is; the last import must fail."""
    hidden = as_on_board.hidden()
    assert {"chardet", "pytest", "scipy"} <= set(hidden.split(","))
    done = subprocess.run(
        [sys.executable, "-c", IMPORTS, hidden],
        capture_output=True,
        text=True,
        timeout=60,
        cwd=Path(as_on_board.__file__).parent,
    )
    assert "halted; None in sys.modules" in done.stderr.splitlines()[-1], done.stderr
    assert "pytest" in done.stderr.splitlines()[-1]
