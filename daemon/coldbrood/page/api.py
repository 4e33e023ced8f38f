"""The read-only JSON interface, as a part of the page's server; `openapi.json` beside this file describes it.

Nothing here changes anything. Every fault is a problem object (RFC 9457) that names the field, the value and
what is allowed. Times are RFC 3339 in UTC, temperatures degrees C, whatever the keeper's own units.
"""

import math
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, Final, get_args

import msgspec
from bottle import Bottle, HTTPResponse, request

from coldbrood.journal.errors import JournalError
from coldbrood.journal.reader import JournalReader
from coldbrood.journal.rows import HISTORY_COLUMNS, NOTE_COLUMNS, to_note, to_reading
from coldbrood.page.past import AGE_MOST_S, bins, first_seq
from coldbrood.page.replies import answer
from coldbrood.watch.events import History
from coldbrood.watch.site import Quantity
from coldbrood.watch.siteview import SiteView

Handler = Callable[..., dict[str, object]]
Guard = Callable[[], bool]

JSON: Final = "application/json"
PROBLEM: Final = "application/problem+json"
OPENAPI: Final = Path(__file__).with_name("openapi.json")
LIMIT_MOST: Final = 5000
LIMIT_USUAL: Final = 1000
STEPS_MOST: Final = 5000
STEP_LEAST_S, STEP_MOST_S, STEP_USUAL_S = 60, 86_400, 900
DAY_S: Final = 86_400.0
SEQ_MOST: Final = 2**63 - 1
_EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)
_READINGS: Final = """SELECT r.seq, p.name, q.name, r.raw, r.value, r.t_s, r.wall_s, r.flags FROM reading r
    JOIN probe p ON p.id = r.probe JOIN quantity q ON q.id = r.quantity
    WHERE r.seq > ? AND r.seq < ? AND r.wall_s >= ? AND r.wall_s < ?
    AND (? IS NULL OR p.name = ?) AND (? IS NULL OR q.name = ?) ORDER BY r.seq LIMIT ?"""
_NOTES: Final = f"SELECT {NOTE_COLUMNS} FROM note WHERE seq > ? ORDER BY seq LIMIT ?"
_HISTORY: Final = f"""SELECT {HISTORY_COLUMNS} FROM history WHERE seq > ? AND (? IS NULL OR kind = ?)
    ORDER BY seq LIMIT ?"""


class Asked(Exception):  # noqa: N818 - what was asked for, that cannot be given
    """A request that cannot be answered: the status and one plain line."""

    def __init__(self, status: int, detail: str) -> None:
        super().__init__(detail)
        self.status, self.detail = status, detail


@dataclass(frozen=True, slots=True)
class Source:
    """What the interface reads from; `view` is None until the daemon's loop has turned once."""

    view: Callable[[], SiteView | None]
    reader: Callable[[], JournalReader]

    def site(self) -> SiteView:
        """The site now. Raises Asked (503) before there is one."""
        view = self.view()
        if view is None:
            raise Asked(503, "the daemon is starting: ask again")
        return view


def make_api(source: Source, may_look: Guard) -> Bottle:
    """The interface as an application to be mounted; `may_look` says whether this request is answered."""
    app = Bottle(catchall=True)
    for path, handler in (
        ("/openapi.json", _openapi),
        ("/site", _site),
        ("/boxes/<box>", _box),
        ("/readings", _readings),
        ("/steps", _steps),
        ("/notes", _notes),
        ("/history", _history),
    ):
        app.route(path, "GET", _answering(handler, source, may_look))
    return app


def _answering(handler: Handler, source: Source, may_look: Guard) -> Callable[..., HTTPResponse]:
    def answered(**parts: str) -> HTTPResponse:
        try:
            if not may_look():
                raise Asked(401, "a token of this board is needed: Authorization: Bearer TOKEN")
            return answer(200, msgspec.json.encode(handler(source, **parts)), JSON)
        except Asked as fault:
            return _problem(fault.status, fault.detail)
        except JournalError as fault:
            return _problem(503, str(fault))

    return answered


def _problem(status: int, detail: str) -> HTTPResponse:
    """RFC 9457: with no `type` the title is the status's own words."""
    titles = {400: "Bad Request", 401: "Unauthorized", 404: "Not Found", 503: "Service Unavailable"}
    body = {"title": titles[status], "status": status, "detail": detail}
    more = {"WWW_Authenticate": "Bearer"} if status == 401 else {}
    return answer(status, msgspec.json.encode(body), PROBLEM, **more)


# ---- what can be asked


def _openapi(_source: Source) -> dict[str, object]:
    _fields(())
    return dict(msgspec.json.decode(OPENAPI.read_bytes()))


def _site(source: Source) -> dict[str, object]:
    _fields(())
    return source.site().plain()


def _box(source: Source, box: str) -> dict[str, object]:
    _fields(())
    boxes = source.site().boxes
    found = next((one for one in boxes if one["box"] == box), None)
    if found is None:
        raise Asked(
            404, f"box: {box}: one of {', '.join(str(one['box']) for one in boxes) or 'none just now'}"
        )
    return found


def _readings(source: Source) -> dict[str, object]:
    told = _fields(("after", "from", "to", "limit", "probe", "quantity"))
    after, limit = _whole(told, "after", 0, 0, SEQ_MOST), _limit(told)
    from_s, to_s = _time(told, "from", -math.inf), _time(told, "to", math.inf)
    quantity = _one_of(told, "quantity", get_args(Quantity))
    probe = told.get("probe")
    with source.reader() as reader:
        last = SEQ_MOST
        if math.isfinite(from_s):
            after = max(after, first_seq(reader.db, from_s - AGE_MOST_S) - 1)
        if math.isfinite(to_s):
            last = first_seq(reader.db, to_s + AGE_MOST_S)
        values = (after, last, from_s, to_s, probe, probe, quantity, quantity, limit)
        rows = reader.db.execute(_READINGS, values).fetchall()
    return {"readings": [_reading(row) for row in rows], "next_after": _next(rows, limit)}


