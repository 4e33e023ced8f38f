"""The simulated box makes and loses no heat, and its parts agree with tables they were not fitted to.

References: shared/reference/physics.md (marks V, C, M carried over beside each check).
"""

import math

import numpy as np
import pytest
from CoolProp.CoolProp import PropsSI
from ht.conv_free_immersed import Nu_vertical_plate_Churchill
from hypothesis import given, settings
from hypothesis import strategies as st

from coldbrood.brooder.specs import BoxSpec
from coldbrood.probes import simulated
from coldbrood.probes.simulated import AIR, STRUCTURE, SURFACE, WATER, Chicks, Probe, Truth, Weather
from coldbrood.probes.simulated_weather import Night, NightPlan

SPEC = BoxSpec("a", 0.75, 0.55, 0.40, 30.0, 0.038, 8.0, 1, 3.8, 75.0, False)
NOBODY = Chicks(0, 2.0)
FLOCK = Chicks(14, 2.0)
PLAN = NightPlan(sunset_s=2700.0, sunrise_s=40_500.0, dusk_c=10.0, low_c=1.0, front_s=27_000.0)


def truth(*, fill_c: float = 75.0, outdoor_c: float = 5.0, wrapped: bool = False) -> Truth:
    made = simulated.start(simulated.TrueBox(SPEC), outdoor_c, 24.0, fill_c)
    made.wrapped = wrapped
    return made


def at_rest(water_c: float, air_c: float, *, wrapped: bool) -> tuple[Truth, float]:
    """A jug in a box held at `air_c`, its surface settled: the truth and the heat that leaves the jug."""
    made = truth(wrapped=wrapped)
    surface_c = air_c + 1.0
    for _ in range(200):
        made.nodes_c = np.array([water_c, surface_c, air_c, air_c])
        between = made.between_w_per_k()
        inward = between[WATER, SURFACE]
        outward = between[SURFACE, AIR] + between[SURFACE, STRUCTURE]
        surface_c = 0.5 * surface_c + 0.5 * (inward * water_c + outward * air_c) / (inward + outward)
    return made, inward * (water_c - surface_c)


def test_heat_is_neither_made_nor_lost_over_a_busy_night() -> None:
    made = truth()
    before_j = made.stored_j()
    night = Night(PLAN, seed=3)
    for minute in range(900):
        made.step(60.0, night.at(minute * 60.0), FLOCK)
        if minute in (240, 540):
            made.refill(80.0, wrapped=minute == 240)
    assert made.heat_in_j > 1e6
    assert made.stored_j() - before_j == pytest.approx(made.heat_in_j - made.heat_out_j, rel=1e-9)


def test_a_closed_box_without_chicks_or_sun_ends_at_the_outdoors() -> None:
    made = truth(outdoor_c=5.0)
    for _ in range(20):
        made.step(86_400.0 / 2, Weather(5.0, 1.0), NOBODY)
    assert made.nodes_c == pytest.approx(np.full(4, 5.0), abs=1e-3)


def test_no_node_ever_leaves_the_range_spanned_by_its_neighbours() -> None:
    made = truth(fill_c=90.0, outdoor_c=-10.0)
    for _ in range(600):
        made.step(60.0, Weather(-10.0, 3.0), NOBODY)
        assert made.nodes_c.min() >= -10.0
        assert made.nodes_c.max() <= 90.0


def test_at_steady_state_the_heat_of_the_chicks_leaves_outdoors() -> None:
    made = truth(outdoor_c=8.0)
    weather = Weather(8.0, 1.0)
    for _ in range(16):
        made.step(43_200.0, weather, FLOCK)
    given_w = made.box.heat_factor * simulated.chicks_heat_w(FLOCK, made.air_c)
    lost_w = float(made.outward_w_per_k(weather) @ (made.nodes_c - 8.0))
    assert given_w > 2.0
    assert lost_w == pytest.approx(given_w, rel=1e-6)
    assert made.water_c == pytest.approx(made.nodes_c[SURFACE], abs=1e-3)


@pytest.mark.parametrize(
    ("water_c", "air_c", "wrapped", "least", "most"),
    [
        # physics.md section 4 [C: ht, CoolProp], jug of 3.8 L, W/K. The bare rows stand there as one figure.
        (60.0, 25.0, False, 1.34, 1.34),
        (40.0, 20.0, False, 1.18, 1.18),
        # The towel of the default box is 0.10 m2K/W: 5 mm at 0.05 W/mK, first figure of the row.
        (60.0, 25.0, True, 0.59, 0.59),
        (40.0, 20.0, True, 0.56, 0.56),
    ],
)
def test_the_jug_gives_its_heat_as_the_table_says(
    water_c: float, air_c: float, wrapped: bool, least: float, most: float
) -> None:
    _, heat_w = at_rest(water_c, air_c, wrapped=wrapped)
    k_jug = heat_w / (water_c - air_c)
    assert least * 0.95 <= k_jug <= most * 1.05


