"""Going on from an export: the copy of the journal in it, if it is whole, takes the place of the journal.

The other files of an export are for reading elsewhere. They are rounded to the millisecond and lack what the
daemon keeps for itself, so nothing is taken from them.
"""

import hashlib
import json
import shutil
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from coldbrood.journal.disk import sync_file
from coldbrood.upkeep.backup import BackupError, put_journal

DESCRIPTION: Final = "datapackage.json"
PACKAGE: Final = "coldbrood-export"
RESOURCE: Final = "journal"
DESCRIPTION_BYTES_MAX: Final = 1 << 20


@dataclass(frozen=True, slots=True)
class Copy:
    """The copy of the journal in an export and what its description says of it (SHA-256 in hex)."""

    path: Path
    sha256: str


def find_copy(folder: Path) -> Copy:
    """The copy that an export's description names. Raises BackupError."""
    file = folder / DESCRIPTION
    try:
        if file.stat().st_size > DESCRIPTION_BYTES_MAX:
            raise ValueError("too large")
        package = json.loads(file.read_bytes())
        resources = [one for one in package["resources"] if one["name"] == RESOURCE]
        name, digest = str(resources[0]["path"]), str(resources[0]["hash"])
        ours = package["name"] == PACKAGE and Path(name).name == name and digest.startswith("sha256:")
    except OSError as error:
        raise BackupError(f"{file}: {error.strerror or error}: name a folder of coldbrood export") from None
    except (ValueError, KeyError, IndexError, TypeError):
        ours = False
    if not ours:
        raise BackupError(f"{file}: not of an export of coldbrood, or damaged: name another folder")
    return Copy(folder / name, digest.removeprefix("sha256:"))


def bring_in(folder: Path, journal_path: Path, now_label: str) -> Path | None:
    """Put the journal of an export in its place; gives where the one that was there went.

    Raises BackupError, JournalError, OSError; then nothing has changed.
    """
    copy = find_copy(folder)
    return put_journal(journal_path, now_label, lambda fresh: _take(copy, fresh))


def _take(copy: Copy, fresh: Path) -> None:
    fresh.unlink(missing_ok=True)
    fresh.touch(mode=0o600)
    try:
        with copy.path.open("rb") as inside, fresh.open("wb") as out:
            shutil.copyfileobj(inside, out, 1 << 20)
    except FileNotFoundError:
        raise BackupError(f"{copy.path}: it is missing from the export: export again") from None
    with fresh.open("rb") as taken:
        if hashlib.file_digest(taken, "sha256").hexdigest() != copy.sha256:
            raise BackupError(f"{copy.path}: it is not what the export wrote: export again, or an older one")
    sync_file(fresh)
