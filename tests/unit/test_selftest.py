"""Promise: the board's own test finds a full disk, a missing right, a missing sounder, and nothing else."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from coldbrood import selftest

FULL_AS_NOBODY = """
import os, sys
from pathlib import Path
from coldbrood import selftest
os.setuid(65534)
print(list(selftest.disk(Path(sys.argv[1]))))
"""


def test_a_sound_board_has_nothing_to_say(tmp_path: Path) -> None:
    assert list(selftest.disk(tmp_path)) == []
    assert list(selftest.sounder("/bin/true")) == []


def test_a_nearly_full_disk_is_told_in_megabytes(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The bar is set above what this disk has free, since a test may not fill the machine's disk."""
    free_bytes = shutil.disk_usage(tmp_path).free
    monkeypatch.setattr(selftest, "FREE_LEAST_BYTES", free_bytes * 2)
    (said,) = selftest.disk(tmp_path)
    assert said.startswith("the disk has ")
    assert abs(float(said.split()[3]) - free_bytes / 1e6) < 0.2 * free_bytes / 1e6


def test_a_folder_that_may_not_be_written_is_told(tmp_path: Path) -> None:
    if os.geteuid() != 0:
        tmp_path.chmod(0o500)
        assert list(selftest.disk(tmp_path)) == ["the folder of the journal may not be written"]
        tmp_path.chmod(0o700)
        return
    command = [sys.executable, "-c", FULL_AS_NOBODY, "/"]
    done = subprocess.run(command, capture_output=True, text=True, timeout=60, check=True)
    assert done.stdout == "['the folder of the journal may not be written']\n"


def test_a_folder_that_is_gone_is_told(tmp_path: Path) -> None:
    (said,) = selftest.disk(tmp_path / "gone")
    assert said == "the folder of the journal cannot be looked at (No such file or directory)"


def test_a_sounder_that_cannot_be_run_is_told(tmp_path: Path) -> None:
    plain = tmp_path / "horn"
    plain.write_text("no program")
    plain.chmod(0o600)
    for program in (str(plain), str(tmp_path), str(tmp_path / "none")):
        (said,) = selftest.sounder(program)
        assert said == f"the sounder's program {program} is not there or may not be run"
