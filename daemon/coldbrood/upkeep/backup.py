"""A backup is one zip file: the journal as of one moment, the config file, a manifest with their hashes.

No secret is in it, for none stands in the config file. It is made while the daemon runs. To restore never
destroys: the journal that was there is set aside, and a kill at any point leaves the old one or the new one.
"""

import errno
import fcntl
import hashlib
import json
import os
import shutil
import sqlite3
import struct
import zipfile
import zlib
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Final

import msgspec

from coldbrood import __version__
from coldbrood.journal.disk import sync_directory, sync_file
from coldbrood.journal.errors import explain
from coldbrood.journal.prepare import check
from coldbrood.journal.reader import JournalReader
from coldbrood.journal.repair import put_in_place, saving_name
from coldbrood.journal.schema import connect_reader, version_of
from coldbrood.watch.boxstate import rfc3339

JOURNAL: Final = "journal.sqlite"
CONFIG: Final = "coldbrood.toml"
MANIFEST: Final = "manifest.json"
KIND: Final = "coldbrood-backup"
MANIFEST_BYTES_MAX: Final = 65536
CONFIG_BYTES_MAX: Final = 256 * 1024
_PIECE: Final = 1 << 20
# What the standard library raises on a zip with damage in it, found by flipping each byte of one.
_DAMAGE: Final = (
    zipfile.BadZipFile,
    zlib.error,
    struct.error,
    KeyError,
    ValueError,
    EOFError,
    RuntimeError,  # NotImplementedError too: a method or a password it does not know
)


class BackupError(Exception):
    """One plain line: which file, what is wrong with it, what to do."""


class Manifest(msgspec.Struct, frozen=True):
    """What a backup says of itself. Hashes are SHA-256 in hex, `made_at` is RFC 3339."""

    kind: str
    coldbrood: str
    site: str
    made_at: str
    readings: int
    journal_sha256: str
    config_sha256: str


@dataclass(frozen=True, slots=True)
class RestoredTo:
    """Where the journal is now, where the one before it went, and what the backup said of itself."""

    journal: Path
    set_aside: Path | None
    manifest: Manifest


def make(config_path: Path, journal_path: Path, site: str, target: Path, wall_s: float) -> Manifest:
    """Write a backup into a new file, read it back, and only then give it its name.

    Raises BackupError for the target, JournalError for the journal, OSError of the disk.
    """
    if target.exists():
        raise BackupError(f"{target}: there is a file already: name a new one")
    copy, part = Path(f"{target}.copy"), Path(f"{target}.part")
    try:
        config = config_path.read_bytes()
        readings = _copy(journal_path, copy)
        manifest = Manifest(KIND, __version__, site, rfc3339(wall_s), readings, _hash_of(copy), _hash(config))
        _write(part, manifest, config, copy)
        _check_written(part, manifest)
        os.replace(part, target)
        sync_directory(target.absolute().parent)
        return manifest
    finally:
        copy.unlink(missing_ok=True)
        part.unlink(missing_ok=True)


def _copy(journal_path: Path, copy: Path) -> int:
    """A copy of one moment, checked; gives the number of its readings."""
    copy.unlink(missing_ok=True)
    copy.touch(mode=0o600)
    with JournalReader.open(journal_path) as reader:
        try:
            reader.db.execute("VACUUM INTO ?", (str(copy),))
            with closing(connect_reader(copy)) as db:
                check(db)
                return int(db.execute("SELECT count(*) FROM reading").fetchone()[0])
        except sqlite3.Error as error:
            raise explain(error, journal_path) from error


def _write(part: Path, manifest: Manifest, config: bytes, copy: Path) -> None:
    part.touch(mode=0o600)
    with zipfile.ZipFile(part, "w", zipfile.ZIP_DEFLATED) as out:
        out.writestr(MANIFEST, json.dumps(msgspec.to_builtins(manifest), indent=2) + "\n")
        out.writestr(CONFIG, config)
        out.write(copy, JOURNAL)
    sync_file(part)


def _check_written(part: Path, manifest: Manifest) -> None:
    with zipfile.ZipFile(part) as written, written.open(JOURNAL) as journal:
        if _hash_stream(journal) != manifest.journal_sha256:
            raise BackupError(f"{part}: what was written does not read back: check the disk it goes to")


