"""Promise: with no room on the disk the daemon says so, warns from memory, and loses nothing."""

import os
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest
from bench import Bench
from broker import Broker


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A disk of 1 MiB of its own: a memory file system, which only root may mount."""
    assert os.geteuid() == 0, "run as root: this test mounts a small disk"
    folder = tmp_path / "disk"
    folder.mkdir()
    subprocess.run(["mount", "-t", "tmpfs", "-o", "size=1m", "tmpfs", str(folder)], check=True)
    yield folder
    subprocess.run(["umount", "-l", str(folder)], check=True)


def fill(ballast: Path) -> None:
    """Take all the room there is."""
    handle = os.open(ballast, os.O_WRONLY | os.O_CREAT)
    with pytest.raises(OSError, match="No space left"):
        write_on(handle)
    os.close(handle)


def write_on(handle: int) -> None:
    while os.write(handle, b"x" * 4096):
        pass


def test_a_full_disk_is_said_and_nothing_is_lost(small_disk: Path, broker: Broker) -> None:
    with Bench(small_disk, broker, clock="10@2026-04-11T12:00:00+00:00") as bench:
        bench.start()
        bench.send_c("box-a", 30.0)
        bench.flush()
        ballast = small_disk / "ballast"
        fill(ballast)
        bench.send_c("box-a", 34.5, 34.75)
        (first,) = bench.receivers["phone"].wait_for(1, 60.0)
        assert first.json()["title"].startswith("Too hot"), "warned from memory"
        bench.receivers["phone"].wait_for(2, 90.0)
        assert "The journal cannot be written" in bench.titles()
        bench.send_c("box-a", *(34.5 + 0.0625 * n for n in range(40)))
        ballast.unlink()
        bench.wait_for(lambda: "can be written again" in bench.log_text(), "the journal to recover", 150.0)
        bench.flush()
        bench.stop()
        assert len(bench.readings()) == 43
        assert "nothing was lost" in bench.log_text()
