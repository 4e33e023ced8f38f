"""The night as a choice of refills: at bedtime, and at most two that wake the keeper, by enumeration.

Costs are in degree-hours under the floor (own choice): a waking costs 4 at the usual risk of one in ten
and in proportion at others, a refill a quarter; heat over the ceiling costs half of what cold does, and the
waking that its alarm makes. Among the sets that keep the chance of going under the hard floor at or below
the risk, the cheapest is taken; where none does, chance beyond it is paid for too.

The fill at bedtime cannot wait, a waking can: the readings of the night will tell whether it is needed. So
bedtime is chosen halfway from each drawn night getting the waking that suits it to all getting the same, the
rest as if nothing more were learned. Where a fill as hot as usual would overheat the box, cooler ones are
tried at bedtime.
"""

from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray

from coldbrood.brooder.band import ceiling_by_age_c
from coldbrood.brooder.bank import Array
from coldbrood.brooder.cooler import AS_GOOD_KH, HOT_SHARE, cooler_fills_c, is_too_hot
from coldbrood.brooder.drawn import (
    FIRST_INNER,
    GRID_S,
    WARMING_S,
    Floor,
    Night,
    Outcome,
    There,
    always,
    candidates,
    draw_night,
    play,
)
from coldbrood.brooder.estimate import Estimate, bank_at, forecast
from coldbrood.brooder.hold import Hold, hold
from coldbrood.brooder.paths import DAY_S
from coldbrood.brooder.specs import BoxSpec, Flock, OutdoorCurve

WAKING_COST_KH_PER_RISK = 40.0
REFILL_COST_KH = 0.25
RISK_COST_KH = 40.0
# How much of what each drawn night would have wanted the readings tell in time (own choice).
LEARNED_SHARE = 0.5
NIGHT_MAX_S = 16 * 3600.0
# A waking so near to rising has no later one to be held against.
LAST_CALL_S = 5400.0


@dataclass(frozen=True, slots=True, eq=False)
class NightPlan:
    """One box's night. Times are watch times.

    `bedtime_fill_c` is how hot the water of a fill at bedtime should be: less than usual where that would
    overheat the box. `wake_window_s` is how much earlier or later the first waking is as good;
    `sleep_through` is the hold with the same bedtime and no waking, `holds_until` that of the plan; `low_c`
    the 10, 50 and 90 % points of the night's lowest box temperature; `chance_under` is that of going under
    the hard floor.
    """

    fill_at_bedtime: bool
    bedtime_fill_c: float
    wake_s: tuple[float, ...]
    wake_window_s: tuple[float, float] | None
    sleep_through: Hold
    holds_until: Hold
    low_c: tuple[float, float, float]
    chance_under: float
    cost_kh: float
    reason: str


def waking_cost_kh(risk: float) -> float:
    """What a waking may cost in degree-hours of cold: 4 at a risk of one in ten."""
    return WAKING_COST_KH_PER_RISK * risk


def costs_kh(fills: NDArray[np.bool_], outcome: Outcome, risk: float) -> Array:
    """Cost of each candidate in each draw (c, draws): wakings, refills, cold and heat."""
    price_kh = waking_cost_kh(risk)
    wakings = fills[:, 1:].sum(axis=1)[:, None] + (outcome.hot | (outcome.hot_kh > price_kh))
    refills = REFILL_COST_KH * fills.sum(axis=1)[:, None]
    return np.asarray(price_kh * wakings + refills + outcome.cold_kh + HOT_SHARE * outcome.hot_kh)


def judged_kh(chance: Array, cost: Array, risk: float) -> Array:
    """Costs (c,) of those that keep the risk, without end for the others.

    Where none does, each unit of chance beyond it costs 40.
    """
    allowed = chance <= risk
    beyond = cost + RISK_COST_KH * np.maximum(chance - risk, 0.0)
    return np.asarray(np.where(allowed, cost, np.inf) if allowed.any() else beyond)


def choose(chance: Array, cost: Array, risk: float) -> int:
    """The cheapest candidate as judged by its risk too."""
    return int(np.argmin(judged_kh(chance, cost, risk)))


def at_bedtime(fills: NDArray[np.bool_], outcome: Outcome, risk: float) -> NDArray[np.bool_]:
    """The candidates (c,) with the better choice at bedtime: each draw then takes the best for it.

    Of none and one waking, that is, as far as the readings of the night will tell in time which it is. Where
    only one of the two choices can keep the risk, that one.
    """
    filled, allowed, costs = fills[:, 0], outcome.chance <= risk, costs_kh(fills, outcome, risk)
    groups = [group for group in (~filled, filled) if group.any()]
    able = [group for group in groups if (group & allowed).any()] or groups
    few = fills[:, 1:].sum(axis=1) <= 1

    def expected_kh(group: NDArray[np.bool_]) -> float:
        by_draw = costs[group & few]
        known, unknown = by_draw.min(axis=0).mean(), by_draw.mean(axis=1).min()
        return float(LEARNED_SHARE * known + (1.0 - LEARNED_SHARE) * unknown)

    return min(able, key=expected_kh)


