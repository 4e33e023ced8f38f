"""Scores of the time at which the box probe crosses its floor, against what would have come without a refill.

Sources: CRPS of a distribution over [0, horizon] as the integral of (F - 1{t >= crossing})^2, Gneiting and
Raftery 2007 (reference/physics.md section 8, M); crossings that never come are censored at the horizon.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

import numpy as np
from nightsim.floors import Floor
from nightsim.lane import Ask, Lane
from nightsim.product import Product
from numpy.typing import NDArray

from coldbrood.brooder import bank as banks
from coldbrood.brooder import jug
from coldbrood.brooder.estimate import forecast
from coldbrood.brooder.hold import Hold, hold
from coldbrood.brooder.paths import roll
from coldbrood.brooder.specs import Flock, OutdoorCurve
from coldbrood.watch.assess import outdoor_ahead
from coldbrood.watch.bands import band_ahead
from coldbrood.watch.sight import flock_of

Array = NDArray[np.float64]
When = Literal["1 h", "3 h", "6 h", "bedtime"]
HORIZON_MIN = 1440
GRID_MIN = np.arange(HORIZON_MIN + 1, dtype=float)
AFTER_MIN: dict[int, When] = {60: "1 h", 180: "3 h", 360: "6 h"}


@dataclass(frozen=True)
class Case:
    """One forecast and what came, minutes after the issue; None beyond the horizon."""

    when: When
    age_days: float
    came_min: float | None
    early_min: float | None
    late_min: float | None
    crps_h: float
    line_h: float
    prior_h: float

    @property
    def covered(self) -> bool:
        """Whether what came lies in the 80 % range."""
        came = math.inf if self.came_min is None else self.came_min
        early = math.inf if self.early_min is None else self.early_min
        late = math.inf if self.late_min is None else self.late_min
        return early <= came <= late

    @property
    def open(self) -> bool:
        """Whether there was anything to say: the range begins, or the crossing comes, within the horizon."""
        return self.early_min is not None or self.came_min is not None


def crossing_min(lane: Lane, floor: Floor) -> float | None:
    """Minutes until the probe, free of noise, goes under the floor if nobody comes. None: not in a day."""
    ahead = lane.branch()
    ahead.lids = False
    before = ahead.shown_c() - floor(ahead.minute / 1440.0)
    for i in range(HORIZON_MIN):
        ahead.step()
        after = ahead.shown_c() - floor(ahead.minute / 1440.0)
        if after < 0.0:
            return i + (before / (before - after) if before > after else 1.0)
        before = after
    return None


def crps_h(chance: Array, came_min: float | None) -> float:
    """CRPS in hours of a distribution function on the minutes of the horizon."""
    came = HORIZON_MIN if came_min is None else came_min
    step = (came <= GRID_MIN).astype(float) if came_min is not None else np.zeros_like(GRID_MIN)
    return float(((chance - step)[:-1] ** 2).sum() / 60.0)


def line_h(readings: Iterable[tuple[int, float]], now: int, floor: Floor, came_min: float | None) -> float:
    """Error in hours of the straight line through the last hour's readings, censored at the horizon."""
    points = [(at, c) for at, c in readings if at > now - 60]
    came = min(HORIZON_MIN if came_min is None else came_min, HORIZON_MIN)
    if len(points) < 3:
        return abs(HORIZON_MIN - came) / 60.0
    at, value = np.array(points, dtype=float).T
    slope, level = np.polyfit(at - now, value, 1)
    under = level + slope * GRID_MIN < np.array([floor((now + m) / 1440.0) for m in GRID_MIN])
    said = float(GRID_MIN[np.argmax(under)]) if under.any() else float(HORIZON_MIN)
    return abs(said - came) / 60.0


def _chance(held: Hold, now_s: float) -> Array:
    return np.interp(now_s + 60.0 * GRID_MIN, held.at_s, held.chance_under, left=0.0)


