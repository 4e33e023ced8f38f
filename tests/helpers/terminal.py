"""A keeper at a terminal: `coldbrood` in a real pseudo-terminal of 80 columns, answered prompt by prompt."""

import os
import re
import sys
from collections.abc import Mapping
from pathlib import Path

import pexpect

PATIENCE_S = 40


class Terminal:
    """One command under a terminal. `answers` counts what was typed, `screen` is all that was shown."""

    def __init__(self, *args: str, environ: Mapping[str, str] | None = None) -> None:
        command = ["-m", "coldbrood", *args]
        self._child = pexpect.spawn(
            sys.executable,
            command,
            encoding="utf-8",
            dimensions=(50, 80),
            timeout=PATIENCE_S,
            env={**os.environ, **(environ or {})},
        )
        self._child.delaybeforesend = None
        self.screen = ""
        self.answers = 0

    def wait_for(self, *prompts: str) -> int:
        """Until one of the texts is on the screen; which one."""
        try:
            found = int(self._child.expect_exact(list(prompts)))
        except (pexpect.EOF, pexpect.TIMEOUT) as fault:
            raise AssertionError(f"waited for {prompts}; the screen was:\n{self._child.before}") from fault
        self.screen += str(self._child.before) + str(self._child.after)
        return found

    def answer(self, prompt: str, text: str = "") -> None:
        """Type at a prompt; Enter alone takes its default."""
        self.wait_for(prompt)
        self._child.sendline(text)
        self.answers += 1

    def interrupt(self, prompt: str) -> None:
        """Ctrl-C at a prompt."""
        self.wait_for(prompt)
        self._child.sendintr()

    def end(self) -> int:
        """The exit code, once the command is over."""
        self._child.expect(pexpect.EOF)
        self.screen += str(self._child.before)
        self._child.close()
        return int(self._child.exitstatus if self._child.exitstatus is not None else -1)

    def lines(self) -> list[str]:
        """All lines shown so far."""
        return self.screen.replace("\r", "").split("\n")

    def too_wide(self, folder: Path) -> list[str]:
        """Lines over 80 columns, but for those that name a file of the test's own long folder."""
        return [line for line in self.lines() if len(line) > 80 and str(folder) not in line]


def word_in(body: str) -> str:
    """The word of a test message."""
    found = re.search(r"The word is (\w+)\.", body)
    assert found, body
    return found[1]
