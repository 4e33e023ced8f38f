"""Tonight outside, from the own outdoor probe alone: what it taught, and the curve ahead with its range.

A day has three marks. The high mark is 1.86 h after the sun's noon (V: Parton and Logan 1981 by
TrenchR). The evening mark is two hours after sunset, where the FAO night trend starts (V: Snyder
and de Melo-Abreu 2005 by the R package frost). The morning mark is an hour after sunrise, when
the low is over. The habit learns the fall from high to evening mark, and the night's drop from
evening mark to the low from an hour later on: less than 0 when a night warms. Drops hardly remember the night before (C: correlation 0.11 to 0.23 on
the pvlib series), so they are averaged, not chased.
"""

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from coldbrood.brooder.specs import OutdoorCurve

Array = NDArray[np.float64]

DAY_S = 86400.0
HOUR_S = 3600.0

NIGHT_POWER = 0.8
"""Best power of the night's trend from two hours after sunset on clear nights (C: pvlib 723170TYA)."""

_HOURS_KEPT = 48
_NIGHTS_KEPT = 20
_GAP_S = 2 * HOUR_S
_HOURS_FOR_A_DAY = 18
_STALE_S = 14 * DAY_S

_PRIOR_NIGHTS = 2.0
_DROP_PRIOR_C = 3.0
_DROP_PRIOR_SD_C = 2.5
_FALL_PRIOR_C = 3.0
_FALL_PRIOR_SD_C = 2.5

_UNKNOWN_C = 8.0
_UNKNOWN_SD_C = 6.0
_SENSOR_SD_C = 0.3
_HIGH_MEMORY = 0.5
_FALL_POWER = (
    1.25  # C: mean evening of the three pvlib series, 0.51 of the fall still ahead at 0.6 of the time
)


@dataclass(frozen=True, slots=True)
class Habit:
    """What the site taught. Bounded: 48 hourly means, 20 nights; hours by their start, oldest first."""

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


@dataclass(frozen=True, slots=True)
class _Sun:
    """The day's marks as seconds since the last sunset, in this order."""

    sunset_t_s: float
    evening_s: float
    low_from_s: float
    sunrise_s: float
    morning_s: float
    high_s: float

    def since_sunset_s(self, t_s: float) -> float:
        return (t_s - self.sunset_t_s) % DAY_S


