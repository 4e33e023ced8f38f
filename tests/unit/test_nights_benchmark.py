"""The nights benchmark judges honestly: its truth is the demo's, its seeds are apart, nothing of it leaks."""

import subprocess
import sys
from dataclasses import replace

import numpy as np
import pytest
from nightsim import bars, batch, innovations, known_nights, lows, oracle
from nightsim.floors import DEMANDING, demanding_c
from nightsim.lane import Lane
from nightsim.product import Product, site_of
from nightsim.scenario import BEDTIME_MIN, draw
from nightsim.scores import crps_h
from nightsim.seeds_report import REPORT
from nightsim.seeds_tune import TUNE
from nightsim.truth import MANY, ONE
from nightsim.weather import MINUTES, PLACES, Place, year
from scipy import stats

from coldbrood.probes import simulated

WARM_C = np.full(MINUTES, 18.0)


def test_seeds_to_tune_on_and_to_report_on_are_apart() -> None:
    assert not set(TUNE) & set(REPORT)
    assert len(REPORT) >= 40


def test_the_truth_is_the_demos_truth_to_rounding() -> None:
    s = draw(1)
    truth = simulated.start(s.box.box, 4.0, 18.0, 75.0)
    truth.wrapped = True
    nodes = tuple(float(n) for n in truth.nodes_c)
    lanes = tuple(np.full(3, n) for n in nodes)
    for minute in range(240):
        acts = s.acting(minute)
        nodes = s.box.minute(ONE, nodes, 1.0, acts)
        lanes = s.box.minute(MANY, lanes, np.ones(3), acts)
        truth.vent_factor = acts.vent_factor
        weather = simulated.Weather(acts.outdoor_c, acts.wind_m_s, acts.sun_w_m2)
        weight = 0.040 * (simulated.chick_mass_kg(0.0) / 0.040) ** 0.75 * s.box.box.heat_factor
        truth.step(60.0, weather, simulated.Chicks(1, 0.0, acts.heat_per_w_kg / weight))
    assert nodes == pytest.approx(truth.nodes_c, abs=1e-9)
    assert [lane[1] for lane in lanes] == pytest.approx(nodes, abs=1e-9)


def test_the_watch_under_test_loads_nothing_of_the_truth() -> None:
    code = "import sys, coldbrood.entry; print([m for m in sys.modules if 'simul' in m or 'nightsim' in m])"
    found = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert found.stdout.strip() == "[]"


@pytest.mark.parametrize(
    ("place", "known_k"),
    # C: reference/physics.md section 6, numpy on the same pvlib series.
    list(
        zip(
            PLACES,
            ((3.052, 2.692, 2.177, 2.065), (1.575, 1.365, 1.149, 1.082), (1.984, 1.680, 1.563, 1.531)),
            strict=True,
        )
    ),
)
def test_the_rules_for_tonights_low_are_those_of_the_sheet(place: Place, known_k: tuple[float, ...]) -> None:
    assert lows.rules_k(year(place).air_c) == pytest.approx(known_k, abs=0.005)


def test_the_score_of_a_sure_forecast_is_its_error() -> None:
    # CRPS of a point forecast is the absolute error (Gneiting and Raftery 2007, M).
    said = (np.arange(1441) >= 300).astype(float)
    assert crps_h(said, 420.0) == pytest.approx(2.0)
    assert crps_h(said, 300.0) == 0.0


def test_the_demanding_floor_is_the_issues() -> None:
    assert [demanding_c(day) for day in (0.0, 2.9, 3.1, 6.9, 7.1, 9.9, 10.1, 13.0)] == pytest.approx(
        [21.0, 21.0, 18.0, 18.0, 15.0, 15.0, 10.0, 10.0]
    )


