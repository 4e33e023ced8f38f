"""Tonight outside, from the own outdoor probe alone: the curve ahead with its range."""

import math

import numpy as np
from numpy.typing import NDArray

from coldbrood.brooder.habit import (
    DAY_S,
    HOUR_S,
    Habit,
    Sun,
    day_night,
    days_usual,
    expected_drop,
    expected_fall,
    hour_c,
    last,
    learn,
    start_habit,
    sun_of,
    usual_c,
)
from coldbrood.brooder.specs import DAY_UNREST_K, OutdoorCurve

__all__ = [
    "Habit",
    "curve",
    "day_night",
    "days_usual",
    "expected_drop",
    "expected_fall",
    "last",
    "learn",
    "night_trend_c",
    "start_habit",
    "usual_c",
]

Array = NDArray[np.float64]

NIGHT_POWER = 0.8
"""Best power of the night's trend from two hours after sunset on clear nights (C: pvlib 723170TYA)."""

_FALL_POWER = 1.25
"""Bends the day's falling sine (C: three pvlib series, half the fall ahead at 0.6 of the time)."""

_HIGH_MEMORY = 0.5
"""How far the next high is drawn to the last one (C: best of 0, 0.5, 1 on two of three pvlib series)."""

_USUAL_SHARE = 0.5
"""Share of what is usual here in the mean, once it is known (C: best or near it on three pvlib series)."""

_USUAL_SD_SHARE = 0.93
"""What remains of the night's deviation where the usual is known (C: the mean errors on the same fell so)."""

_ODD_MEMORY_S = 48 * HOUR_S
"""How long the air stays warmer or colder than usual (C: best of 12, 24, 48 h on the same)."""

_COOLING_SHARE = 0.5
_COOLING_PAST_S = 3 * HOUR_S
_COOLING_GROWS_S = 4.5 * HOUR_S
_COOLING_GONE_S = 2.5 * HOUR_S
"""An evening that cools faster than usual is a clear one and goes on so: this share of three hours' surplus
by sunrise, most of it within hours, gone some hours after (C: fits to the same, each tried on the others)."""

_STALE_S = 14 * DAY_S
_UNKNOWN_C = 8.0
_UNKNOWN_SD_C = 6.0
_SENSOR_SD_C = 0.3


def night_trend_c(start_c: float, low_c: float, part: Array, power: float = NIGHT_POWER) -> Array:
    """Temperature at `part` (0 to 1, any shape) of the way from the evening mark to sunrise.

    start + (low - start) part^power; 0.5 is the FAO trend (V: Snyder and de Melo-Abreu 2005), which
    is too steep for most nights (C: pvlib series).
    """
    away_c: Array = (low_c - start_c) * np.power(part, power)
    return start_c + away_c


def _shape(sun: Sun, t_s: Array, drop_c: float, fall_c: float) -> Array:
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


def _toward_high(sun: Sun, from_t_s: float, t_s: Array) -> tuple[float, Array]:
    """Time of the next high, and the way toward it at each time: 0 until sunrise or `from_t_s`, then to 1.

    The way is scaled by the part of the day's rise still ahead, so that it fades as the high nears.
    """
    high_t_s = from_t_s + (sun.high_s - sun.since_sunset_s(from_t_s)) % DAY_S
    rise_s = sun.high_s - sun.sunrise_s
    start_t_s = max(from_t_s, high_t_s - rise_s)
    ahead_s = high_t_s - start_t_s
    way = np.clip((t_s - start_t_s) / max(ahead_s, 1.0), 0.0, 1.0)
    return high_t_s, way * (ahead_s / rise_s)


def _mean_c(habit: Habit, sun: Sun, from_t_s: float, from_c: float, t_s: Array) -> Array:
    drop_c, fall_c = expected_drop(habit)[0], expected_fall(habit)[0]
    high_t_s, way = _toward_high(sun, from_t_s, t_s)
    at: Array = _shape(sun, np.concatenate(([from_t_s, high_t_s], t_s)), drop_c, fall_c)
    mean_c: Array = from_c + at[2:] - at[0]
    last_high_c = day_night(habit, from_t_s)[0]
    if last_high_c is not None:
        short_c = last_high_c - (from_c + float(at[1] - at[0]))
        mean_c = mean_c + _HIGH_MEMORY * short_c * way
    return _with_usual(habit, sun, from_t_s, from_c, t_s, mean_c)


