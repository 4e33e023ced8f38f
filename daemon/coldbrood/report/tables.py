"""The columns of each exported file: name with its unit, type, what it says, and how a cell is written."""

import math
import sqlite3
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, tzinfo
from typing import Any

from coldbrood.journal.rows import LATE, SYNCED
from coldbrood.watch.site import TemperatureUnit

Show = Callable[[Sequence[Any]], Any]
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
# OWASP's list for CSV injection (reference sheet standards.md section 5, V; CR also V; LF is ours).
_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "\0")


@dataclass(frozen=True, slots=True)
class Column:
    """One column: `show` turns a row of the table's query into the cell."""

    name: str
    type: str
    says: str
    show: Show


@dataclass(frozen=True, slots=True)
class Table:
    """One file of the export and the query behind it."""

    file: str
    title: str
    source: str
    sql: str
    key: tuple[str, ...]
    columns: tuple[Column, ...]


def tables_of(db: sqlite3.Connection, zone: tzinfo, unit: TemperatureUnit) -> tuple[Table, ...]:
    """The files of an export of this journal, with temperatures in the keeper's unit."""
    return (
        _readings(db, zone, unit),
        _notes(zone, unit),
        _history(zone),
        _refused(zone),
        _refused_counts(),
    )


def rfc3339(wall_s: float | None, zone: tzinfo) -> str:
    """A time to the millisecond, with `Z` for UTC; empty where the clock gave no date at all."""
    try:
        at = (_EPOCH + timedelta(milliseconds=round((wall_s or 0.0) * 1000))).astimezone(zone)
    except (OverflowError, ValueError):
        return ""
    text = at.isoformat(timespec="milliseconds")
    return text.removesuffix("+00:00") + "Z" if zone is UTC else text


def guarded(text: str | None) -> str:
    """A text no spreadsheet takes for a formula; empty for None."""
    return f"'{text}" if text and text.startswith(_FORMULA_STARTS) else text or ""


def in_unit(celsius: float | None, unit: TemperatureUnit) -> float | None:
    """A temperature in the keeper's unit; Fahrenheit to four decimals, F = C x 9/5 + 32."""
    if celsius is None or unit == "C" or math.isinf(celsius):
        return celsius
    return round(celsius * 1.8 + 32.0, 4)


def _readings(db: sqlite3.Connection, zone: tzinfo, unit: TemperatureUnit) -> Table:
    quantities = db.execute("SELECT id, name FROM quantity ORDER BY id").fetchall()
    values = [column for n, name in quantities for column in _quantity(n, name, unit)]
    columns = (
        _number("seq", "integer", "order in which the journal took it", 0),
        *_times(1, 2, zone),
        Column("clock_synced", "boolean", "whether the clock could be trusted", _flag(3, SYNCED)),
        Column(
            "late", "boolean", "whether its age was unknown, so nothing was decided on it", _flag(3, LATE)
        ),
        _text("probe", "name of the probe", 4),
        *values,
    )
    sql = """SELECT r.seq, r.t_s, r.wall_s, r.flags, ifnull(p.name, 'unknown-' || r.probe), r.quantity, r.raw,
        r.value FROM reading r LEFT JOIN probe p ON p.id = r.probe ORDER BY r.seq"""
    return Table("readings.csv", "Every reading, raw and calibrated", "reading", sql, ("seq",), columns)


def _quantity(number: int, name: str, unit: TemperatureUnit) -> tuple[Column, Column]:
    """Two columns per quantity, so that each column has one unit: the calibrated value and the raw one."""
    stem, _, ending = name.rpartition("_")
    shown_in: TemperatureUnit = unit if ending == "c" else "C"  # what is no temperature stays as it is
    ending = unit.lower() if ending == "c" else ending

    def at(index: int) -> Show:
        return lambda row: _measured(in_unit(row[index], shown_in)) if row[5] == number else None

    return (
        Column(f"{stem}_{ending}", "number", f"{stem}, calibrated", at(7)),
        Column(f"{stem}_raw_{ending}", "number", f"{stem}, as the sensor gave it", at(6)),
    )