@pytest.mark.parametrize(("sd", "consistent"), [(1.0, True), (1.2, False), (0.8, False)])
def test_innovations_are_told_too_wide_and_too_narrow(sd: float, consistent: bool) -> None:
    """The mid-quantiles of chi-square (scipy), with no chance in them, as of a filter off by `sd`."""
    squares = sd**2 * stats.chi2.ppf((np.arange(4000) + 0.5) / 4000, 1)
    rows = innovations.table_rows((i % 2 == 0, float(one)) for i, one in enumerate(squares))
    assert [n for _, n, *_ in rows] == [4000, 2000, 2000]
    for _, _, mean, beyond, bounds in rows:
        low, high = map(float, bounds.split(" to "))
        assert (low <= mean <= high) is consistent
        assert (beyond == pytest.approx(0.05, abs=0.002)) is consistent


@pytest.mark.parametrize("foreseen", [True, False])
def test_nights_of_the_true_box_are_colder_without_a_fill(foreseen: bool) -> None:
    s = draw(1)
    product, lane = Product(s, site_of(s, 0.1, DEMANDING)), Lane(s)
    while lane.minute % 1440 != 1320:
        lane.step()
        list(product.minute(lane))
    tried: list[tuple[int, ...]] = [(), (60,), (60, 300)]
    none, early, both = known_nights.costs_kh(product, lane, demanding_c, tried, foreseen=foreseen)
    assert none.shape == (known_nights.NIGHTS,)
    assert (both <= early).all()
    assert (early <= none).all()
    assert none.mean() > both.mean() + 1.0
    assert none.std() > 0.0


def test_wakings_at_a_cold_lie_between_those_of_the_risks_beside_it() -> None:
    points = [(3.0, 2.0), (2.0, 4.0), (1.5, 6.0)]
    assert bars.wakings_at(points, 4.0) == 2.0
    assert bars.wakings_at(points, 3.0) == pytest.approx(2.5)
    assert np.isnan(bars.wakings_at(points, 1.9))
    assert bars.wakings_at(points, 6.1) == 1.5


def test_an_oracle_that_minds_heat_takes_cooler_water_where_the_usual_overheats() -> None:
    """A fill of 95 C in a warm box: the oracle that lets heat be keeps to it, the other does not."""
    s = draw(1)
    s = replace(s, spec=replace(s.spec, fill_c=95.0), weather=replace(s.weather, outdoor_c=WARM_C))
    lane = Lane(s, minute=BEDTIME_MIN)
    bold, careful = (oracle.choose(lane, lambda _: 33.0, minds_heat=minds) for minds in (False, True))
    assert bold.fill_c == 95.0
    assert bold.refills
    assert careful.fill_c < 95.0 or not careful.refills
    assert careful.cost_kh > bold.cost_kh


def test_an_oracle_wakes_no_more_at_a_higher_price() -> None:
    lane = Lane(draw(2), minute=BEDTIME_MIN)
    dear, cheap = (oracle.choose(lane, lambda _: 24.0, waking_kh=kh) for kh in (16.0, 1.0))
    night = range(1, oracle.NIGHT_MIN)
    assert sum(at in night for at in cheap.refills) > sum(at in night for at in dear.refills)


def test_a_refill_seen_late_is_a_miss_and_one_seen_an_hour_after_any_is_none() -> None:
    refills = [600, 900, 1200]
    assert batch.refills_seen(refills, [908, 1213, 1300]) == (2, 1, 1)
    assert batch.refills_seen(refills, [908, 1213, 1300], within_min=15) == (2, 2, 1)


def test_a_refill_is_read_where_a_reading_comes_after_its_dip_and_in_time() -> None:
    refills = [600, 900, 1200, 1500, 1520]  # the first is the batch's, the last the same as the one before
    assert batch.refills_read(refills, [903, 1202, 1211, 1510]) == (3, 2)


def test_of_the_refills_that_could_be_told_those_of_a_jug_hardly_hotter_are_set_apart() -> None:
    refills, read = [600, 900, 1200, 1500], [903, 1203, 1520]
    hotter_k = {900: 14.9, 1200: 15.1, 1500: 40.0}
    assert batch.refills_plain(refills, hotter_k, read, seen=[903, 1209, 1505]) == (1, 1)
    assert batch.refills_plain(refills, hotter_k | {900: 15.0}, read, seen=[903, 1211]) == (2, 1)
