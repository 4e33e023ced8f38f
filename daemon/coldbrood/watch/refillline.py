"""Refills as lines of the history, and as the keeper knows them: those seen and those noted, each once.

The line is written when the refill is seen, which a bundle may bring hours late; its detail says when it was.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime
from itertools import zip_longest
from typing import Final

from coldbrood.brooder.estimate import ONE_REFILL_S
from coldbrood.brooder.refills import LEAST_RISE_C, Refill
from coldbrood.watch.boxstate import rfc3339
from coldbrood.watch.events import History, Note, Now
from coldbrood.watch.localtime import wall_of

KIND: Final = "refill"
AT: Final = " at="
LATEST_S: Final = 2 * 86_400.0
"""So much later a line may come than its refill: the door takes no reading that is older."""


@dataclass(frozen=True, slots=True)
class Poured:
    """One refill: Unix time, and how hot the water was if it was noted."""

    box: str
    wall_s: float
    fill_c: float | None


def line_of(box: str, refill: Refill, now: Now) -> History:
    """The line to keep."""
    seen_by = "rise" if refill.rise_c > LEAST_RISE_C else "lid"
    reason = seen_by if refill.kind == "seen" else "note"
    detail = f"{refill.rise_c:.1f} C{AT}{rfc3339(wall_of(now, refill.t_s))}"
    return History(KIND, box, refill.kind, reason, detail)


def seen_by(line: History) -> str:
    """By what the refill of a line was seen: the rise of the box, or a lid lifted when one was due."""
    if line.reason == "lid":
        return "the lid was lifted when one was due"
    return f"the box rose {line.detail.partition(AT)[0]}"


def each(lines: Iterable[tuple[float, History]], notes: Iterable[Note]) -> list[Poured]:
    """Every refill in order, of lines (Unix time, line) and notes that stand.

    Of one box within 45 minutes they are the same one, at the first of these times: but of those seen, one
    in doubt gave way to the next, so that the last of them says when it was.
    """
    noted = [
        Poured(note.box, note.wall_s, note.fill_c)
        for note in notes
        if note.kind == "refill" and note.box is not None
    ]
    found = [*_standing(_seen(lines)), *noted]
    merged: list[Poured] = []
    for one in sorted(found, key=lambda one: (one.box, one.wall_s)):
        last = merged[-1] if merged else None
        if last is not None and last.box == one.box and one.wall_s - last.wall_s < ONE_REFILL_S:
            merged[-1] = replace(last, fill_c=one.fill_c if last.fill_c is None else last.fill_c)
        else:
            merged.append(one)
    return sorted(merged, key=lambda one: one.wall_s)


def _seen(lines: Iterable[tuple[float, History]]) -> list[Poured]:
    return [
        Poured(line.subject, _wall_s(line, wall_s), None)
        for wall_s, line in lines
        if line.kind == KIND and line.state == "seen"
    ]


def _standing(seen: list[Poured]) -> list[Poured]:
    """Those that no later one of the same box replaced."""
    order = sorted(seen, key=lambda one: (one.box, one.wall_s))
    return [
        one
        for one, later in zip_longest(order, order[1:])
        if later is None or later.box != one.box or later.wall_s - one.wall_s >= ONE_REFILL_S
    ]


def _wall_s(line: History, seen_wall_s: float) -> float:
    """When the refill was; a line of before that was kept says no more than when it was seen."""
    try:
        return datetime.fromisoformat(line.detail.partition(AT)[2]).timestamp()
    except ValueError:
        return seen_wall_s
