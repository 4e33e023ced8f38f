"""A damaged journal is set aside whole, and what can still be read of it goes into a new one.

The order makes a kill at any point harmless: the new file is finished under another name before the
damaged one moves, so there is always either the old file, or a finished new one waiting for its name.
"""

import os
import sqlite3
from collections.abc import Iterator
from contextlib import closing, suppress
from pathlib import Path
from typing import Any

from coldbrood.journal.disk import sync_directory
from coldbrood.journal.errors import JournalError
from coldbrood.journal.schema import SEED, TABLES, VERSION, connect_reader, create, has_our_tables, version_of

_CHUNK = 500
_LAST_ROWID = 2**63 - 1
# A number whose name was lost must not be given to another probe.
_NAME_THE_NAMELESS = (
    f"INSERT OR IGNORE INTO quantity VALUES {SEED}",
    "INSERT OR IGNORE INTO probe SELECT DISTINCT probe, 'unknown-' || probe FROM reading",
    "INSERT OR IGNORE INTO quantity SELECT DISTINCT quantity, 'unknown-' || quantity FROM reading",
)


def finish_swap(path: Path, now_label: str) -> None:
    """Finish or undo a replacement that a kill cut short; a log left without its file is set aside."""
    saving = saving_name(path)
    if path.exists() and path.stat().st_size > 0:
        _discard(saving)
        return
    for end in ("-wal", "-shm"):
        _move(Path(f"{path}{end}"), Path(f"{free_name(path, now_label)}{end}"))
    if saving.exists():
        os.replace(saving, path)
        sync_directory(path.parent)


def replace_damaged(path: Path, now_label: str) -> Path:
    """Put a new journal in the place of the damaged one; returns where the damaged one is now.

    Raises sqlite3.Error or OSError only if not even an empty journal can be made.
    """
    saving = saving_name(path)
    _discard(saving)
    try:
        _save_into(saving, path)
    except (sqlite3.DatabaseError, UnicodeDecodeError, JournalError):
        # Not even the list of tables can be read: begin anew, the damaged file keeps what it has.
        _discard(saving)
        create(saving)
    aside = put_in_place(path, now_label)
    return path if aside is None else aside


def replace_newer(path: Path, now_label: str) -> Path | None:
    """Put a new journal in the place of one of a newer schema; returns where that one is now."""
    saving = saving_name(path)
    _discard(saving)
    create(saving)
    return put_in_place(path, now_label)


def put_in_place(path: Path, now_label: str) -> Path | None:
    """Give the finished file under `saving_name(path)` its name; returns where the one before it is now.

    Killed between the two renames, the next start finishes the swap. Raises OSError.
    """
    aside = free_name(path, now_label) if path.exists() else None
    where = aside or free_name(path, now_label)
    for end in ("", "-wal", "-shm"):
        _move(Path(f"{path}{end}"), Path(f"{where}{end}"))
    os.replace(saving_name(path), path)
    sync_directory(path.parent)
    return aside


def free_name(path: Path, now_label: str) -> Path:
    """The name for a file set aside now, which no other file has."""
    first = Path(f"{path}.set-aside-{now_label}")
    others = (Path(f"{first}-{n}") for n in range(2, 1000))
    return next((name for name in (first, *others) if not name.exists()), first)


def _save_into(saving: Path, damaged: Path) -> None:
    """Build the tables as the damaged file has them, at its schema version, with every row that reads."""
    with closing(connect_reader(damaged)) as old:
        old.execute("PRAGMA writable_schema = ON")  # or SQLite gives up on a file that was cut short
        version = _version_or_todays(old, damaged)
        tables = old.execute(
            "SELECT name, sql FROM sqlite_master WHERE type = 'table' ORDER BY name"
        ).fetchall()
        create(saving, tuple(sql for _, sql in tables), version)
        with closing(sqlite3.connect(saving, isolation_level=None)) as new:
            new.execute("BEGIN IMMEDIATE")
            for name, sql in tables:
                rows = _all_there(old, name) if "WITHOUT ROWID" in sql else readable_rows(old, name)
                _insert(new, name, rows)
            if version == VERSION:
                _add_missing(new, {name for name, _ in tables})
            for statement in _NAME_THE_NAMELESS:
                new.execute(statement)
            new.execute("COMMIT")


def _add_missing(db: sqlite3.Connection, there: set[str]) -> None:
    """Tables of today's schema of which not even the name was left."""
    for statement in TABLES:
        if statement.startswith("CREATE TABLE") and statement.split()[2] not in there:
            db.execute(statement)


def _version_or_todays(db: sqlite3.Connection, path: Path) -> int:
    """The marks of the file may be what was damaged; the tables tell as well."""
    return VERSION if has_our_tables(db) else version_of(db, path)


def readable_rows(db: sqlite3.Connection, table: str) -> Iterator[tuple[Any, ...]]:
    """Every row of a rowid table that can be read, going round the damage from both sides."""
    at = -1
    while True:
        for row in _run(db, table, at, _LAST_ROWID, "ASC"):
            at = row[0]
            yield row[1:]
        beyond = _next_readable(db, table, at)
        if beyond is None:
            return
        for row in _run(db, table, at, beyond, "DESC"):
            yield row[1:]
        at = beyond - 1


def _run(
    db: sqlite3.Connection, table: str, after: int, before: int, order: str
) -> Iterator[tuple[Any, ...]]:
    """Rows between two rowids, the rowid first, up to the first that does not read or is out of order.

    A file cut short gives the same row without end, with a rowid that was not asked for.
    """
    sql = f"SELECT rowid, * FROM {table} WHERE rowid > ? AND rowid < ? ORDER BY rowid {order}"
    low, high = after, before
    with suppress(sqlite3.DatabaseError, UnicodeDecodeError):
        for row in db.execute(sql, (after, before)):
            if not low < row[0] < high:
                return
            low, high = (row[0], high) if order == "ASC" else (low, row[0])
            yield row


def _next_readable(db: sqlite3.Connection, table: str, after: int) -> int | None:
    """The rowid of a readable row beyond the damage, searched in doubling steps."""
    step = 1
    while after + step < _LAST_ROWID:
        row = next(_run(db, table, after + step, _LAST_ROWID, "ASC"), None)
        if row is not None:
            return int(row[0])
        step *= 2
    return None


def _all_there(db: sqlite3.Connection, table: str) -> Iterator[tuple[Any, ...]]:
    with suppress(sqlite3.DatabaseError, UnicodeDecodeError):
        yield from db.execute(f"SELECT * FROM {table}")


def _insert(db: sqlite3.Connection, table: str, rows: Iterator[tuple[Any, ...]]) -> None:
    """Insert what fits the table: damage may also read as a row with a value of the wrong type."""
    for row in rows:
        sql = f"INSERT OR IGNORE INTO {table} VALUES ({', '.join('?' * len(row))})"
        with suppress(sqlite3.IntegrityError):
            db.execute(sql, row)


def saving_name(path: Path) -> Path:
    """The name under which a new journal is finished before it takes the place of the old."""
    return Path(f"{path}.saving")


def _discard(path: Path) -> None:
    for end in ("", "-wal", "-shm", "-journal"):
        Path(f"{path}{end}").unlink(missing_ok=True)


def _move(source: Path, target: Path) -> None:
    with suppress(FileNotFoundError):
        os.rename(source, target)
