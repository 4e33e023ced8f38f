"""Getting the file ready before the writer opens it: create, refuse, repair, migrate."""

import sqlite3
from codecs import getincrementaldecoder
from dataclasses import dataclass
from pathlib import Path

from coldbrood.journal import replay
from coldbrood.journal.disk import sync_directory
from coldbrood.journal.errors import JournalError, NewerSchema, damage, is_damage
from coldbrood.journal.migrate import migrate
from coldbrood.journal.repair import finish_swap, replace_damaged, replace_newer
from coldbrood.journal.schema import connect, connect_reader, create, is_empty, version_of

_MAGIC = b"SQLite format 3\0"


@dataclass(frozen=True, slots=True)
class Prepared:
    """Where the file that was there went, if it could not be used; `newer`: sound, of a newer schema."""

    set_aside: Path | None = None
    newer: bool = False


def prepare(path: Path, now_label: str, *, newer_aside: bool = False, thorough: bool = False) -> Prepared:
    """Leave a sound journal of today's schema at `path`, in the place of a damaged one if need be.

    One of a newer schema moves aside whole if `newer_aside`; `thorough` looks into the indexes too.
    Raises JournalError for a file that is not ours, and sqlite3.Error or OSError of the disk.
    """
    finish_swap(path, now_label)
    if not path.exists() or path.stat().st_size == 0:
        create(path)
        sync_directory(path.parent)
        return Prepared()
    _refuse_other_kinds(path)
    try:
        _make_ready(path, thorough)
    except NewerSchema:
        if not newer_aside:
            raise
        return Prepared(replace_newer(path, now_label), newer=True)
    except (sqlite3.DatabaseError, UnicodeDecodeError) as error:
        if not is_damage(error):
            raise
    else:
        return Prepared()
    set_aside = replace_damaged(path, now_label)
    _make_ready(path)
    return Prepared(set_aside)


def _make_ready(path: Path, thorough: bool = False) -> None:
    """Check a file and bring it up to date; raises sqlite3.DatabaseError with a damage code if unsound."""
    if _blank(path):
        create(path)
        return
    db = connect(path)
    try:
        check(db, thorough)
        migrate(db, path)
        _try_restore(db)
    finally:
        db.close()


def _try_restore(db: sqlite3.Connection) -> None:
    """Do what a start does: by indexes, which a quick check passes over, and by the tables' names."""
    try:
        replay.restore(db)
    except sqlite3.OperationalError as error:
        if error.sqlite_errorcode != sqlite3.SQLITE_ERROR:
            raise
        raise damage(str(error)) from error


def _blank(path: Path) -> bool:
    """Look at the file without changing it, since it may be another program's."""
    db = connect_reader(path)
    try:
        if is_empty(db):
            return True
        version_of(db, path)
        return False
    finally:
        db.close()


def check(db: sqlite3.Connection, thorough: bool = False) -> None:
    """Raise sqlite3.DatabaseError marked SQLITE_CORRUPT unless SQLite's own check finds all well."""
    found = db.execute(f"PRAGMA {'integrity' if thorough else 'quick'}_check(1)").fetchone()[0]
    if found != "ok":
        raise damage(found)


def _refuse_other_kinds(path: Path) -> None:
    """A damaged journal is set aside; a text file was named by mistake and is left where it is."""
    try:
        with path.open("rb") as file:
            head = file.read(4096)
    except PermissionError as error:
        raise JournalError("it may not be read", path, "check its owner and rights") from error
    if head.startswith(_MAGIC):
        return
    try:
        text = getincrementaldecoder("utf-8")().decode(head)  # may end within a character
    except UnicodeDecodeError:
        return
    if text.replace("\n", "").replace("\r", "").replace("\t", "").isprintable():
        raise JournalError(
            "it is a text file, not a journal", path, "name another file as the journal", of_the_config=True
        )
