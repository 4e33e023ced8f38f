"""Whatever fails in the middle, a batch is kept whole or not at all, and the daemon can go on."""

import os
import resource
import shutil
import sqlite3
import subprocess
import sys
from collections.abc import Callable
from contextlib import suppress
from dataclasses import replace
from pathlib import Path

import pytest
from journal_records import dump, everything, note, open_journal, reading
from old_journals import build

from coldbrood.journal.errors import JournalError
from coldbrood.journal.reader import JournalReader
from coldbrood.journal.rows import Batch
from coldbrood.journal.schema import PAGE_BYTES
from coldbrood.journal.store import Journal
from coldbrood.watch.events import Reading

HELPERS = Path(__file__).parents[1] / "helpers"
MiB = 1024 * 1024


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "j.sqlite"


def test_a_commit_that_fails_at_any_statement_leaves_nothing(path: Path) -> None:
    """SQLite asks its authorizer for each thing a statement will do: deny the n-th, for every n."""
    journal = open_journal(path)
    journal.commit(everything(0))
    before, seq = dump(path), journal.last_seq
    failures = 0
    while _commit_denying(journal, failures):
        failures += 1
        assert not journal.db.in_transaction
        assert journal.last_seq == seq
        assert dump(path) == before
    assert failures > 15
    assert dump(path) == _undisturbed(path.with_name("other.sqlite"))
    journal.close()


def _commit_denying(journal: Journal, number: int) -> bool:
    """Commit with the n-th permission denied; returns whether that stopped it."""
    journal.db.set_authorizer(_deny(number))
    try:
        journal.commit(everything(1))
    except JournalError:
        return True
    finally:
        journal.db.set_authorizer(None)
    return False


def _deny(number: int) -> Callable[..., int]:
    asked = 0

    def ask(action: int, *_: object) -> int:
        nonlocal asked
        asked += 1
        return sqlite3.SQLITE_DENY if asked == number + 1 else sqlite3.SQLITE_OK

    return ask


def _undisturbed(path: Path) -> dict[str, list[tuple[object, ...]]]:
    journal = open_journal(path)
    journal.commit(everything(0))
    journal.commit(everything(1))
    journal.close()
    return dump(path)


def test_a_commit_that_fails_at_any_write_leaves_nothing(path: Path) -> None:
    """The kernel refuses each write beyond RLIMIT_FSIZE: fail at each 256 bytes of the log until it fits."""
    journal = open_journal(path)
    journal.commit(everything(0))
    before, seq = dump(path), journal.last_seq
    # Nothing is written into the file itself before a checkpoint, and the shared memory is there already.
    log_bytes = Path(f"{path}-wal").stat().st_size
    failures = 0
    while not _fits(journal, log_bytes + failures * 256):
        failures += 1
        assert journal.last_seq == seq
        assert dump(path) == before
    assert failures > 20
    journal.close()
    assert dump(path) == _undisturbed(path.with_name("other.sqlite"))


def _fits(journal: Journal, limit: int) -> bool:
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (limit, hard))
    try:
        journal.commit(everything(1))
    except JournalError:
        return False
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    return True


def test_a_batch_that_fails_in_python_leaves_nothing(path: Path) -> None:
    journal = open_journal(path)
    journal.commit(everything(0))
    before = dump(path)
    batch = everything(1)
    batch.states["broken"] = object()  # type: ignore[assignment] # the fault on trial
    with pytest.raises(JournalError):
        journal.commit(batch)
    assert dump(path) == before
    assert journal.commit(everything(1)) == 8
    journal.close()


