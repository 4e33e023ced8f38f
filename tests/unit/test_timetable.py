"""One table: it loosens with age and warmth, tightens in frost, and is cautious where weather is not known.

All figures: common practice, no source.
"""

import pytest

from coldbrood.brooder.timetable import TABLE, Interval, interval


@pytest.mark.parametrize(
    ("age_days", "hours", "reason"),
    [
        (-1.0, 4.0, "first three days"),
        (0.0, 4.0, "first three days"),
        (2.99, 4.0, "first three days"),
        (3.0, 6.0, "first week"),
        (6.99, 6.0, "first week"),
        (7.0, 8.0, "second week"),
        (13.99, 8.0, "second week"),
        (14.0, 8.0, "days or nights not yet warm, or not known"),
        (40.0, 8.0, "days or nights not yet warm, or not known"),
    ],
)
def test_by_age_with_weather_unknown(age_days: float, hours: float, reason: str) -> None:
    assert interval(age_days, None, None) == Interval(hours, reason, look_in=age_days < 3.0)


@pytest.mark.parametrize(
    ("age_days", "day_c", "night_c", "hours"),
    [
        (10.0, 16.0, 10.0, None),
        (25.0, 30.0, 20.0, None),
        (9.99, 30.0, 20.0, 8.0),
        (10.0, 15.9, 10.0, 8.0),
        (10.0, 16.0, 9.9, 8.0),
        (10.0, None, 20.0, 8.0),
        (10.0, 30.0, None, 8.0),
        (1.0, 30.0, 20.0, 4.0),
    ],
)
def test_no_refills_only_when_old_enough_and_both_are_known_warm(
    age_days: float, day_c: float | None, night_c: float | None, hours: float | None
) -> None:
    assert interval(age_days, day_c, night_c).hours == hours


@pytest.mark.parametrize("age_days", [0.0, 5.0, 9.0, 20.0])
def test_a_freezing_night_goes_back_to_four_hours(age_days: float) -> None:
    got = interval(age_days, 20.0, -1.0)
    assert (got.hours, got.reason) == (4.0, "freezing night")


def test_a_day_near_freezing_goes_back_to_four_hours_from_week_2() -> None:
    assert interval(8.0, 4.0, 1.0) == Interval(4.0, "day near freezing", look_in=False)
    assert interval(5.0, 4.0, 1.0).hours == 6.0


@pytest.mark.parametrize("age_days", [5.0, 9.0, 20.0])
def test_a_huddle_goes_back_to_four_hours_whatever_the_weather(age_days: float) -> None:
    assert interval(age_days, 25.0, 18.0, huddled=True) == Interval(4.0, "chicks seen huddled", look_in=False)


def test_a_refill_of_the_first_three_days_is_a_look_in_whatever_the_reason() -> None:
    assert interval(2.9, 10.0, -5.0).look_in
    assert interval(2.9, 10.0, 5.0, huddled=True).look_in
    assert not interval(3.0, 10.0, -5.0).look_in


def test_every_row_of_the_table_can_be_reached() -> None:
    weather = [(None, None), (20.0, 15.0), (20.0, 5.0), (3.0, 1.0), (3.0, -3.0)]
    got = {
        interval(age, day_c, night_c, huddled).reason
        for age in (1.0, 5.0, 9.0, 12.0, 20.0)
        for day_c, night_c in weather
        for huddled in (False, True)
    }
    assert got == {row.reason for row in TABLE}


@pytest.mark.parametrize(
    ("age_days", "day_c", "night_c", "field"),
    [
        (float("nan"), None, None, "age_days"),
        (1.0, float("nan"), None, "day_c"),
        (1.0, None, float("-inf"), "night_c"),
    ],
)
def test_what_is_no_number_is_refused_by_name(
    age_days: float, day_c: float | None, night_c: float | None, field: str
) -> None:
    with pytest.raises(ValueError, match=rf"{field}: .*: must be a finite number"):
        interval(age_days, day_c, night_c)
