"""What the demo shows: one line that moves, and above it what happened. Plain text, any width."""

import textwrap
import threading
from collections.abc import Mapping
from typing import Any, Final, TextIO

from coldbrood.demo.receiver import Arrived

WIDE: Final = 72  # below this a phone's short line
STILL_LINE_EVERY_MIN: Final = 30
ERASE: Final = "\r\x1b[K"
BOLD, PLAIN = "\x1b[1m", "\x1b[0m"


def box_line(shown: Mapping[str, Any], width: int) -> str:
    """One box in one line, from the state the daemon publishes. Temperatures in C, times of day in UTC."""
    clock, box = hour(shown["at"]), str(shown["box"]).upper()
    about = "~" if shown["estimated"] and shown["box_c"] is not None else ""
    refill_by = hour(shown["refill_by"])
    if width < WIDE:
        figures = f"{about}{degrees(shown['box_c'])} out {degrees(shown['outdoor_c'])}"
        return f"{clock} {box} {figures} by {refill_by} {shown['state']}"[:width]
    return (
        f"{clock}  box {box} {about}{degrees(shown['box_c'])} C  outdoor {degrees(shown['outdoor_c'])} C"
        f"  floor {degrees(shown['floor_c'])}  refill by {refill_by}  {shown['state']}"
    )[:width]


def degrees(celsius: float | None) -> str:
    """A temperature to a tenth, or two dashes."""
    return "--" if celsius is None else f"{celsius:.1f}"


def hour(stamp: str | None) -> str:
    """The time of day of an RFC 3339 time, or dashes."""
    return "--:--" if stamp is None else stamp[11:16]


def phone_lines(clock: str, arrived: Arrived, repeat: bool, width: int) -> list[str]:
    """A message as it stands on the phone: title, then the text set in. A repeat shows its title only."""
    if repeat:
        return wrapped(f"{clock}  phone, again: {arrived.title}", width, 7)
    title = wrapped(f"{clock}  phone: {arrived.title}", width, 7)
    return title + wrapped(f"       | {arrived.body}", width, 7, mark="| ")


def wrapped(text: str, width: int, indent: int, mark: str = "") -> list[str]:
    """`text` in lines of at most `width`, all but the first set in by `indent` and led by `mark`."""
    return textwrap.wrap(text, max(width, 30), subsequent_indent=" " * indent + mark, drop_whitespace=True)


class Screen:
    """Prints from several threads without mixing lines. On a terminal the box's line stays last and moves."""

    def __init__(self, out: TextIO, width: int, moves: bool) -> None:
        self.width = width
        self._out, self._moves = out, moves
        self._line = ""
        self._slot: str | None = None
        self._lock = threading.Lock()

    def move(self, shown: Mapping[str, Any]) -> None:
        """Show the newest state of the box; where nothing can move, once each half hour."""
        line = box_line(shown, self.width)
        with self._lock:
            if self._moves:
                self._line = line
                self._put(ERASE + line)
            elif self._new_slot(hour(shown["at"])):
                self._put(line + "\n")

    def tell(self, lines: list[str], strong: bool = False) -> None:
        """Print what happened, above the moving line."""
        first, *rest = lines
        if strong and self._moves:
            first = BOLD + first + PLAIN
        text = "\n".join([first, *rest]) + "\n"
        with self._lock:
            self._put(ERASE + text + self._line if self._moves else text)

    def rest(self) -> None:
        """Let go of the moving line, so that what follows starts on a line of its own."""
        with self._lock:
            if self._moves and self._line:
                self._put("\n")
                self._line = ""

    def _new_slot(self, clock: str) -> bool:
        minutes = int(clock[:2]) * 60 + int(clock[3:])
        slot = str(minutes // STILL_LINE_EVERY_MIN)
        new, self._slot = slot != self._slot, slot
        return new

    def _put(self, text: str) -> None:
        self._out.write(text)
        self._out.flush()
