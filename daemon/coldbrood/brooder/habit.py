"""What the site's outdoor probe taught about its days and nights.

Each day has its marks. The high mark is 1.86 h after the sun's noon (V: Parton and Logan 1981 by
TrenchR). The evening mark is two hours after sunset, where the FAO night trend starts (V: Snyder
and de Melo-Abreu 2005 by the R package frost). The morning mark is an hour after sunrise, when
the low is over. The habit learns the fall from high to evening mark, and the night's drop from
evening mark to the low from an hour later on: less than 0 when a night warms. Drops hardly
remember the night before (C: correlation 0.11 to 0.23 on the pvlib series), so they are averaged,
not chased. It also keeps what is usual at each hour of the day, over some two weeks.
"""

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

DAY_S = 86400.0
HOUR_S = 3600.0

_HOURS_KEPT = 48
_NIGHTS_KEPT = 20
_GAP_S = 2 * HOUR_S
_HOURS_FOR_A_DAY = 18
# C: on the pvlib series 15 days forecast as well as 8 or 25, or better.
_USUAL_DAYS = 15

# C: middle of the three pvlib series (inland, sea, warm coast), the deviation on their wide side
_PRIOR_NIGHTS = 2.0
_DROP_PRIOR_C = 3.0
_DROP_PRIOR_SD_C = 2.5
_FALL_PRIOR_C = 3.0
_FALL_PRIOR_SD_C = 2.5


@dataclass(frozen=True, slots=True)
class Habit:
    """What the site taught. Bounded: 48 hourly means, 20 nights; hours by their start, oldest first.

    `usual_c` holds the usual air of the 24 hours of a day of watch time, `usual_n` the days seen of each.
    """

    last_t_s: float | None = None
    last_c: float | None = None
    hour_t_s: tuple[float, ...] = ()
    hour_c: tuple[float, ...] = ()
    bin_t_s: float | None = None
    bin_sum_c: float = 0.0
    bin_n: int = 0
    evening_c: float | None = None
    low_c: float | None = None
    high_c: float | None = None
    drops_c: tuple[float, ...] = ()
    falls_c: tuple[float, ...] = ()
    usual_c: tuple[float, ...] = (0.0,) * 24
    usual_n: tuple[int, ...] = (0,) * 24


@dataclass(frozen=True, slots=True)
class Sun:
    """The day's marks as seconds since the last sunset, in this order."""

    sunset_t_s: float
    evening_s: float
    low_from_s: float
    sunrise_s: float
    morning_s: float
    high_s: float

    def since_sunset_s(self, t_s: float) -> float:
        """Seconds since the last sunset, 0 to a day."""
        return (t_s - self.sunset_t_s) % DAY_S


def sun_of(sunset_t_s: float | None, sunrise_t_s: float | None) -> Sun | None:
    """None where the sun does not both rise and set. The marks move in where a day or night is short."""
    if sunset_t_s is None or sunrise_t_s is None:
        return None
    night_s = float(sunrise_t_s - sunset_t_s) % DAY_S
    if night_s == 0.0:
        return None
    day_s = DAY_S - night_s
    evening_s = min(2 * HOUR_S, 0.5 * night_s)
    return Sun(
        sunset_t_s=float(sunset_t_s),
        evening_s=evening_s,
        low_from_s=evening_s + min(HOUR_S, 0.2 * night_s),
        sunrise_s=night_s,
        morning_s=night_s + min(HOUR_S, 0.2 * day_s),
        high_s=DAY_S - 0.5 * day_s + min(1.86 * HOUR_S, 0.25 * day_s),
    )


def start_habit() -> Habit:
    """Nothing seen yet: the priors alone speak."""
    return Habit()


def _crossed(sun: Sun, mark_s: float, from_t_s: float, to_t_s: float) -> float | None:
    """When the mark of that many seconds after sunset was passed in (from, to], else None."""
    mark_t_s = to_t_s - (to_t_s - sun.sunset_t_s - mark_s) % DAY_S
    return mark_t_s if mark_t_s > from_t_s else None


