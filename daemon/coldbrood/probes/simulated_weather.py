"""A night outside, made up: dusk, a cold front, a clear end, a sunny morning. Pure and seeded."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coldbrood.probes.simulated import Weather

GRID_S = 300.0
DECAY_POWER = 0.8  # how a night's fall bends: the best power of a year inland [C, physics.md section 6]


@dataclass(frozen=True, slots=True)
class NightPlan:
    """The shape of one night. Times in seconds after the start of the story."""

    sunset_s: float
    sunrise_s: float
    dusk_c: float
    low_c: float
    front_s: float
    front_drop_k: float = 5.0
    front_takes_s: float = 3600.0
    morning_rise_k_per_h: float = 2.0
    wind_before_m_s: float = 0.8
    wind_after_m_s: float = 4.0
    sun_most_w_m2: float = 550.0


class Night:
    """Weather at any time of one night. The wander is a seeded walk on a 5 min grid, linear between."""

    def __init__(self, plan: NightPlan, seed: int, hours: float = 30.0) -> None:
        self.plan = plan
        steps = int(hours * 3600.0 / GRID_S) + 2
        rng = np.random.default_rng(seed)
        self._air_k = _wander(rng, steps, sd=0.25, memory_s=2400.0)
        self._gust = _wander(rng, steps, sd=0.30, memory_s=900.0)

    def at(self, t_s: float) -> Weather:
        """Weather `t_s` seconds after the start."""
        plan = self.plan
        came = 1.0 / (1.0 + math.exp(-(t_s - plan.front_s) / (plan.front_takes_s / 6.0)))
        wind = plan.wind_before_m_s + (plan.wind_after_m_s - plan.wind_before_m_s) * came
        quiet = math.exp(-max(0.0, t_s - plan.front_s - 7200.0) / 5400.0)  # the wind drops behind the front
        outdoor_c = self._calm_c(t_s) - plan.front_drop_k * came + self._on_grid(self._air_k, t_s)
        gusty = math.exp(self._on_grid(self._gust, t_s))
        return Weather(outdoor_c, wind * gusty * (0.3 + 0.7 * quiet), self._sun_w_m2(t_s))

    def _calm_c(self, t_s: float) -> float:
        plan = self.plan
        begin_s = plan.sunset_s - 3600.0
        part = min(max((t_s - begin_s) / (plan.sunrise_s - begin_s), 0.0), 1.0)
        day_h = max(0.0, t_s - plan.sunrise_s) / 3600.0
        low_c = plan.low_c + plan.front_drop_k  # the front's own drop comes on top
        return (
            plan.dusk_c
            + (low_c - plan.dusk_c) * math.pow(part, DECAY_POWER)
            + plan.morning_rise_k_per_h * day_h
        )

    def _sun_w_m2(self, t_s: float) -> float:
        # Beam on an upright pane that faces the low sun: full strength 90 min after it rises [M].
        up_s = t_s - self.plan.sunrise_s
        return self.plan.sun_most_w_m2 * min(max(up_s / 5400.0, 0.0), 1.0)

    def _on_grid(self, values: NDArray[np.float64], t_s: float) -> float:
        return float(np.interp(t_s / GRID_S, np.arange(len(values)), values))


def _wander(rng: np.random.Generator, steps: int, sd: float, memory_s: float) -> NDArray[np.float64]:
    keep = math.exp(-GRID_S / memory_s)
    kicks = sd * math.sqrt(1.0 - keep**2) * rng.normal(size=steps)
    values = np.zeros(steps)
    for i in range(1, steps):
        values[i] = keep * values[i - 1] + kicks[i]
    return values
