"""The whole account of a batch, reckoned once: what each part of the report says, it takes from here."""

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median
from typing import Final

from coldbrood.journal.reader import JournalReader
from coldbrood.report.advise import Change, Seen, changes
from coldbrood.report.chicks import Flocked, Loss, flocks, losses
from coldbrood.report.gather import Facts, Occasion, gather
from coldbrood.report.nights import Night, nights, timetable_wakings, wakings
from coldbrood.report.span import pick
from coldbrood.report.taught import Taught, estimates, taught
from coldbrood.report.water import Water, water
from coldbrood.report.words import Words
from coldbrood.watch.localtime import age_days
from coldbrood.watch.site import Site

NIGHT_UNKNOWN_C: Final = 5.0


@dataclass(frozen=True, slots=True, eq=False)
class Account:
    """Everything the report says. `taught` is empty for a batch that is not the newest: see `taught_for`."""

    words: Words
    facts: Facts
    nights: Sequence[Night]
    wakings: Sequence[Occasion]
    timetable_wakings: int
    flocks: Sequence[Flocked]
    losses: Sequence[Loss]
    water: Sequence[tuple[str, Water]]
    taught: Sequence[Taught]
    changes: Sequence[Change]

    @property
    def last_day(self) -> float:
        """Age at the end, in days."""
        return age_days(self.facts.site, self.facts.told.to_s)

    def lost(self, *, early: bool) -> int:
        """Chicks lost in the first 72 hours, or after."""
        return sum(loss.count for loss in self.losses if loss.early is early)

    def of_box(self, box: str) -> list[Night]:
        """The nights of one box."""
        return [night for night in self.nights if night.box == box]


def account(site: Site, reader: JournalReader, number: int | None, language: str = "en") -> Account:
    """Reckon one batch, to be told in a language of the page's. Raises ReportError, JournalError."""
    told = pick(site, reader, number)
    facts = gather(told, reader)
    found = nights(facts)
    lost = losses(facts)
    flocked = flocks(facts)
    learned = _taught(site, facts, found, flocked, reader)
    words = Words(facts.site, language)
    return Account(
        words=words,
        facts=facts,
        nights=found,
        wakings=wakings(found),
        timetable_wakings=timetable_wakings(facts, found),
        flocks=flocked,
        losses=lost,
        water=_water(facts),
        taught=learned,
        changes=changes(Seen(words, facts, found, lost, learned)),
    )


def _water(facts: Facts) -> list[tuple[str, Water]]:
    return [
        (box, water(spec, (one for one in facts.refills if one.box == box)))
        for box, spec in facts.site.boxes.items()
    ]


def _taught(
    site: Site, facts: Facts, found: Sequence[Night], flocked: Sequence[Flocked], reader: JournalReader
) -> list[Taught]:
    """Only the newest batch: what a box knows now is not what it knew at the end of an earlier one."""
    if facts.told.number != facts.told.of:
        return []
    known = estimates(site, reader)
    return [
        taught(facts, flock.box, known.get(flock.box), max(1, flock.began), night_c(found))
        for flock in flocked
    ]


def night_c(found: Sequence[Night]) -> float:
    """The middle of the nights' outdoor lows; 5 C where none was read."""
    lows = [night.outdoor_low_c for night in found if night.outdoor_low_c is not None]
    return median(lows) if lows else NIGHT_UNKNOWN_C
