"""The benchmark of the export runs to its end, gives each figure with its bar, and leaves nothing behind."""

import json
import subprocess
import sys
from pathlib import Path

SCRIPT = Path(__file__).parents[1] / "benchmarks" / "export.py"


def test_a_tiny_run_gives_one_object_with_every_figure(tmp_path: Path) -> None:
    command = [sys.executable, str(SCRIPT), "--tiny", "--json", "--folder", str(tmp_path)]
    done = subprocess.run(command, capture_output=True, text=True, timeout=110)
    assert done.returncode == 0, done.stderr
    figures = json.loads(done.stdout)
    assert set(figures) == {
        "all_forms_memory_growth_mib",
        "export_memory_growth_mib",
        "export_times_the_dump",
    }
    for figure in figures.values():
        assert figure["holds"] is (figure["value"] <= figure["bar"])
    assert figures["export_times_the_dump"]["value"] > 1.0
    assert list(tmp_path.iterdir()) == []
