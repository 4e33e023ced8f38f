"""The night's plan is the cheapest that keeps the risk: by brute force, and as a keeper would expect."""

from dataclasses import replace
from functools import cache
from itertools import combinations

import numpy as np
import pytest
from box_days import FLOCK, SPEC, flat

from coldbrood.brooder import drawn as draws
from coldbrood.brooder.band import ceiling_by_age_c
from coldbrood.brooder.bank import coefs, felt_c, step_mean
from coldbrood.brooder.estimate import Drive, Estimate, bank_at, observe, start
from coldbrood.brooder.paths import heat_at
from coldbrood.brooder.plan import NightPlan, is_better_later, night

HOUR_S = 3600.0


@cache
def evening() -> Estimate:
    """Six hours of a cooling box with its jug half spent."""
    est = start(SPEC, FLOCK, 3)
    rng = np.random.default_rng(3)
    for i in range(1, 121):
        box_c = 26.0 - 5.0 * i / 120.0 + 0.1 * rng.normal()
        est, _ = observe(est, SPEC, 180.0 * i, box_c, Drive(6.0, 0.4, FLOCK))
    return est


NOW_S = 6 * HOUR_S


def planned(
    outdoor_c: float,
    floor_c: float = 18.0,
    hours: float = 8.5,
    risk: float = 0.1,
    bedtime_s: float = NOW_S,
    sd_c: float = 1.0,
    there: draws.There = draws.always,
    ceiling_of: draws.Floor = ceiling_by_age_c,
) -> NightPlan:
    curve = flat(outdoor_c, sd_c, NOW_S)
    rising_s = NOW_S + hours * HOUR_S
    return night(
        evening(),
        SPEC,
        NOW_S,
        bedtime_s,
        rising_s,
        curve,
        FLOCK,
        lambda _: floor_c,
        risk,
        75.0,
        ceiling_of,
        there,
    )


def test_a_mild_night_needs_nothing() -> None:
    plan = planned(17.0)
    assert (plan.fill_at_bedtime, plan.wake_s, plan.wake_window_s) == (False, (), None)
    assert plan.sleep_through.refill_by_s is None


def test_a_cool_night_needs_one_fill_at_bedtime() -> None:
    plan = planned(5.0, 16.0)
    assert (plan.fill_at_bedtime, plan.wake_s) == (True, ())
    assert plan.chance_under <= 0.1


def test_a_cold_night_wakes_the_keeper_within_the_night() -> None:
    plan = planned(-8.0)
    assert 1 <= len(plan.wake_s) <= 2
    assert all(NOW_S + 1800.0 <= t <= NOW_S + 8.0 * HOUR_S for t in plan.wake_s)
    assert plan.wake_window_s is not None
    assert plan.wake_window_s[0] <= plan.wake_s[0] <= plan.wake_window_s[1]


def test_nobody_is_asked_for_a_fill_who_is_away() -> None:
    """A night worker: whoever would be woken while away is woken before, or fills before leaving."""
    woken_s, *_ = planned(-8.0).wake_s
    woken_h = (woken_s - NOW_S) / HOUR_S
    leaves_h, back_h = woken_h - 0.5, 8.0
    plan = planned(-8.0, there=away((leaves_h, back_h)))
    assert not [t for t in plan.wake_s if leaves_h <= (t - NOW_S) / HOUR_S < back_h]
    home, nobody = planned(5.0, 16.0), planned(5.0, 16.0, there=away((0.0, 9.0)))
    assert home.fill_at_bedtime
    assert not nobody.fill_at_bedtime
    assert nobody.cost_kh > home.cost_kh


def test_the_cost_of_sleeping_on_is_told() -> None:
    plan = planned(-8.0)
    assert plan.sleep_through.median_s is not None
    assert plan.holds_until.median_s is None or plan.holds_until.median_s > plan.sleep_through.median_s


