"""What can be wrong, and how each condition is treated: one row each, the numbers argued beside them.

`on_samples` and `off_samples` count looks at the condition, since with one reading each five
minutes a delay in seconds filters nothing or waits by accident (reference/standards.md
section 1, C). Where a condition is a duration itself (a probe silent for so long), the
length is decided by whoever makes the verdict and one look is enough.

The deadlines of repeat and escalation are our own choice, no source: a nudge comes half an
hour before it is late, so ten minutes without an answer is a third of that time.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, Literal

Priority = Literal["low", "medium", "high", "critical"]
SettledBy = Literal["refill", "return", "person"]

URGENCY: Final[Mapping[Priority, int]] = {"low": 1, "medium": 2, "high": 3, "critical": 4}

MINUTE_S: Final = 60.0
HOUR_S: Final = 3600.0


@dataclass(frozen=True, slots=True)
class Condition:
    """One thing that can be wrong.

    `off_after_s` is the least time of clear samples before it may clear, `wakes` lets it make
    a sound between bedtime and morning, `repeat_s` is the time between messages while nobody
    answers, `next_channel_after` the repeats before one more channel joins, `settled_by` what
    counts as acknowledgement besides a person, `realarm_s` the time after which an
    acknowledged alarm that still holds speaks again, `critical_reasons` those that make it critical.
    """

    name: str
    priority: Priority
    on_samples: int
    off_samples: int
    off_after_s: float
    wakes: bool
    repeat_s: float | None
    next_channel_after: int
    settled_by: SettledBy
    realarm_s: float | None = None
    critical_reasons: frozenset[str] = frozenset()

    def priority_for(self, reason: str) -> Priority:
        """The priority this reason gives."""
        return "critical" if reason in self.critical_reasons else self.priority


_ROWS: Final = (
    # Two looks: one odd forecast must not wake anyone, and the lead time pays for the second.
    # An acknowledged nudge speaks again after 45 min: heating water and walking takes about 30,
    # and the box shows a good refill within some minutes more (common practice, no source).
    # Three nudges fit into the half hour of the default lead.
    Condition(
        name="refill-now",
        priority="high",
        on_samples=2,
        off_samples=2,
        off_after_s=10 * MINUTE_S,
        wakes=True,
        repeat_s=10 * MINUTE_S,
        next_channel_after=2,
        settled_by="refill",
        realarm_s=45 * MINUTE_S,
    ),
    # Repeats each 4 min, next channel at the first repeat: with three channels that is at most
    # 9 messages in 10 min, just under the flood limit of 10 (EEMUA 191, standards.md section 1, V).
    # Two looks, as one bad value would teach the keeper to sleep through the alarm that counts.
    Condition(
        name="under-hard-floor",
        priority="critical",
        on_samples=2,
        off_samples=2,
        off_after_s=10 * MINUTE_S,
        wakes=True,
        repeat_s=4 * MINUTE_S,
        next_channel_after=1,
        settled_by="refill",
        realarm_s=30 * MINUTE_S,
    ),
    # Heat kills faster than cold, so it wakes. It ends by itself when someone opens the box,
    # hence its return settles it.
    Condition(
        name="too-hot",
        priority="high",
        on_samples=2,
        off_samples=2,
        off_after_s=10 * MINUTE_S,
        wakes=True,
        repeat_s=5 * MINUTE_S,
        next_channel_after=2,
        settled_by="return",
        realarm_s=30 * MINUTE_S,
        critical_reasons=frozenset({"over-hard-ceiling"}),
    ),
    # A box nobody watches at night: the keeper must look or go by the timetable. Two readings
    # end it, since one lucky packet is not a working probe. It repeats seldom: when a refill
    # falls due by the timetable, refill-now says so with its own voice.
    Condition(
        name="probe-silent",
        priority="high",
        on_samples=1,
        off_samples=2,
        off_after_s=0.0,
        wakes=True,
        repeat_s=HOUR_S,
        next_channel_after=2,
        settled_by="return",
        realarm_s=12 * HOUR_S,
    ),
    # The forecast goes on from the season and the last curve, wider: nothing to do at night.
    Condition(
        name="no-outdoor",
        priority="medium",
        on_samples=1,
        off_samples=2,
        off_after_s=0.0,
        wakes=False,
        repeat_s=None,
        next_channel_after=1,
        settled_by="return",
    ),
    # A probe that lied and stopped lying still wants a look: only a person settles it.
    Condition(
        name="probe-wrong",
        priority="medium",
        on_samples=3,
        off_samples=3,
        off_after_s=30 * MINUTE_S,
        wakes=False,
        repeat_s=None,
        next_channel_after=1,
        settled_by="person",
    ),
    # Two looks, each at two full hours, so that no lid left open counts. It need not wake: a box probe that
    # hangs outside reads too cold by night and wakes by that; only if the air that may be the box's own is
    # over the ceiling does no other alarm say so, and that is critical. It ends when the readings agree.
    Condition(
        name="probes-swapped",
        priority="high",
        on_samples=2,
        off_samples=2,
        off_after_s=0.0,
        wakes=False,
        repeat_s=4 * HOUR_S,
        next_channel_after=2,
        settled_by="return",
        critical_reasons=frozenset({"too-hot-if-swapped"}),
    ),
    # A cell sags in the cold of the night and comes back by day: hours of good values, not one.
    Condition(
        name="battery-low",
        priority="low",
        on_samples=3,
        off_samples=6,
        off_after_s=6 * HOUR_S,
        wakes=False,
        repeat_s=None,
        next_channel_after=1,
        settled_by="return",
    ),
    # The keeper was told and the box shows nothing: perhaps asleep, perhaps a cold jug.
    # It takes over from the nudge, with the next channel at its first repeat.
    Condition(
        name="refill-not-seen",
        priority="high",
        on_samples=1,
        off_samples=1,
        off_after_s=0.0,
        wakes=True,
        repeat_s=10 * MINUTE_S,
        next_channel_after=1,
        settled_by="refill",
        realarm_s=45 * MINUTE_S,
    ),
    # It is over when it is known; it must still be read, so only a person settles it.
    Condition(
        name="daemon-was-down",
        priority="medium",
        on_samples=1,
        off_samples=2,
        off_after_s=0.0,
        wakes=False,
        repeat_s=None,
        next_channel_after=1,
        settled_by="person",
    ),
    # Does not wake by itself: if readings stop, probe-silent wakes for each box with what it
    # means there, and probes that gather may bridge a short loss.
    Condition(
        name="broker-gone",
        priority="high",
        on_samples=1,
        off_samples=1,
        off_after_s=MINUTE_S,
        wakes=False,
        repeat_s=30 * MINUTE_S,
        next_channel_after=2,
        settled_by="return",
    ),
    # Alarms go on from memory, so it can wait for the morning; two failures, as one busy card is none.
    Condition(
        name="journal-failing",
        priority="high",
        on_samples=2,
        off_samples=1,
        off_after_s=5 * MINUTE_S,
        wakes=False,
        repeat_s=4 * HOUR_S,
        next_channel_after=2,
        settled_by="person",
    ),
)

CONDITIONS: Final[Mapping[str, Condition]] = {row.name: row for row in _ROWS}

# Suppressed by design: while one of the second holds for a subject, the first says less of the
# same box, and two voices at night delay the one act both ask for. The probe alarms are not
# here: what is blind must never be hidden by what is cold.
SUPPRESSED_BY: Final[Mapping[str, tuple[str, ...]]] = {
    "refill-now": ("under-hard-floor", "refill-not-seen"),
    "refill-not-seen": ("under-hard-floor",),
}

# Repeats slow down, for a keeper who is not there is not brought by the thirtieth message, and the
# thirtieth hides the one about another box: twice the wait after each six, up to these (our choice).
SLOWER_AFTER: Final = 6
LONGEST_WAIT_S: Final = HOUR_S
LONGEST_CRITICAL_WAIT_S: Final = 15 * MINUTE_S
