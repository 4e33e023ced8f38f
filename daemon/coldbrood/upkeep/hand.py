"""A note handed to the daemon, and what the daemon says that it did: for commands that want an answer."""

import time
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Final

from coldbrood.inbox import drop
from coldbrood.journal.errors import JournalError
from coldbrood.journal.reader import JournalReader
from coldbrood.notes import NoteForm, new_key, write_note
from coldbrood.peek import is_running
from coldbrood.settings.records import Config
from coldbrood.watch.events import History

TAKEN_WITHIN_S: Final = 45.0  # three of the daemon's beats
LOOK_S: Final = 0.2


@dataclass(frozen=True, slots=True)
class Handed:
    """What became of a note: `running` and `taken` say how far it came, `line` what the daemon did."""

    running: bool
    taken: bool
    line: History | None = None

    @property
    def refused(self) -> str:
        """Why the daemon did not do it; empty if it did, or if that is not known yet."""
        return self.line.detail if self.line is not None and self.line.state == "not-done" else ""


def hand_over(config: Config, form: NoteForm, kind: str, wait_s: float = TAKEN_WITHIN_S) -> Handed:
    """Leave a note and wait until it is in the journal, with its line of the history, if it makes one.

    Without a daemon it waits beside the journal for the next start. Raises OSError.
    """
    wall_s = time.time()
    form.key = form.key or new_key(wall_s)
    if not is_running(config.journal_path):
        form.at = datetime.fromtimestamp(wall_s, UTC)
        drop(config.journal_path, form.key, write_note(form))
        return Handed(running=False, taken=False)
    drop(config.journal_path, form.key, write_note(form))
    until_s = time.monotonic() + wait_s
    while time.monotonic() < until_s:
        found = _answer(config, form.key, kind)
        if found.taken:
            return found
        time.sleep(LOOK_S)
    return Handed(running=True, taken=False)


def _answer(config: Config, key: str, kind: str) -> Handed:
    """Note and line are of one commit, so the line is there as soon as the note is."""
    nothing = Handed(running=True, taken=False)
    try:
        with JournalReader.open(config.journal_path) as reader:
            notes = reader.notes(float("-inf"), float("inf"))
            note = next((note for note in reversed(notes) if note.key == key), None)
            if note is None:
                return nothing
            lines = reader.history(float("-inf"), float("inf"), kind)
    except JournalError:
        return nothing
    line = next((line.line for line in reversed(lines) if line.t_s >= note.t_s), None)
    return replace(nothing, taken=True, line=line)
