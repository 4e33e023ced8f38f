"""The journal with other processes at it: readers while it writes, kill -9, no rights, and bytes written."""

import json
import sqlite3
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, date, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from journal_records import everything, open_journal, reading

from coldbrood.journal.reader import JournalReader, Night, wall_range
from coldbrood.journal.rows import Batch
from coldbrood.watch.events import Reading

HELPERS = Path(__file__).parents[1] / "helpers"

# Commits until it is killed, and says each seq only once commit() has returned it.
WRITER = """
import sys
from pathlib import Path
from journal_records import everything, open_journal
journal = open_journal(Path(sys.argv[1]))
n = journal.last_seq
while True:
    n += 1
    print(journal.commit(everything(n)), flush=True)
"""

READER = """
import json, sys
from pathlib import Path
from coldbrood.journal.reader import JournalReader
with JournalReader.open(Path(sys.argv[1])) as reader:
    latest = reader.latest()
    counts = [[*key, count] for key, count in reader.refused_counts().items()]
    print(json.dumps({"probes": [r.probe for r in latest], "counts": counts, "alarms": len(reader.alarms())}))
"""

SIX_A_MINUTE = """
import sys
from pathlib import Path
from journal_records import open_journal, reading
from coldbrood.journal.rows import Batch
def written():
    lines = Path("/proc/self/io").read_text().splitlines()
    return next(int(line.split()[1]) for line in lines if line.startswith("write_bytes"))
journal = open_journal(Path(sys.argv[1]))
before = written()
for minute in range(1440):
    batch = Batch(taken=[reading(minute, f"probe-{n}") for n in range(6)])
    batch.alarms["refill-now/a"] = b"x" * 300 if minute % 120 == 0 else None
    if minute % 15 == 0:
        batch.states["snapshot"] = minute.to_bytes(2, "big") * 10_000
    journal.commit(batch)
journal.db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
print(written() - before)
"""


def python(code: str, path: Path) -> list[str]:
    """A command for a process of its own; a writer has to share nothing with this one."""
    return [sys.executable, "-c", f"import sys; sys.path.insert(0, {str(HELPERS)!r})\n{code}", str(path)]


@contextmanager
def writing_child(path: Path) -> Iterator[subprocess.Popen[str]]:
    with subprocess.Popen(python(WRITER, path), stdout=subprocess.PIPE, text=True) as child:
        try:
            yield child
        finally:
            child.kill()


def test_kill_9_loses_nothing_that_was_acknowledged(tmp_path: Path) -> None:
    """Thirty kills at odd moments of the commit loop; the file is opened again after each."""
    path = tmp_path / "j.sqlite"
    acknowledged = 0
    for kill in range(30):
        with writing_child(path) as child:
            assert child.stdout is not None
            said = [int(child.stdout.readline()) for _ in range(1 + kill % 5)]
            child.kill()
            said += [int(rest) for rest in child.stdout.read().splitlines() if rest.isdigit()]
        acknowledged = max(said)
        assert_whole_batches(path, acknowledged)
    assert acknowledged > 30 * 4


def assert_whole_batches(path: Path, acknowledged: int) -> None:
    journal = open_journal(path)
    last, states, seqs = journal.last_seq, journal.restore(), len(list(journal.since(0)))
    journal.close()
    assert journal.set_aside is None
    assert last >= acknowledged
    assert last % 4 == 0  # a batch is four rows with a seq: two readings, a note, a line of history
    assert seqs == last * 3 // 4
    assert states.covers["snapshot"] == last
    assert len(states.alarms) == last // 4 + 1


def test_a_reader_in_another_process_sees_each_commit(tmp_path: Path) -> None:
    path = tmp_path / "j.sqlite"
    journal = open_journal(path)
    for n in range(3):
        journal.commit(everything(n))
        done = subprocess.run(python(READER, path), capture_output=True, text=True, check=True)
        seen = json.loads(done.stdout)
        assert seen["alarms"] == n + 2
        assert seen["counts"] == [["", "bad-payload", n + 1], ["box-a", "jump", n + 1]]
        assert seen["probes"] == ["box-a", *(f"probe-{n}" for n in range(n + 1))]
    journal.close()


def test_a_look_from_outside_finds_what_a_restart_would(tmp_path: Path) -> None:
    path = tmp_path / "j.sqlite"
    journal = open_journal(path)
    for n in range(300):
        journal.commit(everything(n))
    with JournalReader.open(path) as reader:
        assert reader.restore() == journal.restore()
        assert list(reader.since(500)) == list(journal.since(500))
        assert len(list(reader.since(0))) == 900
        looking = reader.since(0)
        first = next(looking)
        journal.commit(everything(300))
        assert [first, *looking][-1] == reading(299, "probe-299", "humidity_pct")  # the moment it began
        assert len(list(reader.since(0))) == 903
    journal.close()


def test_a_reader_never_stops_the_writer(tmp_path: Path) -> None:
    path = tmp_path / "j.sqlite"
    journal = open_journal(path)
    journal.commit(everything(0))
    with JournalReader.open(path) as reader:
        stream = reader.readings(0, 1e12)
        first = next(stream)
        for n in range(1, 20):
            journal.commit(everything(n))
        assert [first, *stream] == [reading(0), reading(0, "probe-0", "humidity_pct")]
        assert len(list(reader.readings(0, 1e12))) == 40
    journal.close()