def prior_chance(product: Product, lane: Lane, filled: int) -> Array:
    """The box on paper from the last fill on: it knows when it was, the box then, and the air outside.

    Conditioned on not having crossed before now, which flatters it.
    """
    entry, spec = product.entry, lane.scenario.spec
    fill_s, now_s = product.t_s(filled), product.t_s(lane.minute)
    before = [c for at, c in product.readings if at <= filled + 5]
    start = banks.settle(banks.draw(spec, 1), spec, fill_s, before[-1] if before else 18.0)
    bank = jug.refilled(start, spec, None)
    ahead = outdoor_ahead(entry.site, entry.state.sight, entry.now)
    past_c = lane.scenario.weather.outdoor_c[filled : lane.minute : 15]
    past_s = fill_s + 900.0 * np.arange(len(past_c))
    curve = OutdoorCurve(
        np.concatenate([past_s, ahead.t_s[ahead.t_s > past_s[-1]]]),
        np.concatenate([past_c, ahead.mean_c[ahead.t_s > past_s[-1]]]),
        np.concatenate([np.full(len(past_c), 0.5), ahead.sd_c[ahead.t_s > past_s[-1]]]),
    )
    now_flock = flock_of(entry.site, entry.state.sight, "a", entry.wall_s)
    age = now_flock.age_days - (now_s - fill_s) / 86_400.0
    flock = Flock(now_flock.chicks, max(age, 0.0), now_flock.kind)
    paths = roll(bank, spec, curve, flock, 86_400.0 + now_s - fill_s, 600.0)
    floors, _ = band_ahead(entry.site, entry.state.sight.boxes["a"], age, fill_s, paths.t_s)
    floors[paths.t_s <= now_s] = -np.inf
    return _chance(hold(paths, floors, 0.1), now_s)


@dataclass
class Scored:
    """The product with its forecasts scored 1, 3 and 6 h after a fill and at bedtime; hourly residuals."""

    product: Product
    floor: Floor

    def __post_init__(self) -> None:
        self.cases: list[Case] = []
        self.left_out = 0
        self.residuals: list[tuple[float, float, float, float]] = []

    def minute(self, lane: Lane) -> Iterable[Ask]:
        """One minute of the product, then the score of what it says."""
        asks = self.product.minute(lane)
        since = lane.minute - lane.refills[-1]
        when = AFTER_MIN.get(since)
        if when is not None:
            self._score(lane, when)
        if lane.minute % 1440 == 22 * 60:
            self._score(lane, "bedtime")
        if lane.minute % 180 == 30 and since > 60:
            self._residual(lane)
        return asks

    def _score(self, lane: Lane, when: When) -> None:
        view = self.product.entry.state.views.get("a")
        if view is None or view.box_c is None or view.blind:
            return
        if lane.shown_c() < self.floor(lane.minute / 1440.0):
            self.left_out += 1
            return
        came = crossing_min(lane, self.floor)
        now_s, held = self.product.t_s(lane.minute), view.hold
        chance = _chance(held, now_s)
        early, late = (
            None if at is None or at > now_s + 86_400.0 else max((at - now_s) / 60.0, 0.0)
            for at in (held.early_s, held.late_s)
        )
        self.cases.append(
            Case(
                when,
                lane.minute / 1440.0,
                came,
                early,
                late,
                crps_h(chance, came),
                line_h(self.product.readings, lane.minute, self.floor, came),
                crps_h(prior_chance(self.product, lane, lane.refills[-1]), came),
            )
        )

    def _residual(self, lane: Lane) -> None:
        """What the probe shows two hours on if nobody comes, less what the estimate expects."""
        entry = self.product.entry
        sight, spec = entry.state.sight, lane.scenario.spec
        ahead = outdoor_ahead(entry.site, sight, entry.now)
        flock = flock_of(entry.site, sight, "a", entry.wall_s)
        paths = forecast(sight.boxes["a"].estimate, spec, entry.t_s, ahead, flock, 7200.0)
        at = int(np.searchsorted(paths.t_s, entry.t_s + 7200.0 - 1.0))
        then = lane.branch()
        then.lids = False
        wind = 0.0
        for _ in range(120):
            wind += float(then.scenario.weather.wind_m_s[then.minute]) / 120.0
            then.step()
        over = then.shown_c() - float(paths.weights @ paths.box_c[:, at])
        self.residuals.append((lane.minute % 1440 / 60.0, lane.minute / 1440.0, wind, over))
