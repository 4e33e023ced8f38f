"""Each night of a batch: what bedtime foresaw, what came, and how often the keeper was woken.

A forecast is judged only where it rested on readings and the box was seen for most of the night.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

import numpy as np

from coldbrood.brooder.timetable import interval
from coldbrood.report.gather import Facts, Occasion, Refilled
from coldbrood.report.series import Series
from coldbrood.watch.localtime import age_days
from coldbrood.watch.nightline import NightLine
from coldbrood.watch.site import Site

SEEN_LEAST = 0.8
EARLY_TO_BED_S = 3600.0
STILL_UP_S = 900.0  # a refill due this soon after bedtime, or before rising, gets nobody out of bed
DAY_S = 86_400.0


@dataclass(frozen=True, slots=True)
class Night:
    """One box in one night. `low_c` is the lowest reading at `low_s`; None where nothing was read."""

    box: str
    evening: date
    from_s: float
    to_s: float
    forecast: NightLine | None
    seen_part: float
    low_s: float | None
    low_c: float | None
    under_min: float
    under_hard_min: float
    outdoor_low_c: float | None
    refills: tuple[Refilled, ...]
    woken: tuple[Occasion, ...]

    @property
    def judged(self) -> bool:
        """Whether forecast and truth can be held against each other."""
        return self.forecast is not None and self.forecast.known and self.seen_part >= SEEN_LEAST

    @property
    def inside(self) -> bool | None:
        """Whether the lowest lay in the forecast's range of 10 to 90 %; None if it cannot be judged."""
        if not self.judged or self.forecast is None or self.low_c is None:
            return None
        return self.forecast.low_c[0] <= self.low_c <= self.forecast.low_c[2]

    @property
    def off_c(self) -> float | None:
        """What came less the middle of the forecast; None if it cannot be judged."""
        if not self.judged or self.forecast is None or self.low_c is None:
            return None
        return self.low_c - self.forecast.low_c[1]


def nights(facts: Facts) -> list[Night]:
    """Every whole night of the batch, for each box, in order."""
    spans = list(_spans(facts))
    return [_night(facts, box, *span) for span in spans for box in facts.boxes]


def _spans(facts: Facts) -> Iterator[tuple[date, float, float]]:
    """Evening, bedtime and rising of each night that lies within the batch."""
    site, told = facts.site, facts.told
    day = datetime.fromtimestamp(told.from_s, site.zone).date() - timedelta(days=1)
    while True:
        from_s, to_s = _bounds(site, day)
        if to_s > told.to_s:
            return
        if from_s >= told.from_s:
            yield day, from_s, to_s
        day += timedelta(days=1)


def _bounds(site: Site, evening: date) -> tuple[float, float]:
    """Bedtime and rising of the night that begins on an evening, or after its midnight."""
    keeper = site.keeper
    after_midnight = keeper.bedtime_s < keeper.rising_s
    from_s = _at(site, evening + timedelta(days=int(after_midnight)), keeper.bedtime_s)
    return from_s, _at(site, evening + timedelta(days=1), keeper.rising_s)


def _at(site: Site, day: date, second: int) -> float:
    return datetime.combine(
        day, time(second // 3600, second % 3600 // 60, second % 60), site.zone
    ).timestamp()


def _night(facts: Facts, box: str, evening: date, from_s: float, to_s: float) -> Night:
    forecast = next(
        (
            night
            for wall_s, night in reversed(facts.forecasts)
            if night.box == box and from_s - EARLY_TO_BED_S <= wall_s < to_s
        ),
        None,
    )
    seen = facts.boxes[box].between(from_s, to_s)
    under_s, under_hard_s = under(facts, box, seen, to_s)
    lowest, outdoor = seen.lowest(), facts.outdoor.between(from_s, to_s).lowest()
    return Night(
        box=box,
        evening=evening,
        from_s=from_s,
        to_s=to_s,
        forecast=forecast,
        seen_part=seen.seen_s(to_s) / (to_s - from_s),
        low_s=None if lowest is None else lowest[0],
        low_c=None if lowest is None else lowest[1],
        under_min=under_s / 60.0,
        under_hard_min=under_hard_s / 60.0,
        outdoor_low_c=None if outdoor is None else outdoor[1],
        refills=tuple(r for r in facts.refills if r.box == box and from_s <= r.wall_s < to_s),
        woken=tuple(o for o in facts.occasions if o.box == box and _woke(o, from_s, to_s)),
    )


def _woke(occasion: Occasion, from_s: float, to_s: float) -> bool:
    return occasion.wakes and from_s <= occasion.first_s < to_s


def under(facts: Facts, box: str, seen: Series, until_s: float) -> tuple[float, float]:
    """Seconds that the box stood under its floor and under its hard floor, by its readings."""
    if not len(seen.wall_s):
        return 0.0, 0.0
    bands = [facts.band_at(box, float(w), float(t)) for w, t in zip(seen.wall_s, seen.t_s, strict=True)]
    stands_s = seen.stands_s(until_s)
    floor = np.array([band.floor_c for band in bands])
    hard = np.array([band.hard_floor_c for band in bands])
    return float(stands_s[seen.celsius < floor].sum()), float(stands_s[seen.celsius < hard].sum())


def over_s(facts: Facts, box: str, seen: Series, until_s: float) -> float:
    """Seconds that the box stood over its ceiling, by its readings."""
    if not len(seen.wall_s):
        return 0.0
    ceilings = np.array(
        [facts.band_at(box, float(w), float(t)).ceiling_c for w, t in zip(seen.wall_s, seen.t_s, strict=True)]
    )
    return float(seen.stands_s(until_s)[seen.celsius > ceilings].sum())


def wakings(found: Sequence[Night]) -> list[Occasion]:
    """Each occasion on which the keeper was woken, once, in order."""
    return sorted({one for night in found for one in night.woken}, key=lambda one: one.first_s)


def timetable_wakings(facts: Facts, found: Sequence[Night]) -> int:
    """How often the age timetable gets a keeper up who fills at bedtime, with the weather there was."""
    return sum(_timetable(facts, from_s, to_s) for from_s, to_s in {(n.from_s, n.to_s) for n in found})


def _timetable(facts: Facts, from_s: float, to_s: float) -> int:
    day = facts.outdoor.between(from_s - DAY_S, from_s)
    high, low = day.highest(), day.lowest()
    hours = interval(
        age_days(facts.site, from_s), None if high is None else high[1], None if low is None else low[1]
    ).hours
    if hours is None:
        return 0
    due = np.arange(from_s + hours * 3600.0, to_s - STILL_UP_S, hours * 3600.0)
    return len(due)
