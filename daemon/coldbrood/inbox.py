"""Notes handed over as files beside the journal: they wait while the daemon is down and need no broker."""

import os
from collections.abc import Collection, Iterator
from pathlib import Path

NOTE_BYTES_MAX = 4096


def inbox_dir(journal_path: Path) -> Path:
    """The directory in which the daemon of this journal looks for notes."""
    return journal_path.with_name(f"{journal_path.name}.notes")


def drop(journal_path: Path, key: str, payload: bytes) -> Path:
    """Leave a note for the daemon: whole or not at all, on the disk on return. Raises OSError.

    Root's note becomes the owner's of the journal's folder: the daemon is not root and must take it away.
    """
    directory = inbox_dir(journal_path)
    directory.mkdir(mode=0o770, exist_ok=True)
    owner = journal_path.parent.stat()
    if os.geteuid() == 0:
        os.chown(directory, owner.st_uid, owner.st_gid)
    draft, final = directory / f".{key}", directory / f"{key}.json"
    with draft.open("wb") as handle:
        if os.geteuid() == 0:
            os.fchown(handle.fileno(), owner.st_uid, owner.st_gid)
        handle.write(payload)
        handle.flush()
        os.fsync(handle.fileno())
    draft.rename(final)
    return final


class NoteInbox:
    """The daemon's side of the directory."""

    def __init__(self, journal_path: Path) -> None:
        self._directory = inbox_dir(journal_path)

    def waiting(self, taken: Collection[Path]) -> Iterator[tuple[Path, bytes]]:
        """Notes not yet taken, oldest name first; one that cannot be read is left for the next look."""
        try:
            found = sorted(path for path in self._directory.iterdir() if path.suffix == ".json")
        except OSError:
            return
        for path in found:
            if path in taken:
                continue
            try:
                with path.open("rb") as handle:
                    yield path, handle.read(NOTE_BYTES_MAX + 1)
            except OSError:
                continue

    def done(self, taken: Collection[Path]) -> None:
        """Remove notes that the journal holds. One that stays is known by its key and not counted twice."""
        for path in taken:
            path.unlink(missing_ok=True)
