"""What the box learned: how long a fill holds at 0, 5 and 10 C outside, as a range, for the next batch."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from coldbrood import keep
from coldbrood.brooder.band import band
from coldbrood.brooder.bank import Bank
from coldbrood.brooder.estimate import Estimate, bank_at, learned
from coldbrood.brooder.sizing import Help, Sizing, helps, size
from coldbrood.brooder.specs import BoxSpec, ChickKind, Flock, OutdoorCurve
from coldbrood.brooder.sureness import Sureness, sureness
from coldbrood.journal.reader import JournalReader
from coldbrood.report.gather import Facts
from coldbrood.watch.site import Site

OUTDOOR_C: Final = (0.0, 5.0, 10.0)
AGES_DAYS: Final = (2.0, 7.0, 14.0)


@dataclass(frozen=True, slots=True)
class Holds:
    """At one age with its floor: the hold at each of OUTDOOR_C."""

    age_days: float
    floor_c: float
    at: tuple[Sizing, ...]


@dataclass(frozen=True, slots=True)
class Taught:
    """One box. `readings_taught` is False where the figures rest on the box on paper alone.

    `figures` are those of `estimate.learned`, W/K and h with deviations; `helps` what would change most.
    """

    box: str
    readings_taught: bool
    sure: Sureness
    chicks: int
    figures: Mapping[str, float]
    holds: tuple[Holds, ...]
    helps: tuple[Help, ...]
    helps_outdoor_c: float


def estimates(site: Site, reader: JournalReader) -> dict[str, Estimate]:
    """What the daemon last knew of each box, brought up to the newest reading. Raises JournalError."""
    restored = reader.restore()
    at_s = restored.last_t_s or 0.0
    state = keep.revive(site, restored, reader.since(keep.first_seq(restored)), at_s)
    boxes = {**state.sight.resting, **state.sight.boxes}
    return {name: box.estimate for name, box in boxes.items()}


def taught(facts: Facts, box: str, estimate: Estimate | None, chicks: int, night_c: float) -> Taught:
    """What one box taught; `night_c` is how cold the night is for which help is looked."""
    spec, floors, kind = facts.site.boxes[box], facts.site.batch.floors, facts.site.batch.kind
    bank = None if estimate is None else _bank(estimate, spec, chicks, kind)
    young = Flock(chicks, AGES_DAYS[0], kind)
    return Taught(
        box=box,
        readings_taught=bank is not None,
        sure="unknown"
        if estimate is None or estimate.last_s is None
        else sureness(estimate, estimate.last_s),
        chicks=chicks,
        figures={} if estimate is None else learned(estimate, spec),
        holds=tuple(_holds(spec, Flock(chicks, age, kind), bank, floors) for age in AGES_DAYS),
        helps=helps(spec, young, night_c, band(AGES_DAYS[0], floors=floors).floor_c, bank),
        helps_outdoor_c=night_c,
    )


def _bank(estimate: Estimate, spec: BoxSpec, chicks: int, kind: ChickKind) -> Bank | None:
    """What the box learned up to its newest reading; None if there was none. No time passes for it."""
    if estimate.last_s is None:
        return None
    outdoors = OutdoorCurve(np.array([0.0, 1.0]), np.full(2, OUTDOOR_C[0]), np.zeros(2))
    return bank_at(estimate, spec, estimate.last_s, outdoors, Flock(chicks, AGES_DAYS[0], kind))


def _holds(spec: BoxSpec, flock: Flock, bank: Bank | None, floors: tuple[tuple[float, float], ...]) -> Holds:
    floor_c = band(flock.age_days, floors=floors).floor_c
    return Holds(
        flock.age_days, floor_c, tuple(size(spec, flock, out_c, floor_c, bank) for out_c in OUTDOOR_C)
    )
