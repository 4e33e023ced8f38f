"""What a restart begins from, asked of the file by the daemon or by a look from outside."""

import sqlite3
from collections.abc import Iterator
from heapq import merge

from coldbrood.journal import rows
from coldbrood.journal.rows import Restored
from coldbrood.watch.events import Note, Reading

_CHUNK = 1000
_READINGS_BETWEEN = f"""SELECT {rows.READING_COLUMNS} FROM {rows.READING_TABLES}
    WHERE r.seq > ? AND r.seq <= ? ORDER BY r.seq LIMIT ?"""
_NOTES_BETWEEN = f"SELECT {rows.NOTE_COLUMNS} FROM note WHERE seq > ? AND seq <= ? ORDER BY seq"
_NOTE_WIDTH = len(rows.NOTE_COLUMNS.split(","))
_LAST_SEQ = "SELECT max(ifnull((SELECT max(seq) FROM reading), 0), ifnull((SELECT max(seq) FROM note), 0))"
# SQLite gives the other columns of the row that holds the max(): lang_select.html, "bare columns".
# Damage may leave any number in a row, and a time of ages ahead would stop the watch: it counts not.
_THINKABLE = "t_s BETWEEN -1e10 AND 1e10 AND wall_s BETWEEN 0 AND 1e11"
_LAST_TIMES = f"""SELECT max(t_s), wall_s FROM (
    SELECT max(t_s) AS t_s, wall_s FROM reading WHERE {_THINKABLE}
    UNION ALL SELECT max(t_s), wall_s FROM note WHERE {_THINKABLE}
    UNION ALL SELECT max(t_s), wall_s FROM history WHERE {_THINKABLE})"""


def restore(db: sqlite3.Connection) -> Restored:
    """All of one moment, if asked within a transaction. Raises sqlite3.Error."""
    states = db.execute("SELECT name, seq, body FROM state").fetchall()
    last_t_s, last_wall_s = db.execute(_LAST_TIMES).fetchone()
    return Restored(
        alarms=dict(db.execute("SELECT key, body FROM alarm ORDER BY key")),
        messages=dict(db.execute("SELECT key, body FROM message ORDER BY key")),
        states={name: body for name, _, body in states},
        covers={name: seq for name, seq, _ in states},
        latest=[rows.to_reading(row[:-1]) for row in db.execute(rows.LATEST, (0,))],
        last_t_s=last_t_s,
        last_wall_s=last_wall_s,
    )


def since(db: sqlite3.Connection, seq: int) -> Iterator[Reading | Note]:
    """Readings and notes after `seq` as they were taken, up to the newest commit at the start of the asking.

    Read a chunk at a time, so that no read stays open. Raises sqlite3.Error.
    """
    last = db.execute(_LAST_SEQ).fetchone()[0]
    at = seq
    while at < last:
        readings = db.execute(_READINGS_BETWEEN, (at, last, _CHUNK)).fetchall()
        top = readings[-1][0] if len(readings) == _CHUNK else last
        notes = db.execute(_NOTES_BETWEEN, (at, top)).fetchall()
        for row in merge(readings, notes, key=lambda row: row[0]):
            yield rows.to_note(row) if len(row) == _NOTE_WIDTH else rows.to_reading(row)
        at = top
