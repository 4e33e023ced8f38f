"""The outdoor probe teaches drops and falls, and the curve ahead starts at it, widens, and never fails."""

import math
from collections.abc import Callable
from dataclasses import replace

import msgspec
import numpy as np
import pytest

from coldbrood.brooder import outdoor
from coldbrood.brooder.outdoor import Habit, curve, day_night, last, learn, start_habit

HOUR = 3600.0
DAY = 86400.0
SUNSET = 18 * HOUR
SUNRISE = 30 * HOUR  # six in the morning of the next day


def taught(
    outdoor_c: Callable[[float], float], until_h: float, every_s: float = 900.0, from_h: float = 0.0
) -> Habit:
    """A habit that read `outdoor_c` (of hours) at each step, sunset at 18, sunrise at 6."""
    habit = start_habit()
    for t_s in np.arange(from_h * HOUR, until_h * HOUR + 1.0, every_s):
        habit = learn(habit, float(t_s), outdoor_c(float(t_s) / HOUR), SUNSET, SUNRISE)
    return habit


def wave(hour: float) -> float:
    """Low of 8 C at six in the morning, high of 12 C at six in the evening."""
    return 10.0 - 2.0 * math.cos((hour - 6.0) / 12.0 * math.pi)


def steady(hour: float) -> float:
    return 12.0


def test_before_any_reading_the_curve_is_flat_and_wide() -> None:
    got = curve(start_habit(), 1000.0, SUNSET, SUNRISE)
    assert got.t_s[0] == 1000.0
    assert set(got.mean_c) == {8.0}
    assert set(got.sd_c) == {6.0}
    assert last(start_habit()) is None


def test_curve_covers_the_horizon_with_both_ends() -> None:
    got = curve(taught(wave, 12.0), 12 * HOUR, SUNSET, SUNRISE, horizon_s=2 * HOUR, step_s=1800.0)
    assert list(got.t_s / HOUR) == [12.0, 12.5, 13.0, 13.5, 14.0]
    odd = curve(taught(wave, 12.0), 0.0, SUNSET, SUNRISE, horizon_s=1000.0, step_s=900.0)
    assert list(odd.t_s) == [0.0, 900.0, 1000.0]


def test_curve_starts_at_the_reading_to_sensor_noise_and_widens() -> None:
    habit = taught(wave, 45.0)
    got = curve(habit, 45 * HOUR, SUNSET, SUNRISE)
    assert got.mean_c[0] == pytest.approx(wave(45.0))
    assert got.sd_c[0] == pytest.approx(0.3)
    assert np.all(np.diff(got.sd_c) > 0.0)
    assert got.sd_c[-1] > 10 * got.sd_c[0]


def test_drop_and_fall_are_those_of_the_marks() -> None:
    habit = taught(wave, 24 * 5, every_s=60.0)
    high_h = 12.0 + 1.86
    assert habit.drops_c == pytest.approx([wave(20.0) - 8.0] * 4, abs=1e-3)
    assert habit.falls_c == pytest.approx([wave(high_h) - wave(20.0)] * 5, abs=1e-3)


def test_a_night_that_warms_has_a_drop_below_nothing() -> None:
    habit = taught(lambda hour: hour, 40.0)
    assert habit.drops_c == pytest.approx([-1.0])


def test_uneven_readings_teach_what_even_ones_do() -> None:
    habit = start_habit()
    t_s = 0.0
    for n in range(20_000):
        habit = learn(habit, t_s, wave(t_s / HOUR), SUNSET, SUNRISE)
        t_s += (10.0, 47.0, 900.0, 61.0)[n % 4]
        if t_s > 4 * DAY:
            break
    even = taught(wave, 96.0, every_s=60.0)
    assert habit.drops_c == pytest.approx(even.drops_c, abs=0.02)
    assert habit.falls_c == pytest.approx(even.falls_c, abs=0.02)
    hourly, even_hourly = (dict(zip(h.hour_t_s, h.hour_c, strict=True)) for h in (habit, even))
    both = hourly.keys() & even_hourly.keys()
    assert len(both) >= 47
    assert [hourly[t_s] for t_s in both] == pytest.approx([even_hourly[t_s] for t_s in both], abs=0.1)


def test_a_gap_leaves_the_running_night_out() -> None:
    habit = taught(wave, 23.0)
    habit = learn(habit, 26 * HOUR, wave(26.0), SUNSET, SUNRISE)
    for t_s in np.arange(26.5 * HOUR, 33 * HOUR, 900.0):
        habit = learn(habit, float(t_s), wave(t_s / HOUR), SUNSET, SUNRISE)
    assert habit.drops_c == ()
    assert len(habit.falls_c) == 1


def test_a_gap_of_two_hours_is_bridged() -> None:
    assert len(taught(wave, 48.0, every_s=2 * HOUR).drops_c) == 1


def test_readings_not_newer_than_the_last_are_left_out() -> None:
    habit = taught(wave, 5.0)
    assert learn(habit, 5 * HOUR, 40.0, SUNSET, SUNRISE) is habit
    assert learn(habit, 1 * HOUR, 40.0, SUNSET, SUNRISE) is habit
    assert last(habit) == (5 * HOUR, wave(5.0))


