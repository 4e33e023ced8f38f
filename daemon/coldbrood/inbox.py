"""Notes handed over as files beside the journal: they wait while the daemon is down and need no broker."""

import os
import stat
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
        self._stay: set[Path] = set()

    def waiting(self, taken: Collection[Path]) -> Iterator[tuple[Path, bytes]]:
        """Notes not yet taken, oldest name first; one that cannot be read is left for the next look.

        Whoever may write here could leave what makes a reader wait, so only a plain file is read.
        """
        try:
            found = sorted(path for path in self._directory.iterdir() if path.suffix == ".json")
        except OSError:
            return
        for path in found:
            if path not in taken and path not in self._stay and (payload := read_plain(path)) is not None:
                yield path, payload

    def done(self, taken: Collection[Path]) -> None:
        """Remove notes that the journal holds. One that the disk will not let go is not read again."""
        for path in taken:
            try:
                path.unlink(missing_ok=True)
            except OSError:
                self._stay.add(path)


def read_plain(path: Path) -> bytes | None:
    """The first bytes of a plain file; None for what is none, or cannot be read."""
    try:
        handle = os.open(path, os.O_RDONLY | os.O_NONBLOCK | os.O_NOFOLLOW)
    except OSError:
        return None
    try:
        plain = stat.S_ISREG(os.fstat(handle).st_mode)
        return os.read(handle, NOTE_BYTES_MAX + 1) if plain else None
    except OSError:
        return None
    finally:
        os.close(handle)
