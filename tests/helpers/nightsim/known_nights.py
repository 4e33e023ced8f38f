"""What a better estimate could win at most: nights planned with the true box, and the watch's own weather.

It knows walls, leaks, jug, towel and chicks; of the air outside only what the outdoor probe has told the
watch. Of wind, sun, the chicks' unrest and the whims of the next fill it knows either every minute to come,
or, as the best estimate might, how they were on the other days of this batch, those with a wind like the
last three hours' before others. Its keeper is the watch's: late, now and then asleep, with water more or less
hot. What it costs above the oracle is no estimate's to win.

Neither it nor the oracle minds heat, as the watch does with cooler water and an alarm. So beside them stands
the watch with its ceilings out of reach: what the watch costs above that is the price of no box too hot.
"""

from collections.abc import Iterable
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
from nightsim.batch import DEFAULT_RISK, product_tally, tally
from nightsim.floors import DEMANDING, FLOORS, Floor
from nightsim.lane import FELT_MIN, Ask, Lane, is_night, live
from nightsim.oracle import GRID_MIN, REFILL_KH, WAKING_KH, soon_under
from nightsim.product import Product, site_of
from nightsim.scenario import BEDTIME_MIN, RISING_MIN, Scenario, draw
from nightsim.scores import Array
from nightsim.truth import MANY, Acting
from nightsim.weather import DAYS
from numpy.typing import NDArray

from coldbrood.brooder.bank import spread_normals
from coldbrood.watch.assess import outdoor_ahead

NIGHTS = 24
COMES_MIN = 32
SETTLES_MIN = 45
LOOKS_MIN = 15
AFTER_RISING_MIN = 30
FILL_SD_C = 5.0
WIND_MIN, LIKE_DAYS = 180, 6
# How much of what each night would have wanted is told in time, and what differs by no more is as good.
LEARNED_SHARE = 0.5
AS_GOOD_KH = 0.05

Fills = tuple[int, ...]
KINDS = (("true box, all foreseen", True), ("true box", False))
HEAT_LET_BE = "product, heat let be"
WHO = (HEAT_LET_BE, *(name for name, _ in KINDS))


def to_morning_min(minute: int) -> int:
    """Minutes to the next rising."""
    return (RISING_MIN - minute) % 1440


def days_like(s: Scenario, minute: int) -> NDArray[np.intp]:
    """Days from today (nights,) whose wind of these hours was nearest to that of the last three, in turn."""
    wind = s.weather.wind_m_s
    today = minute // 1440
    last = float(wind[minute - WIND_MIN : minute].mean())
    others = [day - today for day in range(1, DAYS - 1) if day != today]
    apart = [abs(float(wind[minute - WIND_MIN + 1440 * d : minute + 1440 * d].mean()) - last) for d in others]
    nearest = np.array(others)[np.argsort(apart)[:LIKE_DAYS]]
    return np.asarray(nearest[np.arange(NIGHTS) % LIKE_DAYS], np.intp)