def _kept(values: tuple[float, ...], new: float, most: int) -> tuple[float, ...]:
    return (*values, new)[-most:]


def _close_evening(habit: Habit, evening_c: float) -> Habit:
    falls = habit.falls_c
    if habit.high_c is not None:
        falls = _kept(falls, habit.high_c - evening_c, _NIGHTS_KEPT)
    return replace(habit, evening_c=evening_c, low_c=None, high_c=None, falls_c=falls)


def _close_morning(habit: Habit, morning_c: float) -> Habit:
    drops = habit.drops_c
    if habit.evening_c is not None and habit.low_c is not None:
        drops = _kept(drops, habit.evening_c - min(habit.low_c, morning_c), _NIGHTS_KEPT)
    return replace(habit, evening_c=None, low_c=None, drops_c=drops)


def _note_low(habit: Habit, low_c: float) -> Habit:
    return replace(habit, low_c=low_c)


def _note_high(habit: Habit, high_c: float) -> Habit:
    return replace(habit, high_c=high_c)


def _pass_marks(habit: Habit, sun: Sun, t_s: float, outdoor_c: float) -> Habit:
    """Act on each mark passed since the last reading, with the temperature on the straight line to this."""
    if habit.last_t_s is None or habit.last_c is None:
        return habit
    marks = (
        (sun.evening_s, _close_evening),
        (sun.low_from_s, _note_low),
        (sun.morning_s, _close_morning),
        (sun.high_s, _note_high),
    )
    passed = [(_crossed(sun, mark_s, habit.last_t_s, t_s), close) for mark_s, close in marks]
    for mark_t_s, close in sorted(((m, c) for m, c in passed if m is not None), key=lambda pair: pair[0]):
        part = (mark_t_s - habit.last_t_s) / (t_s - habit.last_t_s)
        habit = close(habit, habit.last_c + part * (outdoor_c - habit.last_c))
    return habit


