"""The chicks of a batch: how many came, each loss with the day before it, and their mass by the table."""

from collections.abc import Sequence
from dataclasses import dataclass

from coldbrood.brooder.flock import mass_kg
from coldbrood.report.gather import Facts
from coldbrood.report.nights import DAY_S, over_s, under
from coldbrood.watch.events import Note
from coldbrood.watch.localtime import age_days

FIRST_DAYS = 3.0
"""Losses within 72 h usually come from the journey, later ones from the brooder (common practice)."""


@dataclass(frozen=True, slots=True)
class Loss:
    """What was noted, and the day before in the box: lowest, highest, minutes under and over the band."""

    box: str
    wall_s: float
    age_days: float
    count: int
    text: str
    low_c: float | None
    high_c: float | None
    under_min: float
    over_min: float

    @property
    def early(self) -> bool:
        """Whether it was within the first 72 hours."""
        return self.age_days < FIRST_DAYS


@dataclass(frozen=True, slots=True)
class Flocked:
    """One box: chicks at the start and now, and `steps` (Unix time, chicks) at each change that was noted.

    `unexplained` is how many a head count found more (or, below 0, fewer) than the losses had left.
    """

    box: str
    began: int
    left: int
    unexplained: int
    steps: tuple[tuple[float, int], ...]


def losses(facts: Facts) -> list[Loss]:
    """Every loss that was noted and not taken back, in order."""
    told = [(note, note.box) for note in facts.notes if note.kind == "loss" and note.box is not None]
    return [_loss(facts, note, box) for note, box in told if box in facts.boxes]


def _loss(facts: Facts, note: Note, box: str) -> Loss:
    seen = facts.boxes[box].between(note.wall_s - DAY_S, note.wall_s)
    lowest, highest = seen.lowest(), seen.highest()
    return Loss(
        box=box,
        wall_s=note.wall_s,
        age_days=age_days(facts.site, note.wall_s),
        count=1 if note.count is None else note.count,
        text=note.text,
        low_c=None if lowest is None else lowest[1],
        high_c=None if highest is None else highest[1],
        under_min=under(facts, box, seen, note.wall_s)[0] / 60.0,
        over_min=over_s(facts, box, seen, note.wall_s) / 60.0,
    )


def flocks(facts: Facts) -> list[Flocked]:
    """The count of each box as the notes tell it; a count in the first hours is the number that came."""
    return [_flock(facts, box) for box in facts.boxes]


def _flock(facts: Facts, box: str) -> Flocked:
    began = left = facts.site.batch.chicks.get(box, 0)
    steps, unexplained, any_loss = [(facts.told.from_s, began)], 0, False
    for note in facts.notes:
        if note.box != box or note.kind not in ("count", "loss"):
            continue
        if note.kind == "loss":
            left, any_loss = max(0, left - (1 if note.count is None else note.count)), True
        elif note.count is not None:
            first = not any_loss and len(steps) == 1 and age_days(facts.site, note.wall_s) < 1.0
            began = note.count if first else began
            unexplained += 0 if first else note.count - left
            left = note.count
        steps.append((note.wall_s, left))
    return Flocked(box, began, left, unexplained, tuple(steps))


def masses_g(facts: Facts, days: Sequence[float]) -> list[tuple[float, float]]:
    """Mass by the table of the breed's kind at these ages, in g. Nothing was weighed."""
    kind = facts.site.batch.kind
    return [(day, 1000.0 * mass_kg(day, kind)) for day in days]
