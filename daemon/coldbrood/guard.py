"""Keeps one fault of our own from ending the watch."""

import logging
from collections.abc import Callable

log = logging.getLogger("coldbrood")

FAULTS_MOST = 10


class Guard:
    """A fault of our own at one event must not end the watch, nor come back with the same event for ever.

    What was taken is in the books already. If nothing works any more, it ends and systemd starts it anew.
    """

    def __init__(self) -> None:
        self._faults = 0

    def __call__(self, work: Callable[[], None]) -> None:
        """Do the work; its fault is logged, and raised if it is the tenth in a row."""
        try:
            work()
        except Exception:
            self._faults += 1
            log.exception("a fault of coldbrood itself; the watch goes on")
            if self._faults >= FAULTS_MOST:
                raise
        else:
            self._faults = 0
