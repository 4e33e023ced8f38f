"""What the journal holds of the past, asked so that years of it cost no more than the span asked for.

Readings stand in the order of their arrival, so a span is found by halving and no index is needed. A probe
that was out of reach sends older ones later, by AGE_MOST_S at most (the door takes none beyond it): the span
searched is longer by that, on both sides.
"""

import sqlite3
from dataclasses import dataclass
from typing import Final

from coldbrood.journal.errors import JournalError
from coldbrood.journal.reader import JournalReader
from coldbrood.journal.rows import NOTE_COLUMNS, to_note
from coldbrood.watch import refillline
from coldbrood.watch.events import Note
from coldbrood.watch.refillline import Poured

AGE_MOST_S: Final = 2 * 86_400.0
_FIRST_AFTER = "SELECT seq, wall_s FROM reading WHERE seq >= ? ORDER BY seq LIMIT 1"
# each end asked for on its own: SQLite looks up one of them, but reads the whole table for both at once
_ENDS = """SELECT ifnull((SELECT min(seq) FROM reading), 0),
    ifnull((SELECT max(seq) FROM reading), -1) + 1"""
_BINS = """SELECT p.name, CAST(r.wall_s / ? AS INTEGER), min(r.value), avg(r.value), max(r.value), count(*)
    FROM reading r JOIN probe p ON p.id = r.probe JOIN quantity q ON q.id = r.quantity
    WHERE r.seq >= ? AND r.seq < ? AND r.wall_s >= ? AND r.wall_s < ? AND q.name = 'temperature_c'
    AND NOT r.flags & 2 AND r.value IS NOT NULL GROUP BY 1, 2 ORDER BY 1, 2"""


@dataclass(frozen=True, slots=True)
class Bin:
    """The temperatures of one probe in one short span; `wall_s` is its middle."""

    wall_s: float
    low_c: float
    mean_c: float
    high_c: float
    readings: int


def bins(reader: JournalReader, from_wall_s: float, to_wall_s: float, step_s: float) -> dict[str, list[Bin]]:
    """Each probe's temperatures in steps of `step_s`, in order; a step without readings is left out.

    Raises JournalError.
    """
    db, found = reader.db, dict[str, list[Bin]]()
    try:
        first = first_seq(db, from_wall_s - AGE_MOST_S)
        last = first_seq(db, to_wall_s + AGE_MOST_S)
        for probe, step, *figures in db.execute(_BINS, (step_s, first, last, from_wall_s, to_wall_s)):
            found.setdefault(probe, []).append(Bin((step + 0.5) * step_s, *figures))
    except sqlite3.Error as error:
        raise JournalError(str(error), reader.path, "see the detail") from error
    return found


def first_seq(db: sqlite3.Connection, wall_s: float) -> int:
    """A seq before which every reading arrived earlier than `wall_s` + AGE_MOST_S, and after which every one
    arrived at `wall_s` or later; one past the last if there is none. Raises sqlite3.Error."""
    low, high = db.execute(_ENDS).fetchone()
    while low < high:
        middle = (low + high) // 2
        row = db.execute(_FIRST_AFTER, (middle,)).fetchone()
        if row is None or row[1] >= wall_s:
            high = middle
        else:
            low = row[0] + 1
    return int(low)


def refills(reader: JournalReader, notes: list[Note], from_wall_s: float, to_wall_s: float) -> list[Poured]:
    """The refills of a span, of which these notes stand. Raises JournalError."""
    lines = reader.history(from_wall_s, to_wall_s + refillline.LATEST_S, refillline.KIND)
    found = refillline.each(((line.wall_s, line.line) for line in lines), notes)
    return [one for one in found if from_wall_s <= one.wall_s < to_wall_s]


def note_of(reader: JournalReader, key: str) -> Note | None:
    """The note with this key, if it is kept. Raises JournalError."""
    try:
        row = reader.db.execute(f"SELECT {NOTE_COLUMNS} FROM note WHERE key = ?", (key,)).fetchone()
    except sqlite3.Error as error:
        raise JournalError(str(error), reader.path, "see the detail") from error
    return None if row is None else to_note(row)