def test_the_jugs_exchange_falls_as_it_cools_so_the_box_is_not_the_daemons_model() -> None:
    hot = at_rest(70.0, 22.0, wrapped=False)[1] / 48.0
    cool = at_rest(30.0, 22.0, wrapped=False)[1] / 8.0
    assert 0.65 < cool / hot < 0.85  # "falls by a quarter over a night" [C, section 4]


@pytest.mark.parametrize("delta_k", [5.0, 10.0, 20.0, 30.0, 40.0, 50.0])
def test_natural_convection_agrees_with_the_churchill_correlation(delta_k: float) -> None:
    """Reference library ht with air by CoolProp, an upright wall of 0.2 m."""
    film_k = 20.0 + delta_k / 2.0 + 273.15
    density, viscosity, conductivity, prandtl = (
        PropsSI(what, "T", film_k, "P", 101_325, "Air") for what in ("D", "V", "L", "Prandtl")
    )
    grashof = 9.80665 / film_k * delta_k * 0.2**3 / (viscosity / density) ** 2
    expected = Nu_vertical_plate_Churchill(prandtl, grashof) * conductivity / 0.2
    assert simulated.convection_w_per_m2k(delta_k) == pytest.approx(expected, rel=0.03)


@pytest.mark.parametrize(
    ("warm_c", "cool_c", "expected"),
    # h rad of physics.md section 4 [C], which takes 4 x 0.9 x sigma x Tm^3: within 1 % of the exact form.
    [(60.0, 25.0, 6.420), (70.0, 20.0, 6.574), (40.0, 20.0, 5.687), (30.0, 18.0, 5.356)],
)
def test_radiation_agrees_with_the_table(warm_c: float, cool_c: float, expected: float) -> None:
    assert simulated.radiation_w_per_m2k(warm_c, cool_c) == pytest.approx(expected, rel=0.01)


def test_the_film_inside_the_jug_agrees_with_the_sheet() -> None:
    """310 to 480 W/m2K at 0.5 to 2 K [C, section 2]."""
    assert simulated.film_w_per_m2k(0.5) == pytest.approx(310.0, rel=0.01)
    assert simulated.film_w_per_m2k(2.0) == pytest.approx(480.0, rel=0.01)


def test_the_jug_is_as_large_as_the_sheet_says() -> None:
    assert simulated.jug_area_m2(3.8) == pytest.approx(0.117, abs=0.0005)  # [C, section 4]
    water_j = truth().capacity_j_per_k()[WATER]
    assert water_j == pytest.approx(15_628.0, rel=0.001)  # 3.8 L at 60 C [C: IAPWS-IF97, section 1]


@pytest.mark.parametrize(("air_c", "w_per_kg"), [(20.0, 7.8), (25.0, 6.4), (30.0, 5.7), (35.0, 5.2)])
def test_day_olds_give_the_heat_measured_in_shipping_boxes(air_c: float, w_per_kg: float) -> None:
    """poultry.md section 3 [V: XH], unfed, per kg; here 100 chicks at the data set's 41.1 g [V: CW]."""
    heat_w = simulated.chicks_heat_w(Chicks(100, 0.0), air_c)
    assert heat_w == pytest.approx(w_per_kg * 4.11, rel=0.02)


def test_a_hot_box_takes_no_heat_from_chicks_out_of_nothing() -> None:
    assert simulated.chicks_heat_w(FLOCK, 45.0) == 0.0


def test_walls_agree_with_the_worked_box_of_the_sheet() -> None:
    """Section 3: R 1.0518 with both films; here the inner film is a node of its own, so 0.13 less [C]."""
    walls = truth().outward_w_per_k(Weather(5.0, 4.0))[STRUCTURE]
    inner_m2 = 1.865
    assert inner_m2 / walls == pytest.approx(1.0518 - 0.13, abs=0.005)


@given(
    outdoor_c=st.floats(-20.0, 30.0),
    wind_m_s=st.floats(0.0, 12.0),
    fill_c=st.floats(20.0, 95.0),
    wrapped=st.booleans(),
)
@settings(max_examples=30, deadline=None)
def test_halving_the_outer_step_changes_little_and_energy_still_closes(
    outdoor_c: float, wind_m_s: float, fill_c: float, wrapped: bool
) -> None:
    weather = Weather(outdoor_c, wind_m_s)
    whole, half = truth(fill_c=fill_c, wrapped=wrapped), truth(fill_c=fill_c, wrapped=wrapped)
    start_j = whole.stored_j()
    for _ in range(60):
        whole.step(20.0, weather, FLOCK)
        half.step(10.0, weather, FLOCK)
        half.step(10.0, weather, FLOCK)
    assert whole.nodes_c == pytest.approx(half.nodes_c, abs=0.2)
    assert whole.stored_j() - start_j == pytest.approx(whole.heat_in_j - whole.heat_out_j, rel=1e-7, abs=1e-3)


