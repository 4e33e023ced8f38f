"""Promise: a journal that cannot be had, or is lost under the daemon, ends no watch and loses nothing."""

import os
import sqlite3
from pathlib import Path

import fault_journal
import pytest
from journal_records import dump, everything, open_journal
from old_journals import build

from coldbrood.journal.errors import JournalError
from coldbrood.journal.holder import Holder
from coldbrood.journal.schema import PAGE_BYTES
from coldbrood.journal.store import Journal

NIGHT_ROWS = 40


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "j.sqlite"


def filled(path: Path) -> bytes:
    journal = open_journal(path)
    for number in range(NIGHT_ROWS):
        journal.commit(everything(number))
    journal.close()
    return path.read_bytes()


def test_a_missing_folder_is_taken_up_when_it_comes(tmp_path: Path) -> None:
    path = tmp_path / "not mounted" / "j.sqlite"
    held = Holder(path, "now")
    assert held.fault is not None
    for _ in range(2):
        with pytest.raises(JournalError, match="its directory does not exist"):
            held.commit(everything(0))
    path.parent.mkdir()
    assert held.commit(everything(0)) > 0
    held.close()
    assert dump(path) == dump(_with_one(tmp_path / "other.sqlite"))


def _with_one(path: Path) -> Path:
    journal = open_journal(path)
    journal.commit(everything(0))
    journal.close()
    return path


def test_a_disk_that_takes_no_log_is_read_all_the_same(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    filled(path)
    sound = Journal.open(path, now_label="now")
    expected, rows = sound.restore(), list(sound.since(0))
    sound.close()

    def refuse(*_: object, **__: object) -> Journal:
        raise JournalError("no space left on the disk", path, "free some space")

    monkeypatch.setattr(Journal, "open", refuse)
    held = Holder(path, "now")
    assert held.restore() == expected
    assert list(held.since(0)) == rows
    with pytest.raises(JournalError, match="no space"):
        held.commit(everything(NIGHT_ROWS))
    monkeypatch.undo()
    held.commit(everything(NIGHT_ROWS))
    held.close()
    assert len(dump(path)["reading"]) == len(dump(path)["note"]) * 2 == 2 * (NIGHT_ROWS + 1)


@pytest.mark.parametrize("how", ["deleted", "moved", "damaged"])
def test_a_file_lost_under_the_daemon_is_replaced_and_what_waits_is_kept(path: Path, how: str) -> None:
    held = Holder(path, "now")
    held.commit(everything(0))
    if how == "damaged":
        held.db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        with path.open("r+b") as file:
            file.seek(PAGE_BYTES)
            file.write(b"\xff" * (path.stat().st_size - PAGE_BYTES))
        held.db.execute("PRAGMA cache_size = 0")
        held.db.execute("PRAGMA shrink_memory")
    elif how == "deleted":
        path.unlink()
    else:
        path.rename(path.with_name("moved.sqlite"))
    with pytest.raises(JournalError):
        held.commit(everything(1))
    held.commit(everything(1))
    held.close()
    kept = {row[1] for row in dump(path)["note"]}
    assert {note.key for note in everything(1).notes} <= kept
    assert (held.set_aside is not None) == (how == "damaged")


def test_a_newer_schema_is_set_aside_whole_and_the_watch_begins_anew(path: Path) -> None:
    filled(path)
    with sqlite3.connect(path) as db:
        db.execute("PRAGMA user_version = 3")
        db.execute("CREATE TABLE newer (x)")
    db.close()
    held = Holder(path, "now")
    assert held.newer_aside
    assert held.set_aside is not None
    with sqlite3.connect(held.set_aside) as old:
        assert old.execute("SELECT count(*) FROM reading").fetchone()[0] > NIGHT_ROWS
    old.close()
    assert held.restore().last_t_s is None
    held.commit(everything(0))
    held.close()


def test_an_older_schema_is_brought_up_to_date(path: Path) -> None:
    build(1, path)
    held = Holder(path, "now")
    assert (held.fault, held.set_aside) == (None, None)
    assert held.last_seq > 0
    held.close()


@pytest.mark.parametrize("spoilt", ["PRAGMA application_id = 77", "PRAGMA user_version = 1234567"])
def test_our_tables_under_damaged_marks_are_saved(path: Path, spoilt: str) -> None:
    filled(path)
    before = len(dump(path)["reading"])
    db = sqlite3.connect(path)
    db.execute(spoilt)
    db.close()
    held = Holder(path, "now")
    assert held.set_aside is not None
    assert not held.newer_aside
    held.close()
    assert len(dump(path)["reading"]) == before


@pytest.mark.parametrize("kind", ["folder", "text", "pipe", "another's", "held"])
def test_what_only_a_person_can_put_right_is_refused(path: Path, kind: str) -> None:
    other = None
    if kind == "folder":
        path.mkdir()
    elif kind == "text":
        path.write_text("[site]\n")
    elif kind == "pipe":
        os.mkfifo(path)
    elif kind == "another's":
        db = sqlite3.connect(path)
        db.executescript("PRAGMA application_id = 77; CREATE TABLE t (x)")
        db.close()
    else:
        other = open_journal(path)
    with pytest.raises(JournalError) as caught:
        Holder(path, "now")
    assert caught.value.of_the_config
    if other is not None:
        other.close()


def test_any_page_flipped_or_cut_leaves_a_start_that_works() -> None:
    row = fault_journal.flips(long=False)
    assert row.places > 80
    assert (row.lost, row.wrong) == (0, [])