def _notes(zone: tzinfo, unit: TemperatureUnit) -> Table:
    fill = f"fill_{unit.lower()}"
    columns = (
        _number("seq", "integer", "order in which the journal took it", 0),
        *_times(1, 2, zone),
        _text("kind", "what the keeper told", 3),
        _text("box", "hen box", 4),
        _text("look_in", "what the chicks did", 5),
        _number("count", "integer", "chicks counted or lost", 6),
        Column(fill, "number", "temperature of the water filled in", lambda row: in_unit(row[7], unit)),
        _text("alarm", "alarm acknowledged or shelved", 8),
        _number("minutes", "number", "how long an alarm was shelved, in minutes", 9),
        _text("text", "the keeper's own words", 10),
        _text("key", "what makes a note count once", 11),
    )
    sql = """SELECT seq, t_s, wall_s, kind, box, look_in, count, fill_c, alarm, minutes, text, key
        FROM note ORDER BY seq"""
    return Table("notes.csv", "What the keeper told", "note", sql, ("seq",), columns)


def _history(zone: tzinfo) -> Table:
    columns = (
        _number("seq", "integer", "order in which the journal took it", 0),
        *_times(1, 2, zone),
        _text("kind", "what it is about, such as an alarm or a message", 3),
        _text("subject", "which one", 4),
        _text("state", "what it became", 5),
        _text("reason", "the named reason", 6),
        _text("detail", "more about it", 7),
    )
    sql = "SELECT seq, t_s, wall_s, kind, subject, state, reason, detail FROM history ORDER BY seq"
    return Table(
        "history.csv", "Alarms and messages: what changed, when and why", "history", sql, ("seq",), columns
    )


def _refused(zone: tzinfo) -> Table:
    columns = (
        _number("n", "integer", "how many were refused up to this one", 0),
        *_times(1, 2, zone),
        _text("probe", "name of the probe, if known", 3),
        _text("topic", "MQTT topic", 4),
        _text("reason", "the named reason", 5),
        _text("detail", "more about it", 6),
        Column("payload", "string", "start of what arrived; bytes that are no UTF-8 as \\xNN", _payload(7)),
    )
    sql = "SELECT n, t_s, wall_s, probe, topic, reason, detail, payload FROM refused ORDER BY n"
    return Table("refused.csv", "The payloads refused last", "refused", sql, ("n",), columns)


def _refused_counts() -> Table:
    columns = (
        _text("probe", "name of the probe, (none) if not known", 0),
        _text("reason", "the named reason", 1),
        _number("count", "integer", "refused since the journal began", 2),
    )
    sql = "SELECT iif(probe = '', '(none)', probe), reason, count FROM refused_count ORDER BY probe, reason"
    key = ("probe", "reason")
    return Table("refused_counts.csv", "How many were refused and why", "refused_count", sql, key, columns)


def _times(t: int, wall: int, zone: tzinfo) -> tuple[Column, Column, Column]:
    return (
        Column("time_utc", "datetime", "wall time in UTC", lambda row: rfc3339(row[wall], UTC)),
        Column(
            "time_local",
            "string",
            "wall time at the site, with its offset",
            lambda row: rfc3339(row[wall], zone),
        ),
        _number("watch_s", "number", "seconds that never step: differences are durations", t),
    )


def _number(name: str, type_: str, says: str, index: int) -> Column:
    return Column(name, type_, says, lambda row: row[index])


def _text(name: str, says: str, index: int) -> Column:
    return Column(name, "string", says, lambda row: guarded(row[index]))


def _payload(index: int) -> Show:
    return lambda row: guarded(row[index].decode("utf-8", "backslashreplace"))


def _flag(index: int, bit: int) -> Show:
    return lambda row: "true" if row[index] & bit else "false"


def _measured(value: float | None) -> float | str | None:
    """Table Schema writes an infinite number as INF."""
    if value is None or not math.isinf(value):
        return value
    return "INF" if value > 0 else "-INF"
