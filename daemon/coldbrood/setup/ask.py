"""One question at a time: from a person at a terminal of 80 columns, or from a file of answers."""

import getpass
import textwrap
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, Final, Generic, Protocol, TypeVar

T = TypeVar("T")

COLUMNS: Final = 78
KEEP: Final = "keep"


class BadAnswer(Exception):  # noqa: N818 - it says what is wrong with the answer
    """An answer that cannot be taken; the text says what is allowed."""


class SetupFault(Exception):  # noqa: N818 - it is told to the keeper as it stands
    """It cannot go on; nothing was written. `code` is the exit code."""

    def __init__(self, text: str, code: int) -> None:
        super().__init__(text)
        self.code = code


@dataclass(frozen=True, slots=True)
class Question(Generic[T]):
    """`key` names it in a file of answers. Without a default it must be answered. `read` raises BadAnswer."""

    key: str
    words: str
    why: str
    read: Callable[[str], T]
    default: str | None = None
    secret: bool = field(default=False)


class Asker(Protocol):
    """Where answers come from. `asked` counts those that a person had to give."""

    asked: int
    attended: bool

    def ask(self, question: Question[T]) -> T:
        """The answer, read and checked."""

    def say(self, *lines: str) -> None:
        """Tell something that asks for nothing."""


def wrapped(text: str, indent: str = "") -> list[str]:
    """A text in lines of a narrow terminal; a line that begins with a blank is left as it is."""
    lines: list[str] = []
    for line in text.splitlines():
        keep = line.startswith(" ") or not line
        lines += [line] if keep else textwrap.wrap(line, COLUMNS, subsequent_indent=indent)
    return lines


class Person:
    """A keeper at a terminal. Ctrl-C and the end of the input both raise KeyboardInterrupt."""

    attended = True

    def __init__(self) -> None:
        self.asked = 0

    def ask(self, question: Question[T]) -> T:
        """Ask until the answer can be taken."""
        self.say("", *wrapped(question.why))
        while True:
            text = self._line(question).strip() or question.default
            self.asked += 1
            if text is None:
                self.say("  it has no default: please answer, or Ctrl-C to stop")
                continue
            try:
                return question.read(text)
            except BadAnswer as bad:
                self.say(*wrapped(f"That does not do: {bad}", "  "))

    def say(self, *lines: str) -> None:
        """Print, at once."""
        for line in lines:
            print(line, flush=True)

    def _line(self, question: Question[Any]) -> str:
        default = "" if question.default is None else f" [{question.default}]"
        prompt = f"> {question.words}{default}: "
        try:
            return getpass.getpass(prompt) if question.secret else input(prompt)
        except EOFError:
            raise KeyboardInterrupt from None


class Written:
    """Answers from a file, for a board without a keeper at it. What is not in it takes its default."""

    attended = False

    def __init__(self, answers: Mapping[str, str], fault_code: int) -> None:
        self.asked = 0
        self._answers = dict(answers)
        self._used: set[str] = set()
        self._code = fault_code

    def ask(self, question: Question[T]) -> T:
        """The answer of this key. Raises SetupFault if there is none or it cannot be taken."""
        self._used.add(question.key)
        text = self._answers.get(question.key, question.default)
        if text is None:
            raise SetupFault(f"answers: {question.key}: missing: {question.words}", self._code)
        self.asked += question.key in self._answers
        try:
            return question.read(text)
        except BadAnswer as bad:
            shown = "***" if question.secret else text
            raise SetupFault(f"answers: {question.key}: {shown}: {bad}", self._code) from None

    def say(self, *lines: str) -> None:
        """Print."""
        for line in lines:
            print(line, flush=True)

    def unused(self) -> list[str]:
        """Keys of the file that nothing asked for: a slip in a name must not pass in silence."""
        return sorted(self._answers.keys() - self._used)