def test_what_is_kept_is_bounded() -> None:
    habit = taught(wave, 24 * 30, every_s=HOUR)
    assert len(habit.hour_t_s) == len(habit.hour_c) == 48
    assert len(habit.drops_c) == len(habit.falls_c) == 20
    assert habit.hour_t_s[-1] == (24 * 30 - 1) * HOUR


def test_drops_start_at_the_prior_and_come_to_what_was_seen() -> None:
    first_c, first_sd = outdoor.expected_drop(start_habit())
    known_c, known_sd = outdoor.expected_drop(taught(wave, 24 * 25, every_s=HOUR))
    truth_c = wave(20.0) - 8.0
    assert first_c == 3.0
    assert first_sd > 2.5
    assert abs(known_c - truth_c) < 0.12 * abs(first_c - truth_c)
    assert known_sd < 0.6 * first_sd


def test_night_falls_from_two_hours_after_sunset_by_the_learned_drop() -> None:
    habit = replace(taught(wave, 24 * 25 + 20), usual_n=(0,) * 24)
    now_s = (24 * 25 + 20) * HOUR
    got = curve(habit, now_s, SUNSET, SUNRISE)
    low_c = float(got.mean_c.min())
    assert got.t_s[got.mean_c.argmin()] == now_s + 10 * HOUR
    assert wave(20.0) - low_c == pytest.approx(outdoor.expected_drop(habit)[0])


def test_a_site_known_for_weeks_is_forecast_nearly_as_it_comes() -> None:
    habit = taught(wave, 24 * 25 + 20)
    got = curve(habit, (24 * 25 + 20) * HOUR, SUNSET, SUNRISE)
    truth = [wave(t_s / HOUR) for t_s in got.t_s]
    assert got.mean_c[:41].tolist() == pytest.approx(truth[:41], abs=0.4)
    assert float(got.mean_c.min()) == pytest.approx(8.0, abs=0.2)


def test_each_hour_keeps_what_is_usual_and_forgets_in_weeks() -> None:
    habit = taught(wave, 24 * 10 + 1, every_s=600.0)
    middles_s = (np.arange(24, dtype=np.float64) + 0.5) * HOUR
    assert outdoor.days_usual(habit) == 10
    expected = [wave(t_s / HOUR) for t_s in middles_s]
    assert outdoor.usual_c(habit, middles_s).tolist() == pytest.approx(expected, abs=0.1)
    colder = taught(lambda hour: wave(hour) - (10.0 if hour > 240.0 else 0.0), 24 * 40 + 1, every_s=600.0)
    assert outdoor.days_usual(colder) == 15
    assert outdoor.usual_c(colder, middles_s).tolist() == pytest.approx([e - 10.0 for e in expected], abs=2.0)


def test_an_evening_that_cools_faster_than_usual_makes_a_lower_low() -> None:
    hour = 24 * 8 + 21.0

    def sinking(fall_c: float) -> float:
        habit = taught(lambda h: wave(h) - (fall_c if h > hour - 2.0 else 0.0), hour)
        got = curve(habit, hour * HOUR, SUNSET, SUNRISE)
        return wave(hour) - fall_c - float(got.mean_c.min())

    usual_k, clear_k, clouded_k = sinking(0.0), sinking(3.0), sinking(-3.0)
    assert clouded_k < usual_k < clear_k
    # Half of the surplus of 3 K by sunrise, less what draws the odd evening back to the usual one.
    assert 0.3 < clear_k - usual_k < 1.5


def test_the_next_high_is_drawn_toward_the_last() -> None:
    warm = taught(lambda hour: wave(hour) + (8.0 if 36.0 < hour < 43.0 else 0.0), 45.0)
    plain = taught(wave, 45.0)
    assert last(warm) == last(plain)
    warmer_c = (
        curve(warm, 45 * HOUR, SUNSET, SUNRISE).mean_c - curve(plain, 45 * HOUR, SUNSET, SUNRISE).mean_c
    )
    assert float(warmer_c[64:70].min()) > 3.0


def test_a_high_that_is_near_is_drawn_little() -> None:
    hour = 60.0 + 0.86  # an hour before the high of a day that is 8 C colder than the last
    habit = taught(lambda h: wave(h) - (8.0 if h > 44.0 else 0.0), hour)
    got = curve(habit, hour * HOUR, SUNSET, SUNRISE)
    assert day_night(habit, hour * HOUR)[0] == pytest.approx(12.0, abs=0.1)
    assert float(got.mean_c[:13].max()) < wave(hour) - 8.0 + 1.0  # the three hours about the high


def test_half_the_evenings_fall_is_ahead_at_six_tenths_of_its_time() -> None:
    """C: mean of the three pvlib series of the reference sheet."""
    high_h, mark_h = 13.86, 20.0
    habit = taught(steady, high_h)
    got = curve(habit, high_h * HOUR, SUNSET, SUNRISE, horizon_s=(mark_h - high_h) * HOUR, step_s=1.0)
    fell_c = got.mean_c[0] - got.mean_c
    assert fell_c[-1] == pytest.approx(outdoor.expected_fall(habit)[0], abs=0.01)
    assert 1.0 - fell_c[int(0.6 * len(fell_c))] / fell_c[-1] == pytest.approx(0.51, abs=0.02)


