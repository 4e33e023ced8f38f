"""The noise on the board itself: a program of the keeper's, run while it is wanted. Needs no network.

The program may sound once and end, and is then started again, or go on until it is ended. Under systemd what
a killed daemon leaves running ends with it, since both are in one control group.
"""

import os
import signal
import subprocess
import threading
from collections.abc import Callable, Sequence
from contextlib import suppress
from typing import Final

PAUSE_S: Final = 2.0
AGAIN_AFTER_FAULT_S: Final = 10.0
GRACE_S: Final = 1.0
LOOK_S: Final = 0.1

News = Callable[[str], None]


class Sounder:
    """`news` is told, from the sounder's own thread, "" once the program runs, else what is wrong with it."""

    def __init__(self, command: Sequence[str], news: News) -> None:
        self._command = list(command)
        self._news = news
        self._turn = threading.Condition()
        self._wanted = False
        self._ending = False
        self._told: str | None = None
        self._thread = threading.Thread(target=self._run, name="sounder", daemon=True)
        self._thread.start()

    def want(self, noise: bool) -> None:
        """Begin or end the noise; returns at once."""
        with self._turn:
            if noise and not self._wanted:
                self._told = None  # each time it begins it is told anew how it went
            self._wanted = noise
            self._turn.notify_all()

    def stop(self, limit_s: float) -> None:
        """End the noise and the thread."""
        with self._turn:
            self._wanted, self._ending = False, True
            self._turn.notify_all()
        self._thread.join(limit_s)

    def _run(self) -> None:
        while True:
            with self._turn:
                self._turn.wait_for(lambda: self._wanted or self._ending)
                if self._ending:
                    return
            pause_s = PAUSE_S if self._once() else AGAIN_AFTER_FAULT_S
            with self._turn:
                self._turn.wait_for(lambda: not self._wanted, pause_s)

    def _once(self) -> bool:
        """Run the program to its end or until it is not wanted any more; False if it failed."""
        try:
            child = subprocess.Popen(
                self._command,
                stdin=subprocess.DEVNULL,
                stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL,
                start_new_session=True,
            )
        except (OSError, ValueError) as fault:
            self._tell(f"cannot start {self._command[0]}: {getattr(fault, 'strerror', None) or fault}")
            return False
        while child.poll() is None:
            with self._turn:
                if self._turn.wait_for(lambda: not self._wanted, LOOK_S):
                    break
            self._tell_if_running(child)
        return self._ended(child)

    def _tell_if_running(self, child: "subprocess.Popen[bytes]") -> None:
        if child.poll() is None:
            self._tell("")

    def _ended(self, child: "subprocess.Popen[bytes]") -> bool:
        code = child.poll()
        if code is None:
            _end(child)
            return True
        self._tell(f"{self._command[0]} failed with code {code}" if code else "")
        return code == 0

    def _tell(self, fault: str) -> None:
        if fault != self._told:
            self._told = fault
            self._news(fault)


def _end(child: "subprocess.Popen[bytes]") -> None:
    """Ask the program and all it started to end; make them if they do not."""
    for number in (signal.SIGTERM, signal.SIGKILL):
        with suppress(ProcessLookupError):
            os.killpg(child.pid, number)
        with suppress(subprocess.TimeoutExpired):
            child.wait(GRACE_S)
            return
