"""Making files and renames last through a power cut."""

import os
from pathlib import Path


def sync_file(path: Path) -> None:
    """Wait until the file's content is on the disk. Raises OSError."""
    _sync(path)


def sync_directory(path: Path) -> None:
    """Wait until the directory's names are on the disk. Raises OSError."""
    _sync(path)


def _sync(path: Path) -> None:
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
