"""Advice and cautions by age for the daily digest, in plain words.

Ages and counts are common practice, no source, unless a source stands beside them.
"""

from collections.abc import Mapping
from typing import Final

from coldbrood.brooder.milestones import Advice, BoxFacts, Weather, milestones
from coldbrood.brooder.timetable import LOOK_IN_DAYS

UNKNOWN_WEATHER: Final = Weather()
NO_FACTS: Final[Mapping[str, BoxFacts]] = {}
FEWEST_IN_A_BOX = 12
MOST_IN_A_BOX = 20

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


def _space(age_days: float, chicks: int) -> tuple[Advice, ...]:
    if chicks == 0:
        return ()
    since, weeks, area_cm2 = [row for row in _SPACE if row[0] <= max(0.0, age_days)][-1]
    text = (
        f"Space in {weeks}: at least {area_cm2} cm2 of run for each chick, "
        f"{chicks * area_cm2 / 10_000:.1f} m2 for all {chicks}. The sleeping box may be tighter."
    )
    return (Advice(f"space-{since:.0f}", text),)


def advice(
    age_days: float,
    chicks_per_box: Mapping[str, int],
    weather: Weather = UNKNOWN_WEATHER,
    boxes: Mapping[str, BoxFacts] = NO_FACTS,
) -> tuple[Advice, ...]:
    """All advice that holds at this age, count and weather; see milestones.py for the milestones.

    Raises ValueError for a count under 0 or a value that is no finite number.
    """
    counts = tuple(one for box, chicks in chicks_per_box.items() for one in _count(box, chicks))
    return (
        *_first_days(age_days),
        *counts,
        *milestones(age_days, weather, boxes),
        *_space(age_days, sum(chicks_per_box.values())),
    )