def test_a_full_file_says_so_and_takes_the_batch_when_there_is_room(path: Path) -> None:
    journal = open_journal(path)
    journal.commit(everything(0))
    pages = journal.db.execute("PRAGMA page_count").fetchone()[0]
    journal.db.execute(f"PRAGMA max_page_count = {pages}")
    before = dump(path)
    batch = Batch(taken=[reading(n) for n in range(200)], alarms={"refill-now/a": b"active"})
    for _ in range(3):
        with pytest.raises(JournalError, match=r"no space left on the disk .*: free some space"):
            journal.commit(batch)
        assert dump(path) == before
    assert journal.restore().alarms["alarm-latest"] == b"0"
    journal.db.execute("PRAGMA max_page_count = 1000000")
    journal.commit(batch)
    assert list(journal.since(4)) == batch.taken
    journal.close()


def test_a_full_disk_says_so_and_recovers(tmp_path: Path) -> None:
    """A real full disk where one can be mounted; else the kernel's limit on a file's size stands for it."""
    mounted = _mount_tiny(tmp_path)
    try:
        _fill_and_recover(tmp_path, _Tiny(tmp_path) if mounted else _Limit())
    finally:
        if mounted:
            subprocess.run(["umount", "-l", str(tmp_path)], check=True)


def _mount_tiny(place: Path) -> bool:
    command = ["mount", "-t", "tmpfs", "-o", "size=1m", "none", str(place)]
    return os.geteuid() == 0 and subprocess.run(command, capture_output=True).returncode == 0


class _Tiny:
    """A disk of 1 MiB, filled by a file."""

    def __init__(self, place: Path) -> None:
        self.ballast = place / "ballast"

    def fill(self) -> None:
        with self.ballast.open("wb", buffering=0) as file, suppress(OSError):
            while True:
                file.write(bytes(4096))
        assert shutil.disk_usage(self.ballast.parent).free == 0

    def free(self) -> None:
        self.ballast.unlink()


class _Limit:
    """No file may grow beyond 64 KiB."""

    def __init__(self) -> None:
        self.before = resource.getrlimit(resource.RLIMIT_FSIZE)

    def fill(self) -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (64 * 1024, self.before[1]))

    def free(self) -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, self.before)


def _fill_and_recover(place: Path, disk: _Tiny | _Limit) -> None:
    journal = open_journal(place / "j.sqlite")
    journal.commit(everything(0))
    disk.fill()
    try:
        kept = _commit_until_it_fails(journal)
        with pytest.raises(JournalError, match=r"no space left|disk reports an error"):
            journal.commit(Batch(states={"snapshot": bytes(100_000)}))
    finally:
        disk.free()
    assert journal.last_seq == 4 * (1 + kept)
    journal.commit(everything(1 + kept))
    journal.close()
    again = open_journal(place / "j.sqlite")
    assert again.set_aside is None
    assert again.last_seq == 4 * (2 + kept)
    again.close()


def _commit_until_it_fails(journal: Journal) -> int:
    """How many commits went through before the disk was full."""
    for n in range(1, 200):
        try:
            journal.commit(everything(n))
        except JournalError:
            return n - 1
    pytest.fail("the disk never filled up")


