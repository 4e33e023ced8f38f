"""The real service in a thread of the demo, its log in a file, and what became of it."""

import logging
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from coldbrood.clock import Clock
from coldbrood.service import Service
from coldbrood.settings.records import Config


class DemoError(Exception):
    """The demo cannot go on; the text says why."""


class Daemon:
    """The real service in a thread, with what became of it."""

    def __init__(self, config: Config, clock: Clock) -> None:
        self.service = Service(config, clock)
        self.fault: Exception | None = None
        self._thread = threading.Thread(target=self._run, name="daemon", daemon=True)

    def start(self) -> None:
        """Start and wait until it watches. Raises DemoError if it does not."""
        self._thread.start()
        while not self.service.ready.wait(0.05):
            self.check()

    def stop(self) -> None:
        """Let it make its last commit."""
        self.service.stop()
        self._thread.join(10.0)

    def check(self) -> None:
        """Raise DemoError if it has ended by itself."""
        if self.fault is not None or not self._thread.is_alive():
            raise DemoError(f"the daemon ended: {self.fault}") from self.fault

    def _run(self) -> None:
        try:
            self.service.run()
        except Exception as fault:  # noqa: BLE001 -- told to the main thread, which ends the demo
            self.fault = fault


@contextmanager
def log_to(path: Path) -> Iterator[None]:
    """Keep the daemon's own log off the screen, beside the journal."""
    log = logging.getLogger("coldbrood")
    handler = logging.FileHandler(path)
    handler.setFormatter(logging.Formatter("%(levelname)s %(message)s"))
    level, carries_on = log.level, log.propagate
    log.addHandler(handler)
    log.setLevel(logging.INFO)
    log.propagate = False
    try:
        yield
    finally:
        log.removeHandler(handler)
        log.setLevel(level)
        log.propagate = carries_on
        handler.close()
