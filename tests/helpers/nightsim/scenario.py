"""One batch of 14 days as it is drawn from one seed: box, chicks, keeper's habits, probes, weather.

Ranges (drawn evenly unless said): box 0.55 to 0.9 x 0.45 to 0.65 x 0.35 to 0.5 m, 20 to 50 mm of
insulation, 5 to 12 air changes, one or two jugs of 3.8 to 6 L filled at 70 to 80 C, 12 to 24 chicks. What
is true of the box differs from what is stated as `simulated.drawn` says, one box in four has a look-in
pane, the towel goes on by the day, chicks go out by day when old and the weather mild enough, are more
or less awake, grow by 10 % more or less; the litter grows wet and takes more of their heat.
"""

from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np
from nightsim.truth import Acting, Box
from nightsim.weather import MINUTES, PLACES, Place, Weather, first_days, weather
from numpy.typing import NDArray

from coldbrood.brooder.specs import BoxSpec
from coldbrood.probes import simulated

Array = NDArray[np.float64]

BEDTIME_MIN, RISING_MIN = 22 * 60, 6 * 60 + 30
YEAR = 2026


@dataclass(frozen=True)
class ProbeDraw:
    """One probe: offset, lag, wander and noise, minutes at which its messages are lost, and its odd places.

    `jug_share` and `buried` by the minute: how much of the jug's skin it feels, whether litter covers it.
    """

    offset_c: float
    lag_s: float
    error_c: Array
    lost: NDArray[np.bool_]
    jug_share: Array
    buried: NDArray[np.bool_]


@dataclass(frozen=True)
class Scenario:
    """All that is true of one batch, by the minute where it changes."""

    seed: int
    place: Place
    first_day: int
    spec: BoxSpec
    box: Box
    chicks: int
    weather: Weather
    inside: Array
    activity: Array
    vent: Array
    towel_by_day: NDArray[np.bool_]
    look_ins: frozenset[int]
    box_probe: ProbeDraw
    outdoor_error_c: Array
    outdoor_lost: NDArray[np.bool_]

    @property
    def day0(self) -> date:
        """The date of day 0, in a year like any other."""
        return date(YEAR, 1, 1) + timedelta(days=self.first_day)

    def acting(self, minute: int, lid_share: float = 0.0) -> Acting:
        """What acts over one minute."""
        age = minute / 1440.0
        weight = self.box.heat_weight(float(self.inside[minute]), age, float(self.activity[minute]))
        return Acting(
            float(self.weather.outdoor_c[minute]),
            float(self.weather.wind_m_s[minute]),
            float(self.weather.sun_w_m2[minute]),
            weight * (1.0 - 0.012 * age),
            float(self.vent[minute]),
            lid_share,
        )


def _spec(rng: np.random.Generator) -> BoxSpec:
    u = rng.uniform
    return BoxSpec(
        "a",
        round(float(u(0.55, 0.9)), 2),
        round(float(u(0.45, 0.65)), 2),
        round(float(u(0.35, 0.5)), 2),
        round(float(u(20.0, 50.0))),
        0.037,
        round(float(u(5.0, 12.0)), 1),
        int(rng.choice([1, 1, 2])),
        float(rng.choice([3.8, 5.0, 6.0])),
        float(rng.choice([70.0, 75.0, 80.0])),
        bool(rng.random() < 0.25),
    )


def _stretches(rng: np.random.Generator, per_day: float, least: float, most: float) -> NDArray[np.bool_]:
    """Minutes within stretches of `least` to `most` minutes, so many a day by chance."""
    inside = np.zeros(MINUTES, dtype=bool)
    for at in rng.integers(0, MINUTES, rng.poisson(per_day * MINUTES / 1440.0)):
        inside[at : at + int(rng.uniform(least, most))] = True
    return inside


def _error(rng: np.random.Generator) -> Array:
    """A wander with ten minutes' memory (sd 0.10 C) and noise (0.04 C)."""
    keep = float(np.exp(-1.0 / 10.0))
    kicks = 0.10 * np.sqrt(1.0 - keep**2) * rng.standard_normal(MINUTES)
    out = np.empty(MINUTES)
    at = 0.0
    for i, kick in enumerate(kicks):
        at = keep * at + kick
        out[i] = at
    return out + 0.04 * rng.standard_normal(MINUTES)