def test_a_hopeless_night_says_so() -> None:
    plan = planned(-25.0, 24.0)
    assert plan.chance_under > 0.1
    assert plan.reason == "no plan keeps the risk; this one comes nearest"


def test_the_low_is_in_order_and_near_the_paths() -> None:
    low = planned(9.0, 16.0).low_c
    assert low[0] < low[1] < low[2]
    assert 9.0 < low[1] < 24.0


def test_colder_nights_never_cost_less() -> None:
    """Heat apart: a fill that a mild night makes too hot may cost more than it does on a colder one."""
    nights = [planned(c, 15.0, ceiling_of=lambda _: 90.0) for c in (16.0, 13.0, 10.0, 7.0, 4.0)]
    assert all(n.chance_under <= 0.1 for n in nights)
    costs = [n.cost_kh for n in nights]
    assert costs == sorted(costs)
    assert costs[-1] > costs[0]


def test_a_smaller_risk_never_wakes_less() -> None:
    wakings = [len(planned(-2.0, 18.0, risk=risk).wake_s) for risk in (0.9, 0.1, 0.01)]
    assert wakings == sorted(wakings)
    assert wakings[0] < wakings[-1]


def test_long_past_bedtime_no_bedtime_fill_is_on_offer() -> None:
    assert planned(9.0, 16.0, bedtime_s=NOW_S - 2 * HOUR_S).fill_at_bedtime is False


def test_bedtime_may_lie_ahead() -> None:
    plan = planned(5.0, 16.0, bedtime_s=NOW_S + HOUR_S)
    assert plan.fill_at_bedtime
    assert plan.sleep_through.early_s is None or plan.sleep_through.early_s > NOW_S + HOUR_S


@pytest.mark.parametrize("hours", [0.2, 17.0, -1.0])
def test_a_night_that_is_none_is_refused(hours: float) -> None:
    with pytest.raises(ValueError, match=r"^rising_s: "):
        planned(5.0, hours=hours)


def test_a_risk_that_is_none_is_refused() -> None:
    with pytest.raises(ValueError, match=r"^risk: "):
        planned(5.0, risk=1.5)


Marks = tuple[int, ...]


def alone(drawn: draws.Night, marks: Marks, bed_c: float, risk: float) -> tuple[float, list[float]]:
    """One set of fills played on its own, draw by draw and step by step: chance, and each draw's cost."""
    off = drawn.off_k
    under, costs = 0, []
    for d in range(draws.DRAWS):
        before, after = (
            coefs(theta[:, d : d + 1], drawn.jug_j, draws.GRID_S) for theta in (drawn.theta, drawn.fill_theta)
        )
        state, went_under, went_over = drawn.mean[:, d : d + 1].copy(), False, False
        last, cold, hot = 0, 0.0, 0.0
        for i, t in enumerate(drawn.t_s):
            air = felt_c((after if last else before).felt, state)
            shown = float(air[0]) + float(off[last, i, d])
            cold += max(float(drawn.floor_c[i]) - shown, 0.0) * draws.GRID_S / 3600.0
            hot += max(shown - float(drawn.ceiling_c[i]), 0.0) * draws.GRID_S / 3600.0
            went_over = went_over or shown > float(drawn.ceiling_c[i]) + 2.0
            warm = t >= drawn.t_s[0] + (draws.WARMING_S if 0 in marks else 0.0)
            hard_c = max(7.0, float(drawn.floor_c[i]) - 5.0)
            went_under = went_under or (shown < hard_c and bool(warm))
            if i in marks:
                state[0, 0], last = 75.0 if i else bed_c, i + 1
            c = after if last else before
            state = step_mean(c, state, drawn.outdoor_c[i, d], heat_at(drawn.heat[:, i], air))
        under += went_under
        woken = sum(mark > 0 for mark in marks) + (went_over or hot > 40.0 * risk)
        costs.append(40.0 * risk * woken + 0.25 * len(marks) + cold + 0.5 * hot)
    return under / draws.DRAWS, costs


