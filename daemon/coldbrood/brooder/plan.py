"""The night as a choice of refills: at bedtime, and at most two that wake the keeper, by enumeration.

Costs are in degree-hours under the floor (own choice): a waking costs 4 at the usual risk of one in ten
and in proportion at others, a refill a quarter; heat over the ceiling costs as much as cold, and the
waking that its alarm makes. Among the sets that keep the chance of going under the hard floor at or below
the risk, the cheapest is taken; where none does, chance beyond it is paid for too.

The fill at bedtime cannot wait, a waking can: the readings of the night will tell whether it is needed. So
bedtime is chosen halfway from each drawn night getting the waking that suits it to all getting the same, the
rest as if nothing more were learned. Where a fill as hot as usual would overheat the box, cooler ones are
tried at bedtime.
"""

from collections.abc import Callable
from dataclasses import dataclass, fields, replace
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from coldbrood.brooder.band import ceiling_by_age_c, hard_ceiling_c, hard_floor_c
from coldbrood.brooder.bank import FILL_SD_C, Array, Bank, coefs, spread_normals, step_cov, step_mean, weights
from coldbrood.brooder.cooler import cooler_fills
from coldbrood.brooder.estimate import Estimate, bank_at, forecast
from coldbrood.brooder.hold import Hold, hold
from coldbrood.brooder.paths import DAY_S, heat_at, heat_curve
from coldbrood.brooder.specs import BoxSpec, Flock, OutdoorCurve
from coldbrood.brooder.thermal import priors

WAKING_COST_KH_PER_RISK = 40.0
REFILL_COST_KH = 0.25
RISK_COST_KH = 40.0
AS_GOOD_KH = 0.25
# How much of what each drawn night would have wanted the readings tell in time (own choice).
LEARNED_SHARE = 0.5
GRID_S = 900.0
# A jug needs this long to warm a cold box: till then "under the floor" is no fault of the plan.
WARMING_S = 3600.0
WAKINGS_APART = 8
DRAWS = 96
NIGHT_MAX_S = 16 * 3600.0

Floor = Callable[[float], float]


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


@dataclass(frozen=True, slots=True, eq=False)
class Night:
    """What all candidates share: `t_s`, `floor_c`, `ceiling_c` (k,), `outdoor_c` (k, draws), the boxes."""

    t_s: Array
    outdoor_c: Array
    floor_c: Array
    ceiling_c: Array
    heat: Array
    theta: Array
    mean: Array
    cov: Array
    off_sd: Array
    jug_j: float


@dataclass(frozen=True, slots=True, eq=False)
class Outcome:
    """Of each candidate: chance of the hard floor (c,), and by draw (c, draws) what follows.

    Degree-hours under the floor and over the ceiling, whether the box went over the hard ceiling, its lowest.
    """

    chance: Array
    cold_kh: Array
    hot_kh: Array
    hot: NDArray[np.bool_]
    low_c: Array


def draw_night(
    bank: Bank,
    spec: BoxSpec,
    rising_s: float,
    outdoor: OutdoorCurve,
    flock: Flock,
    floor_of: Floor,
    ceiling_of: Floor = ceiling_by_age_c,
) -> Night:
    """Equal-weight boxes from the bank, each with its own quantile of the outdoor and of its own error."""
    t_s: Array = bank.t_s + GRID_S * np.arange(int((rising_s - bank.t_s) / GRID_S) + 1, dtype=np.float64)
    points = (np.arange(DRAWS) + 0.5) / DRAWS
    pick = np.minimum(np.searchsorted(np.cumsum(weights(bank)), points), len(bank.log_w) - 1)
    outside, off = spread_normals(np.random.default_rng((bank.seed, 11)), 2, DRAWS)
    mean_c, sd_c = outdoor.at(t_s)
    ages = flock.age_days + (t_s - bank.t_s) / DAY_S
    return Night(
        t_s=t_s,
        outdoor_c=mean_c[:, None] + sd_c[:, None] * outside,
        floor_c=np.array([floor_of(float(a)) for a in ages]),
        ceiling_c=np.array([ceiling_of(float(a)) for a in ages]),
        heat=heat_curve(flock, t_s - t_s[0]),
        theta=bank.theta[:, pick],
        mean=bank.mean[:, pick],
        cov=bank.cov[:, pick],
        off_sd=off,
        jug_j=priors(spec).jug_j_per_k,
    )