def _best(fills: NDArray[np.bool_], outcome: Outcome, risk: float) -> int:
    group = at_bedtime(fills, outcome, risk)
    cost = costs_kh(fills, outcome, risk).mean(axis=1)
    rows = np.flatnonzero(group)
    return int(rows[choose(outcome.chance[rows], cost[rows], risk)])


def _search(
    night: Night, bed: tuple[bool, ...], risk: float, bed_c: float, most: int = 2
) -> tuple[NDArray[np.bool_], Outcome, int]:
    """Candidates with up to one waking; with two only where these could be better and `most` allows."""
    fills = np.concatenate([candidates(night.there, bed, n) for n in (0, 1)])
    outcome = play(night, fills, bed_c)
    best = _best(fills, outcome, risk)
    cost = float(costs_kh(fills, outcome, risk)[best].mean())
    settled = outcome.chance[best] <= risk and cost <= 2 * (waking_cost_kh(risk) + REFILL_COST_KH)
    more = fills[:0] if settled or most < 2 else candidates(night.there, bed, 2)
    if len(more) == 0:
        return fills, outcome, best
    extra = play(night, more, bed_c)
    fills = np.concatenate([fills, more])
    parts = ((getattr(outcome, f.name), getattr(extra, f.name)) for f in fields(Outcome))
    outcome = Outcome(*(np.concatenate(pair) for pair in parts))
    return fills, outcome, _best(fills, outcome, risk)


def _search_fills(
    night: Night, bed: tuple[bool, ...], risk: float
) -> tuple[NDArray[np.bool_], Outcome, int, float]:
    """The search with the usual fill at bedtime, and with a cooler one where that would be too hot."""
    fill_c = night.fill_c
    usual = _search(night, bed, risk, fill_c)
    if not len(cooler_fills_c(fill_c)) or not is_too_hot(usual[0], usual[1].hot_kh):
        return *usual, fill_c
    bed_c = _cooler_c(night, risk)
    cooler = _search(night, (True,), risk, bed_c, 1)
    costs = [costs_kh(fills, outcome, risk)[best].mean() for fills, outcome, best in (usual, cooler)]
    costs = [c + 1000.0 * (t[1].chance[t[2]] > risk) for c, t in zip(costs, (usual, cooler), strict=True)]
    return (*usual, fill_c) if costs[0] <= costs[1] else (*cooler, bed_c)


def _cooler_c(night: Night, risk: float) -> float:
    """How hot the one fill at bedtime should be, with a waking where the cold that comes is worth it.

    Of those as good the hottest: too little heat is found out too late, too much is not.
    """
    tried_c = cooler_fills_c(night.fill_c)
    alone = np.zeros((len(tried_c), len(night.t_s)), dtype=bool)
    alone[:, 0] = True
    came = play(night, alone, tried_c)
    woken = replace(came, cold_kh=np.minimum(came.cold_kh, waking_cost_kh(risk)))
    costs = costs_kh(alone, woken, risk).mean(axis=1)
    return float(tried_c[np.argmax(costs <= costs.min() + AS_GOOD_KH)])


def is_better_later(
    est: Estimate,
    spec: BoxSpec,
    now_s: float,
    rising_s: float,
    outdoor: OutdoorCurve,
    flock: Flock,
    floor_of: Floor,
    risk: float,
    fill_c: float,
    ceiling_of: Floor = ceiling_by_age_c,
    there: There = always,
) -> bool:
    """Whether the rest of the night is better with the next waking at a later time than now, or with none.

    Where one fill does not last to morning, it need not come as soon as the floor is crossed: a little cold
    before it may spare a second one. Who is asked now comes on the second step of the grid. Of what is as
    good the earlier: a keeper may oversleep.
    """
    if rising_s - now_s < LAST_CALL_S:
        return False
    bank = bank_at(est, spec, now_s, outdoor, flock)
    drawn = draw_night(bank, spec, rising_s, outdoor, flock, floor_of, fill_c, ceiling_of, there)
    fills, outcome, _ = _search(drawn, (False,), risk, fill_c)
    cost = judged_kh(outcome.chance, costs_kh(fills, outcome, risk).mean(axis=1), risk)
    return bool(cost[fills[:, FIRST_INNER]].min() > cost.min() + AS_GOOD_KH)