def every_night(drawn: draws.Night, risk: float, bed_c: float) -> dict[Marks, tuple[float, list[float]]]:
    """Each set of one waking at most and of two at the rule's distance with someone at hand, each alone."""
    inner = [i for i in range(2, len(drawn.t_s) - 2) if drawn.there[i]]
    wakes: list[Marks] = [(), *((i,) for i in inner)]
    wakes += [pair for pair in combinations(inner, 2) if pair[1] - pair[0] >= draws.WAKINGS_APART]
    beds: tuple[Marks, ...] = ((), (0,)) if drawn.there[0] else ((),)
    return {bed + w: alone(drawn, bed + w, bed_c, risk) for bed in beds for w in wakes}


def best_bedtime(nights: dict[Marks, tuple[float, list[float]]], risk: float) -> bool:
    """Whether to fill at bedtime: halfway from what suits each draw best afterwards to what suits all."""

    def halfway(at_bed: bool) -> tuple[bool, float]:
        own = {marks: night for marks, night in nights.items() if (0 in marks) == at_bed}
        few = [costs for marks, (_, costs) in own.items() if len(marks) - at_bed <= 1]
        known = sum(min(draw) for draw in zip(*few, strict=True))
        return min(c for c, _ in own.values()) > risk, 0.5 * (known + min(map(sum, few)))

    return min((False, True), key=halfway) if any(0 in marks for marks in nights) else False


def away(*hours: tuple[float, float]) -> draws.There:
    """Nobody is there between these hours of the night."""
    return lambda t_s: not any(a <= (t_s - NOW_S) / HOUR_S < b for a, b in hours)