def _lost(rng: np.random.Generator) -> NDArray[np.bool_]:
    """Losses: one message in a hundred, bursts of 5 to 14 min twice a day, one of up to 40 min in a week."""
    lost = rng.random(MINUTES) < 0.01
    lost |= _stretches(rng, 2.0, 5.0, 14.0)
    return np.asarray(lost | _stretches(rng, 1.0 / 7.0, 15.0, 40.0))


def _box_probe(rng: np.random.Generator) -> ProbeDraw:
    share, buried = np.zeros(MINUTES), np.zeros(MINUTES, dtype=bool)
    odd = rng.random()
    at = int(rng.integers(1440, MINUTES - 3 * 1440))
    until = at + int(rng.uniform(0.5, 2.0) * 1440)
    if odd < 0.08:
        share[at:until] = rng.uniform(0.1, 0.3)
    elif odd < 0.16:
        buried[at:until] = True
    return ProbeDraw(
        float(np.clip(rng.normal(0.0, 0.25), -0.5, 0.5)),
        float(rng.uniform(120.0, 300.0)),
        _error(rng),
        _lost(rng),
        share,
        buried,
    )


def _chicks_day(rng: np.random.Generator, w: Weather, chicks: int) -> tuple[Array, Array, Array]:
    """Chicks inside, how awake they are, and how far the pop hole stands open, by the minute."""
    minute = np.arange(MINUTES)
    hour, age = minute % 1440 / 60.0, minute / 1440.0
    by_day = (hour > 7.0) & (hour < 19.5)
    growth = float(np.exp(rng.normal(0.0, 0.10)))
    drift = np.repeat(np.exp(rng.normal(0.0, 0.08, MINUTES // 120 + 1)), 120)[:MINUTES]
    activity = growth * drift * np.where(by_day, rng.uniform(1.2, 1.7), 1.0)
    mild_c = np.interp(age, [0.0, 3.0, 7.0, 14.0], [60.0, 18.0, 12.0, 6.0])
    eager = np.repeat(rng.uniform(0.0, 0.9, MINUTES // 30 + 1), 30)[:MINUTES]
    out = (hour > 9.0) & (hour < 17.5) & (w.outdoor_c > mild_c)
    share_out = np.where(out, eager, 0.0)
    vent = np.where(out, rng.uniform(1.3, 2.2), 1.0)
    losses = rng.random(MINUTES) < 0.7 / MINUTES
    return np.maximum(chicks - np.cumsum(losses), 1.0) * (1.0 - share_out), activity, vent


def _look_ins(rng: np.random.Generator) -> frozenset[int]:
    """Minutes at which the keeper lifts the lid to look: five a day to day 3, then two, by day."""
    at: list[int] = []
    for day in range(MINUTES // 1440):
        at += [1440 * day + int(m) for m in rng.uniform(7 * 60, 21.5 * 60, 5 if day < 3 else 2)]
    return frozenset(at)


def draw(seed: int) -> Scenario:
    """The batch of one seed."""
    rng = np.random.default_rng((seed, 20260411))
    place = PLACES[int(rng.choice(3, p=[0.5, 0.35, 0.15]))]
    place = place if first_days(place) else PLACES[0]
    first_day = int(rng.choice(first_days(place)))
    w = weather(place, first_day, rng)
    spec = _spec(rng)
    true = simulated.drawn(spec, int(rng.integers(2**31)))
    true = replace(true, pane_m2=float(rng.uniform(0.01, 0.04)) if rng.random() < 0.25 else 0.0)
    chicks = int(rng.integers(12, 25))
    inside, activity, vent = _chicks_day(rng, w, chicks)
    usual = 0.85 if spec.jug_wrapped else 0.1
    return Scenario(
        seed,
        place,
        first_day,
        spec,
        Box(true),
        chicks,
        w,
        inside,
        activity,
        vent,
        rng.random(MINUTES // 1440) < usual,
        _look_ins(rng),
        _box_probe(rng),
        float(rng.normal(0.0, 0.2)) + _error(rng),
        _lost(rng),
    )
