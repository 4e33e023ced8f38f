"""The alarm machine: verdicts in, alarms and what changed in them out.

All functions are pure: they take the alarms by key and give new ones; what did not change,
a row or the whole, is passed on as the same object. `t_s` is watch time and measures every duration;
`wall_s` is only a label. What each condition asks for stands in conditions.py, the states
and the table in alarmstates.py.
"""

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Final

from coldbrood.watch.alarmstates import Alarm, AlarmEvent, ImpossibleEvent, blank, next_state, possible
from coldbrood.watch.conditions import CONDITIONS, SUPPRESSED_BY, URGENCY

__all__ = [
    "CONDITIONS",
    "Alarm",
    "AlarmEvent",
    "Change",
    "ImpossibleEvent",
    "UnknownAlarm",
    "Verdict",
    "acknowledge",
    "advance",
    "expire",
    "refill_seen",
    "remove",
    "restore",
    "shelve",
    "take_back",
    "to_tell",
    "told",
    "unshelve",
]

SHELVE_MAX_S: Final = 12 * 3600.0
CRITICAL_SHELVE_MAX_S: Final = 3600.0


class UnknownAlarm(ValueError):  # noqa: N818 - it names what is wrong, like ImpossibleEvent
    """A key that names no condition of the table."""


Alarms = Mapping[str, Alarm]


@dataclass(frozen=True, slots=True)
class Verdict:
    """One look at one condition. `holds` None: no sample. `clear`: past the deadband on the good side.

    Raises ValueError if `clear` goes with anything but `holds` False: silence never clears.
    """

    condition: str
    subject: str
    holds: bool | None
    clear: bool
    reason: str = ""
    detail: str = ""

    def __post_init__(self) -> None:
        if self.condition not in CONDITIONS:
            raise UnknownAlarm(f"condition: {self.condition}: one of {', '.join(CONDITIONS)}")
        if self.clear and self.holds is not False:
            raise ValueError(f"clear: True with holds {self.holds}: only a sample that does not hold clears")

    @property
    def key(self) -> str:
        """The alarm it is about."""
        return f"{self.condition}/{self.subject}"


@dataclass(frozen=True, slots=True)
class Change:
    """What became of one alarm. `event` None: another reason, the same state."""

    key: str
    before: Alarm
    after: Alarm
    event: AlarmEvent | None
    reason: str


Result = tuple[Alarms, tuple[Change, ...]]


class _Book:
    """The alarms of one call, and what changed in them."""

    def __init__(self, alarms: Alarms, t_s: float, wall_s: float) -> None:
        self._given = alarms
        self.rows = dict(alarms)
        self.t_s = t_s
        self.wall_s = wall_s
        self.changes: list[Change] = []

    def keep(self, alarm: Alarm) -> None:
        if self.rows.get(alarm.key) != alarm:
            self.rows[alarm.key] = alarm

    def fire(self, staged: Alarm, event: AlarmEvent, reason: str) -> Alarm:
        """Move the staged row along the table; the row before it is the one in the book."""
        before = self.rows.get(staged.key) or blank(staged.condition, staged.subject)
        after = replace(staged, state=next_state(staged, event))
        if after.state != before.state:
            after = replace(after, since_t_s=self.t_s, since_wall_s=self.wall_s)
            if after.state == "unacknowledged":
                after = replace(after, last_told_t_s=None)
        self.keep(after)
        self.changes.append(Change(after.key, before, after, event, reason))
        return after

    def close(self) -> Result:
        """Apply the suppression by design, then hand out."""
        for alarm in tuple(self.rows.values()):
            _suppress(self, alarm)
        return (self._given if self.rows == self._given else self.rows), tuple(self.changes)


def advance(alarms: Alarms, verdicts: Iterable[Verdict], t_s: float, wall_s: float) -> Result:
    """Take one look at each of some conditions."""
    book = _Book(alarms, t_s, wall_s)
    for verdict in verdicts:
        if verdict.holds is None:
            continue
        alarm = book.rows.get(verdict.key) or blank(verdict.condition, verdict.subject)
        if verdict.holds:
            _holds(book, alarm, verdict)
        else:
            _holds_not(book, alarm, verdict)
    return book.close()


def expire(alarms: Alarms, t_s: float, wall_s: float) -> Result:
    """End the shelves whose time is over, and let acknowledged alarms that still hold speak again."""
    book = _Book(alarms, t_s, wall_s)
    for alarm in alarms.values():
        if alarm.state == "shelved" and t_s >= (alarm.shelved_until_t_s or 0.0):
            book.fire(_off_shelf(alarm), "unshelve", "shelf-ended")
        elif alarm.state == "acknowledged" and _realarm_due(alarm, t_s):
            book.fire(alarm, "re-alarm", alarm.reason)
    return book.close()


