"""The board is about to lose its power: whoever knows leaves a file, and may cut it once the file is gone."""

import os
import time
from pathlib import Path

from coldbrood.clock import up_s
from coldbrood.inbox import inbox_dir, read_plain

NAME = "going-down"


class PowerFile:
    """The file `going-down` among the notes beside the journal; what is in it is the reason."""

    def __init__(self, journal_path: Path) -> None:
        self._path = inbox_dir(journal_path) / NAME
        self._answered_ns: int | None = None
        made_ns = self._made_ns()
        if made_ns is not None and made_ns / 1e9 < time.time() - up_s():
            self.answer()  # left from before this boot: that board is down, and up again

    def asked(self) -> str | None:
        """The reason of one who waits for the last word, None if nobody does."""
        made_ns = self._made_ns()
        if made_ns is None or made_ns == self._answered_ns:
            return None
        payload = read_plain(self._path)
        return (
            None if payload is None else payload.decode("utf-8", "replace").strip()[:100] or "no reason given"
        )

    def answer(self) -> None:
        """Take the file away: the last word is said, or cannot be."""
        self._answered_ns = self._made_ns()
        try:
            self._path.unlink(missing_ok=True)
        except OSError:
            return  # not asked for again: the time of the file is known

    def _made_ns(self) -> int | None:
        try:
            return os.lstat(self._path).st_mtime_ns
        except OSError:
            return None
