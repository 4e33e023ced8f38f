"""Promise: a backup made under a running daemon holds every acknowledged reading; restore goes on from it.

Whatever was there is set aside.
"""

import json
import os
import signal
import subprocess
import sys
import zipfile
from collections.abc import Iterator
from contextlib import closing
from hashlib import sha256
from pathlib import Path

import pytest
from bench import Bench
from broker import Broker

from coldbrood.journal.schema import connect_reader

HOT = (34.5, 34.75, 35.0)


@pytest.fixture
def bench(tmp_path: Path, broker: Broker) -> Iterator[Bench]:
    folder = tmp_path / "site"
    folder.mkdir()
    with Bench(folder, broker) as made:
        yield made


def verb(bench: Bench, name: str, file: Path) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "coldbrood", name, "--config", str(bench.config_path), str(file)]
    return subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)


def values(bench: Bench) -> list[float]:
    return sorted(reading.value for reading in bench.readings())


def filled(bench: Bench, target: Path) -> None:
    """A backup made while the daemon runs and an alarm stands."""
    bench.start()
    bench.send_c("box-a", *HOT)
    bench.receivers["phone"].wait_for(1)
    bench.flush()
    done = verb(bench, "backup", target)
    assert done.returncode == 0, done.stderr
    assert f"{len(HOT)} readings of larch-lane" in done.stdout


def test_a_new_card_goes_on_where_the_backup_was_made(bench: Bench, tmp_path: Path) -> None:
    target = tmp_path / "chicks.zip"
    filled(bench, target)
    bench.stop(signal.SIGKILL)
    for path in bench.folder.glob("journal.db*"):
        if path.is_file():
            path.unlink()
    config = bench.config_path.read_text()
    bench.config_path.unlink()
    done = verb(bench, "restore", target)
    assert done.returncode == 0, done.stderr
    assert bench.config_path.read_text() == config
    assert values(bench) == list(HOT)
    bench.start()
    bench.flush()
    bench.stop()
    assert values(bench) == list(HOT)
    assert len(bench.titles()) == 1, "an alarm told before the backup is not told again"


def test_a_restore_sets_the_later_journal_aside(bench: Bench, tmp_path: Path) -> None:
    target = tmp_path / "chicks.zip"
    filled(bench, target)
    bench.send_c("box-a", 33.0)
    bench.flush()
    running = verb(bench, "restore", target)
    assert (running.returncode, running.stdout) == (65, "")
    assert "the daemon runs: stop it first" in running.stderr
    bench.stop(signal.SIGKILL)
    done = verb(bench, "restore", target)
    assert done.returncode == 0, done.stderr
    assert values(bench) == list(HOT)
    (aside,) = bench.folder.glob("journal.db.set-aside-*Z")
    assert str(aside) in done.stdout
    with closing(connect_reader(aside)) as db:
        assert [row[0] for row in db.execute("SELECT value FROM reading ORDER BY seq")] == [*HOT, 33.0]


def test_a_backup_can_be_read_without_us(bench: Bench, tmp_path: Path) -> None:
    target = tmp_path / "chicks.zip"
    filled(bench, target)
    bench.stop()
    assert os.stat(target).st_mode & 0o077 == 0
    with zipfile.ZipFile(target) as file:
        assert file.testzip() is None
        manifest = json.loads(file.read("manifest.json"))
        assert sha256(file.read("journal.sqlite")).hexdigest() == manifest["journal_sha256"]
        assert file.read("coldbrood.toml") == bench.config_path.read_bytes()
        assert bench.receivers["phone"].address.encode() not in file.read("coldbrood.toml")
    assert [path.name for path in tmp_path.iterdir() if "chicks" in path.name] == ["chicks.zip"]