def acknowledge(alarms: Alarms, target: str, t_s: float, wall_s: float) -> Result:
    """A person answers one alarm by key, or all that wait of a subject.

    Raises UnknownAlarm, and ImpossibleEvent for a key whose state has nothing to answer.
    """
    return _by_person(_Book(alarms, t_s, wall_s), target, "acknowledge", lambda alarm: alarm)


def refill_seen(alarms: Alarms, box: str, t_s: float, wall_s: float) -> Result:
    """The box's own rise answers every alarm of this box that a refill settles."""
    book = _Book(alarms, t_s, wall_s)
    for alarm in alarms.values():
        settled = alarm.subject == box and alarm.row.settled_by == "refill"
        if settled and possible(alarm.state, "acknowledge"):
            book.fire(alarm, "acknowledge", "refill-seen")
    return book.close()


def shelve(alarms: Alarms, target: str, for_s: float, t_s: float, wall_s: float) -> Result:
    """Hide by key, or all of a subject that are not normal, for a time: 12 h at most, critical 60 min.

    A longer wish is cut to the limit, and `shelved_until_t_s` shows it. Raises ValueError for
    a time that is no positive number, UnknownAlarm, and ImpossibleEvent when out of service.
    """
    if not (math.isfinite(for_s) and for_s > 0):
        raise ValueError(f"for_s: {for_s}: seconds to shelve, more than 0")

    def put_away(alarm: Alarm) -> Alarm:
        limit_s = CRITICAL_SHELVE_MAX_S if alarm.priority == "critical" else SHELVE_MAX_S
        length_s = min(for_s, limit_s)
        return replace(alarm, shelved_until_t_s=t_s + length_s, shelved_until_wall_s=wall_s + length_s)

    return _by_person(_Book(alarms, t_s, wall_s), target, "shelve", put_away)


def unshelve(alarms: Alarms, target: str, t_s: float, wall_s: float) -> Result:
    """Show again, by key or all shelved of a subject. Raises UnknownAlarm, ImpossibleEvent."""
    return _by_person(_Book(alarms, t_s, wall_s), target, "unshelve", _off_shelf)


def take_back(alarms: Alarms, target: str, t_s: float, wall_s: float) -> Result:
    """An answer was a mistake: what was acknowledged or shelved asks again. What is over stays over."""
    book = _Book(alarms, t_s, wall_s)
    for alarm in alarms.values():
        if target not in (alarm.key, alarm.subject):
            continue
        if alarm.state == "acknowledged":
            book.fire(alarm, "re-alarm", "taken-back")
        elif alarm.state == "shelved":
            book.fire(_off_shelf(alarm), "unshelve", "taken-back")
    return book.close()


def remove(alarms: Alarms, target: str, t_s: float, wall_s: float) -> Result:
    """Take out of service, until `restore`. Raises UnknownAlarm, ImpossibleEvent."""
    return _by_person(_Book(alarms, t_s, wall_s), target, "remove", _off_shelf)


def restore(alarms: Alarms, target: str, t_s: float, wall_s: float) -> Result:
    """Put back in service. Raises UnknownAlarm, ImpossibleEvent."""
    return _by_person(_Book(alarms, t_s, wall_s), target, "restore", lambda alarm: alarm)


