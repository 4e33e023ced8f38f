"""A note taken back: what it did to the box is undone, the note itself stays in the journal.

Each of the keeper's last notes is remembered with what stood before it. A `withdraw` note names one by its
key. What later notes did stays: a count taken back leaves the losses after it counted.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

from coldbrood.brooder.estimate import Estimate
from coldbrood.watch.events import LookIn, Note, NoteKind

if TYPE_CHECKING:
    from coldbrood.watch.sight import BoxSight

TOLD_KEPT: Final = 20


@dataclass(frozen=True, slots=True)
class Told:
    """One note and what it changed: chicks by how many, the refill times that stood before it."""

    key: str
    kind: NoteKind
    box: str | None
    t_s: float
    alarm: str | None = None
    look_in: LookIn | None = None
    chicks_by: int = 0
    refill_t_s: float | None = None
    noted_refill_t_s: float | None = None
    estimate_refill_s: float | None = None


def keys_taken_back(notes: Iterable[Note]) -> set[str]:
    """Keys of the notes that another of these took back."""
    return {note.text for note in notes if note.kind == "withdraw"}


def standing(notes: Sequence[Note]) -> list[Note]:
    """The notes less those that were taken back, and less the taking back."""
    back = keys_taken_back(notes)
    return [note for note in notes if note.kind != "withdraw" and note.key not in back]


def told_of(note: Note, before: "BoxSight | None", after: "BoxSight | None") -> Told:
    """What to remember of a note that has just been taken in."""
    if before is None or after is None:
        return Told(note.key, note.kind, note.box, note.t_s, note.alarm)
    return Told(
        key=note.key,
        kind=note.kind,
        box=note.box,
        t_s=note.t_s,
        alarm=note.alarm,
        look_in=note.look_in,
        chicks_by=after.chicks - before.chicks,
        refill_t_s=before.refill_t_s,
        noted_refill_t_s=before.noted_refill_t_s,
        estimate_refill_s=before.estimate.refill_s,
    )


def found(told: tuple[Told, ...], key: str) -> Told | None:
    """The remembered note of this key; None if it is too long ago, taken back already or never was."""
    return next((item for item in told if item.key == key), None)


def undone(box: "BoxSight", told: Told) -> "BoxSight":
    """The box without what this note did."""
    if told.kind in ("count", "loss"):
        loss_t_s = None if box.loss_t_s == told.t_s else box.loss_t_s
        return replace(box, chicks=max(0, box.chicks - told.chicks_by), loss_t_s=loss_t_s)
    if told.kind == "look-in":
        kept = tuple(s for s in box.look_ins if (s.kind, s.t_s) != (told.look_in, told.t_s))
        return replace(box, look_ins=kept)
    if told.kind == "refill" and box.noted_refill_t_s == told.t_s:
        return _unfilled(box, told)
    return box


def _unfilled(box: "BoxSight", told: Told) -> "BoxSight":
    """A refill that only a note told of. One that the box's rise has shown meanwhile stays.

    What the estimate has already built on cannot be taken out of it; the readings correct it from here on.
    """
    box = replace(box, noted_refill_t_s=told.noted_refill_t_s, estimate=_not_due(box.estimate, told))
    return replace(box, refill_t_s=told.refill_t_s) if box.refill_t_s == told.t_s else box


def _not_due(estimate: Estimate, told: Told) -> Estimate:
    due = tuple(d for d in estimate.due if not (d.kind == "noted" and d.t_s == told.t_s))
    if len(due) == len(estimate.due):
        return estimate
    return replace(estimate, due=due, refill_s=told.estimate_refill_s, refills=estimate.refills - 1)
