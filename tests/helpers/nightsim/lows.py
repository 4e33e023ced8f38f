"""Tonight's low told at 21:00, over a full year of each real series, against simple rules.

Row i (from 0) of a series is the hour ending i + 1 in local standard time. The low is the least of the ten
rows after 21:00; nights 5 to 363. The rules a to d are those of reference/physics.md section 6, whose mean
absolute errors (marked C there: numpy on the same files) the test holds this code to.
"""

from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta, timezone

import numpy as np
from nightsim.weather import Place, year
from numpy.typing import NDArray

from coldbrood.brooder import outdoor
from coldbrood.settings.sun import sun_days
from coldbrood.watch.localtime import night_sun
from coldbrood.watch.site import BatchSpec, Keeper, Site

Array = NDArray[np.float64]
FIRST_NIGHT, LAST_NIGHT = 5, 363
Z90 = 1.2815515655446004


@dataclass(frozen=True)
class Lows:
    """Mean absolute errors in K of a year: rules a to d and ours, and how often the 80 % range held."""

    rules_k: tuple[float, float, float, float]
    ours_k: float
    covered: float


def lows_and_nines(air_c: Array) -> tuple[Array, Array]:
    """The low of each night, and the air at 21:00."""
    nights = range(LAST_NIGHT + 1)
    return (
        np.array([air_c[24 * d + 21 : 24 * d + 31].min() for d in nights]),
        np.array([air_c[24 * d + 20] for d in nights]),
    )


def rules_k(air_c: Array) -> tuple[float, float, float, float]:
    """Errors of: last low; T21 less last drop, less the mean of five, less the mean of all drops so far."""
    low, nine = lows_and_nines(air_c)
    drop = nine - low
    nights = np.arange(FIRST_NIGHT, LAST_NIGHT + 1)
    means = (
        low[nights - 1],
        nine[nights] - drop[nights - 1],
        nine[nights] - np.array([drop[n - 5 : n].mean() for n in nights]),
        nine[nights] - np.array([drop[:n].mean() for n in nights]),
    )
    a, b, c, d = (float(np.abs(said - low[nights]).mean()) for said in means)
    return a, b, c, d


def _site(place: Place) -> Site:
    return Site(
        "larch-lane",
        timezone(timedelta(hours=place.utc_h)),
        place.latitude_deg,
        place.longitude_deg,
        Keeper(22 * 3600, 6 * 3600, 1800.0, 0.1),
        BatchSpec(date(2026, 4, 10), None, "layer", {}),
        {},
        {},
        (),
        sun_days(place.latitude_deg, place.longitude_deg, 2026),
    )


def score(place: Place) -> Lows:
    """One year of hourly readings through the product's habit and curve."""
    air_c, site = year(place).air_c, _site(place)
    low, _ = lows_and_nines(air_c)
    start_s = datetime(2026, 1, 1, tzinfo=UTC).timestamp() - 3600.0 * place.utc_h
    habit = outdoor.start_habit()
    errors, held = [], []
    for row in range(24 * LAST_NIGHT + 21):
        at_s = start_s + 3600.0 * (row + 1)
        sunset, sunrise = night_sun(site, at_s)
        habit = outdoor.learn(habit, at_s, float(air_c[row]), sunset, sunrise)
        night = row // 24
        if row % 24 != 20 or night < FIRST_NIGHT:
            continue
        ahead = outdoor.curve(habit, at_s, sunset, sunrise, 10 * 3600.0, 3600.0)
        hour = 1 + int(np.argmin(ahead.mean_c[1:]))
        over = float(low[night] - ahead.mean_c[hour])
        errors.append(abs(over))
        held.append(abs(over) <= Z90 * float(ahead.sd_c[hour]))
    return Lows(rules_k(air_c), float(np.mean(errors)), float(np.mean(held)))
