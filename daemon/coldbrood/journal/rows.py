"""Between the records of the watch and the rows of the journal."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any, cast

from coldbrood.watch.events import History, LookIn, Note, NoteKind, Now, Reading, Refusal, Refused
from coldbrood.watch.site import Quantity

Row = Sequence[Any]  # what sqlite3 hands out: the column types are the schema's

SYNCED, LATE, MID_BIT = 1, 2, 8  # from this bit on: the number of the broker's packet
_INT64 = 2**63 - 1
PAYLOAD_KEPT_BYTES = 1024

READING_COLUMNS = """r.seq, ifnull(p.name, 'unknown-' || r.probe), ifnull(q.name, 'unknown-' || r.quantity),
    r.raw, r.value, r.t_s, r.wall_s, r.flags"""
READING_TABLES = "reading r LEFT JOIN probe p ON p.id = r.probe LEFT JOIN quantity q ON q.id = r.quantity"
NOTE_COLUMNS = "seq, key, kind, box, t_s, wall_s, look_in, count, fill_c, alarm, minutes, text"
HISTORY_COLUMNS = "seq, t_s, wall_s, kind, subject, state, reason, detail"
REFUSED_COLUMNS = "n, probe, topic, reason, detail, payload, t_s, wall_s"

# The newest reading per probe and quantity after a seq, its time once more at the end. SQLite gives the
# other columns from the row that holds the max(): lang_select.html, "bare columns in an aggregate".
LATEST = f"""SELECT {READING_COLUMNS}, max(r.t_s) FROM {READING_TABLES}
    WHERE r.seq > ? AND NOT r.flags & {LATE} GROUP BY r.probe, r.quantity ORDER BY r.probe, r.quantity"""


@dataclass(slots=True)
class Batch:
    """What one commit keeps, gathered. None as the body of an alarm or a message takes it out.

    `taken` holds readings and notes in the order the watch saw them: a replay follows it.
    """

    taken: list[Reading | Note] = field(default_factory=list)
    refused: list[Refused] = field(default_factory=list)
    history: list[tuple[Now, History]] = field(default_factory=list)
    alarms: dict[str, bytes | None] = field(default_factory=dict)
    messages: dict[str, bytes | None] = field(default_factory=dict)
    states: dict[str, bytes] = field(default_factory=dict)

    @property
    def readings(self) -> tuple[Reading, ...]:
        """The readings taken, to look at; add to `taken`."""
        return tuple(event for event in self.taken if isinstance(event, Reading))

    @property
    def notes(self) -> tuple[Note, ...]:
        """The notes taken, to look at; add to `taken`."""
        return tuple(event for event in self.taken if isinstance(event, Note))

    def is_empty(self) -> bool:
        """Whether a commit would change nothing."""
        return not (self.taken or self.refused or self.history or self.alarms or self.messages or self.states)

    def knows_note(self, key: str) -> bool:
        """Whether a note with this key is already in the batch."""
        return any(note.key == key for note in self.notes)


@dataclass(frozen=True, slots=True)
class Restored:
    """What a restart begins from.

    `covers` gives for each state the seq of the last reading or note it had seen. `latest` is the
    newest reading per probe and quantity whose age is known; the last times are None in a new journal.
    """

    alarms: dict[str, bytes]
    messages: dict[str, bytes]
    states: dict[str, bytes]
    covers: dict[str, int]
    latest: list[Reading]
    last_t_s: float | None
    last_wall_s: float | None


def reading_row(seq: int, reading: Reading, probe: int, quantity: int) -> Row:
    """The columns of `reading` in the schema's order."""
    flags = SYNCED * reading.synced + LATE * reading.late + (reading.mid << MID_BIT)
    return (seq, probe, quantity, reading.t_s, reading.wall_s, reading.raw, reading.value, flags)


def note_row(seq: int, note: Note) -> Row:
    """The columns of `note` in the schema's order."""
    count = None if note.count is None else max(-_INT64, min(_INT64, note.count))
    texts = (plain(note.key), plain(note.kind), plain(note.box))
    extras = (plain(note.look_in), count, note.fill_c, plain(note.alarm), note.minutes, plain(note.text))
    return (seq, *texts, note.t_s, note.wall_s, *extras)


def history_row(seq: int, now: Now, line: History) -> Row:
    """The columns of `history` in the schema's order."""
    texts = (line.kind, line.subject, line.state, line.reason, line.detail)
    return (seq, now.t_s, now.wall_s, *map(plain, texts))


def refused_row(n: int, item: Refused, kept: int) -> Row:
    """The columns of `refused`; the slot makes the table a ring of `kept` rows."""
    texts = (plain(item.probe), plain(item.topic), item.reason, plain(item.detail))
    return (n % kept, n, *texts, item.payload[:PAYLOAD_KEPT_BYTES], item.t_s, item.wall_s)


def plain(text: str | None) -> str | None:
    r"""Text that UTF-8 can hold: half a surrogate pair, as JSON may bring one, becomes \udXXX."""
    return None if text is None else text.encode("utf-8", "backslashreplace").decode("utf-8")


def to_reading(row: Row) -> Reading:
    """The record of a row of READING_COLUMNS. SQLite keeps a NaN as NULL: it comes back as NaN."""
    _, probe, quantity, raw, value, t_s, wall_s, flags = row
    return Reading(
        probe=probe,
        quantity=cast(Quantity, quantity),
        raw=math.nan if raw is None else raw,
        value=math.nan if value is None else value,
        t_s=t_s,
        wall_s=wall_s,
        synced=bool(flags & SYNCED),
        late=bool(flags & LATE),
        mid=flags >> MID_BIT,
    )


def to_note(row: Row) -> Note:
    """The record of a row of NOTE_COLUMNS."""
    _, key, kind, box, t_s, wall_s, look_in, count, fill_c, alarm, minutes, text = row
    return Note(
        key=key,
        kind=cast(NoteKind, kind),
        box=box,
        t_s=t_s,
        wall_s=wall_s,
        look_in=cast(LookIn | None, look_in),
        count=count,
        fill_c=fill_c,
        alarm=alarm,
        minutes=minutes,
        text=text,
    )


def to_refused(row: Row) -> Refused:
    """The record of a row of REFUSED_COLUMNS."""
    _, probe, topic, reason, detail, payload, t_s, wall_s = row
    return Refused(probe, topic, cast(Refusal, reason), detail, payload, t_s, wall_s)
