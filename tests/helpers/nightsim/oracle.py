"""The oracle: it knows truth and weather, and at each bedtime chooses the night's refills by enumeration.

At 22:00 it lives on, from the true state and in the true weather, every night with a fill at bedtime or
none, at rising or none, and no, one or two wakings on a half-hour grid (the second two hours after the
first at least), and takes the one of least cost: 4 degree-hours a waking, a quarter a refill, and the cold
until three hours after rising. It refills when it chose to, with no delay. By day it has the rule and the
delays of the others with perfect foresight: the nudge comes half an hour before the true crossing.

One that `minds_heat` has the watch's own rule besides: heat over the ceiling costs half of what cold does, a
box over the hard ceiling at night wakes it to lift the lid, and the water of the night may be cooler.
"""

from dataclasses import dataclass
from itertools import combinations, product

import numpy as np
from nightsim.floors import Floor
from nightsim.lane import COOLED, FELT_MIN, Lane, Life, is_night
from nightsim.scenario import BEDTIME_MIN, RISING_MIN, Scenario
from nightsim.truth import MANY
from nightsim.weather import DAYS
from numpy.typing import NDArray

from coldbrood.brooder.band import ceiling_by_age_c, hard_ceiling_c
from coldbrood.brooder.cooler import HOT_SHARE, cooler_fills_c

GRID_MIN = 30
NIGHT_MIN = 1440 - BEDTIME_MIN + RISING_MIN
AHEAD_MIN = NIGHT_MIN + 180
LEAD_MIN = 30
WAKING_KH, REFILL_KH = 4.0, 0.25


def choices() -> list[tuple[int, ...]]:
    """Every set of refill minutes after bedtime that is tried, bedtime 0 and rising among them."""
    inner = range(2 * GRID_MIN, NIGHT_MIN - GRID_MIN, GRID_MIN)
    wakings: list[tuple[int, ...]] = [()]
    wakings += [(m,) for m in inner]
    wakings += [pair for pair in combinations(inner, 2) if pair[1] - pair[0] >= 120]
    ends: tuple[tuple[int, ...], ...] = ((), (0,), (NIGHT_MIN,), (0, NIGHT_MIN))
    return [tuple(sorted({*w, *e})) for w in wakings for e in ends]


@dataclass(frozen=True)
class Choice:
    """The night chosen: minutes after bedtime, how hot the water until rising, its cost in degree-hours."""

    refills: tuple[int, ...]
    fill_c: float
    cost_kh: float


def choose(lane: Lane, floor: Floor, *, minds_heat: bool = False, waking_kh: float = WAKING_KH) -> Choice:
    """The cheapest night from here, by living all of them."""
    usual_c = lane.scenario.spec.fill_c
    waters = [usual_c, *map(float, cooler_fills_c(usual_c))] if minds_heat else [usual_c]
    tried = [(fills, c) for fills, c in product(choices(), waters) if c == usual_c or {*fills} - {NIGHT_MIN}]
    fills = np.zeros((AHEAD_MIN, len(tried)), dtype=bool)
    for column, (minutes, _) in enumerate(tried):
        fills[list(minutes), column] = True
    cold_kh, hot_kh, over = _lived(lane, floor, fills, np.array([c for _, c in tried]))
    cost = waking_kh * fills[1:NIGHT_MIN].sum(axis=0) + REFILL_KH * fills.sum(axis=0) + cold_kh
    if minds_heat:
        cost = cost + HOT_SHARE * hot_kh + waking_kh * over
    best = int(np.argmin(cost))
    return Choice(*tried[best], float(cost[best]))


def _lived(
    lane: Lane, floor: Floor, fills: NDArray[np.bool_], water_c: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.bool_]]:
    """Cold and heat in degree-hours (choices,), and whether the box is over its hard ceiling before rising.

    `fills` (minutes, choices) marks when a jug goes in, `water_c` (choices,) how hot it is before rising.
    """
    s, shape = lane.scenario, fills.shape[1]
    nodes = tuple(np.full(shape, float(n)) for n in lane.nodes)
    towel, felt = np.full(shape, lane.towel), np.full(shape, lane.felt_now_c)
    cold_kh, hot_kh, over = np.zeros(shape), np.zeros(shape), np.zeros(shape, dtype=bool)
    for i, filled in enumerate(fills):
        minute = lane.minute + i
        if filled.any():
            hot_c = water_c if i < NIGHT_MIN else s.spec.fill_c
            nodes = (np.where(filled, hot_c, nodes[0]), *nodes[1:])
            towel = np.where(filled, float(s.towel_by_day[minute // 1440]), towel)
        nodes = s.box.minute(MANY, nodes, towel, s.acting(minute), 60.0)
        felt = felt + (nodes[2] - felt) / FELT_MIN
        age = minute / 1440.0
        ceiling_c = ceiling_by_age_c(age)
        cold_kh += np.maximum(floor(age) - felt, 0.0) / 60.0
        hot_kh += np.maximum(felt - ceiling_c, 0.0) / 60.0
        over |= (felt > hard_ceiling_c(ceiling_c)) & (i < NIGHT_MIN)
    return cold_kh, hot_kh, over


def oracle_life(
    scenario: Scenario, floor: Floor, *, minds_heat: bool = False, waking_kh: float = WAKING_KH
) -> Life:
    """One batch with perfect knowledge, a waking at a price of its own."""
    rng = np.random.default_rng((scenario.seed, 77))
    lane, wakings = Lane(scenario), []
    due: list[int] = []
    fill_c: float | None = None
    cooled_min = -1
    while lane.minute < DAYS * 1440:
        if lane.minute % 1440 == BEDTIME_MIN and lane.minute + AHEAD_MIN < (DAYS + 1) * 1440:
            chosen = choose(lane, floor, minds_heat=minds_heat, waking_kh=waking_kh)
            wakings += [lane.minute + m for m in chosen.refills if 0 < m < NIGHT_MIN]
            due, fill_c = [lane.minute + m for m in chosen.refills], chosen.fill_c
        if not is_night(lane.minute) and not due and lane.minute % 5 == 0 and soon_under(lane, floor):
            due = [lane.minute + int(rng.integers(5, 41))]
        if due and lane.minute >= due[0]:
            due.pop(0)
            lane.refill(rng, fill_c if is_night(lane.minute) else None)
        if minds_heat and is_night(lane.minute) and cooled_min < lane.refills[-1] and _is_too_hot(lane):
            wakings.append(lane.minute)
            lane.lid_s, lane.towel, cooled_min = *COOLED, lane.minute
        lane.step()
    return Life(lane, wakings)


def _is_too_hot(lane: Lane) -> bool:
    return lane.felt_now_c > hard_ceiling_c(ceiling_by_age_c(lane.minute / 1440.0))


def soon_under(lane: Lane, floor: Floor, within_min: int = LEAD_MIN) -> bool:
    """Whether the felt air goes under the floor so soon if nobody comes; not just after a refill."""
    if lane.minute - lane.refills[-1] < 45:
        return False
    ahead = lane.branch()
    ahead.lids = False
    for _ in range(within_min):
        ahead.step()
    return ahead.felt_now_c < floor(ahead.minute / 1440.0)