def test_sun_times_of_any_day_serve() -> None:
    habit = taught(wave, 90.0)
    near = curve(habit, 90 * HOUR, SUNSET + 3 * DAY, SUNRISE + 3 * DAY)
    far = curve(habit, 90 * HOUR, SUNSET, SUNRISE - DAY)
    assert far.mean_c == pytest.approx(near.mean_c)


@pytest.mark.parametrize(("sunset_t_s", "sunrise_t_s"), [(None, None), (SUNSET, None), (None, SUNRISE)])
def test_where_the_sun_does_not_rise_and_set_the_curve_is_flat(
    sunset_t_s: float | None, sunrise_t_s: float | None
) -> None:
    habit = start_habit()
    for hour in range(60):
        habit = learn(habit, hour * HOUR, wave(hour), sunset_t_s, sunrise_t_s)
    got = curve(habit, 59 * HOUR, sunset_t_s, sunrise_t_s)
    assert habit.drops_c == ()
    assert set(got.mean_c) == {wave(59.0)}
    assert got.sd_c[-1] > got.sd_c[0]
    assert day_night(habit, 59 * HOUR) == pytest.approx((12.0, 8.0))


@pytest.mark.parametrize("night_s", [1.0, 600.0, HOUR, 3 * HOUR, 20 * HOUR, DAY - 600.0, DAY - 1.0])
def test_very_short_and_very_long_nights_still_give_a_curve(night_s: float) -> None:
    habit = taught(wave, 50.0)
    got = curve(habit, 50 * HOUR, SUNSET, SUNSET + night_s)
    assert np.all(np.isfinite(got.mean_c))
    assert np.all(np.abs(got.mean_c - wave(50.0)) < 20.0)


def test_a_silent_probe_widens_the_range_and_keeps_the_day_going() -> None:
    habit = taught(wave, 45.0)
    fresh = curve(habit, 45 * HOUR, SUNSET, SUNRISE)
    late = curve(habit, 51 * HOUR, SUNSET, SUNRISE)
    assert late.sd_c[0] > 1.0
    assert late.at(np.array([53 * HOUR]))[0] == pytest.approx(fresh.at(np.array([53 * HOUR]))[0])
    assert late.at(np.array([53 * HOUR]))[1] == pytest.approx(fresh.at(np.array([53 * HOUR]))[1])


def test_a_range_never_passes_that_of_not_knowing_and_old_readings_are_let_go() -> None:
    habit = taught(wave, 45.0)
    old = curve(habit, 13 * DAY, SUNSET, SUNRISE)
    assert old.sd_c[0] == 6.0
    assert old.mean_c.min() < old.mean_c.max()
    assert set(curve(habit, 17 * DAY, SUNSET, SUNRISE).mean_c) == {8.0}


def test_day_and_night_are_the_ends_of_the_last_day() -> None:
    day_c, night_c = day_night(taught(wave, 72.0), 72 * HOUR)
    assert (day_c, night_c) == pytest.approx((12.0, 8.0), abs=0.1)


def test_a_day_half_seen_is_not_known() -> None:
    assert day_night(taught(wave, 16.9), 16.9 * HOUR) == (None, None)
    assert day_night(taught(wave, 17.1), 17.1 * HOUR)[1] == pytest.approx(8.0, abs=0.1)
    assert day_night(taught(wave, 48.0), 60 * HOUR) == (None, None)


def test_the_same_readings_give_the_same_habit_and_curve() -> None:
    one, other = taught(wave, 60.0), taught(wave, 60.0)
    assert one == other
    assert curve(one, 60 * HOUR, SUNSET, SUNRISE).mean_c.tobytes() == (
        curve(other, 60 * HOUR, SUNSET, SUNRISE).mean_c.tobytes()
    )


def test_a_habit_survives_being_written_and_read() -> None:
    habit = taught(wave, 100.3)
    back = msgspec.json.decode(msgspec.json.encode(habit), type=Habit)
    assert back == habit
    assert learn(back, 101 * HOUR, 3.0, SUNSET, SUNRISE) == learn(habit, 101 * HOUR, 3.0, SUNSET, SUNRISE)


def test_bad_input_is_refused_by_name() -> None:
    with pytest.raises(ValueError, match=r"outdoor_c: nan: must be a finite"):
        learn(start_habit(), 0.0, float("nan"), SUNSET, SUNRISE)
    with pytest.raises(ValueError, match=r"t_s: inf: must be a finite"):
        learn(start_habit(), float("inf"), 3.0, SUNSET, SUNRISE)
    with pytest.raises(ValueError, match=r"horizon_s, step_s: 0.0, 900.0: must be more than 0"):
        curve(taught(steady, 1.0), 0.0, SUNSET, SUNRISE, horizon_s=0.0)