def _into_hours(habit: Habit, t_s: float, outdoor_c: float) -> Habit:
    start_t_s = math.floor(t_s / HOUR_S) * HOUR_S
    if habit.bin_t_s == start_t_s:
        return replace(habit, bin_sum_c=habit.bin_sum_c + outdoor_c, bin_n=habit.bin_n + 1)
    fresh = replace(habit, bin_t_s=start_t_s, bin_sum_c=outdoor_c, bin_n=1)
    if habit.bin_t_s is None:
        return fresh
    mean_c = habit.bin_sum_c / habit.bin_n
    fresh = _into_usual(fresh, int(habit.bin_t_s % DAY_S // HOUR_S), mean_c)
    return replace(
        fresh,
        hour_t_s=_kept(habit.hour_t_s, habit.bin_t_s, _HOURS_KEPT),
        hour_c=_kept(habit.hour_c, mean_c, _HOURS_KEPT),
    )


def _into_usual(habit: Habit, hour: int, mean_c: float) -> Habit:
    """A mean over all days so far, then one that forgets over `_USUAL_DAYS`."""
    seen = min(habit.usual_n[hour] + 1, _USUAL_DAYS)
    usual_c, usual_n = list(habit.usual_c), list(habit.usual_n)
    usual_c[hour] += (mean_c - usual_c[hour]) / seen
    usual_n[hour] = seen
    return replace(habit, usual_c=tuple(usual_c), usual_n=tuple(usual_n))


def learn(
    habit: Habit, t_s: float, outdoor_c: float, sunset_t_s: float | None, sunrise_t_s: float | None
) -> Habit:
    """Take one outdoor reading. Sun times are in watch time, of any near day, None if there is none.

    A reading no newer than the last is left out. A gap of more than 2 h leaves the running day or
    night out of what is learned. Raises ValueError for a value that is no finite number.
    """
    if not math.isfinite(t_s):
        raise ValueError(f"t_s: {t_s}: must be a finite number of seconds")
    if not math.isfinite(outdoor_c):
        raise ValueError(f"outdoor_c: {outdoor_c}: must be a finite temperature")
    if habit.last_t_s is not None and t_s <= habit.last_t_s:
        return habit
    sun = sun_of(sunset_t_s, sunrise_t_s)
    if sun is None or habit.last_t_s is None or t_s - habit.last_t_s > _GAP_S:
        habit = replace(habit, evening_c=None, low_c=None, high_c=None)
    else:
        habit = _pass_marks(habit, sun, t_s, outdoor_c)
    return replace(
        _into_hours(habit, t_s, outdoor_c),
        last_t_s=t_s,
        last_c=outdoor_c,
        low_c=None if habit.low_c is None else min(habit.low_c, outdoor_c),
    )


def last(habit: Habit) -> tuple[float, float] | None:
    """The newest reading as (watch time, outdoor C), None if there was none."""
    if habit.last_t_s is None or habit.last_c is None:
        return None
    return habit.last_t_s, habit.last_c


def days_usual(habit: Habit) -> int:
    """How many days each hour of the day was seen in, the least of them."""
    return min(habit.usual_n)


def usual_c(habit: Habit, t_s: NDArray[np.float64]) -> NDArray[np.float64]:
    """The usual air at watch times, any shape: straight lines between the middles of the hours.

    Only of use where `days_usual` is more than 0.
    """
    middles_s = HOUR_S * (np.arange(26) - 0.5)
    usual = habit.usual_c
    return np.interp(t_s % DAY_S, middles_s, (usual[-1], *usual, usual[0]))


def hour_c(habit: Habit, t_s: float) -> float | None:
    """The air at a time of the past two days, between the hourly means about it; None in a gap."""
    middles_s = [start + 0.5 * HOUR_S for start in habit.hour_t_s]
    near = [at for at in middles_s if abs(at - t_s) <= HOUR_S]
    return float(np.interp(t_s, middles_s, habit.hour_c)) if len(near) >= 2 else None


def day_night(habit: Habit, t_s: float) -> tuple[float | None, float | None]:
    """High and low of the hourly means of the 24 h before `t_s`: the last day's and the last night's.

    (None, None) unless at least 18 of the 24 hours were seen: a night half seen is not known.
    """
    hours, means = habit.hour_t_s, habit.hour_c
    if habit.bin_t_s is not None:
        hours, means = (*hours, habit.bin_t_s), (*means, habit.bin_sum_c / habit.bin_n)
    seen = [mean for start, mean in zip(hours, means, strict=True) if t_s - DAY_S <= start <= t_s]
    if len(seen) < _HOURS_FOR_A_DAY:
        return None, None
    return max(seen), min(seen)


def _shrunk(values: tuple[float, ...], mean: float, sd: float) -> tuple[float, float]:
    """Mean and predictive deviation, with the prior counted as two nights (our choice)."""
    weight = _PRIOR_NIGHTS + len(values)
    middle = (_PRIOR_NIGHTS * mean + sum(values)) / weight
    about = sum((value - middle) ** 2 for value in values)
    squares = _PRIOR_NIGHTS * (sd**2 + (mean - middle) ** 2) + about
    return middle, math.sqrt(squares / weight * (1.0 + 1.0 / weight))


def expected_drop(habit: Habit) -> tuple[float, float]:
    """Mean and deviation in C of a night's drop, from two hours after sunset to the low."""
    return _shrunk(habit.drops_c, _DROP_PRIOR_C, _DROP_PRIOR_SD_C)


def expected_fall(habit: Habit) -> tuple[float, float]:
    """Mean and deviation in C of a day's fall, from the high mark to two hours after sunset."""
    return _shrunk(habit.falls_c, _FALL_PRIOR_C, _FALL_PRIOR_SD_C)