def test_a_closed_journal_is_one_file_and_a_reader_needs_no_daemon(tmp_path: Path) -> None:
    path = tmp_path / "j.sqlite"
    journal = open_journal(path)
    journal.commit(everything(0))
    journal.close()
    assert not Path(f"{path}-wal").exists()
    with JournalReader.open(path) as reader:
        assert reader.state("snapshot") == b"snapshot of 0" * 100


AS_ANOTHER_USER = """
import os, sys
from pathlib import Path
from coldbrood.journal.errors import JournalError
from coldbrood.journal.reader import JournalReader
from journal_records import open_journal
if os.geteuid() == 0:
    os.setuid(65534)  # root may do anything; whoever is not root is that other user already
for look in (JournalReader.open, open_journal):
    try:
        look(Path(sys.argv[1]))
    except JournalError as error:
        print(error)
"""


@pytest.fixture
def open_place() -> Iterator[Path]:
    """A directory that other users can reach."""
    with tempfile.TemporaryDirectory(dir="/var/tmp") as name:
        Path(name).chmod(0o755)
        yield Path(name)


def test_without_rights_to_the_file_one_line_says_what_to_do(open_place: Path) -> None:
    path = open_place / "j.sqlite"
    open_journal(path).close()
    path.chmod(0o000)
    open_place.chmod(0o777)
    Path(f"{path}.lock").chmod(0o666)
    done = subprocess.run(python(AS_ANOTHER_USER, path), capture_output=True, text=True, check=True)
    reader, writer = done.stdout.splitlines()
    assert reader.endswith("run this as the daemon's user, or as root")
    assert f"journal {path}: " in writer
    assert "check" in writer


def test_without_rights_to_the_directory_one_line_says_what_to_do(open_place: Path) -> None:
    open_place.chmod(0o555)
    path = open_place / "j.sqlite"
    done = subprocess.run(python(AS_ANOTHER_USER, path), capture_output=True, text=True, check=True)
    reader, writer = done.stdout.splitlines()
    open_place.chmod(0o755)
    assert reader.endswith("there is no journal here: start the daemon once, or check the path")
    assert writer.endswith("may not be written: check the owner and rights of the directory")


def test_a_day_of_six_probes_stays_within_its_bytes(open_place: Path) -> None:
    """Bar of the design: at most 15 MB a day, counted by the kernel, snapshots and checkpoints included.

    On /var/tmp, since a memory disk, as /tmp may be, writes no bytes.
    """
    done = subprocess.run(
        python(SIX_A_MINUTE, open_place / "j.sqlite"), capture_output=True, text=True, check=True
    )
    written = int(done.stdout)
    print(f"written in a day: {written / 1e6:.2f} MB")
    assert 1_000_000 < written <= 15_000_000


def test_a_sight_of_another_length_goes_to_the_log_once(tmp_path: Path) -> None:
    """Wiped as Debian's SQLite does by itself, the pages of the sight before it would go along."""
    journal = open_journal(tmp_path / "j.sqlite")
    log = tmp_path / "j.sqlite-wal"
    journal.commit(Batch(states={"sight": b"x" * 150_000}))
    before = log.stat().st_size
    journal.commit(Batch(states={"sight": b"y" * 160_000}))
    assert 160_000 < log.stat().st_size - before < 1.2 * 160_000
    journal.close()


def test_the_nights_are_told_apart_by_probe_and_local_time(tmp_path: Path) -> None:
    zone = ZoneInfo("Europe/Berlin")
    journal = open_journal(tmp_path / "j.sqlite")
    hours = [
        ("2026-03-28T21:00+01:00", 30.0),  # before bedtime
        ("2026-03-28T23:00+01:00", 22.0),
        ("2026-03-29T05:00+02:00", 20.0),  # the clocks went forward in this night
        ("2026-03-29T07:00+02:00", 40.0),  # after rising
        ("2026-03-29T23:00+02:00", 25.0),
    ]
    taken = [at(text, value) for text, value in hours]
    unsure = [at("2026-03-28T23:30+01:00", 99.0, synced=False), at("2026-03-28T23:40+01:00", 98.0, late=True)]
    journal.commit(Batch(taken=[*taken, *unsure]))
    with JournalReader.open(tmp_path / "j.sqlite") as reader:
        nights = reader.nights(zone, bedtime_s=22 * 3600, rising_s=6 * 3600)
    assert nights == [
        Night(date(2026, 3, 28), "east", 2, 20.0, 21.0, 22.0),
        Night(date(2026, 3, 29), "east", 1, 25.0, 25.0, 25.0),
    ]
    journal.close()


def test_the_day_the_clocks_go_forward_has_23_hours() -> None:
    start, end = wall_range(ZoneInfo("Europe/Berlin"), date(2026, 3, 29), date(2026, 3, 29))
    assert end - start == 23 * 3600
    assert datetime.fromtimestamp(start, UTC) == datetime(2026, 3, 28, 23, tzinfo=UTC)


def at(text: str, value: float, *, synced: bool = True, late: bool = False) -> Reading:
    wall_s = datetime.fromisoformat(text).timestamp()
    return Reading("east", "temperature_c", value, value, wall_s - 1e9, wall_s, synced, late)


def test_sqlites_own_shell_rules_hold_for_the_file(tmp_path: Path) -> None:
    """Read by nothing of ours: integrity_check and foreign names (sqlite.org/pragma.html)."""
    journal = open_journal(tmp_path / "j.sqlite")
    journal.commit(everything(0))
    journal.close()
    db = sqlite3.connect(tmp_path / "j.sqlite")
    assert db.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
    assert db.execute("SELECT name FROM probe ORDER BY id").fetchall() == [("box-a",), ("probe-0",)]
    db.close()
