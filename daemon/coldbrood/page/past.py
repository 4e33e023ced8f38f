"""What the journal holds of the past, asked so that years of it cost no more than the span asked for.

Readings stand in the order of their taking, so the span is found by halving and no index is needed.
"""

import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, tzinfo
from typing import Any, Final

from coldbrood.journal.errors import JournalError
from coldbrood.journal.reader import JournalReader, wall_range
from coldbrood.journal.rows import NOTE_COLUMNS, to_note
from coldbrood.watch.events import Note

Row = Sequence[Any]  # what sqlite3 hands out: the columns are those of the question
SLACK_S: Final = 120.0  # the clock may have been set back a little within the span
_FIRST_AFTER = "SELECT seq, wall_s FROM reading WHERE seq >= ? ORDER BY seq LIMIT 1"
_SPAN = """FROM reading r JOIN probe p ON p.id = r.probe JOIN quantity q ON q.id = r.quantity
    WHERE r.seq >= ? AND r.seq < ? AND r.wall_s >= ? AND r.wall_s < ? AND q.name = 'temperature_c'
    AND NOT r.flags & 2 AND r.value IS NOT NULL"""
_MEANS = f"SELECT p.name, CAST(r.wall_s / ? AS INTEGER), avg(r.value) {_SPAN} GROUP BY 1, 2 ORDER BY 1, 2"
# SQLite gives the other columns of the row that holds the min() or max(): lang_select.html, "bare columns".
_LOWS = f"SELECT p.name, min(r.value), r.wall_s, count(*) {_SPAN} GROUP BY p.id"
_HIGHS = f"SELECT p.name, max(r.value), r.wall_s {_SPAN} GROUP BY p.id"


@dataclass(frozen=True, slots=True)
class Extremes:
    """Lowest and highest of one probe on one day, each with its Unix time, and of how many readings."""

    low_c: float
    low_wall_s: float
    high_c: float
    high_wall_s: float
    readings: int


def first_seq(db: sqlite3.Connection, wall_s: float) -> int:
    """The first seq taken at or after a Unix time, by halving; one past the last if there is none."""
    low, high = db.execute("SELECT ifnull(min(seq), 0), ifnull(max(seq), -1) + 1 FROM reading").fetchone()
    while low < high:
        middle = (low + high) // 2
        row = db.execute(_FIRST_AFTER, (middle,)).fetchone()
        if row is None or row[1] >= wall_s:
            high = middle
        else:
            low = row[0] + 1
    return int(low)


def means(
    reader: JournalReader, from_wall_s: float, to_wall_s: float, step_s: float
) -> dict[str, list[tuple[float, float]]]:
    """Mean temperature of each probe in steps of `step_s`, as (Unix time of the step's middle, C)."""
    found: dict[str, list[tuple[float, float]]] = {}
    for probe, step, value in _ask(reader, _MEANS, from_wall_s, to_wall_s, (step_s,)):
        found.setdefault(probe, []).append(((step + 0.5) * step_s, value))
    return found


def extremes(reader: JournalReader, zone: tzinfo, day: date) -> dict[str, Extremes]:
    """Lowest and highest of each probe on one local day."""
    start_s, end_s = wall_range(zone, day, day)
    highs = {probe: (high_c, high_s) for probe, high_c, high_s in _ask(reader, _HIGHS, start_s, end_s)}
    return {
        probe: Extremes(low_c, low_s, *highs[probe], count)
        for probe, low_c, low_s, count in _ask(reader, _LOWS, start_s, end_s)
        if probe in highs
    }


def note_of(reader: JournalReader, key: str) -> Note | None:
    """The note with this key, if it is kept."""
    try:
        row = reader.db.execute(f"SELECT {NOTE_COLUMNS} FROM note WHERE key = ?", (key,)).fetchone()
    except sqlite3.Error as error:
        raise JournalError(str(error), reader.path, "see the detail") from error
    return None if row is None else to_note(row)


def day_of(zone: tzinfo, wall_s: float) -> date:
    """The local day of a Unix time."""
    return datetime.fromtimestamp(wall_s, zone).date()


def _ask(
    reader: JournalReader, sql: str, from_wall_s: float, to_wall_s: float, before: Sequence[float] = ()
) -> list[Row]:
    db = reader.db
    try:
        first = first_seq(db, from_wall_s - SLACK_S)
        last = first_seq(db, to_wall_s + SLACK_S)
        return db.execute(sql, (*before, first, last, from_wall_s, to_wall_s)).fetchall()
    except sqlite3.Error as error:
        raise JournalError(str(error), reader.path, "see the detail") from error
