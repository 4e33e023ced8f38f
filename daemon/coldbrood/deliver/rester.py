"""Tells whoever puts the board to sleep until when that is safe: a file, a program, or both.

coldbrood itself never sleeps a board. The program is given the time as RFC 3339 after its own arguments, and
no shell reads it. It is started at most every few minutes, since one that fails must not be tried in a loop.
"""

import os
import subprocess
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Final

from coldbrood.watch.boxstate import rfc3339

AGAIN_AFTER_S: Final = 300.0
WRITE_EVERY_S: Final = 60.0

News = Callable[[str], None]


class Rester:
    """Owned by the service's thread; nothing here waits for the program. `news` hears what is wrong."""

    def __init__(self, file: Path | None, command: Sequence[str], news: News) -> None:
        self._file, self._command, self._news = file, list(command), news
        self._child: subprocess.Popen[bytes] | None = None
        self._written = ""
        self._written_s = self._started_s = float("-inf")
        self._told: str | None = None

    def tell(self, until_wall_s: float | None, reason: str) -> None:
        """Safe until then, or None: stay awake. Call it often; it acts only on what changed."""
        if self._file is not None:
            self._write(self._file, until_wall_s, reason)
        if self._command:
            self._see_to_child()
            if until_wall_s is not None and self._child is None:
                self._start(until_wall_s)

    def stop(self) -> None:
        """The file says awake; a program that runs is left to itself."""
        if self._file is not None:
            self._put(self._file, "awake\ncoldbrood stopped\n")

    def _write(self, file: Path, until_wall_s: float | None, reason: str) -> None:
        first = "awake" if until_wall_s is None else rfc3339(until_wall_s - until_wall_s % 60.0)
        text = f"{first}\n{reason}\n"
        recent = time.monotonic() - self._written_s < WRITE_EVERY_S
        if text != self._written and not (recent and _can_wait(self._written.partition("\n")[0], first)):
            self._put(file, text)

    def _put(self, file: Path, text: str) -> None:
        """Whole or not at all. No fsync: after a power cut it is of no use."""
        draft = file.with_name(f".{file.name}.draft")
        try:
            draft.write_text(text, encoding="utf-8")
            draft.replace(file)
        except OSError as fault:
            self._say(f"cannot write {file}: {fault.strerror}")
            return
        self._written, self._written_s = text, time.monotonic()
        if not self._command:
            self._say("")

    def _see_to_child(self) -> None:
        code = None if self._child is None else self._child.poll()
        if code is not None:
            self._child = None
            self._say(f"{self._command[0]} failed with code {code}" if code else "")

    def _start(self, until_wall_s: float) -> None:
        if time.monotonic() - self._started_s < AGAIN_AFTER_S:
            return
        self._started_s = time.monotonic()
        try:
            self._child = subprocess.Popen(
                [*self._command, rfc3339(until_wall_s - until_wall_s % 60.0)],
                stdin=subprocess.DEVNULL,
                stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL,
                env={**os.environ, "LC_ALL": "C"},
                start_new_session=True,
            )
        except (OSError, ValueError) as fault:
            self._say(f"cannot start {self._command[0]}: {getattr(fault, 'strerror', None) or fault}")

    def _say(self, fault: str) -> None:
        if fault != self._told:
            self._told = fault
            self._news(fault)


def _can_wait(written: str, first: str) -> bool:
    """Another reason or a later time can wait; awake, or an earlier time, cannot."""
    if "awake" in (written, first):
        return written == first
    return first >= written