def _off_by(night: Night) -> Array:
    """Error of each drawn box in K, (k + 1, k, draws): row 0 without a fill, row j + 1 after one at j."""
    k = len(night.t_s)
    c = coefs(night.theta, night.jug_j, GRID_S)
    cov = np.repeat(night.cov[:, None, :], k + 1, axis=1)
    var = np.empty((k + 1, k, DRAWS))
    for i in range(k):
        var[:, i] = cov[3]
        cov[0, i + 1], cov[1:3, i + 1] = FILL_SD_C**2, 0.0
        cov = step_cov(c, cov, 0.0)
    return np.sqrt(var) * night.off_sd


def play(night: Night, fills: NDArray[np.bool_], fill_c: float, bed_c: float | None = None) -> Outcome:
    """All candidates at once; `fills` (candidates, k) marks the grid times at which a hot jug goes in.

    At `fill_c`, and at bedtime at `bed_c` if that is given.
    """
    c = coefs(night.theta, night.jug_j, GRID_S)
    off = _off_by(night)
    shape = (len(fills), DRAWS)
    mean = np.repeat(night.mean[:, None, :], len(fills), axis=1)
    cold, hot, low = np.zeros(shape), np.zeros(shape), np.full(shape, np.inf)
    under, over = np.zeros(shape, dtype=bool), np.zeros(shape, dtype=bool)
    last = np.zeros(len(fills), dtype=np.intp)
    hard_c = [hard_floor_c(float(floor_c)) for floor_c in night.floor_c]
    warm_from = np.where(fills[:, 0], night.t_s[0] + WARMING_S, night.t_s[0])
    for i, t in enumerate(night.t_s):
        shown = mean[1] + off[last, i]
        cold += np.maximum(night.floor_c[i] - shown, 0.0)
        hot += np.maximum(shown - night.ceiling_c[i], 0.0)
        over |= shown > hard_ceiling_c(float(night.ceiling_c[i]))
        low = np.minimum(low, shown)
        under |= (shown < hard_c[i]) & (t >= warm_from)[:, None]
        if fills[:, i].any():
            mean[0, fills[:, i]] = fill_c if i or bed_c is None else bed_c
            last = np.where(fills[:, i], i + 1, last)
        mean = step_mean(c, mean, night.outdoor_c[i], heat_at(night.heat[:, i], mean[1]))
    hours = GRID_S / 3600.0
    return Outcome(under.mean(axis=1), cold * hours, hot * hours, over, low)


def candidates(k: int, bed: tuple[bool, ...], wakings: int) -> NDArray[np.bool_]:
    """Every set of `wakings` grid times two hours apart, with each choice at bedtime: (candidates, k)."""
    inner = range(2, k - 2)
    sets = [s for s in combinations(inner, wakings) if wakings < 2 or s[1] - s[0] >= WAKINGS_APART]
    fills = np.zeros((len(bed) * len(sets), k), dtype=bool)
    for row, (at_bed, chosen) in enumerate((b, s) for b in bed for s in sets):
        fills[row, list(chosen)] = True
        fills[row, 0] = at_bed
    return fills


def waking_cost_kh(risk: float) -> float:
    """What a waking may cost in degree-hours of cold: 4 at a risk of one in ten."""
    return WAKING_COST_KH_PER_RISK * risk


