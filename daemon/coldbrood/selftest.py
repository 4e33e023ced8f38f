"""What a board can find wrong with itself without asking anyone: disk, rights, the sounder's program.

Run with each hour, bedtime and morning; quick enough for the loop that does the work. It says nothing about
secrets and sends nothing.
"""

import os
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Final

from coldbrood.settings.records import Config

FREE_LEAST_BYTES: Final = 64 * 1024 * 1024
"""Our own choice: some months of readings, and room for a copy at an upgrade."""


def look(config: Config) -> tuple[str, ...]:
    """Everything found wrong, one phrase each; empty when all is well."""
    folder = config.journal_path.parent
    found = [*disk(folder)]
    if config.sounder is not None:
        found += sounder(config.sounder.command[0])
    return tuple(found)


def disk(folder: Path) -> Iterator[str]:
    """Room and rights where the journal lies."""
    try:
        free_bytes = shutil.disk_usage(folder).free
    except OSError as fault:
        yield f"the folder of the journal cannot be looked at ({fault.strerror})"
        return
    if not os.access(folder, os.W_OK):
        yield "the folder of the journal may not be written"
    if free_bytes < FREE_LEAST_BYTES:
        yield f"the disk has {free_bytes / 1e6:.0f} MB left"


def sounder(program: str) -> Iterator[str]:
    """Whether the sounder's program is there."""
    if not os.path.isfile(program) or not os.access(program, os.X_OK):
        yield f"the sounder's program {program} is not there or may not be run"
