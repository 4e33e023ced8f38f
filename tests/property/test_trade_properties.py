"""Whatever the age, weather, look-ins and readings: the band is in order, no heat is under 0, curves hold."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coldbrood.brooder.advice import advice
from coldbrood.brooder.band import HUDDLE_GAIN_C, LOOK_IN_KINDS, SeenLookIn, band, best_growth_c
from coldbrood.brooder.flock import chick_heat_w, flock_heat_w, mass_kg
from coldbrood.brooder.milestones import BoxFacts, Weather
from coldbrood.brooder.outdoor import curve, day_night, expected_drop, learn, start_habit
from coldbrood.brooder.specs import ChickKind, Flock
from coldbrood.brooder.timetable import interval

HOUR = 3600.0
DAY = 86400.0

ages = st.floats(-5.0, 100.0)
air = st.floats(-40.0, 80.0)
weather = st.none() | st.floats(-30.0, 40.0)
kinds: st.SearchStrategy[ChickKind] = st.sampled_from(["layer", "broiler"])
look_ins = st.lists(
    st.builds(
        SeenLookIn,
        kind=st.sampled_from(LOOK_IN_KINDS),
        t_s=st.floats(-2 * DAY, DAY),
        box_c=st.none() | st.floats(-30.0, 60.0),
    ),
    max_size=6,
).map(tuple)
night_lengths = st.floats(1.0, DAY - 1.0)
steps = st.lists(st.tuples(st.floats(1.0, 3 * HOUR), st.floats(-40.0, 50.0)), min_size=1, max_size=120)


@given(ages, look_ins)
def test_band_is_always_in_order(age_days: float, seen: tuple[SeenLookIn, ...]) -> None:
    got = band(age_days, seen)
    assert 4.0 < got.hard_floor_c <= got.floor_c
    assert got.floor_c + 2.0 < got.ceiling_c < 35.0


@given(ages, ages)
def test_band_never_rises_with_age(one: float, other: float) -> None:
    young, old = band(min(one, other)), band(max(one, other))
    assert young.floor_c >= old.floor_c
    assert young.hard_floor_c >= old.hard_floor_c
    assert young.ceiling_c >= old.ceiling_c
    assert best_growth_c(min(one, other)) >= best_growth_c(max(one, other))


@given(ages, look_ins, st.none() | st.floats(-30.0, 60.0))
def test_a_huddle_raises_the_floor_whatever_was_seen_before(
    age_days: float, seen: tuple[SeenLookIn, ...], box_c: float | None
) -> None:
    past = tuple(one for one in seen if one.t_s < 0.0)
    huddle = SeenLookIn("huddled", 0.0, box_c)
    floor_c = band(age_days, (*past, huddle)).floor_c
    assert floor_c >= band(age_days, (huddle,)).floor_c
    assert band(age_days).floor_c + 2.0 < floor_c <= band(age_days).floor_c + HUDDLE_GAIN_C
    if box_c is not None and box_c < band(age_days).floor_c + 4.0:
        assert floor_c > box_c


@given(ages, look_ins)
def test_order_of_look_ins_does_not_matter_but_for_their_times(
    age_days: float, seen: tuple[SeenLookIn, ...]
) -> None:
    by_time = {one.t_s: one for one in seen}
    assert band(age_days, tuple(by_time.values())) == band(age_days, tuple(reversed(by_time.values())))


@given(ages, ages, kinds)
def test_chicks_never_shrink(one: float, other: float, kind: ChickKind) -> None:
    assert 0.03 < mass_kg(min(one, other), kind) <= mass_kg(max(one, other), kind) < 1.0


@given(st.floats(0.02, 3.0), air, air, kinds)
def test_heat_is_in_order_and_falls_with_air(mass: float, one: float, other: float, kind: ChickKind) -> None:
    cold, warm = (chick_heat_w(mass, air_c, kind) for air_c in (min(one, other), max(one, other)))
    assert 0.0 <= warm[1] <= warm[0]
    assert cold[0] >= warm[0]
    if min(one, other) >= -26.0:  # colder, the CIGR parabola turns: outside its range, box air never is
        assert cold[1] >= warm[1]


@given(st.integers(0, 100), ages, kinds, st.lists(air, min_size=1, max_size=20))
def test_flock_heat_of_an_array_is_that_of_each(
    chicks: int, age_days: float, kind: ChickKind, airs: list[float]
) -> None:
    flock = Flock(chicks, age_days, kind)
    together = flock_heat_w(flock, np.array(airs))
    assert together == pytest.approx([flock_heat_w(flock, air_c) for air_c in airs])
    assert np.all(together >= 0.0)


@given(ages, weather, weather)
def test_timetable_is_within_its_bounds_and_never_looser_when_less_is_known(
    age_days: float, day_c: float | None, night_c: float | None
) -> None:
    full = interval(age_days, day_c, night_c)
    assert full.hours in (None, 4.0, 6.0, 8.0)
    assert full.hours is not None or age_days >= 10.0
    blind = interval(age_days, None, None).hours
    assert blind is not None
    if night_c is not None and night_c > 0.0 and day_c is not None and day_c > 4.0:
        assert (full.hours or math.inf) >= blind


@given(st.floats(-5.0, 60.0), weather, st.floats(0.1, 20.0), st.floats(0.0, 10.0))
def test_timetable_never_tightens_with_warmth(
    age_days: float, day_c: float | None, night_c: float, warmer_c: float
) -> None:
    cold = interval(age_days, day_c, night_c).hours or math.inf
    warm = (
        interval(age_days, None if day_c is None else day_c + warmer_c, night_c + warmer_c).hours or math.inf
    )
    assert warm >= cold


facts = st.builds(
    BoxFacts,
    quiet_nights=st.floats(0.0, 9.0),
    floor_c=st.floats(7.0, 26.0),
    huddled=st.booleans(),
    alone_c=st.none() | st.tuples(st.floats(-30.0, 30.0), st.floats(-30.0, 40.0)),
)
outdoors = st.builds(
    Weather,
    highs_c=st.tuples(weather, weather),
    lows_c=st.tuples(weather, weather),
    tonight_c=weather,
    tonight_cold_c=weather,
)


@given(
    ages,
    st.dictionaries(st.text(min_size=1, max_size=5), st.integers(0, 60), max_size=4),
    outdoors,
    st.data(),
)
def test_advice_keys_are_unique_and_texts_are_never_empty(
    age_days: float, chicks: dict[str, int], sky: Weather, data: st.DataObject
) -> None:
    boxes = {name: data.draw(facts) for name in chicks}
    told = advice(age_days, chicks, sky, boxes)
    assert len({one.key for one in told}) == len(told)
    assert all(one.text.strip() for one in told)
    keys = {one.key for one in told}
    assert not keys >= {"jugs-stay", "jugs-may-stop"}
    assert not (
        "jugs-may-stop" in keys and any(box.huddled and box.quiet_nights < 2.0 for box in boxes.values())
    )
    assert "jugs-may-stop" in keys or not keys & {"box-out", "outdoors"}


@settings(deadline=None)
@given(steps, st.floats(0.0, DAY), night_lengths, st.floats(0.0, 5 * DAY))
def test_curve_is_finite_bounded_and_widens_whatever_was_read(
    readings: list[tuple[float, float]], sunset_s: float, night_s: float, later_s: float
) -> None:
    habit, t_s = start_habit(), 0.0
    for step_s, outdoor_c in readings:
        t_s += step_s
        habit = learn(habit, t_s, outdoor_c, sunset_s, sunset_s + night_s)
    got = curve(habit, t_s + later_s, sunset_s, sunset_s + night_s)
    assert np.all(np.isfinite(got.mean_c))
    assert np.all(np.diff(got.t_s) > 0.0)
    assert np.all(np.diff(got.sd_c) >= 0.0)
    assert 0.3 <= got.sd_c[0] <= got.sd_c[-1] <= 6.0
    assert len(habit.hour_c) <= 48
    assert max(len(habit.drops_c), len(habit.falls_c)) <= 20
    assert expected_drop(habit)[1] > 0.0
    day_c, low_c = day_night(habit, t_s)
    assert day_c is None or low_c is None or low_c <= day_c


@settings(deadline=None)
@given(steps, st.floats(0.0, DAY), night_lengths, st.floats(-30.0, 30.0))
def test_a_warmer_site_of_the_same_days_has_the_same_curve_shifted(
    readings: list[tuple[float, float]], sunset_s: float, night_s: float, warmer_c: float
) -> None:
    one = other = start_habit()
    t_s = 0.0
    for step_s, outdoor_c in readings:
        t_s += step_s
        one = learn(one, t_s, outdoor_c, sunset_s, sunset_s + night_s)
        other = learn(other, t_s, outdoor_c + warmer_c, sunset_s, sunset_s + night_s)
    here, there = (curve(habit, t_s, sunset_s, sunset_s + night_s) for habit in (one, other))
    assert there.mean_c - here.mean_c == pytest.approx(warmer_c, abs=1e-6)
    assert there.sd_c == pytest.approx(here.sd_c, abs=1e-6)