def _sun(sunset_t_s: float | None, sunrise_t_s: float | None) -> _Sun | None:
    """None where the sun does not both rise and set. The marks move in where a day or night is short."""
    if sunset_t_s is None or sunrise_t_s is None:
        return None
    night_s = float(sunrise_t_s - sunset_t_s) % DAY_S
    if night_s == 0.0:
        return None
    day_s = DAY_S - night_s
    evening_s = min(2 * HOUR_S, 0.5 * night_s)
    return _Sun(
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


def _crossed(sun: _Sun, mark_s: float, from_t_s: float, to_t_s: float) -> float | None:
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


def _pass_marks(habit: Habit, sun: _Sun, t_s: float, outdoor_c: float) -> Habit:
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
    return replace(
        fresh,
        hour_t_s=_kept(habit.hour_t_s, habit.bin_t_s, _HOURS_KEPT),
        hour_c=_kept(habit.hour_c, habit.bin_sum_c / habit.bin_n, _HOURS_KEPT),
    )


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
    sun = _sun(sunset_t_s, sunrise_t_s)
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


def night_trend_c(start_c: float, low_c: float, part: Array, power: float = NIGHT_POWER) -> Array:
    """Temperature at `part` (0 to 1, any shape) of the way from the evening mark to sunrise.

    start + (low - start) part^power; 0.5 is the FAO trend (V: Snyder and de Melo-Abreu 2005), which
    is too steep for most nights (C: pvlib series).
    """
    away_c: Array = (low_c - start_c) * np.power(part, power)
    return start_c + away_c


def _shape(sun: _Sun, t_s: Array, drop_c: float, fall_c: float) -> Array:
    """Height over the low at each time, shape (n,): sine up to the high and down to the evening mark.

    Sines by day after Cesaraccio and others 2001 (V by abstract), the falling one bent by
    `_FALL_POWER`, then the night trend.
    """
    since_s = (t_s - sun.sunset_t_s) % DAY_S
    night = np.clip((since_s - sun.evening_s) / (sun.sunrise_s - sun.evening_s), 0.0, 1.0)
    rise = np.clip((since_s - sun.sunrise_s) / (sun.high_s - sun.sunrise_s), 0.0, 1.0)
    fall = ((since_s - sun.high_s) % DAY_S) / (DAY_S - sun.high_s + sun.evening_s)
    by_night = night_trend_c(drop_c, 0.0, night)
    rising = (drop_c + fall_c) * np.sin(0.5 * math.pi * rise)
    falling = drop_c + fall_c * np.cos(0.5 * math.pi * np.minimum(fall, 1.0)) ** _FALL_POWER
    in_night = (since_s > sun.evening_s) & (since_s <= sun.sunrise_s)
    return np.where(in_night, by_night, np.where(fall <= 1.0, falling, rising))


def _toward_high(sun: _Sun, from_t_s: float, t_s: Array) -> tuple[float, Array]:
    """Time of the next high, and the way toward it at each time: 0 until sunrise or `from_t_s`, then to 1.

    The way is scaled by the part of the day's rise still ahead, so that it fades as the high nears.
    """
    high_t_s = from_t_s + (sun.high_s - sun.since_sunset_s(from_t_s)) % DAY_S
    rise_s = sun.high_s - sun.sunrise_s
    start_t_s = max(from_t_s, high_t_s - rise_s)
    ahead_s = high_t_s - start_t_s
    way = np.clip((t_s - start_t_s) / max(ahead_s, 1.0), 0.0, 1.0)
    return high_t_s, way * (ahead_s / rise_s)


def _mean_c(habit: Habit, sun: _Sun, from_t_s: float, from_c: float, t_s: Array) -> Array:
    drop_c, fall_c = expected_drop(habit)[0], expected_fall(habit)[0]
    high_t_s, way = _toward_high(sun, from_t_s, t_s)
    at = _shape(sun, np.concatenate(([from_t_s, high_t_s], t_s)), drop_c, fall_c)
    mean_c = from_c + at[2:] - at[0]
    last_high_c = day_night(habit, from_t_s)[0]
    if last_high_c is None:
        return mean_c
    return mean_c + _HIGH_MEMORY * way * (last_high_c - (from_c + at[1] - at[0]))


def _sd_c(habit: Habit, sun: _Sun | None, age_s: Array) -> Array:
    """Deviation this long after the last reading: the sensor's own, then as the root of time.

    It reaches the deviation of the night's drop after one night, and never passes that of not knowing.
    """
    night_s = 12 * HOUR_S if sun is None else sun.sunrise_s - sun.evening_s
    per_night = age_s / min(max(night_s, 6 * HOUR_S), 14 * HOUR_S)
    sd_c: Array = np.sqrt(_SENSOR_SD_C**2 + expected_drop(habit)[1] ** 2 * per_night)
    return np.minimum(sd_c, _UNKNOWN_SD_C)


def curve(
    habit: Habit,
    t_s: float,
    sunset_t_s: float | None,
    sunrise_t_s: float | None,
    horizon_s: float = DAY_S,
    step_s: float = 900.0,
) -> OutdoorCurve:
    """Outdoor air from `t_s` over the horizon, both ends in, with n = ceil(horizon / step) + 1 points.

    It hangs on the last reading, also on an old one, and widens from there. By night it falls by
    the learned drop; the day comes up again half toward the last day's high (`_HIGH_MEMORY`).
    Without sun times it stays flat. With no reading in the last two weeks: 8 C, deviation 6 (our
    choice, no source). Raises ValueError unless horizon and step are more than 0.
    """
    if not (horizon_s > 0.0 and step_s > 0.0):
        raise ValueError(f"horizon_s, step_s: {horizon_s}, {step_s}: must be more than 0")
    times = t_s + np.append(np.arange(math.ceil(horizon_s / step_s)) * step_s, horizon_s)
    newest = last(habit)
    if newest is None or t_s - newest[0] > _STALE_S:
        return OutdoorCurve(times, np.full_like(times, _UNKNOWN_C), np.full_like(times, _UNKNOWN_SD_C))
    from_t_s, from_c = newest
    sun = _sun(sunset_t_s, sunrise_t_s)
    mean_c = np.full_like(times, from_c) if sun is None else _mean_c(habit, sun, from_t_s, from_c, times)
    return OutdoorCurve(times, mean_c, _sd_c(habit, sun, np.maximum(times - from_t_s, 0.0)))
