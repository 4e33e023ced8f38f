"""What setup writes: secrets into files of their own, then the config, each whole or not at all."""

import os
import stat
from collections.abc import Mapping
from pathlib import Path

from coldbrood import enrol
from coldbrood.settings.load import load
from coldbrood.settings.records import Config

SECRETS = "secrets"
"""The folder beside the config; deploy/coldbrood.service hands its files to the daemon as credentials."""


def write_all(path: Path, text: str, secrets: Mapping[str, str], environ: Mapping[str, str]) -> Config:
    """Write the secrets beside the config, then the config; the old ones come back if it cannot be used.

    Raises ConfigProblems or OSError, with every old file as it was.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    before = {name: _read(path.parent / name) for name in secrets}
    try:
        for name, secret in secrets.items():
            write_secret(path, name, secret)
        config = _write_config(path, text, environ)
    except BaseException:
        for name, old in before.items():
            _put_back(path, name, old)
        raise
    sync_folder(path.parent)
    return config


def _write_config(path: Path, text: str, environ: Mapping[str, str]) -> Config:
    """A new file may be read by all, since the daemon is another user and no secret is in it."""
    draft = path.with_name(f".{path.name}.draft")
    try:
        enrol.write_like(path, draft, text)
        if not path.exists():
            draft.chmod(0o644)
        config = load(draft, environ)
        draft.replace(path)
    finally:
        draft.unlink(missing_ok=True)
    return config


def write_secret(config: Path, name: str, secret: str) -> None:
    """One line in a file named as in the config, for its owner's eyes only. Raises OSError."""
    path = config.parent / name
    if not path.parent.exists():
        path.parent.mkdir(mode=0o700)
        os.chown(path.parent, *owner_of(config))
    draft = path.with_name(f".{path.name}.draft")
    handle = os.open(draft, os.O_WRONLY | os.O_CREAT | os.O_TRUNC | os.O_NOFOLLOW, 0o600)
    with open(handle, "w", encoding="utf-8") as file:
        os.fchmod(file.fileno(), stat.S_IRUSR | stat.S_IWUSR)
        owner = owner_of(config)
        if owner != (os.geteuid(), os.getegid()):
            os.fchown(file.fileno(), *owner)
        file.write(f"{secret}\n")
        file.flush()
        os.fsync(file.fileno())
    draft.replace(path)


def owner_of(config: Path) -> tuple[int, int]:
    """Whose the files are: the old config's owner, else the folder's."""
    found = (config if config.exists() else config.parent).stat()
    return (found.st_uid, found.st_gid) if os.geteuid() == 0 else (os.geteuid(), os.getegid())


def sync_folder(folder: Path) -> None:
    """A rename is on the disk once its folder is."""
    handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _read(path: Path) -> str | None:
    try:
        return path.read_text(encoding="utf-8").rstrip("\n")
    except FileNotFoundError:
        return None


def _put_back(config: Path, name: str, old: str | None) -> None:
    if old is None:
        (config.parent / name).unlink(missing_ok=True)
    else:
        write_secret(config, name, old)
