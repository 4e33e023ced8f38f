"""What the viewer is told besides the box's line: messages, the world's doings, lines of the journal."""

import math

from coldbrood.clock import Clock
from coldbrood.demo import scenario
from coldbrood.demo.receiver import Arrived
from coldbrood.demo.screen import Screen, hour, phone_lines, wrapped
from coldbrood.journal.reader import JournalReader
from coldbrood.watch.boxstate import rfc3339
from coldbrood.watch.events import History
from coldbrood.watch.refillline import seen_by
from coldbrood.watch.wording import box_title


class Stage:
    """Everything that is said on the screen, with the time of the story."""

    def __init__(self, clock: Clock, screen: Screen) -> None:
        self._clock, self._screen = clock, screen
        self._history_wall_s, self._history_seq = -math.inf, 0
        self._open = True

    def close(self) -> None:
        """The story is over: what the daemon makes of the probes' end is not part of it."""
        self._open = False

    def phone(self, arrived: Arrived) -> None:
        """A message as it stands on the phone; a repeat by its title only."""
        if not self._open:
            return
        repeat = arrived.body.startswith("Still so since")
        lines = phone_lines(self._clock_text(), arrived, repeat, self._screen.width)
        self._screen.tell(lines, strong=not repeat)

    def happened(self, text: str) -> None:
        """Something in the world that the daemon is not told."""
        self._screen.tell(wrapped(f"{self._clock_text()}  {text}", self._screen.width, 7))

    def show_history(self, reader: JournalReader) -> None:
        """Refills seen and alarms that are over, as they reach the journal."""
        for entry in reader.history(self._history_wall_s, math.inf):
            if entry.seq <= self._history_seq:
                continue
            self._history_wall_s, self._history_seq = entry.wall_s, entry.seq
            said = _said(entry.line)
            if said:
                clock = hour(rfc3339(entry.wall_s))
                self._screen.tell(wrapped(f"{clock}  {said}", self._screen.width, 7))

    def _clock_text(self) -> str:
        return hour(rfc3339(self._clock.wall_s()))


class Tally:
    """Counts the values in the journal as they come. Those of one packet bear one time and share a commit."""

    def __init__(self) -> None:
        self.kept = self.refused = 0
        self._from_wall_s = -math.inf

    def count(self, reader: JournalReader) -> int:
        """Values kept and refused by now: all that the daemon has dealt with."""
        new = [reading.wall_s for reading in reader.readings(self._from_wall_s, math.inf)]
        if new:
            self.kept += len(new)
            self._from_wall_s = math.nextafter(max(new), math.inf)
        self.refused = sum(reader.refused_counts().values())
        return self.kept + self.refused


def _said(line: History) -> str:
    """What is worth a line on the screen, else nothing."""
    if line.kind == "refill" and line.state == "seen":
        return f"Refill of {box_title(line.subject)} seen by itself: {seen_by(line)}."
    if line.kind != "alarm" or not line.detail.startswith("clear"):
        return ""
    condition, _, of = line.subject.partition("/")
    subject = box_title(of) if of == scenario.STATED.name else of
    return f"Over: {condition.replace('-', ' ')}, {subject}."