def test_wind_and_cold_open_the_leaks() -> None:
    made = truth()
    calm = made.outward_w_per_k(Weather(15.0, 0.0))[AIR]
    windy = made.outward_w_per_k(Weather(15.0, 5.0))[AIR]
    cold = made.outward_w_per_k(Weather(-15.0, 0.0))[AIR]
    assert calm < cold < windy
    assert windy > 3.0 * calm


def test_an_open_lid_dips_the_air_and_the_dip_heals() -> None:
    made = truth()
    weather = Weather(5.0, 1.0)
    made.step(7200.0, weather, FLOCK)
    before_c = made.air_c
    made.open_lid(30.0)
    made.step(30.0, weather, FLOCK)
    dipped_c = made.air_c
    made.step(900.0, weather, FLOCK)
    assert dipped_c < before_c - 5.0  # "may dip by 10 K" [assumption, section 9]
    assert made.air_c == pytest.approx(before_c, abs=0.7)
    assert made.lid_open_s == 0.0


def test_a_refill_lifts_the_box_and_a_towel_makes_it_last() -> None:
    bare, wrapped = truth(wrapped=False), truth(wrapped=True)
    for made in (bare, wrapped):
        made.refill(75.0, wrapped=made is wrapped)
        made.step(4 * 3600.0, Weather(5.0, 1.0), FLOCK)
    assert wrapped.water_c > bare.water_c + 10.0
    assert bare.air_c > wrapped.air_c


def test_low_sun_through_a_pane_heats_the_box() -> None:
    dark = truth()
    sunny = Truth(simulated.TrueBox(SPEC, pane_m2=0.05), dark.nodes_c.copy())
    for made in (dark, sunny):
        made.step(5400.0, Weather(5.0, 1.0, sun_w_m2=500.0), FLOCK)
    assert sunny.air_c > dark.air_c + 2.0


@pytest.mark.parametrize("dt_s", [0.0, -1.0, math.nan])
def test_a_step_of_no_length_is_refused_by_name(dt_s: float) -> None:
    with pytest.raises(ValueError, match="dt_s"):
        truth().step(dt_s, Weather(5.0), FLOCK)


def test_the_probe_lags_by_its_time_constant_and_reads_in_the_sensors_steps() -> None:
    probe = Probe(seed=1, at_c=20.0, offset_c=0.3, wander_sd_c=0.0, noise_sd_c=0.0)
    probe.follow(180.0, 30.0)
    assert probe.at_c == pytest.approx(30.0 - 10.0 * math.exp(-1.0))
    assert probe.read_c() == pytest.approx(probe.at_c + 0.3, abs=0.0625 / 2)
    assert probe.read_c() / 0.0625 == round(probe.read_c() / 0.0625)


def test_the_probes_error_has_a_memory_of_ten_minutes() -> None:
    """Real errors are not white (physics.md section 5): neighbours a minute apart go together."""
    probe = Probe(seed=5, at_c=20.0, lag_s=1e-9, noise_sd_c=0.0)
    readings = np.empty(20_000)
    for i in range(len(readings)):
        probe.follow(60.0, 20.0)
        readings[i] = probe.read_c()
    errors = readings - readings.mean()
    together = float((errors[1:] * errors[:-1]).mean() / (errors**2).mean())
    assert errors.std() == pytest.approx(0.10, rel=0.15)
    assert 0.8 < together < math.exp(-0.1) + 0.02


def test_the_same_seed_gives_the_same_night_and_another_one_another() -> None:
    def a_night(seed: int) -> list[float]:
        made, night, probe = truth(), Night(PLAN, seed), Probe(seed, 24.0)
        out = []
        for minute in range(120):
            made.step(60.0, night.at(60.0 * minute), FLOCK)
            probe.follow(60.0, made.air_c)
            out.append(probe.read_c())
        return out

    assert a_night(4) == a_night(4)
    assert a_night(4) != a_night(5)


def test_drawn_boxes_differ_from_their_spec_and_between_seeds() -> None:
    boxes = [simulated.drawn(SPEC, seed) for seed in range(200)]
    leaks = np.array([box.leak_factor for box in boxes])
    assert len(set(leaks)) == 200
    assert np.median(leaks) == pytest.approx(1.0, abs=0.1)
    assert all(0.4 <= box.heat_factor <= 1.0 for box in boxes)


def test_the_front_comes_when_it_was_planned_and_the_wind_with_it() -> None:
    night = Night(PLAN, seed=2)
    hour_before, hour_after = night.at(PLAN.front_s - 3600.0), night.at(PLAN.front_s + 3600.0)
    assert hour_before.outdoor_c - hour_after.outdoor_c > 3.5
    assert hour_after.wind_m_s > hour_before.wind_m_s
    assert night.at(PLAN.sunrise_s).outdoor_c == pytest.approx(PLAN.low_c, abs=1.0)


def test_the_sun_stays_down_until_it_rises() -> None:
    night = Night(PLAN, seed=2)
    assert night.at(PLAN.sunrise_s - 1.0).sun_w_m2 == 0.0
    assert night.at(PLAN.sunrise_s + 5400.0).sun_w_m2 == PLAN.sun_most_w_m2