def costs_kh(fills: NDArray[np.bool_], outcome: Outcome, risk: float) -> Array:
    """Cost of each candidate in each draw (c, draws): wakings, refills, cold and heat."""
    price_kh = waking_cost_kh(risk)
    wakings = fills[:, 1:].sum(axis=1)[:, None] + (outcome.hot | (outcome.hot_kh > price_kh))
    refills = REFILL_COST_KH * fills.sum(axis=1)[:, None]
    return np.asarray(price_kh * wakings + refills + outcome.cold_kh + outcome.hot_kh)


def choose(chance: Array, cost: Array, risk: float) -> int:
    """The cheapest candidate that keeps the risk; where none does, each unit of chance beyond it costs 40."""
    allowed = chance <= risk
    beyond = cost + RISK_COST_KH * np.maximum(chance - risk, 0.0)
    return int(np.argmin(np.where(allowed, cost, np.inf) if allowed.any() else beyond))


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
    night: Night, bed: tuple[bool, ...], risk: float, fill_c: float, bed_c: float, most: int = 2
) -> tuple[NDArray[np.bool_], Outcome, int]:
    """Candidates with up to one waking; with two only where these could be better and `most` allows."""
    k = len(night.t_s)
    fills = np.concatenate([candidates(k, bed, n) for n in (0, 1)])
    outcome = play(night, fills, fill_c, bed_c)
    best = _best(fills, outcome, risk)
    cost = float(costs_kh(fills, outcome, risk)[best].mean())
    settled = outcome.chance[best] <= risk and cost <= 2 * (waking_cost_kh(risk) + REFILL_COST_KH)
    more = fills[:0] if settled or most < 2 else candidates(k, bed, 2)
    if len(more) == 0:
        return fills, outcome, best
    extra = play(night, more, fill_c, bed_c)
    fills = np.concatenate([fills, more])
    parts = ((getattr(outcome, f.name), getattr(extra, f.name)) for f in fields(Outcome))
    outcome = Outcome(*(np.concatenate(pair) for pair in parts))
    return fills, outcome, _best(fills, outcome, risk)


def _search_fills(
    night: Night, bed: tuple[bool, ...], risk: float, fill_c: float
) -> tuple[NDArray[np.bool_], Outcome, int, float]:
    """The search with the usual fill at bedtime, and with cooler ones where that would be too hot.

    Of those as good the hottest: too little heat is found out too late, too much is not.
    """
    tried = [(*_search(night, bed, risk, fill_c, fill_c), fill_c)]
    cooler = cooler_fills(tried[0][0], tried[0][1].hot_kh, fill_c)
    tried += [(*_search(night, (True,), risk, fill_c, bed_c, 1), bed_c) for bed_c in cooler]
    costs = np.array([costs_kh(fills, outcome, risk)[best].mean() for fills, outcome, best, _ in tried])
    costs += [1000.0 * (outcome.chance[best] > risk) for _, outcome, best, _ in tried]
    return tried[int(np.argmax(costs <= costs.min() + 2 * AS_GOOD_KH))]


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
) -> NightPlan:
    """Plan from bedtime (or from now, when that is past) to rising. `flock` is that of `now_s`.

    A bedtime fill is on offer until a quarter of an hour after bedtime; later only wakings are.
    Raises ValueError unless rising is later than now and bedtime by half an hour to 16 h, and 0 < risk < 1.
    """
    begin_s = max(now_s, bedtime_s)
    if not 1800.0 <= rising_s - begin_s <= NIGHT_MAX_S:
        raise ValueError(f"rising_s: {rising_s}: half an hour to 16 h after {begin_s}")
    if not 0.0 < risk < 1.0:
        raise ValueError(f"risk: {risk}: more than 0 and less than 1")
    bank = bank_at(est, spec, begin_s, outdoor, flock)
    then = replace(flock, age_days=flock.age_days + (begin_s - now_s) / DAY_S)
    drawn = draw_night(bank, spec, rising_s, outdoor, then, floor_of, ceiling_of)
    bed = (False, True) if now_s <= bedtime_s + GRID_S else (False,)
    fills, outcome, best, bed_c = _search_fills(drawn, bed, risk, fill_c)
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
