"""The gate refuses what no box can make, each with its reason, and never a lasting truth for long."""

import math
from collections.abc import Iterable

import pytest

from coldbrood.probes.quality import GateState, copy_window_s, judge
from coldbrood.watch.site import ProbeSpec, Quantity, Source


def probe(source: Source = "mqtt", interval_s: float = 60.0, max_c: float = 125.0) -> ProbeSpec:
    return ProbeSpec("box-a", "box", "a", source, interval_s, max_c=max_c)


def reasons(
    values: Iterable[float],
    spec: ProbeSpec | None = None,
    step_s: float = 60.0,
    quantity: Quantity = "temperature_c",
) -> list[str | None]:
    """Judge a series of values `step_s` apart."""
    state = GateState()
    found: list[str | None] = []
    for index, value in enumerate(values):
        state, verdict = judge(state, spec or probe(), quantity, value, index * step_s)
        found.append(verdict.reason)
    return found


def test_an_ordinary_series_is_taken() -> None:
    assert reasons([20.0, 20.0625, 20.0625, 19.5, 25.0]) == [None] * 5


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_what_is_no_number_is_refused(value: float) -> None:
    assert reasons([value]) == ["not-a-number"]


@pytest.mark.parametrize(
    ("value", "reason"),
    [
        (-55.0, None),
        (125.0, None),
        (-55.0625, "out-of-range"),
        (125.0625, "out-of-range"),
        (127.9375, "out-of-range"),  # a DS18B20 with too little power (standards.md section 2 [V])
        (-127.0, "disconnected-value"),
        (85.0, "power-on-value"),
        (84.9375, None),
    ],
)
def test_the_sensors_range_and_its_telltale_values(value: float, reason: str | None) -> None:
    assert reasons([value]) == [reason]


def test_the_range_is_the_probes_own() -> None:
    assert reasons([70.0], probe(max_c=60.0)) == ["out-of-range"]


@pytest.mark.parametrize(
    ("quantity", "value", "reason"),
    [
        ("humidity_pct", 0.0, None),
        ("humidity_pct", 101.0, None),
        ("humidity_pct", -0.1, "out-of-range"),
        ("humidity_pct", 110.0, "out-of-range"),
        ("battery_v", 3.0, None),
        ("battery_v", -0.1, "out-of-range"),
        ("battery_v", 31.0, "out-of-range"),
        ("battery_pct", 100.0, None),
        ("battery_pct", 255.0, "out-of-range"),
        ("battery_pct", 85.0, None),
    ],
)
def test_other_quantities_have_their_ranges(quantity: Quantity, value: float, reason: str | None) -> None:
    assert reasons([value], quantity=quantity) == [reason]


def test_exactly_85_beside_near_values_is_believed() -> None:
    assert reasons([82.0, 85.0, 85.0]) == [None, None, None]


def test_exactly_85_after_a_long_silence_is_not() -> None:
    assert reasons([82.0, 85.0], step_s=3601.0) == [None, "power-on-value"]


def test_85_again_and_again_is_a_sensor_without_power() -> None:
    assert reasons([20.0, 85.0, 85.0, 85.0, 20.0]) == [None, *["power-on-value"] * 3, None]


def test_a_place_that_is_truly_that_hot_gets_in() -> None:
    assert reasons([20.0, 84.9375, 85.0, 85.0625]) == [None, "jump", None, None]


def test_a_lone_glitch_is_held_back_and_forgotten() -> None:
    assert reasons([20.0, 0.0, 20.0, 20.1]) == [None, "jump", None, None]


def test_two_lone_glitches_do_not_confirm_each_other_over_a_taken_value() -> None:
    assert reasons([20.0, 0.0, 20.0, 0.0, 20.0]) == [None, "jump", None, "jump", None]


def test_glitches_to_both_sides_are_held_back() -> None:
    assert reasons([20.0, 60.0, -40.0, 20.0]) == [None, "jump", "jump", None]


def test_a_probe_moved_to_another_place_is_held_back_once() -> None:
    assert reasons([25.0, -5.0, -5.5, -5.5]) == [None, "jump", None, None]


def test_a_rise_still_under_way_is_held_back_once() -> None:
    # A probe that slid against a jug of 80 C: an exponential with a time constant of about a minute.
    rise = [80.0 - 60.0 * math.exp(-k) for k in range(6)]
    assert reasons(rise) == [None, "jump", None, None, None, None]


