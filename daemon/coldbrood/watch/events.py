"""Everything that can happen, as frozen records.

Two times travel together. `t_s` is watch time: seconds that never step, carried on over
restarts, and the only time that measures a duration. `wall_s` is Unix time: a label for
people and for the hour of the day, with the mark `synced` that says whether to trust it.
"""

from dataclasses import dataclass
from typing import Literal

from coldbrood.watch.site import Quantity

LookIn = Literal["huddled", "spread", "panting", "drinking", "loud", "apart", "weak"]
NoteKind = Literal[
    "refill",
    "count",
    "loss",
    "look-in",
    "acknowledge",
    "shelve",
    "unshelve",
    "text",
    "low",
    "test",
    "withdraw",
    "batch-start",
    "batch-close",
    "aside",
]

Refusal = Literal[
    "not-a-number",
    "out-of-range",
    "power-on-value",
    "disconnected-value",
    "jump",
    "leaps",
    "older-than-taken",
    "unknown-probe",
    "retained",
    "from-the-future",
    "bad-payload",
    "too-large",
    "no-temperature",
    "crc",
    "sensor-missing",
    "too-often",
]


@dataclass(frozen=True, slots=True)
class Now:
    """The one time of one step."""

    t_s: float
    wall_s: float
    synced: bool


@dataclass(frozen=True, slots=True)
class Reading:
    """One measured value of one probe at one time, raw and calibrated.

    `late` marks a reading whose age is not known (kept by the broker while the daemon was away). `mid` is
    the number of the broker's packet that brought it, 0 for none: by it a copy sent again is known.
    """

    probe: str
    quantity: Quantity
    raw: float
    value: float
    t_s: float
    wall_s: float
    synced: bool
    late: bool = False
    mid: int = 0


@dataclass(frozen=True, slots=True)
class Refused:
    """A payload or a value that was not taken, with the reason and a bounded copy for inspection."""

    probe: str | None
    topic: str
    reason: Refusal
    detail: str
    payload: bytes
    t_s: float
    wall_s: float


@dataclass(frozen=True, slots=True)
class Note:
    """What the keeper tells. `key` makes a note that arrives twice count once.

    A `withdraw` note takes back the note whose key stands in its `text`; a `low` note holds there tonight's
    low outside as someone else foretold it, in C.
    """

    key: str
    kind: NoteKind
    box: str | None
    t_s: float
    wall_s: float
    look_in: LookIn | None = None
    count: int | None = None
    fill_c: float | None = None
    alarm: str | None = None
    minutes: float | None = None
    text: str = ""


@dataclass(frozen=True, slots=True)
class Beat:
    """The service's own monotonic tick: assess, repeat, escalate."""


@dataclass(frozen=True, slots=True)
class Tick:
    """Each full hour by the wall clock."""


@dataclass(frozen=True, slots=True)
class Bedtime:
    """The keeper goes to bed."""


@dataclass(frozen=True, slots=True)
class Morning:
    """The keeper rises."""


@dataclass(frozen=True, slots=True)
class Retain:
    """Time to thin the journal."""


@dataclass(frozen=True, slots=True)
class Started:
    """The daemon came up. `down_s` is None on a first start; `sure` is False if the clock cannot tell."""

    down_s: float | None
    sure: bool
    set_aside: str | None = None
    newer_aside: bool = False


@dataclass(frozen=True, slots=True)
class ClockStepped:
    """Wall time moved against monotonic time by `delta_s`."""

    delta_s: float


@dataclass(frozen=True, slots=True)
class GapKnown:
    """The clock has been set, and shows that the start before was `gap_s` later than it seemed."""

    gap_s: float


@dataclass(frozen=True, slots=True)
class GoingDown:
    """The board is about to shut down, for its battery or a person's wish."""

    reason: str


@dataclass(frozen=True, slots=True)
class LinkUp:
    """The broker accepted the connection and the subscriptions."""


@dataclass(frozen=True, slots=True)
class LinkDown:
    """The broker is gone or refuses."""

    detail: str


@dataclass(frozen=True, slots=True)
class JournalFailed:
    """A commit did not reach the disk; what it held is still in memory."""

    detail: str


@dataclass(frozen=True, slots=True)
class JournalWell:
    """Commits reach the disk again; `set_aside` is where a file went that could not be used."""

    set_aside: str | None = None
    newer_aside: bool = False


@dataclass(frozen=True, slots=True)
class SelfTested:
    """What the board's own test found. `found` is what keeps it from being well, `asides` the rest."""

    found: tuple[str, ...]
    asides: tuple[str, ...] = ()


SendOutcome = Literal["accepted", "try-again", "refused", "unknown"]


@dataclass(frozen=True, slots=True)
class SendDone:
    """What became of one attempt to send."""

    key: str
    outcome: SendOutcome
    detail: str


Event = (
    Reading
    | Refused
    | Note
    | Beat
    | Tick
    | Bedtime
    | Morning
    | Retain
    | Started
    | ClockStepped
    | GapKnown
    | GoingDown
    | LinkUp
    | LinkDown
    | JournalFailed
    | JournalWell
    | SelfTested
    | SendDone
)


@dataclass(frozen=True, slots=True)
class SendNow:
    """Hand one message to one channel, once. Urgency: 1 digest .. 4 critical."""

    key: str
    channel: str
    title: str
    body: str
    urgency: int
    attempt: int


@dataclass(frozen=True, slots=True)
class History:
    """One line for the journal's own log: what changed, of what, why."""

    kind: str
    subject: str
    state: str
    reason: str
    detail: str = ""


@dataclass(frozen=True, slots=True)
class ShowBox:
    """Publish the state of one box, retained. `body` holds plain values only."""

    box: str
    body: dict[str, object]


@dataclass(frozen=True, slots=True)
class Sound:
    """Make a noise on this board for these alarms; silence if there is none."""

    alarms: tuple[str, ...]


Act = SendNow | History | ShowBox | Sound