def costs_kh(product: Product, lane: Lane, floor: Floor, tried: list[Fills], *, foreseen: bool) -> Array:
    """Cold in degree-hours till the fill at rising warms, (tried, nights), with fills at minutes from now.

    With every minute to come `foreseen`, but for the air outside, or with those of other days.
    """
    s, span = lane.scenario, to_morning_min(lane.minute) + AFTER_RISING_MIN
    entry, now_s = product.entry, product.t_s(lane.minute)
    ahead = outdoor_ahead(entry.site, entry.state.sight, entry.now)
    mean_c, sd_c = ahead.at(np.asarray(now_s + 60.0 * np.arange(span), np.float64))
    night, fill_off = spread_normals(np.random.default_rng(lane.minute), 2, NIGHTS)
    shift = np.zeros(NIGHTS, np.intp) if foreseen else days_like(s, lane.minute)
    fill_c = s.spec.fill_c + (0.0 if foreseen else FILL_SD_C) * fill_off
    shape = (len(tried), NIGHTS)
    nodes = tuple(np.full(shape, float(node)) for node in lane.nodes)
    towel, felt, cold = np.full(shape, lane.towel), np.full(shape, lane.felt_now_c), np.zeros(shape)
    for i in range(span):
        minute = lane.minute + i
        filled = np.array([i in fills for fills in tried])[:, None]
        if filled.any():
            nodes = (np.where(filled, fill_c, nodes[0]), *nodes[1:])
            towel = np.where(filled, s.towel_by_day[minute // 1440 + shift].astype(float), towel)
        nodes = s.box.minute(MANY, nodes, towel, _acting(s, minute, shift, mean_c[i] + sd_c[i] * night), 60.0)
        felt = felt + (nodes[2] - felt) / FELT_MIN
        cold += np.maximum(floor(minute / 1440.0) - felt, 0.0) / 60.0
    return cold


def _acting(s: Scenario, minute: int, shift: NDArray[np.intp], outdoor_c: Array) -> Acting:
    """What acts in each night: the wind, sun and unrest of so many days later at this hour."""
    true, at = s.acting(minute), minute + 1440 * shift
    heat = true.heat_per_w_kg * s.activity[at] / s.activity[minute]
    return Acting(outdoor_c, s.weather.wind_m_s[at], s.weather.sun_w_m2[at], heat, true.vent_factor)


def wakings_ahead(lane: Lane) -> list[int]:
    """Minutes from now at which a keeper who is woken can come, on a half-hour grid."""
    return list(range(COMES_MIN, to_morning_min(lane.minute) - GRID_MIN, GRID_MIN))


@dataclass
class KnownNights:
    """A policy for `lane.live`: the watch is fed for its weather alone."""

    product: Product
    floor: Floor
    foreseen: bool

    def _costs_kh(self, lane: Lane, tried: list[Fills]) -> Array:
        return costs_kh(self.product, lane, self.floor, tried, foreseen=self.foreseen)

    def minute(self, lane: Lane) -> Iterable[Ask]:
        """One minute; by day the rule of the oracle."""
        list(self.product.minute(lane))
        clock = lane.minute % 1440
        if clock == BEDTIME_MIN:
            return ("fill-now",) if self._fills_at_bedtime(lane) else ()
        if lane.minute - lane.refills[-1] < SETTLES_MIN:
            return ()
        if clock == RISING_MIN:
            return ("fill-now",) if self._fills_at_rising(lane) else ()
        if is_night(lane.minute):
            return ("refill",) if clock % LOOKS_MIN == 0 and self._wakes(lane) else ()
        return ("refill",) if lane.minute % 5 == 0 and soon_under(lane, self.floor) else ()

    def _fills_at_bedtime(self, lane: Lane) -> bool:
        inner = [m for m in wakings_ahead(lane) if m >= 2 * GRID_MIN]

        def expected_kh(bed: Fills) -> float:
            tried = [bed, *((*bed, m) for m in inner)]
            wakings = np.array([len(fills) - len(bed) for fills in tried])[:, None]
            cost = self._costs_kh(lane, tried) + (WAKING_KH + REFILL_KH) * wakings
            known, unknown = cost.min(axis=0).mean(), cost.mean(axis=1).min()
            return float(LEARNED_SHARE * known + (1.0 - LEARNED_SHARE) * unknown) + REFILL_KH * len(bed)

        return expected_kh((5,)) < expected_kh(())

    def _fills_at_rising(self, lane: Lane) -> bool:
        return soon_under(lane, self.floor, 90)

    def _wakes(self, lane: Lane) -> bool:
        asleep = float(self._costs_kh(lane, [()]).mean())
        later = wakings_ahead(lane)
        if asleep <= WAKING_KH or not later:
            return False
        woken = self._costs_kh(lane, [(m,) for m in later]).mean(axis=1) + WAKING_KH
        return bool(woken[0] + AS_GOOD_KH < min([asleep, *woken[1:].tolist()]))


def run(seed: int) -> dict[str, Any]:
    """The tallies of one batch lived by each of `WHO`, as plain values."""
    s, out = draw(seed), {}
    for name, foreseen in KINDS:
        product = Product(s, site_of(s, DEFAULT_RISK, DEMANDING))
        life = live(s, KnownNights(product, FLOORS["demanding"], foreseen))
        out[name] = asdict(tally(life, "demanding"))
    return out | {HEAT_LET_BE: product_tally(seed, minds_heat=False)}
