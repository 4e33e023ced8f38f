"""The oracle: it knows truth and weather, and at each bedtime chooses the night's refills by enumeration.

At 22:00 it lives on, from the true state and in the true weather, every night with a fill at bedtime or
none, at rising or none, and no, one or two wakings on a half-hour grid (the second two hours after the
first at least), and takes the one of least cost: 4 degree-hours a waking, a quarter a refill, and the cold
until three hours after rising. It refills when it chose to, with no delay. By day it has the rule and the
delays of the others with perfect foresight: the nudge comes half an hour before the true crossing.
"""

from dataclasses import dataclass
from itertools import combinations

import numpy as np
from nightsim.floors import Floor
from nightsim.lane import FELT_MIN, Lane, Life, is_night
from nightsim.scenario import BEDTIME_MIN, RISING_MIN, Scenario
from nightsim.truth import MANY
from nightsim.weather import DAYS

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
    """The night chosen: minutes after bedtime, and its cost in degree-hours."""

    refills: tuple[int, ...]
    cost_kh: float


def choose(lane: Lane, floor: Floor) -> Choice:
    """The cheapest night from here, by living all of them."""
    s, tried = lane.scenario, choices()
    fills = np.zeros((AHEAD_MIN, len(tried)), dtype=bool)
    for column, minutes in enumerate(tried):
        fills[list(minutes), column] = True
    nodes = tuple(np.full(len(tried), float(n)) for n in lane.nodes)
    towel, felt = np.full(len(tried), lane.towel), np.full(len(tried), lane.felt_now_c)
    cold_kh = np.zeros(len(tried))
    for i in range(AHEAD_MIN):
        minute = lane.minute + i
        filled = fills[i]
        if filled.any():
            nodes = (np.where(filled, s.spec.fill_c, nodes[0]), *nodes[1:])
            towel = np.where(filled, float(s.towel_by_day[minute // 1440]), towel)
        nodes = s.box.minute(MANY, nodes, towel, s.acting(minute), 60.0)
        felt = felt + (nodes[2] - felt) / FELT_MIN
        cold_kh += np.maximum(floor(minute / 1440.0) - felt, 0.0) / 60.0
    at_night = fills[1:NIGHT_MIN].sum(axis=0)
    cost = WAKING_KH * at_night + REFILL_KH * fills.sum(axis=0) + cold_kh
    best = int(np.argmin(cost))
    return Choice(tried[best], float(cost[best]))


def oracle_life(scenario: Scenario, floor: Floor) -> Life:
    """One batch with perfect knowledge."""
    rng = np.random.default_rng((scenario.seed, 77))
    lane, wakings = Lane(scenario), []
    due: list[int] = []
    while lane.minute < DAYS * 1440:
        if lane.minute % 1440 == BEDTIME_MIN and lane.minute + AHEAD_MIN < (DAYS + 1) * 1440:
            chosen = choose(lane, floor).refills
            wakings += [lane.minute + m for m in chosen if 0 < m < NIGHT_MIN]
            due = [lane.minute + m for m in chosen]
        if not is_night(lane.minute) and not due and lane.minute % 5 == 0 and soon_under(lane, floor):
            due = [lane.minute + int(rng.integers(5, 41))]
        if due and lane.minute >= due[0]:
            due.pop(0)
            lane.refill(rng)
        lane.step()
    return Life(lane, wakings)


def soon_under(lane: Lane, floor: Floor, within_min: int = LEAD_MIN) -> bool:
    """Whether the felt air goes under the floor so soon if nobody comes; not just after a refill."""
    if lane.minute - lane.refills[-1] < 45:
        return False
    ahead = lane.branch()
    ahead.lids = False
    for _ in range(within_min):
        ahead.step()
    return ahead.felt_now_c < floor(ahead.minute / 1440.0)
