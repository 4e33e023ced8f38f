"""A journal of schema 1 becomes one of today's with nothing lost, however the migration is interrupted."""

import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest
from journal_records import dump, everything, open_journal
from old_journals import build

from coldbrood.journal import schema
from coldbrood.journal.errors import JournalError
from coldbrood.journal.migrate import STEPS, migrate
from coldbrood.journal.reader import JournalReader
from coldbrood.watch.events import Note, Reading


@pytest.fixture
def old(tmp_path: Path) -> Path:
    return build(1, tmp_path / "j.sqlite")


def test_every_row_of_schema_1_is_there_after(old: Path) -> None:
    before = dump(old)
    open_journal(old).close()
    after = dump(old)
    for table in ("probe", "quantity", "note", "alarm", "message", "state", "reading"):
        assert after[table] == before[table], table
    assert [row[:6] + row[7:] for row in after["history"]] == before["history"]
    assert {row[6] for row in after["history"]} == {""}
    assert sorted(row[1:] for row in after["refused"]) == before["refused"][-schema.REFUSED_KEPT :]
    assert after["refused_count"] == [("", "unknown-probe", 1), ("west", "jump", 2001)]
    assert set(after) - set(before) == {"refused_count"}


def test_the_migrated_records_read_as_they_were(old: Path) -> None:
    journal = open_journal(old)
    taken = list(journal.since(0))
    assert taken[0] == Reading("east", "temperature_c", 23.0625, 22.8625, 100.5, 1775000100.5, synced=False)
    assert taken[2] == Reading("shade", "temperature_c", -4.25, -4.25, 102.0, 1775000102.0, synced=True)
    assert taken[3] == Note("page-1", "refill", "east", 130.0, 1775000130.0, fill_c=82.0, text="two jugs")
    assert [event.t_s for event in taken] == sorted(event.t_s for event in taken)
    assert len(taken) == 8
    assert journal.last_seq == 10
    assert [event.t_s for event in journal.since(journal.restore().covers["snapshot"])] == [200.0, 220.5]
    journal.close()


def test_the_migrated_journal_takes_commits(old: Path) -> None:
    journal = open_journal(old)
    assert journal.commit(everything(40)) == 14
    journal.close()
    with JournalReader.open(old) as reader:
        assert reader.refused(1)[0].detail == "no. 40"
        assert reader.refused_counts()["box-a", "jump"] == 1
        assert reader.latest()[0].probe == "east"


def test_a_migrated_file_has_the_tables_of_a_new_one(old: Path, tmp_path: Path) -> None:
    open_journal(old).close()
    open_journal(tmp_path / "new.sqlite").close()
    assert _columns(old) == _columns(tmp_path / "new.sqlite")


def test_the_old_file_is_kept_beside_it(old: Path) -> None:
    before = dump(old)
    open_journal(old).close()
    backup = Path(f"{old}.v1.bak")
    assert dump(backup) == before
    assert backup.stat().st_mode & 0o777 == 0o600
    assert _version(backup) == 1
    assert not Path(f"{backup}.part").exists()


def test_a_journal_of_today_is_not_copied(tmp_path: Path) -> None:
    path = tmp_path / "j.sqlite"
    open_journal(path).close()
    open_journal(path).close()
    assert list(tmp_path.glob("*.bak*")) == []


def test_every_step_is_there() -> None:
    assert list(STEPS) == list(range(1, schema.VERSION))


def test_a_migration_interrupted_at_any_statement_changes_nothing(old: Path) -> None:
    """SQLite asks its authorizer for each thing a statement will do: deny the n-th, for every n."""
    before = dump(old)
    interrupted = 0
    while _migrate_denying(old, interrupted):
        interrupted += 1
        assert _version(old) == 1
        assert dump(old) == before
    assert interrupted > len(STEPS[1])
    assert _version(old) == schema.VERSION
    untouched = build(1, old.with_name("undisturbed.sqlite"))
    open_journal(untouched).close()
    assert dump(old) == dump(untouched)


def test_a_migration_whose_copy_cannot_be_kept_does_not_begin(old: Path) -> None:
    before = dump(old)
    partial = Path(f"{old}.v1.bak.part")
    partial.mkdir()  # in the way of the copy
    with pytest.raises(JournalError):
        open_journal(old)
    partial.rmdir()
    assert dump(old) == before
    open_journal(old).close()
    assert _version(old) == schema.VERSION


def test_the_reader_leaves_migration_to_the_daemon(old: Path) -> None:
    with pytest.raises(JournalError, match="its schema is 1, this coldbrood reads 2: start the daemon once"):
        JournalReader.open(old)
    assert _version(old) == 1


def _migrate_denying(path: Path, number: int) -> bool:
    """Migrate with the n-th permission denied; returns whether that stopped it."""
    with closing(schema.connect(path)) as db:
        db.set_authorizer(_deny(number))
        try:
            migrate(db, path)
        except sqlite3.DatabaseError:
            return True
        assert not db.in_transaction
        return False


def _deny(number: int) -> Callable[..., int]:
    asked = 0

    def ask(*_: object) -> int:
        nonlocal asked
        asked += 1
        return sqlite3.SQLITE_DENY if asked == number + 1 else sqlite3.SQLITE_OK

    return ask


def _columns(path: Path) -> dict[str, list[tuple[object, ...]]]:
    with closing(schema.connect_reader(path)) as db:
        names = [name for (name,) in db.execute("SELECT name FROM sqlite_master ORDER BY name")]
        strict = db.execute("SELECT name, wr, strict FROM pragma_table_list ORDER BY name").fetchall()
        return {"tables": strict} | {n: db.execute(f"PRAGMA table_xinfo({n})").fetchall() for n in names}


def _version(path: Path) -> int:
    with closing(schema.connect_reader(path)) as db:
        return int(db.execute("PRAGMA user_version").fetchone()[0])