@pytest.mark.parametrize(
    ("outdoor_c", "floor_c", "there"),
    [
        *((out, floor, draws.always) for out, floor in ((12.0, 17.0), (5.0, 17.0), (-2.0, 18.0))),
        *((out, floor, draws.always) for out, floor in ((-12.0, 20.0), (24.0, 27.0))),
        (-2.0, 18.0, away((0.0, 1.0))),
        (-12.0, 20.0, away((1.0, 2.5))),
        (-12.0, 20.0, away((0.0, 4.0))),
    ],
)
def test_brute_force_finds_no_better_night(
    outdoor_c: float, floor_c: float, there: draws.There, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(draws, "DRAWS", 8)
    curve, hours, risk = flat(outdoor_c, 1.0, NOW_S), 3.5, 0.2
    bank = bank_at(evening(), SPEC, NOW_S, curve, FLOCK)
    rising_s = NOW_S + hours * HOUR_S
    drawn = draws.draw_night(bank, SPEC, rising_s, curve, FLOCK, lambda _: floor_c, 75.0, there=there)
    plan = planned(outdoor_c, floor_c, hours, risk, there=there)
    nights = every_night(drawn, risk, plan.bedtime_fill_c)
    at_bed = plan.bedtime_fill_c < 75.0 or best_bedtime(nights, risk)

    def cost(marks: Marks) -> tuple[bool, float]:
        chance, costs = nights[marks]
        return chance > risk, sum(costs) / len(costs) + 40.0 * max(chance - risk, 0.0)

    best = min((marks for marks in nights if (0 in marks) == at_bed), key=cost)
    assert plan.cost_kh + 40.0 * max(plan.chance_under - risk, 0.0) == pytest.approx(cost(best)[1], abs=1e-9)
    assert plan.fill_at_bedtime == at_bed
    assert [round((t - NOW_S) / draws.GRID_S) for t in plan.wake_s] == [i for i in best if i]


@pytest.mark.parametrize("outdoor_c", [-16.0, -12.0, -8.0, -4.0, 0.0, 4.0, 8.0])
def test_a_waking_waits_where_brute_force_has_a_better_one_later_or_none(
    outdoor_c: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(draws, "DRAWS", 8)
    curve, floor_c, risk = flat(outdoor_c, 1.0, NOW_S), 19.0, 0.2
    rising_s = NOW_S + 3.5 * HOUR_S
    bank = bank_at(evening(), SPEC, NOW_S, curve, FLOCK)
    drawn = draws.draw_night(bank, SPEC, rising_s, curve, FLOCK, lambda _: floor_c, 75.0)
    nights = {marks: night for marks, night in every_night(drawn, risk, 75.0).items() if 0 not in marks}
    keep = {marks for marks, (chance, _) in nights.items() if chance <= risk}

    def cost(marks: Marks) -> float:
        chance, costs = nights[marks]
        return sum(costs) / len(costs) + (0.0 if keep else 40.0 * (chance - risk))

    some = keep or set(nights)
    now_kh = min((cost(marks) for marks in some if draws.FIRST_INNER in marks[:1]), default=np.inf)
    later = is_better_later(evening(), SPEC, NOW_S, rising_s, curve, FLOCK, lambda _: floor_c, risk, 75.0)
    assert later == (now_kh > min(map(cost, some)) + 0.25)


def test_there_are_nights_to_wait_in_and_nights_not_to() -> None:
    def later(outdoor_c: float, hours: float) -> bool:
        curve = flat(outdoor_c, 1.0, NOW_S)
        rising_s = NOW_S + hours * HOUR_S
        return is_better_later(evening(), SPEC, NOW_S, rising_s, curve, FLOCK, lambda _: 19.0, 0.1, 75.0)

    assert later(14.0, 8.5)
    assert not later(-20.0, 8.5)
    assert not later(-14.0, 1.0), "so near to rising there is nothing to wait for"


def under_ceiling(ceiling_c: float, floor_c: float = 18.0) -> NightPlan:
    return night(
        evening(),
        SPEC,
        NOW_S,
        NOW_S,
        NOW_S + 8 * HOUR_S,
        flat(5.0, 1.0, NOW_S),
        FLOCK,
        lambda _: floor_c,
        0.1,
        75.0,
        lambda _: ceiling_c,
    )


def test_a_fill_that_would_overheat_the_box_is_asked_for_cooler() -> None:
    usual, cooler = under_ceiling(38.0), under_ceiling(27.0)
    assert (usual.fill_at_bedtime, usual.bedtime_fill_c) == (True, 75.0)
    assert cooler.fill_at_bedtime
    assert cooler.bedtime_fill_c in (70.0, 65.0, 60.0, 55.0, 50.0, 45.0, 40.0, 35.0)
    assert len(cooler.wake_s) == 0


def test_a_lower_ceiling_never_asks_for_hotter_water() -> None:
    asked = [under_ceiling(c).bedtime_fill_c for c in (34.0, 30.0, 27.0, 24.0)]
    assert asked == sorted(asked, reverse=True)
    assert asked[0] > asked[-1]


def test_each_temperature_tried_is_worse_or_hotter_than_the_one_chosen() -> None:
    """By brute force over the temperatures: none is better by more than half a degree-hour."""
    plan, curve = under_ceiling(27.0), flat(5.0, 1.0, NOW_S)
    bank = bank_at(evening(), SPEC, NOW_S, curve, FLOCK)
    until_s = NOW_S + 8 * HOUR_S
    drawn = draws.draw_night(bank, SPEC, until_s, curve, FLOCK, lambda _: 18.0, 75.0, lambda _: 27.0)
    alone_at = [np.mean(alone(drawn, (0,), bed_c, 0.1)[1]) for bed_c in np.arange(75.0, 34.0, -5.0)]
    assert plan.cost_kh <= min(alone_at) + 0.5


def test_an_empty_box_is_planned_for_too() -> None:
    curve = flat(9.0, 1.0, NOW_S)
    empty = replace(FLOCK, chicks=0)
    plan = night(evening(), SPEC, NOW_S, NOW_S, NOW_S + 8 * HOUR_S, curve, empty, lambda _: 10.0, 0.1, 75.0)
    assert np.isfinite(plan.low_c).all()