def _reading(row: Sequence[Any]) -> dict[str, object]:
    reading = to_reading(row)
    return {
        "seq": row[0],
        "at": time_text(reading.wall_s),
        "watch_s": reading.t_s,
        "probe": reading.probe,
        "quantity": reading.quantity,
        "value": reading.value,
        "raw": reading.raw,
        "clock_synced": reading.synced,
        "late": reading.late,
    }


def _steps(source: Source) -> dict[str, object]:
    told = _fields(("from", "to", "step_s"))
    now_s = source.site().now.wall_s
    to_s = _time(told, "to", now_s)
    from_s = _time(told, "from", to_s - DAY_S)
    step_s = _whole(told, "step_s", STEP_USUAL_S, STEP_LEAST_S, STEP_MOST_S)
    end_s = max(from_s, min(to_s, from_s + STEPS_MOST * step_s))
    with source.reader() as reader:
        found = bins(reader, from_s, end_s, float(step_s))
    steps = [
        {
            "probe": probe,
            "at": time_text(one.wall_s),
            "low_c": one.low_c,
            "mean_c": one.mean_c,
            "high_c": one.high_c,
            "readings": one.readings,
        }
        for probe, ones in found.items()
        for one in ones
    ]
    return {"step_s": step_s, "steps": steps, "next_from": time_text(end_s) if end_s < to_s else None}


def _notes(source: Source) -> dict[str, object]:
    told = _fields(("after", "limit"))
    after, limit = _whole(told, "after", 0, 0, SEQ_MOST), _limit(told)
    with source.reader() as reader:
        rows = reader.db.execute(_NOTES, (after, limit)).fetchall()
    return {"notes": [_note(row) for row in rows], "next_after": _next(rows, limit)}


def _note(row: Sequence[Any]) -> dict[str, object]:
    note = to_note(row)
    fields = ("key", "kind", "box", "look_in", "count", "fill_c", "alarm", "minutes", "text")
    told = {name: getattr(note, name) for name in fields}
    return {"seq": row[0], "at": time_text(note.wall_s), "watch_s": note.t_s, **told}


def _history(source: Source) -> dict[str, object]:
    told = _fields(("after", "limit", "kind"))
    after, limit, kind = _whole(told, "after", 0, 0, SEQ_MOST), _limit(told), told.get("kind")
    with source.reader() as reader:
        rows = reader.db.execute(_HISTORY, (after, kind, kind, limit)).fetchall()
    lines = [{"seq": row[0], "at": time_text(row[2]), "watch_s": row[1], **_line(row)} for row in rows]
    return {"history": lines, "next_after": _next(rows, limit)}


def _line(row: Sequence[Any]) -> dict[str, object]:
    line = History(*row[3:])
    return {name: getattr(line, name) for name in ("kind", "subject", "state", "reason", "detail")}


def _next(rows: Sequence[Sequence[Any]], limit: int) -> int | None:
    """What to give as `after` for the rows that follow; None if these were the last."""
    return int(rows[-1][0]) if len(rows) == limit else None


# ---- what was asked


def _fields(known: Collection[str]) -> dict[str, str]:
    """The fields of the query. Raises Asked for one that is unknown or stands twice."""
    told: dict[str, str] = {}
    for name, value in request.query.allitems():
        if name not in known:
            raise Asked(
                400, f"{name[:40]}: {value[:40]}: no such field: {', '.join(known) or 'none is taken'}"
            )
        if name in told:
            raise Asked(400, f"{name}: {value[:40]}: given twice")
        told[name] = value
    return told


def _whole(told: Mapping[str, str], name: str, usual: int, least: int, most: int) -> int:
    text = told.get(name)
    if text is None:
        return usual
    fits = text.isascii() and text.isdecimal() and len(text) < 20 and least <= int(text) <= most
    if not fits:
        raise Asked(400, f"{name}: {text[:40]}: a whole number, {least} to {most}")
    return int(text)


def _limit(told: Mapping[str, str]) -> int:
    return _whole(told, "limit", LIMIT_USUAL, 1, LIMIT_MOST)


def _one_of(told: Mapping[str, str], name: str, allowed: Sequence[str]) -> str | None:
    value = told.get(name)
    if value is not None and value not in allowed:
        raise Asked(400, f"{name}: {value[:40]}: one of {', '.join(allowed)}")
    return value


def _time(told: Mapping[str, str], name: str, usual: float) -> float:
    text = told.get(name)
    if text is None:
        return usual
    try:
        at = datetime.fromisoformat(text)
        if at.tzinfo is not None:
            return at.timestamp()
    except ValueError:
        pass
    raise Asked(400, f"{name}: {text[:40]}: a time with its offset, as 2026-04-11T02:40:00Z (+ as %2B)")


def time_text(wall_s: float) -> str | None:
    """RFC 3339 in UTC to the millisecond; None where the clock gave no date at all."""
    try:
        at = _EPOCH + timedelta(milliseconds=round(wall_s * 1000.0))
    except (OverflowError, ValueError):
        return None
    return at.isoformat(timespec="milliseconds").removesuffix("+00:00") + "Z"
