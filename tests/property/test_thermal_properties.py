"""Laws of the box: steps add up, offsets shift, heat flows down; water lengthens a hold, cold shortens it."""

from dataclasses import replace

import numpy as np
import pytest
from box_days import FLOCK, SPEC, flat
from hypothesis import given, settings
from hypothesis import strategies as st

from coldbrood.brooder import bank as banks
from coldbrood.brooder.bank import Bank
from coldbrood.brooder.hold import hold
from coldbrood.brooder.paths import Paths, roll
from coldbrood.brooder.specs import BoxSpec, Flock
from coldbrood.brooder.thermal import exact_step

EMPTY = replace(FLOCK, chicks=0)
temperature = st.floats(-30.0, 95.0)
capacity = st.floats(1e3, 1e5)
conductance = st.floats(1e-3, 30.0)
few = settings(max_examples=25, deadline=None)


def case(jug_j: float, k_jug: float, box_j: float, k_box: float) -> dict[str, float]:
    return {"jug_j_per_k": jug_j, "k_jug": k_jug, "box_j_per_k": box_j, "k_box": k_box}


@given(
    temperature,
    temperature,
    temperature,
    st.floats(0.0, 60.0),
    st.floats(1.0, 1e5),
    capacity,
    conductance,
    capacity,
    conductance,
)
def test_half_a_step_twice_is_the_step(
    jug_c: float,
    box_c: float,
    outdoor_c: float,
    heat_w: float,
    dt_s: float,
    jug_j: float,
    k_jug: float,
    box_j: float,
    k_box: float,
) -> None:
    box_of = case(jug_j, k_jug, box_j, k_box)
    whole = exact_step(jug_c, box_c, dt_s, **box_of, heat_w=heat_w, outdoor_c=outdoor_c)
    jug, box = exact_step(jug_c, box_c, dt_s / 2.0, **box_of, heat_w=heat_w, outdoor_c=outdoor_c)
    twice = exact_step(jug, box, dt_s / 2.0, **box_of, heat_w=heat_w, outdoor_c=outdoor_c)
    assert np.array(twice) == pytest.approx(np.array(whole), rel=1e-9, abs=1e-8)


@given(
    temperature, temperature, temperature, st.floats(1.0, 1e6), capacity, conductance, capacity, conductance
)
def test_without_heat_nothing_leaves_the_range_it_began_in(
    jug_c: float,
    box_c: float,
    outdoor_c: float,
    dt_s: float,
    jug_j: float,
    k_jug: float,
    box_j: float,
    k_box: float,
) -> None:
    jug, box = exact_step(
        jug_c, box_c, dt_s, **case(jug_j, k_jug, box_j, k_box), heat_w=0.0, outdoor_c=outdoor_c
    )
    low, high = min(jug_c, box_c, outdoor_c), max(jug_c, box_c, outdoor_c)
    assert low - 1e-8 <= float(jug) <= high + 1e-8
    assert low - 1e-8 <= float(box) <= high + 1e-8


@given(temperature, temperature, temperature, st.floats(-50.0, 50.0), st.floats(1.0, 1e5))
def test_an_offset_of_all_temperatures_shifts_the_answer(
    jug_c: float, box_c: float, outdoor_c: float, offset_k: float, dt_s: float
) -> None:
    box_of = case(15900.0, 1.6, 12000.0, 3.5)
    here = np.array(exact_step(jug_c, box_c, dt_s, **box_of, heat_w=8.0, outdoor_c=outdoor_c))
    there = exact_step(
        jug_c + offset_k, box_c + offset_k, dt_s, **box_of, heat_w=8.0, outdoor_c=outdoor_c + offset_k
    )
    assert np.array(there) == pytest.approx(here + offset_k, abs=1e-8)


def bank_of(spec: BoxSpec, box_c: float, jug_c: float, seed: int) -> Bank:
    """A bank from the priors with box and jug known to a degree."""
    bank = banks.settle(banks.draw(spec, seed), spec, 0.0, box_c)
    bank.mean[0], bank.mean[1], bank.cov[0] = jug_c, box_c, 1.0
    return bank