def to_tell(alarms: Alarms, t_s: float, quiet: bool) -> tuple[tuple[str, int, int], ...]:
    """Which alarms want a message now: (key, number of the nudge, channels it goes to), most urgent first.

    In quiet time only what wakes, and whatever is critical.
    """
    wanted = [alarm for alarm in alarms.values() if _wants(alarm, t_s, quiet)]
    wanted.sort(key=lambda alarm: (-alarm.urgency, alarm.key))
    return tuple((a.key, a.told + 1, 1 + a.told // a.row.next_channel_after) for a in wanted)


def told(alarms: Alarms, key: str, t_s: float) -> Alarms:
    """Note that a nudge about it was put in the outbox."""
    alarm = alarms[key]
    return {**alarms, key: replace(alarm, told=alarm.told + 1, last_told_t_s=t_s)}


def _holds(book: _Book, alarm: Alarm, verdict: Verdict) -> None:
    row = alarm.row
    count = min(alarm.on_count + 1, row.on_samples)
    alarm = replace(alarm, on_count=count, off_count=0, off_since_t_s=None)
    if alarm.active:
        _new_reason(book, alarm, verdict)
    elif count < row.on_samples:
        book.keep(alarm)
    else:
        raised = replace(
            alarm,
            active=True,
            priority=row.priority_for(verdict.reason),
            reason=verdict.reason,
            detail=verdict.detail,
            raised_t_s=book.t_s,
            raised_wall_s=book.wall_s,
            told=0,
            last_told_t_s=None,
            raises=alarm.raises + 1,
        )
        book.fire(raised, "raise", verdict.reason)


def _new_reason(book: _Book, alarm: Alarm, verdict: Verdict) -> None:
    """Another reason needs no second raise, unless it is worse: then nobody has answered *that* yet."""
    priority = alarm.row.priority_for(verdict.reason)
    staged = replace(alarm, reason=verdict.reason, detail=verdict.detail)
    if URGENCY[priority] > alarm.urgency:
        _worse(book, replace(staged, priority=priority))
    elif staged.reason != alarm.reason:
        _same_state(book, staged)
    else:
        book.keep(staged)


def _worse(book: _Book, staged: Alarm) -> None:
    if staged.state == "acknowledged":
        book.fire(staged, "re-alarm", staged.reason)
    elif staged.state == "shelved":
        book.fire(_off_shelf(staged), "unshelve", staged.reason)
    else:
        _same_state(book, replace(staged, last_told_t_s=None))


def _same_state(book: _Book, staged: Alarm) -> None:
    before = book.rows[staged.key]
    book.keep(staged)
    book.changes.append(Change(staged.key, before, staged, None, staged.reason))


def _holds_not(book: _Book, alarm: Alarm, verdict: Verdict) -> None:
    alarm = replace(alarm, on_count=0)
    if not alarm.active or not verdict.clear:
        alarm = replace(alarm, off_count=0, off_since_t_s=None)
        if alarm.key in book.rows:
            book.keep(alarm)
        return
    since_s = book.t_s if alarm.off_since_t_s is None else alarm.off_since_t_s
    alarm = replace(alarm, off_count=min(alarm.off_count + 1, alarm.row.off_samples), off_since_t_s=since_s)
    if alarm.off_count < alarm.row.off_samples or book.t_s - since_s < alarm.row.off_after_s:
        book.keep(alarm)
        return
    cleared = replace(alarm, active=False, off_count=0, off_since_t_s=None)
    after = book.fire(cleared, "clear", verdict.reason or alarm.reason)
    if after.state == "returned-unacknowledged" and after.row.settled_by == "return":
        book.fire(after, "acknowledge", "returned")


def _suppress(book: _Book, alarm: Alarm) -> None:
    above = [
        row.condition
        for condition in SUPPRESSED_BY.get(alarm.condition, ())
        if (row := book.rows.get(f"{condition}/{alarm.subject}")) is not None
        and row.active
        and row.state != "out-of-service"
    ]
    if above and alarm.state in ("normal", "unacknowledged", "acknowledged"):
        book.fire(alarm, "suppress", above[0])
    elif alarm.state == "suppressed" and not above:
        book.fire(alarm, "unsuppress", alarm.reason or "returned")  # one never raised has no reason


def _off_shelf(alarm: Alarm) -> Alarm:
    return replace(alarm, shelved_until_t_s=None, shelved_until_wall_s=None)


def _by_person(book: _Book, target: str, event: AlarmEvent, stage: Callable[[Alarm], Alarm]) -> Result:
    for alarm in _meant(book.rows, target, event):
        book.fire(stage(alarm), event, "by-person")
    return book.close()


def _meant(alarms: Alarms, target: str, event: AlarmEvent) -> tuple[Alarm, ...]:
    """The alarms a person means: the one of a key, else what of a subject is alive and can take the event.

    A subject leaves normal alarms alone, so that shelving a nudge can not hide a fire not yet lit.
    """
    condition, slash, subject = target.partition("/")
    if not slash:
        mine = (a for a in alarms.values() if a.subject == target and a.state != "normal")
        return tuple(a for a in mine if possible(a.state, event))
    if condition not in CONDITIONS or not subject:
        raise UnknownAlarm(
            f"alarm: {target}: <condition>/<subject>, condition one of {', '.join(CONDITIONS)}"
        )
    return (alarms.get(target) or blank(condition, subject),)


def _realarm_due(alarm: Alarm, t_s: float) -> bool:
    after_s = alarm.row.realarm_s
    return after_s is not None and t_s - (alarm.since_t_s or 0.0) >= after_s


def _wants(alarm: Alarm, t_s: float, quiet: bool) -> bool:
    if alarm.state == "returned-unacknowledged":
        return alarm.told == 0 and not quiet  # it came and went in the quiet hours: said once
    if alarm.state != "unacknowledged" or (quiet and not (alarm.row.wakes or alarm.priority == "critical")):
        return False
    if alarm.off_since_t_s is not None:
        return False  # on the way back already: it would ask for what has been done
    if alarm.last_told_t_s is None:
        return True
    return alarm.wait_s is not None and t_s - alarm.last_told_t_s >= alarm.wait_s