def look(source: Path) -> tuple[Manifest, bytes]:
    """What a backup says of itself, and the config file in it. Raises BackupError."""
    try:
        with zipfile.ZipFile(source) as file:
            manifest = msgspec.json.decode(_small(file, MANIFEST, MANIFEST_BYTES_MAX), type=Manifest)
            config = _small(file, CONFIG, CONFIG_BYTES_MAX)
    except OSError as error:
        if error.errno == errno.EINVAL:  # its table names a place before its start
            raise BackupError(f"{source}: not a backup of coldbrood, or damaged: try an older one") from None
        raise BackupError(f"{source}: {error.strerror or error}: name a backup this user may read") from None
    except (*_DAMAGE, msgspec.MsgspecError):
        raise BackupError(f"{source}: not a backup of coldbrood, or damaged: try an older one") from None
    if manifest.kind != KIND or _hash(config) != manifest.config_sha256:
        raise BackupError(f"{source}: not a backup of coldbrood, or damaged: try an older one")
    return manifest, config


def restore(source: Path, journal_path: Path, now_label: str) -> RestoredTo:
    """Put the journal of a backup in its place. Raises BackupError, JournalError, OSError."""
    manifest, _ = look(source)
    set_aside = put_journal(journal_path, now_label, lambda fresh: _extract(source, fresh, manifest))
    return RestoredTo(journal_path, set_aside, manifest)


def put_journal(journal_path: Path, now_label: str, bring: Callable[[Path], None]) -> Path | None:
    """Put a journal that `bring` writes in the place of the one there; gives where that one went.

    Raises BackupError, JournalError, OSError, and what `bring` raises; then nothing has changed.
    """
    if not journal_path.parent.is_dir():
        raise BackupError(f"{journal_path.parent}: no such folder: make it first")
    with _alone(journal_path):
        fresh = saving_name(journal_path)
        try:
            bring(fresh)
            _check_journal(fresh)
        except BaseException:
            fresh.unlink(missing_ok=True)
            raise
        _give_to_owner(fresh, journal_path.parent)
        return put_in_place(journal_path, now_label)


@contextmanager
def _alone(journal_path: Path) -> Iterator[None]:
    """Keep the daemon from starting meanwhile. Raises BackupError if it runs."""
    path = Path(f"{journal_path}.lock")
    with path.open("a", encoding="utf-8") as lock:
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            raise BackupError(f"{journal_path}: the daemon runs: stop it first") from None
        _give_to_owner(path, journal_path.parent)
        yield


def _extract(source: Path, fresh: Path, manifest: Manifest) -> None:
    fresh.unlink(missing_ok=True)
    fresh.touch(mode=0o600)
    try:
        with zipfile.ZipFile(source) as file, file.open(JOURNAL) as inside, fresh.open("wb") as out:
            shutil.copyfileobj(inside, out, _PIECE)
    except _DAMAGE as error:
        raise BackupError(f"{source}: damaged ({error}): try an older one") from None
    if _hash_of(fresh) != manifest.journal_sha256:
        raise BackupError(f"{source}: damaged (the journal in it is not what was put in): try an older one")
    sync_file(fresh)


def _check_journal(fresh: Path) -> None:
    try:
        with closing(connect_reader(fresh)) as db:
            version_of(db, fresh)
            check(db)
    except sqlite3.Error as error:
        raise explain(error, fresh) from error


def _give_to_owner(path: Path, folder: Path) -> None:
    """Run as root, leave the file to whom the folder belongs: the daemon must be able to write it."""
    if os.geteuid() == 0:
        owner = folder.stat()
        os.chown(path, owner.st_uid, owner.st_gid)


def _small(file: zipfile.ZipFile, name: str, most: int) -> bytes:
    if file.getinfo(name).file_size > most:
        raise ValueError(name)
    return file.read(name)


def _hash(body: bytes) -> str:
    return hashlib.sha256(body).hexdigest()


def _hash_of(path: Path) -> str:
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def _hash_stream(stream: IO[bytes]) -> str:
    digest = hashlib.sha256()
    while piece := stream.read(_PIECE):
        digest.update(piece)
    return digest.hexdigest()
