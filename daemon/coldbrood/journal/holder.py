"""The journal as the service holds it: the watch goes on without it, and each commit asks for it again.

It may be missing at the start, or be lost under the daemon: damaged, deleted, moved. The one who commits
keeps the batch until it is taken.
"""

import sqlite3
from collections.abc import Iterator
from contextlib import closing, suppress
from pathlib import Path

from coldbrood.journal import replay
from coldbrood.journal.errors import JournalError
from coldbrood.journal.rows import Batch, Restored
from coldbrood.journal.schema import connect_reader, version_of
from coldbrood.journal.store import Journal
from coldbrood.watch.events import Note, Reading

_SIGHT = "sight"


class Holder:
    """The face of a Journal; owned by the thread that opened it.

    `fault` is why it could not be had at the start. `set_aside` is where the last file went that could not
    be used, `newer_aside` whether a newer coldbrood wrote it.
    """

    def __init__(self, path: Path, now_label: str) -> None:
        """Raises JournalError only where a person must choose: see `JournalError.of_the_config`."""
        self.path = path
        self.set_aside: Path | None = None
        self.newer_aside = False
        self.fault: JournalError | None = None
        self._label = now_label
        self._journal: Journal | None = None
        self._was_lost = False
        self._read: tuple[Restored, list[Reading | Note]] = (Restored({}, {}, {}, {}, [], None, None), [])
        try:
            self._had()
        except JournalError as error:
            if error.of_the_config:
                raise
            self.fault = error
            self._read = _read_only(path) or self._read

    @property
    def last_seq(self) -> int:
        """The seq of the newest row; 0 while there is no journal."""
        return 0 if self._journal is None else self._journal.last_seq

    @property
    def db(self) -> sqlite3.Connection:
        """The open file. Raises JournalError while there is none."""
        return self._had().db

    def restore(self) -> Restored:
        """What a restart begins from, or as much of it as could be read. Raises JournalError."""
        return self._read[0] if self._journal is None else self._journal.restore()

    def since(self, seq: int) -> Iterator[Reading | Note]:
        """Readings and notes after `seq`, of what could be read. Raises JournalError."""
        return iter(self._read[1]) if self._journal is None else self._journal.since(seq)

    def knows_note(self, key: str) -> bool:
        """Whether a note is known to be committed. One too many is no harm, one that is lost may be."""
        with suppress(JournalError):
            return self._journal is not None and self._journal.knows_note(key)
        return False

    def commit(self, batch: Batch) -> int:
        """Keep the batch, in a file opened anew if need be. Raises JournalError."""
        journal = self._had()
        try:
            return journal.commit(batch)
        except JournalError as error:
            if error.lost:
                self._was_lost = True
                self.close()
            raise

    def close(self) -> None:
        """Let go of the file, if there is one."""
        if self._journal is not None:
            self._journal.close()
            self._journal = None

    def _had(self) -> Journal:
        if self._journal is None:
            self._journal = Journal.open(
                self.path, now_label=self._label, newer_aside=True, thorough=self._was_lost
            )
            self.set_aside = self._journal.set_aside or self.set_aside
            self.newer_aside = self._journal.newer_aside
        return self._journal


def _read_only(path: Path) -> tuple[Restored, list[Reading | Note]] | None:
    """What the file holds, changing nothing on the disk; None if it cannot be read."""
    for immutable in (False, True):  # on a disk that takes no log file only the second way opens
        with suppress(sqlite3.Error, JournalError), closing(connect_reader(path, immutable=immutable)) as db:
            version_of(db, path)
            restored = replay.restore(db)
            return restored, list(replay.since(db, restored.covers.get(_SIGHT, 0)))
    return None
