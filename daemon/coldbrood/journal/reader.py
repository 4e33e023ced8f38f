"""Looking into the journal from another process, while the daemon writes."""

import sqlite3
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta, tzinfo
from pathlib import Path
from typing import Any

from coldbrood.journal import replay, rows
from coldbrood.journal.errors import JournalError, explain
from coldbrood.journal.rows import Restored
from coldbrood.journal.schema import VERSION, connect_reader, is_empty, version_of
from coldbrood.watch.events import History, Note, Reading, Refused

LATEST_WITHIN_ROWS = 50_000


@dataclass(frozen=True, slots=True)
class HistoryLine:
    """One line of the history with its times."""

    seq: int
    t_s: float
    wall_s: float
    line: History


@dataclass(frozen=True, slots=True)
class Night:
    """What one probe saw from bedtime to rising; `evening` is the date on which the night began."""

    evening: date
    probe: str
    readings: int
    min_c: float
    mean_c: float
    max_c: float


class JournalReader:
    """A read-only view; every question sees the newest commit. Use as a context manager, or close it."""

    def __init__(self, path: Path, db: sqlite3.Connection) -> None:
        self.path = path
        self.db = db

    @classmethod
    def open(cls, path: Path) -> "JournalReader":
        """Open for reading. Raises JournalError: missing, not ours, not yet migrated, too new, no rights."""
        if not path.is_file():
            raise JournalError("there is no journal here", path, "start the daemon once, or check the path")
        db = None
        try:
            db = connect_reader(path)
            _check_version(db, path)
        except (sqlite3.Error, JournalError) as error:
            if db is not None:
                db.close()
            raise _as_reader(error, path) from error
        return cls(path, db)

    def __enter__(self) -> "JournalReader":
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the file."""
        self.db.close()

    def restore(self) -> Restored:
        """What a restart would begin from, all of one moment."""
        try:
            self.db.execute("BEGIN")
            try:
                return replay.restore(self.db)
            finally:
                self.db.execute("COMMIT")
        except sqlite3.Error as error:
            raise _as_reader(error, self.path) from error

    def since(self, seq: int) -> Iterator[Reading | Note]:
        """Readings and notes after `seq`, as they were taken, late ones too."""
        try:
            yield from replay.since(self.db, seq)
        except sqlite3.Error as error:
            raise _as_reader(error, self.path) from error

    def last_seq(self) -> int:
        """The seq of the newest reading; 0 if there is none."""
        return int(self._ask("SELECT max(seq) FROM reading")[0][0] or 0)

    def wall_at(self, seq: int) -> float | None:
        """The wall time of the reading with this seq; None if there is none."""
        found = self._ask("SELECT wall_s FROM reading WHERE seq = ?", (seq,))
        return float(found[0][0]) if found else None

    def count(self, from_wall_s: float, to_wall_s: float) -> int:
        """How many readings there are in a half-open range of wall time."""
        sql = "SELECT count(*) FROM reading WHERE wall_s >= ? AND wall_s < ?"
        return int(self._ask(sql, (from_wall_s, to_wall_s))[0][0])

    def chunk(self, after: int, upto: int, most: int) -> tuple[int, list[Reading]]:
        """At most `most` readings after one seq up to another, and the seq that was reached."""
        where = "WHERE r.seq > ? AND r.seq <= ? ORDER BY r.seq LIMIT ?"
        sql = f"SELECT {rows.READING_COLUMNS} FROM {rows.READING_TABLES} {where}"
        found = self._ask(sql, (after, upto, most))
        reached = int(found[-1][0]) if len(found) == most else upto
        return reached, [rows.to_reading(row) for row in found]

    def latest(self) -> list[Reading]:
        """The newest reading per probe and quantity among the last 50,000, those of unknown age left out."""
        newest = self._ask("SELECT max(seq) FROM reading")[0][0] or 0
        found = self._ask(rows.LATEST, (newest - LATEST_WITHIN_ROWS,))
        return [rows.to_reading(row[:-1]) for row in found]

    def readings(self, from_wall_s: float, to_wall_s: float) -> Iterator[Reading]:
        """Readings in a half-open range of wall time, as they were taken."""
        where = "WHERE r.wall_s >= ? AND r.wall_s < ? ORDER BY r.seq"
        sql = f"SELECT {rows.READING_COLUMNS} FROM {rows.READING_TABLES} {where}"
        return (rows.to_reading(row) for row in self._stream(sql, (from_wall_s, to_wall_s)))

    def notes(self, from_wall_s: float, to_wall_s: float) -> list[Note]:
        """Notes in a half-open range of wall time."""
        sql = f"SELECT {rows.NOTE_COLUMNS} FROM note WHERE wall_s >= ? AND wall_s < ? ORDER BY seq"
        return [rows.to_note(row) for row in self._ask(sql, (from_wall_s, to_wall_s))]

    def history(self, from_wall_s: float, to_wall_s: float, kind: str | None = None) -> list[HistoryLine]:
        """Lines of the history in a half-open range of wall time, of one kind or of all."""
        where = "WHERE wall_s >= ? AND wall_s < ? AND (? IS NULL OR kind = ?) ORDER BY seq"
        sql = f"SELECT {rows.HISTORY_COLUMNS} FROM history {where}"
        found = self._ask(sql, (from_wall_s, to_wall_s, kind, kind))
        return [HistoryLine(row[0], row[1], row[2], History(*row[3:])) for row in found]

    def refused(self, limit: int = 20) -> list[Refused]:
        """The refused payloads taken last, newest first."""
        sql = f"SELECT {rows.REFUSED_COLUMNS} FROM refused ORDER BY n DESC LIMIT ?"
        return [rows.to_refused(row) for row in self._ask(sql, (limit,))]

    def refused_counts(self) -> dict[tuple[str, str], int]:
        """How many were refused since the journal began, by probe ("" if not known) and reason."""
        found = self._ask("SELECT probe, reason, count FROM refused_count ORDER BY probe, reason")
        return {(probe, reason): count for probe, reason, count in found}

    def alarms(self) -> dict[str, bytes]:
        """The alarms as the watch last wrote them."""
        return dict(self._ask("SELECT key, body FROM alarm ORDER BY key"))

    def messages(self) -> dict[str, bytes]:
        """The outbox as the watch last wrote it."""
        return dict(self._ask("SELECT key, body FROM message ORDER BY key"))

    def state(self, name: str) -> bytes | None:
        """A named state, such as the snapshot; None if it was never written."""
        found = self._ask("SELECT body FROM state WHERE name = ?", (name,))
        return found[0][0] if found else None

    def nights(self, zone: tzinfo, bedtime_s: int, rising_s: int) -> list[Night]:
        """Lowest, mean and highest temperature of each night and probe, where the clock could be trusted.

        Bedtime and rising are seconds after local midnight; a bedtime before rising is one after midnight.
        """
        sql = """SELECT p.name, r.wall_s, r.value FROM reading r
            JOIN probe p ON p.id = r.probe JOIN quantity q ON q.id = r.quantity
            WHERE q.name = 'temperature_c' AND r.flags & 1 AND NOT r.flags & 2 AND r.value IS NOT NULL"""
        seen: dict[tuple[date, str], list[float]] = {}
        for probe, wall_s, value in self._stream(sql, ()):
            evening = evening_of(datetime.fromtimestamp(wall_s, zone), bedtime_s, rising_s)
            if evening is not None:
                _add(seen.setdefault((evening, probe), [0, value, 0.0, value]), value)
        return [
            Night(evening, probe, int(n), low, total / n, high)
            for (evening, probe), (n, low, total, high) in sorted(seen.items())
        ]

    def _ask(self, sql: str, values: tuple[Any, ...] = ()) -> list[Any]:
        return list(self._stream(sql, values))

    def _stream(self, sql: str, values: tuple[Any, ...]) -> Iterator[Any]:
        try:
            yield from self.db.execute(sql, values)
        except sqlite3.Error as error:
            raise _as_reader(error, self.path) from error


def evening_of(local: datetime, bedtime_s: int, rising_s: int) -> date | None:
    """The date on which the night around this local time began; None by day."""
    of_day_s = (local.hour * 60 + local.minute) * 60 + local.second
    before = local.date() - timedelta(days=1)
    if bedtime_s < rising_s:
        return before if bedtime_s <= of_day_s < rising_s else None
    if of_day_s >= bedtime_s:
        return local.date()
    return before if of_day_s < rising_s else None


def wall_range(zone: tzinfo, first: date, last: date) -> tuple[float, float]:
    """The half-open range of wall time from the start of one local day to the end of another."""
    start = datetime.combine(first, time(), zone)
    end = datetime.combine(last + timedelta(days=1), time(), zone)
    return start.astimezone(UTC).timestamp(), end.astimezone(UTC).timestamp()


def _add(night: list[float], value: float) -> None:
    night[:] = [night[0] + 1, min(night[1], value), night[2] + value, max(night[3], value)]


def _check_version(db: sqlite3.Connection, path: Path) -> None:
    if is_empty(db):
        raise JournalError("it is still empty", path, "start the daemon once")
    version = version_of(db, path)
    if version < VERSION:
        what = f"its schema is {version}, this coldbrood reads {VERSION}"
        raise JournalError(what, path, "start the daemon once: it brings the journal up to date")


def _as_reader(error: Exception, path: Path) -> JournalError:
    """Add what a reader can do: most often it is another user than the daemon."""
    if isinstance(error, JournalError) or not isinstance(error, sqlite3.Error):
        return error if isinstance(error, JournalError) else JournalError(str(error), path, "see the detail")
    plain = explain(error, path)
    if getattr(error, "sqlite_errorcode", 0) & 0xFF in (sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_PERM):
        return JournalError(plain.what, path, "run this as the daemon's user, or as root")
    return plain
