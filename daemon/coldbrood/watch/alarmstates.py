"""The states of an alarm, in the words of IEC 62682 / ISA-18.2, as one table.

An alarm is one condition of one subject (a box, a probe, the daemon). Two facts make its
state: does the condition hold (`active`), and has somebody answered. Four states follow:
normal, unacknowledged, acknowledged, returned-unacknowledged. Three more hide it from
people while the condition is still tracked underneath: shelved (by a person, with an end),
suppressed (by design, by SUPPRESSED_BY), out-of-service (by a person, no end). When one of
these ends, the alarm comes back as what its condition says at that moment.

TRANSITIONS and IMPOSSIBLE share out every pair of state and event. An impossible event
raises ImpossibleEvent and changes nothing. Silence is no event: a verdict without a sample
neither counts towards raising nor towards clearing. `diagram()` draws the table.

Source of states and transitions: reference/standards.md section 1 (V: PA, OPC).
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, Literal, get_args

from coldbrood.watch.conditions import (
    CONDITIONS,
    LONGEST_CRITICAL_WAIT_S,
    LONGEST_WAIT_S,
    SLOWER_AFTER,
    URGENCY,
    Condition,
    Priority,
)

AlarmState = Literal[
    "normal",
    "unacknowledged",
    "acknowledged",
    "returned-unacknowledged",
    "shelved",
    "suppressed",
    "out-of-service",
]
AlarmEvent = Literal[
    "raise",
    "clear",
    "acknowledge",
    "re-alarm",
    "shelve",
    "unshelve",
    "suppress",
    "unsuppress",
    "remove",
    "restore",
]
Next = AlarmState | Literal["by-condition"]

STATES: Final[tuple[AlarmState, ...]] = get_args(AlarmState)
EVENTS: Final[tuple[AlarmEvent, ...]] = get_args(AlarmEvent)

TRANSITIONS: Final[Mapping[tuple[AlarmState, AlarmEvent], Next]] = {
    ("normal", "raise"): "unacknowledged",
    ("normal", "shelve"): "shelved",
    ("normal", "suppress"): "suppressed",
    ("normal", "remove"): "out-of-service",
    ("unacknowledged", "clear"): "returned-unacknowledged",
    ("unacknowledged", "acknowledge"): "acknowledged",
    ("unacknowledged", "shelve"): "shelved",
    ("unacknowledged", "suppress"): "suppressed",
    ("unacknowledged", "remove"): "out-of-service",
    ("acknowledged", "clear"): "normal",
    ("acknowledged", "re-alarm"): "unacknowledged",
    ("acknowledged", "shelve"): "shelved",
    ("acknowledged", "suppress"): "suppressed",
    ("acknowledged", "remove"): "out-of-service",
    ("returned-unacknowledged", "raise"): "unacknowledged",
    ("returned-unacknowledged", "acknowledge"): "normal",
    ("returned-unacknowledged", "shelve"): "shelved",
    ("returned-unacknowledged", "suppress"): "suppressed",
    ("returned-unacknowledged", "remove"): "out-of-service",
    ("shelved", "raise"): "shelved",
    ("shelved", "clear"): "shelved",
    ("shelved", "shelve"): "shelved",  # a new end
    ("shelved", "unshelve"): "by-condition",
    ("shelved", "remove"): "out-of-service",
    ("suppressed", "raise"): "suppressed",
    ("suppressed", "clear"): "suppressed",
    ("suppressed", "shelve"): "shelved",  # a person outranks the logic
    ("suppressed", "unsuppress"): "by-condition",
    ("suppressed", "remove"): "out-of-service",
    ("out-of-service", "raise"): "out-of-service",
    ("out-of-service", "clear"): "out-of-service",
    ("out-of-service", "restore"): "by-condition",
}

_NEVER: Final[Mapping[AlarmState, tuple[AlarmEvent, ...]]] = {
    "normal": ("clear", "acknowledge", "re-alarm", "unshelve", "unsuppress", "restore"),
    "unacknowledged": ("raise", "re-alarm", "unshelve", "unsuppress", "restore"),
    "acknowledged": ("raise", "acknowledge", "unshelve", "unsuppress", "restore"),
    "returned-unacknowledged": ("clear", "re-alarm", "unshelve", "unsuppress", "restore"),
    "shelved": ("acknowledge", "re-alarm", "suppress", "unsuppress", "restore"),
    "suppressed": ("acknowledge", "re-alarm", "unshelve", "suppress", "restore"),
    "out-of-service": (("acknowledge", "re-alarm", "shelve", "unshelve", "suppress", "unsuppress", "remove")),
}
IMPOSSIBLE: Final = frozenset((state, event) for state, events in _NEVER.items() for event in events)


class ImpossibleEvent(ValueError):  # noqa: N818 - it names what happened, as the table does
    """An event the table does not allow in this state. Nothing was changed."""

    def __init__(self, state: AlarmState, event: AlarmEvent, key: str) -> None:
        super().__init__(f"{key}: {event!r} can not happen while {state!r}")
        self.state = state
        self.event = event
        self.key = key


@dataclass(frozen=True, slots=True)
class Alarm:
    """One condition of one subject. Plain fields; times are None where it never happened.

    `priority` is the worst since it was raised, `told` counts the nudges since then, `since`
    is when the state last changed.
    """

    condition: str
    subject: str
    state: AlarmState = "normal"
    priority: Priority = "low"
    active: bool = False
    reason: str = ""
    detail: str = ""
    raised_t_s: float | None = None
    raised_wall_s: float | None = None
    since_t_s: float | None = None
    since_wall_s: float | None = None
    shelved_until_t_s: float | None = None
    shelved_until_wall_s: float | None = None
    on_count: int = 0
    off_count: int = 0
    off_since_t_s: float | None = None
    told: int = 0
    last_told_t_s: float | None = None
    raises: int = 0

    @property
    def key(self) -> str:
        """The one name of this alarm."""
        return f"{self.condition}/{self.subject}"

    @property
    def row(self) -> Condition:
        """How its condition is treated."""
        return CONDITIONS[self.condition]

    @property
    def wait_s(self) -> float | None:
        """How long after the last nudge the next one comes, while nobody answers; None if only told once."""
        if self.row.repeat_s is None:
            return None
        longest_s = LONGEST_CRITICAL_WAIT_S if self.priority == "critical" else LONGEST_WAIT_S
        slower_s = self.row.repeat_s * 2.0 ** min(self.told // SLOWER_AFTER, 16)
        return max(self.row.repeat_s, min(slower_s, longest_s))

    @property
    def urgency(self) -> int:
        """1 low .. 4 critical."""
        return URGENCY[self.priority]


def blank(condition: str, subject: str) -> Alarm:
    """An alarm that was never raised."""
    return Alarm(condition, subject, priority=CONDITIONS[condition].priority)


def possible(state: AlarmState, event: AlarmEvent) -> bool:
    """Whether the table allows the event."""
    return (state, event) in TRANSITIONS


def next_state(alarm: Alarm, event: AlarmEvent) -> AlarmState:
    """The state after the event. Raises ImpossibleEvent."""
    following = TRANSITIONS.get((alarm.state, event))
    if following is None:
        raise ImpossibleEvent(alarm.state, event, alarm.key)
    if following == "by-condition":
        return "unacknowledged" if alarm.active else "normal"
    return following


def diagram() -> str:
    """The table as text, one line a transition."""
    width = max(map(len, STATES))
    longest = max(map(len, EVENTS))
    return "\n".join(
        f"{state:<{width}}  --{event:-<{longest}}->  {following}"
        for (state, event), following in TRANSITIONS.items()
    )
