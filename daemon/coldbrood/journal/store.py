"""The journal: one writer, one commit for all that belongs together, and what a restart begins from."""

import fcntl
import os
import sqlite3
import time
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from typing import TextIO

from coldbrood.journal import replay, rows
from coldbrood.journal.errors import JournalError, explain
from coldbrood.journal.prepare import Prepared, prepare
from coldbrood.journal.rows import Batch, Restored
from coldbrood.journal.schema import connect
from coldbrood.journal.writing import Writing
from coldbrood.watch.events import Note, Reading

_LOCK_TRIES = 10
_LOCK_PAUSE_S = 0.1


class Journal:
    """The journal opened for writing, owned by the thread that opened it.

    `last_seq` is the seq of the newest row; `set_aside` is where a damaged file went, if one did, or with
    `newer_aside` one that a newer coldbrood wrote.
    """

    def __init__(self, path: Path, db: sqlite3.Connection, lock: TextIO, prepared: Prepared) -> None:
        self.path = path
        self.db = db
        self.set_aside = prepared.set_aside
        self.newer_aside = prepared.newer
        self._lock = lock
        self._file = os.stat(path).st_ino
        self._writing = Writing.resume(db)

    @classmethod
    def open(
        cls, path: Path, *, now_label: str, newer_aside: bool = False, thorough: bool = False
    ) -> "Journal":
        """Create, check, repair and migrate as needed, then open.

        A damaged file is set aside as `<name>.set-aside-<now_label>` and what can be read of it is
        carried over; with `newer_aside` one of a newer schema is set aside whole. `thorough` takes as long
        as reading all of it, and finds damage that only a write would meet. Raises JournalError for all
        else: no directory, no rights, another program's file, a second daemon, a full disk.
        """
        _check_place(path)
        lock = _take_lock(path)
        try:
            prepared = prepare(path, now_label, newer_aside=newer_aside, thorough=thorough)
            return cls(path, connect(path), lock, prepared)
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
        """Whether a note with this key is committed: ask before acting on one, so that it counts once.

        Raises JournalError.
        """
        try:
            found = self.db.execute("SELECT 1 FROM note WHERE key = ?", (rows.plain(key),)).fetchone()
        except sqlite3.Error as error:
            raise explain(error, self.path) from error
        return found is not None

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
        try:
            return replay.restore(self.db)
        except sqlite3.Error as error:
            raise explain(error, self.path) from error

    def since(self, seq: int) -> Iterator[Reading | Note]:
        """Readings and notes after `seq`, as they were taken, late ones too. Raises JournalError."""
        try:
            yield from replay.since(self.db, seq)
        except sqlite3.Error as error:
            raise explain(error, self.path) from error

    def close(self) -> None:
        """Fold the write-ahead log into the file and let go of it."""
        self.db.close()
        self._lock.close()

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
            what_to_do = "put it back, or a new one is made"
            raise JournalError("the file was moved or deleted", self.path, what_to_do, lost=True)


def _check_place(path: Path) -> None:
    if not path.parent.is_dir():
        raise JournalError("its directory does not exist", path, f"make it: mkdir -p {path.parent}")
    if path.is_dir():
        raise JournalError("it is a directory", path, "name a file", of_the_config=True)
    if path.exists() and not path.is_file():
        raise JournalError("it is no plain file", path, "name another file", of_the_config=True)
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
    for _ in range(_LOCK_TRIES):
        if _locked(lock):
            return lock
        time.sleep(_LOCK_PAUSE_S)  # a look from outside holds it for an instant
    lock.close()
    raise JournalError(
        "another coldbrood is writing it", path, "stop the other one first", of_the_config=True
    )


def _locked(lock: TextIO) -> bool:
    try:
        fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True


def _os_text(error: OSError) -> str:
    return error.strerror or str(error)
