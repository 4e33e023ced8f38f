"""What was exported comes back the same in every table; an export that is not whole changes nothing."""

import json
import os
import pty
import shutil
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from bench import Bench
from broker import Broker
from journal_records import dump

from coldbrood.upkeep.backup import BackupError
from coldbrood.upkeep.bring import bring_in

VALUES = (24.5, 24.75, 25.0)


@pytest.fixture
def bench(tmp_path: Path, broker: Broker) -> Iterator[Bench]:
    folder = tmp_path / "site"
    folder.mkdir()
    with Bench(folder, broker) as made:
        yield made


def verb(bench: Bench, *args: str) -> subprocess.CompletedProcess[str]:
    name, *rest = args
    command = [sys.executable, "-m", "coldbrood", name, "--config", str(bench.config_path), *rest]
    return subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)


def exported(bench: Bench, out: Path) -> dict[str, list[tuple[object, ...]]]:
    """An export of a daemon that ran and was stopped; every table of its journal."""
    bench.start()
    bench.send_c("box-a", *VALUES)
    bench.send_c("outdoor", 4.0)
    bench.publish("box-a", "no reading")
    bench.flush()
    assert bench.stop() == 0
    done = verb(bench, "export", str(out))
    assert (done.returncode, done.stderr) == (0, "")
    return dump(bench.journal_path)


def test_every_table_comes_back_and_the_daemon_goes_on(bench: Bench, tmp_path: Path) -> None:
    before = exported(bench, tmp_path / "out")
    assert {name for name, rows in before.items() if rows} >= {
        "reading",
        "note",
        "history",
        "refused",
        "state",
    }
    for path in bench.folder.glob("journal.db*"):
        if path.is_file():
            path.unlink()
    done = verb(bench, "import", str(tmp_path / "out"))
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout == f"{bench.journal_path}: {len(before['reading'])} readings\n"
    assert dump(bench.journal_path) == before
    assert bench.journal_path.stat().st_mode & 0o777 == 0o600
    bench.start()
    bench.send_c("box-a", 25.25)
    bench.flush()
    assert [reading.value for reading in bench.readings()][-1] == 25.25
    assert bench.stop(signal.SIGTERM) == 0


def test_what_was_there_is_set_aside_and_a_running_daemon_is_left_alone(bench: Bench, tmp_path: Path) -> None:
    before = exported(bench, tmp_path / "out")
    bench.start()
    bench.send_c("box-a", 26.0)
    bench.flush()
    refused = verb(bench, "import", str(tmp_path / "out"))
    assert refused.returncode == os.EX_DATAERR
    assert "the daemon runs: stop it first" in refused.stderr
    assert bench.stop() == 0
    newer = dump(bench.journal_path)
    done = verb(bench, "import", str(tmp_path / "out"))
    assert done.returncode == 0
    aside = Path(done.stdout.splitlines()[0].removeprefix("the journal that was there is kept as "))
    assert dump(bench.journal_path) == before
    assert dump(aside) == newer


def test_an_export_that_is_not_whole_is_refused_with_its_reason(bench: Bench, tmp_path: Path) -> None:
    out = tmp_path / "out"
    before = exported(bench, out)

    def refusal(spoil: str) -> str:
        spoilt = tmp_path / "spoilt"
        shutil.rmtree(spoilt, ignore_errors=True)
        shutil.copytree(out, spoilt)
        copy, package = spoilt / "journal.sqlite", spoilt / "datapackage.json"
        text = package.read_text()
        match spoil:
            case "changed":
                body = bytearray(copy.read_bytes())
                body[len(body) // 2] ^= 1
                copy.write_bytes(body)
            case "copy gone":
                copy.unlink()
            case "description gone":
                package.unlink()
            case "no JSON":
                package.write_text(text[:-20])
            case "elsewhere":
                package.write_text(text.replace('"journal.sqlite"', '"../out/journal.sqlite"'))
            case "another's":
                package.write_text(json.dumps({"name": "eggs", "resources": []}))
        with pytest.raises(BackupError) as caught:
            bring_in(spoilt, bench.journal_path, "now")
        assert dump(bench.journal_path) == before
        assert not list(bench.folder.glob("*set-aside*"))
        return str(caught.value)

    assert "it is not what the export wrote" in refusal("changed")
    assert "it is missing from the export" in refusal("copy gone")
    assert "No such file or directory: name a folder of coldbrood export" in refusal("description gone")
    for spoil in ("no JSON", "elsewhere", "another's"):
        assert "not of an export of coldbrood, or damaged" in refusal(spoil)


def test_a_terminal_sees_how_far_it_is_and_a_pipe_does_not(bench: Bench, tmp_path: Path) -> None:
    exported(bench, tmp_path / "out")
    ours, theirs = pty.openpty()
    command = [sys.executable, "-m", "coldbrood", "export", "--config", str(bench.config_path)]
    with subprocess.Popen(
        [*command, str(tmp_path / "again")], stdout=subprocess.PIPE, stderr=theirs
    ) as child:
        os.close(theirs)
        seen = b""
        while True:
            try:
                part = os.read(ours, 4096)
            except OSError:  # the other end is closed: Linux says EIO
                break
            if not part:
                break
            seen += part
        assert child.stdout is not None
        files = child.stdout.read().decode().splitlines()
        assert child.wait(60) == 0
    os.close(ours)
    assert b"readings.csv" in seen
    assert b"100 %" in seen
    assert seen.endswith(b" \r")
    assert max(len(line) for line in seen.split(b"\r")) <= 79
    assert len(files) == 7
