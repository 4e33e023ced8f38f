"""The benchmark of the path runs on real services, gives its JSON in the promised form, judges rightly."""

import json
import math
import subprocess
import sys
from pathlib import Path

import pytest
from figures import Figure, as_json, filesystem, is_in_memory, percentile, table
from logged_broker import Crossing
from path_writes import count_commits, day

SCRIPT = Path(__file__).parents[1] / "benchmarks" / "path.py"


def test_a_tiny_run_gives_one_object_with_every_figure(tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, str(SCRIPT), "--tiny", "--json", "--folder", str(tmp_path)],
        capture_output=True,
        text=True,
        timeout=110,
    )
    assert done.returncode == 0, done.stderr
    figures = json.loads(done.stdout)
    assert set(figures) == {
        "intent_at_6_probes_median_ms",
        "intent_at_8_probes_median_ms",
        "resident_after_a_send_mib",
        "written_a_day_mb",
    }
    for figure in figures.values():
        assert set(figure) == {"value", "bar", "holds"}
        assert figure["value"] > 0.0
        assert figure["holds"] is (figure["value"] <= figure["bar"])
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(("value", "holds"), [(1.99, True), (2.0, True), (2.01, False), (math.nan, False)])
def test_a_figure_holds_up_to_its_bar(value: float, holds: bool) -> None:
    assert Figure("x_ms", value, 2.0).holds is holds
    assert json.loads(as_json([Figure("x_ms", value, 2.0)]))["x_ms"]["holds"] is holds


def test_percentiles_are_values_that_were_measured() -> None:
    """Nearest rank: the worked example 15, 20, 35, 40, 50 with 20, 20, 35, 50 at 30, 40, 50, 100 % [M]."""
    values = (35.0, 20.0, 15.0, 50.0, 40.0)
    assert [percentile(values, p) for p in (5, 30, 40, 50, 100)] == [15.0, 20.0, 20.0, 35.0, 50.0]
    with pytest.raises(ValueError, match="values: none"):
        percentile((), 50)


def test_acknowledgements_that_come_together_are_one_commit() -> None:
    at = (1.0, 1.001, 1.02, 1.15, 1.16, 1.3)
    crossings = [Crossing("t", 0.9, second) for second in at]
    assert count_commits([*crossings, Crossing("t", 1.2)]) == 3


def test_each_probe_speaks_once_a_minute_in_turn() -> None:
    packets = list(day(6, 30))
    assert len(packets) == 180
    assert [p.at_s for p in packets] == sorted(p.at_s for p in packets)
    assert len({p.topic for p in packets}) == 6
    values = [json.loads(p.payload)[0]["v"] for p in packets]
    assert all(-10.0 < value < 40.0 for value in values)
    assert len(set(values)) > 20


def test_a_folder_in_memory_is_turned_away() -> None:
    assert filesystem(Path("/proc")) == "proc"
    assert is_in_memory(Path("/dev/shm"))
    done = subprocess.run(
        [sys.executable, str(SCRIPT), "--folder", "/dev/shm"], capture_output=True, text=True, timeout=60
    )
    assert done.returncode == 2
    assert "/dev/shm: is in memory: name a folder on a disk" in done.stderr


def test_a_table_lines_up() -> None:
    assert table(("what", "n"), [("a", "10"), ("bcdef", "2")]) == "what    n\na      10\nbcdef   2"