def test_a_refill_and_an_opened_lid_are_no_jumps() -> None:
    # Up to 6 K in a minute: a warm rise, and the dip of a lid in frost.
    assert reasons([20.0, 26.0, 31.0, 34.0, 24.0, 19.0]) == [None] * 6


@pytest.mark.parametrize(
    ("gap_s", "step_k", "reason"),
    [
        (10.0, 6.0, None),
        (10.0, 6.1, "jump"),
        (60.0, 11.0, None),
        (60.0, 11.1, "jump"),
        (900.0, 20.0, None),
        (900.0, 20.1, "jump"),
        (3601.0, 60.0, None),
    ],
)
def test_how_far_depends_on_the_time_between(gap_s: float, step_k: float, reason: str | None) -> None:
    assert reasons([20.0, 20.0 + step_k], step_s=gap_s)[1] == reason


def test_a_copy_of_a_held_jump_does_not_confirm_it() -> None:
    state = GateState(taken_t_s=0.0, taken=20.0)
    state, held = judge(state, probe(), "temperature_c", 0.0, 60.0)
    state, copy = judge(state, probe(), "temperature_c", 0.0, 63.0)
    state, back = judge(state, probe(), "temperature_c", 20.0, 120.0)
    assert (held.reason, copy.reason, back.reason) == ("jump", "older-than-taken", None)


@pytest.mark.parametrize(
    ("t_s", "reason"), [(99.0, "older-than-taken"), (100.0, "older-than-taken"), (101.0, None)]
)
def test_only_what_is_newer_is_taken(t_s: float, reason: str | None) -> None:
    _, verdict = judge(GateState(taken_t_s=100.0, taken=20.0), probe(), "temperature_c", 20.5, t_s)
    assert verdict.reason == reason


@pytest.mark.parametrize(
    ("spec", "window_s"),
    [(probe(interval_s=60.0), 5.0), (probe(interval_s=10.0), 2.5), (probe("onewire"), 0.0)],
)
def test_the_same_value_at_once_is_a_copy(spec: ProbeSpec, window_s: float) -> None:
    assert copy_window_s(spec) == window_s
    state = GateState(taken_t_s=100.0, taken=20.0)
    _, later = judge(state, spec, "temperature_c", 20.0, 100.1 + window_s)
    assert later.reason is None
    if window_s:
        _, soon = judge(state, spec, "temperature_c", 20.0, 100.0 + window_s)
        assert soon.reason == "older-than-taken"


def test_a_refused_value_leaves_the_taken_one_in_place() -> None:
    state = GateState(taken_t_s=0.0, taken=20.0)
    for value in (math.nan, -127.0, 85.0, 200.0):
        assert judge(state, probe(), "temperature_c", value, 60.0)[0] == state
    after, _ = judge(state, probe(), "temperature_c", 60.0, 60.0)
    assert (after.taken_t_s, after.taken, after.held) == (0.0, 20.0, 60.0)


@pytest.mark.parametrize("step_s", [300.0, 900.0])
def test_two_senders_under_one_name_are_believed_no_more_from_the_eighth_swing_on(step_s: float) -> None:
    assert reasons([24.0, 8.0] * 8, step_s=step_s) == [None] * 8 + ["leaps"] * 8


def test_swings_further_apart_are_weather_or_a_lid() -> None:
    assert reasons([24.0, 8.0] * 8, step_s=1100.0) == [None] * 16


def test_small_swings_are_left_alone_and_so_is_one_sender_when_the_other_is_gone() -> None:
    assert reasons([24.0, 20.5] * 20, step_s=300.0) == [None] * 40
    assert reasons([24.0, 8.0] * 6 + [8.1, 8.2, 8.3], step_s=300.0)[-3:] == [None] * 3


def test_two_senders_that_do_not_take_turns_are_named_too() -> None:
    turns = [24.0, 8.0, 8.1, 24.1, 24.0, 8.0, 24.2, 8.1, 8.0, 24.0, 24.1, 8.0, 24.0]
    assert "leaps" in reasons(turns, step_s=200.0)


def test_a_lid_opened_in_frost_twice_in_two_hours_is_no_second_sender() -> None:
    once = [26.0] * 5 + [5.0, 4.0, 3.0] + [20.0, 24.0, 26.0] + [26.0] * 9
    assert "leaps" not in reasons(once * 2, step_s=180.0)
