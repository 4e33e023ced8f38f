"""Where the keeper is: up, asleep or away. A plan needs it to ask for a refill at the right time."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from itertools import pairwise
from typing import Literal

from coldbrood.watch.events import Now
from coldbrood.watch.localtime import is_night, local, wall_of
from coldbrood.watch.site import Away, Site

Whereabouts = Literal["up", "asleep", "away"]
LONGEST_LOOK_DAYS = 8
"""A week and a day: what comes back each week is found in it."""


@dataclass(frozen=True, slots=True)
class Stretch:
    """One stretch of the keeper's time, in Unix time."""

    where: Whereabouts
    from_wall_s: float
    to_wall_s: float


def whereabouts(site: Site, wall_s: float) -> Whereabouts:
    """Where the keeper is at a time. Away counts over asleep: who is not there cannot be woken to refill."""
    if any(_is_on(site, away, wall_s) for away in site.keeper.away):
        return "away"
    return "asleep" if is_night(site, wall_s) else "up"


def there_of(site: Site, now: Now) -> Callable[[float], bool]:
    """Whether the keeper is at hand, up or asleep, at a watch time near `now`."""
    return lambda t_s: whereabouts(site, wall_of(now, t_s)) != "away"


def _is_on(site: Site, away: Away, wall_s: float) -> bool:
    today = local(site, wall_s).date()
    return any(from_s <= wall_s < to_s for from_s, to_s in _times(site, away, today))


def _times(site: Site, away: Away, day: date) -> Iterator[tuple[float, float]]:
    """From and to, in Unix time, of the absences that begin on this day or on the one before."""
    over_midnight = away.to_s <= away.from_s
    for begin in (day - timedelta(days=1), day):
        if begin.weekday() in away.weekdays:
            end = begin + timedelta(days=1) if over_midnight else begin
            yield at_second(site, begin, away.from_s), at_second(site, end, away.to_s)


def at_second(site: Site, day: date, second: int) -> float:
    """Unix time of a second of the keeper's clock on a day."""
    clock = time(second // 3600, second % 3600 // 60, second % 60)
    return datetime.combine(day, clock, site.zone).timestamp()


def stretches(site: Site, from_wall_s: float, to_wall_s: float) -> tuple[Stretch, ...]:
    """The keeper's time between two Unix times, without a gap; nothing if they are not in order."""
    found: list[Stretch] = []
    edges = [from_wall_s, *_changes(site, from_wall_s, to_wall_s), to_wall_s]
    for begin, end in pairwise(edges):
        if begin >= end:
            continue
        where = whereabouts(site, begin)
        if found and found[-1].where == where:
            found[-1] = Stretch(where, found[-1].from_wall_s, end)
        else:
            found.append(Stretch(where, begin, end))
    return tuple(found)


def _changes(site: Site, from_wall_s: float, to_wall_s: float) -> list[float]:
    """Every time between the two at which the keeper goes to bed, rises, leaves or comes back."""
    keeper, found = site.keeper, set[float]()
    day, last = local(site, from_wall_s).date(), local(site, to_wall_s).date()
    while day <= last:
        found.update(at_second(site, day, second) for second in (keeper.bedtime_s, keeper.rising_s))
        found.update(at for away in keeper.away for pair in _times(site, away, day) for at in pair)
        day += timedelta(days=1)
    return sorted(at for at in found if from_wall_s < at < to_wall_s)


def next_up_wall_s(site: Site, wall_s: float) -> float | None:
    """When the keeper is up and at hand next: now if so, None if not within a week."""
    ahead = stretches(site, wall_s, wall_s + LONGEST_LOOK_DAYS * 86_400.0)
    return next((one.from_wall_s for one in ahead if one.where == "up"), None)


def up_until_wall_s(site: Site, wall_s: float) -> float:
    """Until when the keeper stays up and at hand; `wall_s` itself if that is over."""
    ahead = stretches(site, wall_s, wall_s + LONGEST_LOOK_DAYS * 86_400.0)
    return ahead[0].to_wall_s if ahead[0].where == "up" else wall_s


def last_at_hand_wall_s(site: Site, from_wall_s: float, by_wall_s: float) -> float:
    """The latest time up to `by_wall_s` at which someone is there to refill, up or asleep.

    When everybody leaves before it, that is the time of leaving: a refill due in their absence is due before
    they go. Who is away all the time from `from_wall_s` on cannot come earlier than `by_wall_s` either: it
    stays.
    """
    there = [one for one in stretches(site, from_wall_s, by_wall_s) if one.where != "away"]
    return there[-1].to_wall_s if there else by_wall_s