def _window(
    night: Night, fills: NDArray[np.bool_], outcome: Outcome, best: int, risk: float
) -> tuple[float, float] | None:
    """Around the first waking, the run of grid times that are within a quarter degree-hour as good."""
    wakes = np.flatnonzero(fills[best, 1:]) + 1
    if len(wakes) == 0:
        return None
    cost = costs_kh(fills, outcome, risk).mean(axis=1)
    good = cost <= cost[best] + AS_GOOD_KH
    if outcome.chance[best] <= risk:
        good &= outcome.chance <= risk
    others = fills.copy()
    others[:, 1 : wakes[1] if len(wakes) > 1 else None] = False
    rest = others[best]
    alike = good & (others == rest).all(axis=1) & (fills.sum(axis=1) == fills[best].sum())
    times = {int(np.flatnonzero(row[1:])[0]) + 1 for row in fills[alike]}
    first = last = int(wakes[0])
    while first - 1 in times:
        first -= 1
    while last + 1 in times:
        last += 1
    return float(night.t_s[first]), float(night.t_s[last])


def _reason(at_bed: bool, wakings: int, kept: bool) -> str:
    if not kept:
        return "no plan keeps the risk; this one comes nearest"
    if wakings:
        return "without a waking the box goes under its floor" + (" even filled at bedtime" if at_bed else "")
    return "one fill at bedtime holds to morning" if at_bed else "holds to morning without a fill"


def night(
    est: Estimate,
    spec: BoxSpec,
    now_s: float,
    bedtime_s: float,
    rising_s: float,
    outdoor: OutdoorCurve,
    flock: Flock,
    floor_of: Floor,
    risk: float,
    fill_c: float,
    ceiling_of: Floor = ceiling_by_age_c,
    there: There = always,
) -> NightPlan:
    """Plan from bedtime (or from now, when that is past) to rising. `flock` is that of `now_s`.

    A bedtime fill is on offer until a quarter of an hour after bedtime; later only wakings are. `there` says
    whether anyone is at hand at a time: nobody is asked for a fill who is away.
    Raises ValueError unless rising is later than now and bedtime by half an hour to 16 h, and 0 < risk < 1.
    """
    begin_s = max(now_s, bedtime_s)
    if not 1800.0 <= rising_s - begin_s <= NIGHT_MAX_S:
        raise ValueError(f"rising_s: {rising_s}: half an hour to 16 h after {begin_s}")
    if not 0.0 < risk < 1.0:
        raise ValueError(f"risk: {risk}: more than 0 and less than 1")
    bank = bank_at(est, spec, begin_s, outdoor, flock)
    then = replace(flock, age_days=flock.age_days + (begin_s - now_s) / DAY_S)
    drawn = draw_night(bank, spec, rising_s, outdoor, then, floor_of, fill_c, ceiling_of, there)
    bed = (False, True) if now_s <= bedtime_s + GRID_S else (False,)
    fills, outcome, best, bed_c = _search_fills(drawn, bed, risk)
    chosen = fills[best]
    wake_s = tuple(float(t) for t in drawn.t_s[np.flatnonzero(chosen[1:]) + 1])
    at_bed, kept = bool(chosen[0]), bool(outcome.chance[best] <= risk)
    bedtime = ((begin_s, bed_c),) if at_bed else ()

    def hold_with(refills: tuple[tuple[float, float], ...]) -> Hold:
        paths = forecast(est, spec, begin_s, outdoor, then, refills=refills)
        ages = then.age_days + (paths.t_s - begin_s) / DAY_S
        floor_c = np.array([floor_of(float(a)) for a in ages])
        floor_c[paths.t_s < begin_s + (WARMING_S if at_bed else 0.0)] = -np.inf
        return hold(paths, floor_c, risk)

    low = np.quantile(outcome.low_c[best], (0.1, 0.5, 0.9))
    return NightPlan(
        fill_at_bedtime=at_bed,
        bedtime_fill_c=bed_c,
        wake_s=wake_s,
        wake_window_s=_window(drawn, fills, outcome, best, risk),
        sleep_through=hold_with(bedtime),
        holds_until=hold_with(bedtime + tuple((t, fill_c) for t in wake_s)),
        low_c=(float(low[0]), float(low[1]), float(low[2])),
        chance_under=float(outcome.chance[best]),
        cost_kh=float(costs_kh(fills, outcome, risk)[best].mean()),
        reason=_reason(at_bed, len(wake_s), kept),
    )
