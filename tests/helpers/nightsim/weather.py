"""Outdoor air, wind and sun by the minute: real hourly years of pvlib, with fronts and gusts of our own."""

from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
import pvlib
from numpy.typing import NDArray

Array = NDArray[np.float64]

DAYS = 14
MINUTES = (DAYS + 2) * 1440  # two days more, so that a forecast of the last night can be scored


@dataclass(frozen=True)
class Place:
    """One year of hours at one place (shared/reference/physics.md section 6), and its zone."""

    name: str
    file: str
    latitude_deg: float
    longitude_deg: float
    utc_h: int


PLACES = (
    Place("inland", "723170TYA.CSV", 36.1, -79.95, -5),
    Place("sea", "703165TY.csv", 55.317, -160.517, -9),
    Place("warm coast", "12839.tm2", 25.8, -80.27, -5),
)


@dataclass(frozen=True)
class Year:
    """8760 hours: air in C, wind in m/s, sun on the level in W/m2."""

    air_c: Array
    wind_m_s: Array
    sun_w_m2: Array


@cache
def year(place: Place) -> Year:
    """Read the hours of one place."""
    path = str(Path(pvlib.__file__).parent / "data" / place.file)
    if place.file.endswith(".tm2"):
        frame, _ = pvlib.iotools.read_tmy2(path)
        return Year(
            frame["DryBulb"].to_numpy(float) / 10.0,
            frame["Wspd"].to_numpy(float) / 10.0,
            frame["GHI"].to_numpy(float),
        )
    frame, _ = pvlib.iotools.read_tmy3(path, coerce_year=1990, map_variables=True)
    return Year(*(frame[name].to_numpy(float) for name in ("temp_air", "wind_speed", "ghi")))


def first_days(place: Place) -> list[int]:
    """Days of the year on which a batch may start: 14 days whose mean air is 4 to 14 C."""
    air_c = year(place).air_c
    days = range(2, 365 - DAYS - 3)
    return [d for d in days if 4.0 <= air_c[24 * d : 24 * (d + DAYS)].mean() <= 14.0]


@dataclass(frozen=True)
class Weather:
    """By the minute from the local midnight of day 0. `wind_m_s` is that at the box, in shelter."""

    outdoor_c: Array
    wind_m_s: Array
    sun_w_m2: Array


def _by_minute(hours: Array, first_day: int) -> Array:
    """Row i is the hour ending i + 1: its value stands at the half hour, straight lines between."""
    minute = 1440.0 * first_day + np.arange(MINUTES)
    return np.asarray(np.interp(minute, 60.0 * np.arange(8760) + 30.0, hours), np.float64)


def _wander(rng: np.random.Generator, sd: float, memory_min: float) -> Array:
    steps = MINUTES // 5 + 2
    keep = float(np.exp(-5.0 / memory_min))
    kicks = sd * np.sqrt(1.0 - keep**2) * rng.standard_normal(steps)
    out = np.empty(steps)
    at = sd * rng.standard_normal()
    for i, kick in enumerate(kicks):
        at = keep * at + kick
        out[i] = at
    return np.interp(np.arange(MINUTES), 5.0 * np.arange(steps), out)


def _fronts(rng: np.random.Generator) -> tuple[Array, Array]:
    """Cold fronts of our own, one in six days: 2 to 6 K in 1 to 2 h, worn off over a day; wind for hours."""
    minute = np.arange(MINUTES, dtype=float)
    chill, wind = np.zeros(MINUTES), np.zeros(MINUTES)
    for at in rng.uniform(0.0, MINUTES, rng.poisson(MINUTES / 1440.0 / 6.0)):
        since = minute - at
        after = since > 0.0
        come = np.clip(since / rng.uniform(60.0, 120.0), 0.0, 1.0)
        chill -= np.where(after, rng.uniform(2.0, 6.0) * come * np.exp(-since.clip(0.0) / 1440.0), 0.0)
        wind += np.where(after, rng.uniform(1.0, 3.0) * come * np.exp(-since.clip(0.0) / 300.0), 0.0)
    return chill, wind


def weather(place: Place, first_day: int, rng: np.random.Generator) -> Weather:
    """The 16 days from `first_day` of the year on."""
    hours = year(place)
    chill, front_wind = _fronts(rng)
    shelter = rng.uniform(0.15, 0.5)
    gust = np.exp(_wander(rng, 0.4, 90.0))
    return Weather(
        _by_minute(hours.air_c, first_day) + chill + _wander(rng, 0.4, 60.0),
        shelter * gust * _by_minute(hours.wind_m_s, first_day) + front_wind * shelter,
        _by_minute(hours.sun_w_m2, first_day) * rng.uniform(0.2, 0.8),
    )
