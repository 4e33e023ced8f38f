"""Getting the file ready before the writer opens it: create, refuse, repair, migrate."""

import sqlite3
from codecs import getincrementaldecoder
from pathlib import Path

from coldbrood.journal.disk import sync_directory
from coldbrood.journal.errors import JournalError, is_damage
from coldbrood.journal.migrate import migrate
from coldbrood.journal.repair import finish_swap, replace_damaged
from coldbrood.journal.schema import connect, connect_reader, create, is_empty, version_of

_MAGIC = b"SQLite format 3\0"


def prepare(path: Path, now_label: str) -> Path | None:
    """Leave a sound journal of today's schema at `path`; returns where a damaged one went.

    Raises JournalError for a file that is not ours, and sqlite3.Error or OSError of the disk.
    """
    finish_swap(path, now_label)
    if not path.exists() or path.stat().st_size == 0:
        create(path)
        sync_directory(path.parent)
        return None
    _refuse_other_kinds(path)
    try:
        _make_ready(path)
    except sqlite3.DatabaseError as error:
        if not is_damage(error):
            raise
    else:
        return None
    set_aside = replace_damaged(path, now_label)
    _make_ready(path)
    return set_aside


def _make_ready(path: Path) -> None:
    """Check a file and bring it up to date; raises sqlite3.DatabaseError with a damage code if unsound."""
    if _blank(path):
        create(path)
        return
    db = connect(path)
    try:
        check(db)
        migrate(db, path)
    finally:
        db.close()


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


def check(db: sqlite3.Connection) -> None:
    """Raise sqlite3.DatabaseError marked SQLITE_CORRUPT unless `PRAGMA quick_check` finds all well."""
    found = db.execute("PRAGMA quick_check(1)").fetchone()[0]
    if found != "ok":
        error = sqlite3.DatabaseError(found)
        error.sqlite_errorcode = sqlite3.SQLITE_CORRUPT
        raise error


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
        raise JournalError("it is a text file, not a journal", path, "name another file as the journal")
