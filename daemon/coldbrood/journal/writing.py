"""How the rows of one commit are numbered and written."""

import sqlite3
from collections.abc import Mapping
from dataclasses import dataclass, replace

from coldbrood.journal import rows
from coldbrood.journal.rows import Batch
from coldbrood.journal.schema import REFUSED_KEPT
from coldbrood.watch.events import Note, Reading, Refused

_MAX_SEQ = """SELECT max(seq) FROM (SELECT max(seq) AS seq FROM reading UNION ALL SELECT max(seq) FROM note
    UNION ALL SELECT max(seq) FROM history UNION ALL SELECT max(seq) FROM state)"""
_COUNT_REFUSED = """INSERT INTO refused_count VALUES (?, ?, 1)
    ON CONFLICT (probe, reason) DO UPDATE SET count = count + 1"""
_SET_STATE = """INSERT INTO state VALUES (?, ?, ?)
    ON CONFLICT (name) DO UPDATE SET seq = excluded.seq, body = excluded.body"""
_SET_BODY = "INSERT INTO {} VALUES (?, ?) ON CONFLICT (key) DO UPDATE SET body = excluded.body"
_COUNTERS_KEPT = 1000


@dataclass(slots=True)
class Writing:
    """The next numbers and the lookup tables; a commit works on a copy, so a failed one leaves no trace."""

    seq: int
    refused: int
    counters: int
    probes: dict[str, int]
    quantities: dict[str, int]

    @classmethod
    def resume(cls, db: sqlite3.Connection) -> "Writing":
        """Carry on from what the file holds. Raises sqlite3.Error."""
        return cls(
            seq=db.execute(_MAX_SEQ).fetchone()[0] or 0,
            refused=db.execute("SELECT max(n) FROM refused").fetchone()[0] or 0,
            counters=db.execute("SELECT count(*) FROM refused_count").fetchone()[0],
            probes=dict(db.execute("SELECT name, id FROM probe")),
            quantities=dict(db.execute("SELECT name, id FROM quantity")),
        )

    def copy(self) -> "Writing":
        """A copy that may be thrown away."""
        return replace(self, probes=dict(self.probes), quantities=dict(self.quantities))

    def write(self, db: sqlite3.Connection, batch: Batch) -> None:
        """Write all rows of the batch in the open transaction. Raises sqlite3.Error."""
        self._write_taken(db, batch.taken)
        for now, line in batch.history:
            self.seq += 1
            db.execute(
                "INSERT INTO history VALUES (?, ?, ?, ?, ?, ?, ?, ?)", rows.history_row(self.seq, now, line)
            )
        for item in batch.refused:
            self._write_refused(db, item)
        _write_bodies(db, "alarm", batch.alarms)
        _write_bodies(db, "message", batch.messages)
        for name, body in batch.states.items():
            db.execute(_SET_STATE, (rows.plain(name), self.seq, body))

    def _write_taken(self, db: sqlite3.Connection, taken: list[Reading | Note]) -> None:
        for event in taken:
            if isinstance(event, Note):
                self._write_note(db, event)
            else:
                self._write_reading(db, event)

    def _write_reading(self, db: sqlite3.Connection, reading: Reading) -> None:
        probe = _number(db, "probe", self.probes, reading.probe)
        quantity = _number(db, "quantity", self.quantities, reading.quantity)
        row = rows.reading_row(self.seq + 1, reading, probe, quantity)
        db.execute("INSERT INTO reading VALUES (?, ?, ?, ?, ?, ?, ?, ?)", row)
        self.seq += 1

    def _write_note(self, db: sqlite3.Connection, note: Note) -> None:
        sql = "INSERT INTO note VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?) ON CONFLICT (key) DO NOTHING"
        self.seq += db.execute(sql, rows.note_row(self.seq + 1, note)).rowcount

    def _write_refused(self, db: sqlite3.Connection, item: Refused) -> None:
        self.refused += 1
        row = rows.refused_row(self.refused, item, REFUSED_KEPT)
        db.execute("INSERT OR REPLACE INTO refused VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)", row)
        # Anyone may publish under made-up names: past a bound they are counted together.
        probe = (rows.plain(item.probe) or "") if self.counters < _COUNTERS_KEPT else ""
        before = db.execute(
            "SELECT 1 FROM refused_count WHERE (probe, reason) = (?, ?)", (probe, item.reason)
        )
        self.counters += before.fetchone() is None
        db.execute(_COUNT_REFUSED, (probe, item.reason))


def _number(db: sqlite3.Connection, table: str, known: dict[str, int], name: str) -> int:
    """The small number that stands for a name, given out at its first use."""
    if name not in known:
        known[name] = max(known.values(), default=0) + 1
        db.execute(f"INSERT INTO {table} VALUES (?, ?)", (known[name], rows.plain(name)))
    return known[name]


def _write_bodies(db: sqlite3.Connection, table: str, bodies: Mapping[str, bytes | None]) -> None:
    for key, body in bodies.items():
        if body is None:
            db.execute(f"DELETE FROM {table} WHERE key = ?", (rows.plain(key),))
        else:
            db.execute(_SET_BODY.format(table), (rows.plain(key), body))
