"""Milestones and cautions by age for the daily digest, in plain words.

Ages and counts are common practice, no source, unless a source stands beside them.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from coldbrood.brooder.timetable import LOOK_IN_DAYS, interval


@dataclass(frozen=True, slots=True)
class Advice:
    """One thing to tell. `key` stays the same while the advice does, so that it can be told once."""

    key: str
    text: str


FEWEST_IN_A_BOX = 12
MOST_IN_A_BOX = 20

_JUGS_MAY_STOP_DAY = 10.0
_BOX_OUT_DAY = 17.5
_OUTDOORS_DAY = 21.0

_SPACE = (
    # V: Clauer, least floor per chick, 1/4, 1/2, 3/4 and 1 sq ft, by the first day of its weeks
    (0.0, "week 1", 232),
    (7.0, "weeks 2 and 3", 465),
    (21.0, "weeks 4 and 5", 697),
    (35.0, "weeks 6 to 8", 929),
)


def _first_days(age_days: float) -> tuple[Advice, ...]:
    if age_days >= LOOK_IN_DAYS:
        return ()
    return (
        Advice(
            "first-72h",
            "First three days: each refill is a look-in too. Set the chicks against the jug so that they "
            "learn where the warmth is, see that each one drinks, and look for the weak, the loud and the "
            "one apart. Losses now usually come from the journey. If chicks weaken, ask a vet.",
        ),
    )


def _count(box: str, chicks: int) -> tuple[Advice, ...]:
    if chicks < 0:
        raise ValueError(f"chicks_per_box.{box}: {chicks}: must be 0 or more")
    if 0 < chicks < FEWEST_IN_A_BOX:
        few = f"Under {FEWEST_IN_A_BOX} they warm each other little: count on more refills."
        return (Advice(f"few:{box}", f"Box {box} has {chicks} chicks. {few}"),)
    if chicks > MOST_IN_A_BOX:
        many = f"Over {MOST_IN_A_BOX} they may pile up and smother: a second box is safer."
        return (Advice(f"many:{box}", f"Box {box} has {chicks} chicks. {many}"),)
    return ()


def _weaning(age_days: float, day_c: float | None, night_c: float | None) -> tuple[Advice, ...]:
    if age_days < _JUGS_MAY_STOP_DAY:
        return ()
    if interval(age_days, day_c, night_c).hours is None:
        text = (
            "The jugs may stop: days reach 16 C (61 F) and nights stay at 10 C (50 F) or above. Keep one jug "
            "ready, and go back to it if the chicks huddle or a colder night comes."
        )
        return (Advice("jugs-may-stop", text),)
    text = (
        "Keep the jugs for now: they may stop once days reach 16 C (61 F) and nights stay at 10 C (50 F) "
        "or above, and that is not so yet, or not known."
    )
    return (Advice("jugs-stay", text),)


def _moves(age_days: float) -> tuple[Advice, ...]:
    told: tuple[Advice, ...] = ()
    if age_days >= _BOX_OUT_DAY:
        text = (
            "About two and a half weeks: the hen box may come out if the chicks sleep spread and feather up."
        )
        told += (Advice("box-out", text),)
    if age_days >= _OUTDOORS_DAY:
        text = (
            "About three weeks: the chicks may move outdoors in mild weather, dry and out of the wind. "
            "Watch the first nights; feathers are full only at four to six weeks."
        )
        told += (Advice("outdoors", text),)
    return told


def _space(age_days: float, chicks: int) -> tuple[Advice, ...]:
    if chicks == 0:
        return ()
    since, weeks, area_cm2 = [row for row in _SPACE if row[0] <= max(0.0, age_days)][-1]
    text = (
        f"Space in {weeks}: at least {area_cm2} cm2 of run for each chick, "
        f"{chicks * area_cm2 / 10_000:.1f} m2 for all {chicks}. The sleeping box may be tighter."
    )
    return (Advice(f"space-{since:.0f}", text),)


def milestones(
    age_days: float, chicks_per_box: Mapping[str, int], day_c: float | None, night_c: float | None
) -> tuple[Advice, ...]:
    """All advice that holds at this age, count and weather.

    `day_c` is the last day's high outdoors, `night_c` the last night's low, None where not known.
    Raises ValueError for a count under 0 or a value that is no finite number. Feathering age: M.
    """
    counts = tuple(advice for box, chicks in chicks_per_box.items() for advice in _count(box, chicks))
    interval(age_days, day_c, night_c)  # refuses what is no number, with the field's name
    return (
        *_first_days(age_days),
        *counts,
        *_weaning(age_days, day_c, night_c),
        *_moves(age_days),
        *_space(age_days, sum(chicks_per_box.values())),
    )
