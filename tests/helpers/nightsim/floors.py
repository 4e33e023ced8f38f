"""The two floors of the benchmark, and what lies under them."""

from collections.abc import Callable

import numpy as np
from nightsim.lane import END_MIN, START_MIN, Lane

from coldbrood.brooder.band import floor_by_age_c

Floor = Callable[[float], float]
# Issue: 21 C to day 3, 18 to day 7, 15 to day 10, 10 after. As the knots of straight lines.
DEMANDING = ((3.0, 21.0), (3.001, 18.0), (7.0, 18.0), (7.001, 15.0), (10.0, 15.0), (10.001, 10.0))
WARMING_MIN = 60


def demanding_c(age_days: float) -> float:
    """The demanding floor at an age."""
    days, values = zip(*DEMANDING, strict=True)
    return float(np.interp(age_days, days, values))


FLOORS: dict[str, Floor] = {"demanding": demanding_c, "own": floor_by_age_c}


def under(lane: Lane, floor: Floor) -> tuple[float, float]:
    """Degree-hours of felt air under the floor, and minutes under the hard floor (5 C lower, never under 7).

    The first hour is left out: nobody can warm a cold box faster.
    """
    minutes = np.arange(START_MIN, END_MIN)[: len(lane.felt_c)]
    felt_c = np.array(lane.felt_c)[: len(minutes)]
    by_hour = np.array([floor(m / 1440.0) for m in range(START_MIN, END_MIN, 60)])
    floor_c = np.repeat(by_hour, 60)[: len(minutes)]
    counted = minutes >= START_MIN + WARMING_MIN
    short_k = np.where(counted, np.maximum(floor_c - felt_c, 0.0), 0.0)
    hard = counted & (felt_c < np.maximum(floor_c - 5.0, 7.0))
    return float(short_k.sum() / 60.0), float(hard.sum())