def rolled(
    spec: BoxSpec,
    seed: int,
    outdoor_c: float,
    flock: Flock = FLOCK,
    offset_k: float = 0.0,
    step_s: float = 600.0,
) -> Paths:
    bank = bank_of(spec, 22.0 + offset_k, 70.0 + offset_k, seed)
    return roll(bank, spec, flat(outdoor_c + offset_k), flock, 86400.0, step_s)


def median_s(paths: Paths, floor_c: float) -> float:
    at_s = hold(paths, np.full(len(paths.t_s), floor_c), 0.1).median_s
    return 86400.0 if at_s is None else at_s


@few
@given(st.integers(0, 10_000), st.floats(2.0, 8.0), st.floats(0.1, 4.0), st.floats(-10.0, 15.0))
def test_more_water_never_shortens_the_hold(seed: int, litres: float, more: float, outdoor_c: float) -> None:
    less_s, more_s = (
        median_s(rolled(replace(SPEC, jug_litres=v), seed, outdoor_c), 18.0) for v in (litres, litres + more)
    )
    assert more_s >= less_s - 1.0


@few
@given(st.integers(0, 10_000), st.floats(-15.0, 15.0), st.floats(0.1, 10.0))
def test_colder_outside_never_lengthens_the_hold(seed: int, outdoor_c: float, colder_k: float) -> None:
    mild, cold = (rolled(SPEC, seed, c) for c in (outdoor_c, outdoor_c - colder_k))
    assert median_s(cold, 18.0) <= median_s(mild, 18.0) + 1.0
    floors = np.full(len(mild.t_s), 18.0)
    by_mild, by_cold = (hold(p, floors, 0.1).refill_by_s for p in (mild, cold))
    if by_mild is not None:
        assert by_cold is not None
        assert by_cold <= by_mild + 1.0


@few
@given(st.integers(0, 10_000), st.floats(-30.0, 30.0), st.floats(-10.0, 15.0))
def test_an_offset_shifts_the_whole_forecast(seed: int, offset_k: float, outdoor_c: float) -> None:
    # With the chicks' heat off: theirs depends on the temperature itself.
    here, there = (rolled(SPEC, seed, outdoor_c, EMPTY, k) for k in (0.0, offset_k))
    # Stray heat and fill range do not depend on temperature, so the deviations stay.
    assert np.allclose(there.box_c, here.box_c + offset_k, atol=1e-8)
    assert np.allclose(there.sd_c, here.sd_c, atol=1e-9)


@few
@given(st.integers(0, 10_000), st.floats(-10.0, 15.0))
def test_half_the_step_gives_the_same_hold(seed: int, outdoor_c: float) -> None:
    # Exchange and chick heat stand still within a step: that costs less than the probe's own error of 0.1 C.
    coarse, fine = (rolled(SPEC, seed, outdoor_c, step_s=s) for s in (600.0, 300.0))
    same = np.searchsorted(fine.t_s, coarse.t_s)
    assert np.array_equal(fine.t_s[same], coarse.t_s)
    assert np.abs(fine.box_c[:, same] - coarse.box_c).max() < 0.1
    # On a flat night a small difference moves the time far: it counts in steps of the probe, 0.0625 C.
    sooner_s, later_s = (median_s(fine, 18.0 + k) for k in (0.0625, -0.0625))
    assert sooner_s - 1.0 <= median_s(coarse, 18.0) <= later_s + 1.0


@few
@given(st.integers(0, 10_000), st.floats(0.5, 20.0))
def test_silence_leaves_a_sound_covariance_and_a_wider_box(seed: int, hours: float) -> None:
    bank = banks.settle(banks.draw(SPEC, seed), SPEC, 0.0, 20.0)
    after = banks.advance(bank, 15600.0, 3600.0 * hours, banks.Drive3(5.0, 0.5, 8.0))
    whole = after.cov[[[0, 1, 2], [1, 3, 4], [2, 4, 5]]].transpose(2, 0, 1)
    assert np.linalg.eigvalsh(whole).min() > 0.0
    assert (after.cov[3] > bank.cov[3]).all()
