"""Records for the journal's tests: plain to build, with odd fractions that show any rounding."""

from pathlib import Path

from coldbrood.journal.rows import Batch
from coldbrood.journal.schema import connect_reader
from coldbrood.journal.store import Journal
from coldbrood.watch.events import History, Note, NoteKind, Now, Reading, Refusal, Refused
from coldbrood.watch.site import Quantity

START_WALL_S = 1_775_000_000.125  # 2026-03-31 in UTC


def open_journal(path: Path, now_label: str = "test") -> Journal:
    return Journal.open(path, now_label=now_label)


def reading(
    n: int, probe: str = "box-a", quantity: Quantity = "temperature_c", *, late: bool = False
) -> Reading:
    raw = 20.0 + n % 97 / 7
    return Reading(probe, quantity, raw, raw - 0.3, 60.1 * n, START_WALL_S + 60.1 * n, n % 3 > 0, late)


def note(key: str, n: int = 0, kind: NoteKind = "text", text: str = "well") -> Note:
    return Note(key=key, kind=kind, box="a", t_s=60.1 * n, wall_s=START_WALL_S + 60.1 * n, text=text)


def refused(n: int, probe: str | None = "box-a", reason: Refusal = "jump") -> Refused:
    return Refused(
        probe, f"coldbrood/hill/{probe}/reading", reason, f"no. {n}", b"\xff%d" % n, n, START_WALL_S + n
    )


def line(n: int, kind: str = "alarm", detail: str = "") -> tuple[Now, History]:
    now = Now(t_s=60.1 * n, wall_s=START_WALL_S + 60.1 * n, synced=True)
    return now, History(kind, "refill-now/a", "unacknowledged", "under-floor-soon", detail)


def everything(n: int) -> Batch:
    """A batch that touches every table; `n` tells one from another."""
    return Batch(
        taken=[reading(n), note(f"note-{n}", n), reading(n, f"probe-{n}", "humidity_pct")],
        refused=[refused(n), refused(n, None, "bad-payload")],
        history=[line(n)],
        alarms={f"alarm-{n}": b'{"n":%d}' % n, "alarm-latest": b"%d" % n},
        messages={f"message-{n}": b'{"n":%d}' % n, "message-latest": b"%d" % n},
        states={"snapshot": b"snapshot of %d" % n * 100, f"state-{n}": b"\x00\xff"},
    )


def dump(path: Path) -> dict[str, list[tuple[object, ...]]]:
    """Every row of every table, read by a connection of its own."""
    db = connect_reader(path)
    try:
        names = [name for (name,) in db.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
        return {name: db.execute(f"SELECT * FROM {name} ORDER BY 1, 2").fetchall() for name in sorted(names)}
    finally:
        db.close()