def _with_usual(habit: Habit, sun: Sun, from_t_s: float, from_c: float, t_s: Array, mean_c: Array) -> Array:
    """Draw the mean toward what is usual here at each hour, and on by an evening that cools unusually."""
    days = days_usual(habit)
    if days == 0:
        return mean_c
    odd_c = from_c - float(usual_c(habit, np.array([from_t_s]))[0])
    lasting_c = usual_c(habit, t_s) + odd_c * np.exp(-np.maximum(t_s - from_t_s, 0.0) / _ODD_MEMORY_S)
    share = _USUAL_SHARE * days / (days + 2.0)
    return np.asarray(mean_c + share * (lasting_c - mean_c) - _cooling_c(habit, sun, from_t_s, odd_c, t_s))


def _cooling_c(habit: Habit, sun: Sun, from_t_s: float, odd_c: float, t_s: Array) -> Array:
    """How much further it falls by each time than on a usual night."""
    since_s = sun.since_sunset_s(from_t_s)
    before_t_s = from_t_s - _COOLING_PAST_S
    before_c = hour_c(habit, before_t_s)
    if before_c is None or since_s >= sun.sunrise_s:
        return np.zeros_like(t_s)
    surplus_c = before_c - float(usual_c(habit, np.array([before_t_s]))[0]) - odd_c
    night = (since_s - sun.evening_s) / (sun.sunrise_s - sun.evening_s)
    held = since_s / sun.evening_s if night < 0.0 else min(1.0, 1.25 * (1.0 - night))
    ahead_s = np.maximum(t_s - from_t_s, 0.0)
    grown = 1.0 - np.exp(-ahead_s / _COOLING_GROWS_S)
    gone = np.clip((ahead_s - (sun.sunrise_s - since_s)) / _COOLING_GONE_S, 0.0, 1.0)
    return np.asarray(_COOLING_SHARE * held * surplus_c * grown * (1.0 - gone))


def _sd_c(habit: Habit, sun: Sun | None, age_s: Array) -> Array:
    """Deviation this long after the last reading: the sensor's own, then as the root of time.

    It reaches the deviation of the night's drop after one night, a little less once the usual is known, and
    never passes that of not knowing.
    """
    night_s = 12 * HOUR_S if sun is None else sun.sunrise_s - sun.evening_s
    per_night = age_s / min(max(night_s, 6 * HOUR_S), 14 * HOUR_S)
    drop_sd_c = expected_drop(habit)[1] * (_USUAL_SD_SHARE if days_usual(habit) > 0 else 1.0)
    sd_c: Array = np.sqrt(_SENSOR_SD_C**2 + drop_sd_c**2 * per_night)
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
    newest, sun = last(habit), sun_of(sunset_t_s, sunrise_t_s)
    if newest is None or t_s - newest[0] > _STALE_S:
        unknown = np.full_like(times, _UNKNOWN_C), np.full_like(times, _UNKNOWN_SD_C)
        return OutdoorCurve(times, *unknown, _unrest_k(sun, times))
    from_t_s, from_c = newest
    mean_c = np.full_like(times, from_c) if sun is None else _mean_c(habit, sun, from_t_s, from_c, times)
    sd_c = _sd_c(habit, sun, np.maximum(times - from_t_s, 0.0))
    return OutdoorCurve(times, mean_c, sd_c, _unrest_k(sun, times))


def _unrest_k(sun: Sun | None, times: NDArray[np.float64]) -> NDArray[np.float64] | None:
    """None from sunset to sunrise; where the sun is not known, as by day."""
    if sun is None:
        return None
    night = (times - sun.sunset_t_s) % DAY_S < sun.sunrise_s
    return np.where(night, 0.0, DAY_UNREST_K)
