"""What came of the night, read back from the journal: what was asked for, when, why, and what followed."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from coldbrood.brooder.timetable import interval
from coldbrood.codec import unpack
from coldbrood.demo import scenario
from coldbrood.demo.screen import wrapped
from coldbrood.journal.reader import HistoryLine, JournalReader
from coldbrood.watch.localtime import clock_text, is_night
from coldbrood.watch.outbox import Message
from coldbrood.watch.site import Site

STILL_UP_S: Final = 900.0  # a refill due this soon after bedtime wakes nobody


@dataclass(frozen=True, slots=True)
class Asked:
    """One thing the keeper was told: its first message, how often it was said, the reason, what ended it.

    `alarm` tells a nudge from what the clock says, which comes while the keeper is up.
    """

    wall_s: float
    alarm: bool
    title: str
    body: str
    times: int
    reason: str
    answered_wall_s: float | None
    over_wall_s: float | None


def asked(reader: JournalReader, until_wall_s: float) -> list[Asked]:
    """Everything said up to a time, in order, from the outbox and the history of the journal."""
    lines = reader.history(-math.inf, until_wall_s, "alarm")
    told: dict[str, list[Message]] = {}
    for body in reader.messages().values():
        message = unpack(body, Message)
        if message.state == "accepted" and message.created_wall_s < until_wall_s:
            told.setdefault(_occasion(message.key), []).append(message)
    found = [_asked(sorted(same, key=lambda one: one.created_wall_s), lines) for same in told.values()]
    return sorted(found, key=lambda one: one.wall_s)


def _occasion(key: str) -> str:
    """What all nudges of one occasion share of their keys: refill-now/a#1.2@phone -> refill-now/a#1."""
    about, _, number = key.rpartition("@")[0].partition("#")
    return f"{about}#{number.partition('.')[0]}"


def _asked(same: Sequence[Message], lines: Sequence[HistoryLine]) -> Asked:
    first = same[0]
    own = [line for line in lines if line.line.subject == first.about]
    raised = [
        one for one in own if one.line.detail.startswith("raise") and one.wall_s <= first.created_wall_s
    ]
    after = [one for one in own if one.wall_s > first.created_wall_s]
    return Asked(
        wall_s=first.created_wall_s,
        alarm=bool(own),
        title=first.title,
        body=first.body,
        times=len(same),
        reason=raised[-1].line.reason if raised else first.about.partition("/")[0],
        answered_wall_s=_first(after, "acknowledge"),
        over_wall_s=_first(after, "clear"),
    )


def _first(lines: Sequence[HistoryLine], event: str) -> float | None:
    return next((line.wall_s for line in lines if line.line.detail.startswith(event)), None)


def wakings(site: Site, told: Sequence[Asked]) -> int:
    """Occasions on which the phone made a sound between bedtime and rising, each counted once."""
    return sum(one.alarm and is_night(site, one.wall_s) for one in told)


def timetable_wakings(site: Site, from_wall_s: float, to_wall_s: float) -> tuple[float, int]:
    """Hours between refills by the age timetable, and how many of them fall into the keeper's sleep."""
    hours = interval(scenario.AGE_DAYS, None, None).hours or math.inf
    due = _due(from_wall_s, to_wall_s, hours * 3600.0)
    asleep = [at for at in due if is_night(site, at) and is_night(site, at - STILL_UP_S)]
    return hours, len(asleep)


def _due(from_wall_s: float, to_wall_s: float, every_s: float) -> Iterator[float]:
    at = from_wall_s + every_s
    while at <= to_wall_s:
        yield at
        at += every_s


def table_lines(site: Site, told: Sequence[Asked], width: int) -> list[str]:
    """The table as text: time, what was asked, why, and how it ended."""
    lines = ["What was asked for, when and why:"]
    for one in told:
        lines += wrapped(f"{clock_text(site, one.wall_s)}  {one.title}", width, 7)
        lines += wrapped(f"       {_why(site, one)}", width, 7)
    return lines


def _why(site: Site, one: Asked) -> str:
    if not one.alarm:
        return f"why: {one.reason}"
    first_sentence = one.body.partition(". ")[0].rstrip(".")
    said = [
        f"why: {one.reason}. {first_sentence}.",
        "Told once" if one.times == 1 else f"Told {one.times} times",
    ]
    answered_s, over_s = one.answered_wall_s, one.over_wall_s
    if answered_s is not None and (over_s is None or answered_s <= over_s):
        said.append(f"answered {clock_text(site, answered_s)}")
    if over_s is not None:
        said.append(f"over {clock_text(site, over_s)}")
    return f"{said[0]} {', '.join(said[1:])}."


def waking_line(site: Site, told: Sequence[Asked], from_wall_s: float, to_wall_s: float) -> str:
    """How often the keeper was woken, against the age timetable."""
    hours, by_timetable = timetable_wakings(site, from_wall_s, to_wall_s)
    return (
        f"Woken {_times(wakings(site, told))}. By the age timetable, a refill each {hours:g} h, "
        f"the keeper would have got up {_times(by_timetable)}."
    )


def _times(count: int) -> str:
    return ("not at all", "once", "twice")[count] if count < 3 else f"{count} times"
