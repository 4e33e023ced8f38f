"""The journal: one writer, one commit for all that belongs together, and what a restart begins from."""

import fcntl
import os
import sqlite3
from collections.abc import Iterator
from contextlib import suppress
from heapq import merge
from pathlib import Path
from typing import Any, TextIO

from coldbrood.journal import rows
from coldbrood.journal.errors import JournalError, explain
from coldbrood.journal.prepare import prepare
from coldbrood.journal.rows import Batch, Restored
from coldbrood.journal.schema import connect
from coldbrood.journal.writing import Writing
from coldbrood.watch.events import Note, Reading

_CHUNK = 1000


class Journal:
    """The journal opened for writing, owned by the thread that opened it.

    `last_seq` is the seq of the newest row; `set_aside` is where a damaged file went, if one did.
    """

    def __init__(self, path: Path, db: sqlite3.Connection, lock: TextIO, set_aside: Path | None) -> None:
        self.path = path
        self.db = db
        self.set_aside = set_aside
        self._lock = lock
        self._file = os.stat(path).st_ino
        self._writing = Writing.resume(db)

    @classmethod
    def open(cls, path: Path, *, now_label: str) -> "Journal":
        """Create, check, repair and migrate as needed, then open.

        A damaged file is set aside as `<name>.set-aside-<now_label>` and what can be read of it is
        carried over. Raises JournalError for all else: no directory, no rights, another program's
        file, a newer schema, a second daemon, a full disk.
        """
        _check_place(path)
        lock = _take_lock(path)
        try:
            set_aside = prepare(path, now_label)
            return cls(path, connect(path), lock, set_aside)
        except BaseException as error:
            lock.close()
            if isinstance(error, sqlite3.Error):
                raise explain(error, path) from error
            if isinstance(error, OSError):
                raise JournalError(_os_text(error), path, "check the disk and its rights") from error
            raise

    @property
    def last_seq(self) -> int:
        """The seq of the newest committed row; 0 in a new journal."""
        return self._writing.seq

    def knows_note(self, key: str) -> bool:
        """Whether a note with this key is committed: ask before acting on one, so that it counts once."""
        found = self._ask("SELECT 1 FROM note WHERE key = ?", (rows.plain(key),))
        return bool(found)

    def commit(self, batch: Batch) -> int:
        """Keep all of the batch or nothing of it, on the disk when this returns; gives `last_seq`.

        A note whose key is known is passed over. Raises JournalError; the batch may be tried again.
        """
        if batch.is_empty():
            return self.last_seq
        self._check_file()
        self._roll_back()  # what a failed roll-back may have left
        draft = self._writing.copy()
        try:
            self.db.execute("BEGIN IMMEDIATE")
            draft.write(self.db, batch)
            self.db.execute("COMMIT")
        except sqlite3.Error as error:
            self._roll_back()
            raise explain(error, self.path) from error
        except BaseException:
            self._roll_back()
            raise
        self._writing = draft
        return self.last_seq

    def restore(self) -> Restored:
        """All that is needed to go on where the last commit left off. Raises JournalError."""
        states = self._ask("SELECT name, seq, body FROM state")
        last_t_s, last_wall_s = self._ask(_LAST_TIMES)[0]
        return Restored(
            alarms=dict(self._ask("SELECT key, body FROM alarm ORDER BY key")),
            messages=dict(self._ask("SELECT key, body FROM message ORDER BY key")),
            states={name: body for name, _, body in states},
            covers={name: seq for name, seq, _ in states},
            latest=[rows.to_reading(row[:-1]) for row in self._ask(rows.LATEST, (0,))],
            last_t_s=last_t_s,
            last_wall_s=last_wall_s,
        )

    def since(self, seq: int) -> Iterator[Reading | Note]:
        """Readings and notes after `seq`, as they were taken, late ones too. Raises JournalError."""
        at = seq
        while True:
            readings = self._ask(_READINGS_AFTER, (at, _CHUNK))
            top = readings[-1][0] if len(readings) == _CHUNK else self.last_seq
            notes = self._ask(_NOTES_BETWEEN, (at, top))
            for row in merge(readings, notes, key=lambda row: row[0]):
                yield rows.to_note(row) if len(row) == _NOTE_WIDTH else rows.to_reading(row)
            if len(readings) < _CHUNK:
                return
            at = top

    def close(self) -> None:
        """Fold the write-ahead log into the file and let go of it."""
        self.db.close()
        self._lock.close()

    def _ask(self, sql: str, values: tuple[Any, ...] = ()) -> list[Any]:
        try:
            return self.db.execute(sql, values).fetchall()
        except sqlite3.Error as error:
            raise explain(error, self.path) from error

    def _roll_back(self) -> None:
        if self.db.in_transaction:
            with suppress(sqlite3.Error):
                self.db.execute("ROLLBACK")

    def _check_file(self) -> None:
        """SQLite would go on writing into a file that was deleted under it, and all would be lost."""
        try:
            same = os.stat(self.path).st_ino == self._file
        except OSError:
            same = False
        if not same:
            raise JournalError(
                "the file was moved or deleted", self.path, "put it back, or restart the daemon"
            )


_READINGS_AFTER = (
    f"SELECT {rows.READING_COLUMNS} FROM {rows.READING_TABLES} WHERE r.seq > ? ORDER BY r.seq LIMIT ?"
)
_NOTES_BETWEEN = f"SELECT {rows.NOTE_COLUMNS} FROM note WHERE seq > ? AND seq <= ? ORDER BY seq"
_NOTE_WIDTH = len(rows.NOTE_COLUMNS.split(","))
# SQLite gives the other columns of the row that holds the max(): lang_select.html, "bare columns".
_LAST_TIMES = """SELECT max(t_s), wall_s FROM (
    SELECT max(t_s) AS t_s, wall_s FROM reading
    UNION ALL SELECT max(t_s), wall_s FROM note
    UNION ALL SELECT max(t_s), wall_s FROM history)"""


def _check_place(path: Path) -> None:
    if not path.parent.is_dir():
        raise JournalError("its directory does not exist", path, f"make it: mkdir -p {path.parent}")
    if path.is_dir():
        raise JournalError("it is a directory", path, "name a file")
    if not os.access(path.parent, os.W_OK):
        raise JournalError(
            "its directory may not be written", path, "check the owner and rights of the directory"
        )


def _take_lock(path: Path) -> TextIO:
    """One writer: the lock lies beside the journal, since SQLite's own locks must be left alone."""
    try:
        lock = open(f"{path}.lock", "w", encoding="utf-8")  # noqa: SIM115 - held as long as the journal
    except OSError as error:
        raise JournalError(_os_text(error), path, "check the owner and rights of its directory") from error
    try:
        fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as error:
        lock.close()
        raise JournalError("another coldbrood is writing it", path, "stop the other one first") from error
    return lock


def _os_text(error: OSError) -> str:
    return error.strerror or str(error)