def test_another_program_that_holds_the_file_is_named(path: Path) -> None:
    journal = open_journal(path)
    journal.db.execute("PRAGMA busy_timeout = 10")
    other = sqlite3.connect(path, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    with pytest.raises(JournalError, match="another program holds it"):
        journal.commit(everything(0))
    other.execute("ROLLBACK")
    other.close()
    assert journal.commit(everything(0)) == 4
    journal.close()


READINGS = 600


@pytest.fixture(scope="module")
def sound(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A journal with some pages in each table."""
    path = tmp_path_factory.mktemp("sound") / "j.sqlite"
    journal = open_journal(path)
    for n in range(0, READINGS, 20):
        batch = everything(n)
        batch.taken = [reading(k) for k in range(n, n + 20)] + [note(f"note-{n}", n)]
        journal.commit(batch)
    journal.close()
    return path


@pytest.mark.parametrize("damage", [b"\x00", b"\x5a"])
def test_each_page_damaged_in_turn_never_stops_the_daemon(sound: Path, path: Path, damage: bytes) -> None:
    content = sound.read_bytes()
    pages = len(content) // PAGE_BYTES
    losses = []
    for page in range(pages):
        hurt = bytearray(content)
        hurt[page * PAGE_BYTES : (page + 1) * PAGE_BYTES] = damage * PAGE_BYTES
        path.write_bytes(hurt)
        losses.append(READINGS - _readings_after_opening(path, bytes(hurt)))
    print(f"readings lost by page, of {READINGS}:", losses)
    most_on_a_page = PAGE_BYTES // 40  # a row takes 46 to 50 bytes
    leaves = [lost for lost in losses if 0 < lost <= most_on_a_page]
    assert len(leaves) > 20
    # Only pages that hold the list of tables, or the way to a table's pages, cost more than themselves.
    assert len([lost for lost in losses if lost > most_on_a_page]) <= 6
    assert len(losses) == pages > 50


def _readings_after_opening(path: Path, hurt: bytes) -> int:
    """Open, use and close a damaged journal; returns how many readings it has then."""
    journal = Journal.open(path, now_label="20260401T024000Z")
    if journal.set_aside is not None:
        assert journal.set_aside.name == "j.sqlite.set-aside-20260401T024000Z"
        assert journal.set_aside.read_bytes() == hurt
        journal.set_aside.unlink()
    found = [event for event in journal.since(0) if isinstance(event, Reading)]
    named = [replace(event, probe="box-a") for event in found]  # its name may be what was lost
    assert set(named) <= {reading(n) for n in range(READINGS)}
    assert len(found) == len(set(found))
    before = journal.last_seq
    assert journal.commit(Batch(taken=[reading(1)], states={"snapshot": b"new"})) == before + 1
    assert journal.restore().covers["snapshot"] == before + 1
    journal.close()
    for end in ("", "-wal", "-shm"):
        Path(f"{path}{end}").unlink(missing_ok=True)
    return len(found)


def test_garbage_in_place_of_the_file_is_set_aside_under_a_free_name(path: Path) -> None:
    for number in range(3):
        path.write_bytes(os.urandom(5000) + b"\xff\xfe")
        journal = Journal.open(path, now_label="now")
        assert journal.set_aside is not None
        assert journal.set_aside.name == "j.sqlite.set-aside-now" + (f"-{number + 1}" if number else "")
        assert journal.last_seq == 0
        journal.commit(everything(1))
        journal.close()
        path.unlink()


def test_a_cut_file_is_set_aside_and_its_readable_rows_are_saved(sound: Path, path: Path) -> None:
    content = sound.read_bytes()
    path.write_bytes(content[: len(content) * 2 // 3 // PAGE_BYTES * PAGE_BYTES])
    journal = open_journal(path)
    found = list(journal.since(0))
    assert journal.set_aside is not None
    assert READINGS // 3 < len(found) < READINGS
    journal.close()


def test_rows_in_the_log_of_a_damaged_file_are_saved_too(path: Path) -> None:
    journal = open_journal(path)
    journal.commit(Batch(taken=[reading(n) for n in range(300)]))
    journal.db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    journal.commit(Batch(taken=[reading(n) for n in range(300, 320)]))
    for end in ("", "-wal"):
        shutil.copy(f"{path}{end}", f"{path}.copy{end}")
    journal.close()
    copy = Path(f"{path}.copy")
    content = bytearray(copy.read_bytes())
    content[-6 * PAGE_BYTES : -5 * PAGE_BYTES] = bytes(PAGE_BYTES)
    copy.write_bytes(content)
    saved = open_journal(copy)
    assert saved.set_aside is not None
    assert Path(f"{saved.set_aside}-wal").exists()
    found = list(saved.since(0))
    assert found[-20:] == [reading(n) for n in range(300, 320)]
    assert 270 < len(found) < 320
    saved.close()


def test_a_probe_whose_name_was_lost_keeps_its_own_number(sound: Path, path: Path) -> None:
    shutil.copy(sound, path)
    db = sqlite3.connect(path)
    root = db.execute("SELECT rootpage FROM sqlite_master WHERE name = 'probe'").fetchone()[0]
    db.close()
    content = bytearray(path.read_bytes())
    content[(root - 1) * PAGE_BYTES : root * PAGE_BYTES] = bytes(PAGE_BYTES)
    path.write_bytes(content)
    journal = open_journal(path)
    assert journal.set_aside is not None
    journal.commit(Batch(taken=[reading(7, "west")]))
    names = [event.probe for event in journal.since(0) if isinstance(event, Reading)]
    assert names == ["unknown-1"] * READINGS + ["west"]
    journal.close()


def test_a_damaged_journal_of_schema_1_is_saved_and_migrated(path: Path) -> None:
    build(1, path)
    content = bytearray(path.read_bytes())
    content[-PAGE_BYTES:] = bytes(PAGE_BYTES)
    path.write_bytes(content)
    journal = open_journal(path)
    assert journal.set_aside is not None
    assert len(list(journal.since(0))) == 8
    journal.close()
    with JournalReader.open(path) as reader:
        assert 1900 < reader.refused_counts()["west", "jump"] <= 2001


KILLED_WHILE_REPAIRING = """
import os, signal, sys
from pathlib import Path
from journal_records import open_journal
left = int(sys.argv[2])
def count(event, args):
    global left
    if event in ("os.rename", "os.remove", "sqlite3.connect"):
        left -= 1
        if left == 0:
            os.kill(os.getpid(), signal.SIGKILL)
sys.addaudithook(count)
open_journal(Path(sys.argv[1])).close()
"""


def test_a_kill_while_repairing_never_loses_what_was_saved(sound: Path, path: Path) -> None:
    """The child is killed at each rename, removal and opening in turn, then the journal is opened again."""
    content = bytearray(sound.read_bytes())
    content[40 * PAGE_BYTES : 41 * PAGE_BYTES] = bytes(PAGE_BYTES)
    undisturbed = path.with_name("undisturbed.sqlite")
    undisturbed.write_bytes(content)
    open_journal(undisturbed).close()
    kills = 0
    while True:
        for old in path.parent.glob("j.sqlite*"):
            old.unlink()
        path.write_bytes(content)
        if not _killed_at(path, kills + 1):
            break
        kills += 1
        journal = open_journal(path)
        journal.close()
        assert dump(path) == dump(undisturbed), f"killed at operation {kills}"
        assert any(old.read_bytes() == content for old in path.parent.glob("j.sqlite.set-aside*"))
        assert list(path.parent.glob("*.saving*")) == []
    assert kills > 8


def _killed_at(path: Path, operation: int) -> bool:
    code = f"import sys; sys.path.insert(0, {str(HELPERS)!r})\n{KILLED_WHILE_REPAIRING}"
    done = subprocess.run([sys.executable, "-c", code, str(path), str(operation)], capture_output=True)
    assert done.returncode in (0, -9), done.stderr
    return done.returncode == -9


def test_a_log_left_without_its_file_is_not_poured_into_the_new_one(path: Path) -> None:
    journal = open_journal(path)
    journal.commit(everything(0))
    shutil.copy(f"{path}-wal", f"{path}.copy")
    journal.close()
    path.unlink()
    os.rename(f"{path}.copy", f"{path}-wal")
    journal = open_journal(path, "later")
    assert (journal.last_seq, journal.set_aside) == (0, None)
    assert Path(f"{path}.set-aside-later-wal").stat().st_size > 0
    journal.close()


def test_a_creation_that_was_cut_short_begins_again(path: Path) -> None:
    path.touch()
    journal = open_journal(path)
    journal.close()
    path.unlink()
    sqlite3.connect(path).execute("PRAGMA journal_mode = WAL").connection.close()
    journal = open_journal(path)
    assert journal.set_aside is None
    assert journal.commit(everything(0)) == 4
    journal.close()
