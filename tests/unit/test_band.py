"""The band falls with age, and the newest verdict of the chicks moves it, for a time and within bounds."""

import pytest

from coldbrood.brooder.band import (
    COMFORT_WIDTH_C,
    HUDDLE_GAIN_C,
    LOOK_IN_KINDS,
    Band,
    SeenLookIn,
    band,
    newborn_air_c,
)

HOUR = 3600.0


def seen(kind: str, hours_ago: float, box_c: float | None = None) -> tuple[SeenLookIn, ...]:
    return (SeenLookIn(kind, -hours_ago * HOUR, box_c),)


@pytest.mark.parametrize(
    ("age_days", "floor_c", "hard_floor_c", "ceiling_c"),
    [
        (0.0, 21.1, 16.1, 34.0),
        (3.0, 21.1, 16.1, 34.0),
        (5.0, 19.6, 14.6, 34.0),
        (7.0, 18.0, 13.0, 33.9),
        (10.0, 15.0, 10.0, 32.5),
        (14.0, 12.8, 7.8, 30.7),
        (18.0, 10.0, 7.0, 30.0),
        (60.0, 10.0, 7.0, 30.0),
    ],
)
def test_defaults_by_age(age_days: float, floor_c: float, hard_floor_c: float, ceiling_c: float) -> None:
    got = band(age_days)
    assert got.floor_c == pytest.approx(floor_c, abs=0.06)
    assert got.hard_floor_c == pytest.approx(hard_floor_c, abs=0.06)
    assert got.ceiling_c == pytest.approx(ceiling_c, abs=0.06)


def test_before_arrival_the_band_is_that_of_day_0() -> None:
    assert band(-2.5) == band(0.0)


def test_reason_names_the_day() -> None:
    assert band(3.9).reason == "chicks of day 3"


def test_huddled_raises_the_floor_by_one_zone_of_comfort() -> None:
    got = band(5.0, seen("huddled", 1.0))
    assert got.floor_c == pytest.approx(band(5.0).floor_c + COMFORT_WIDTH_C)
    assert got.ceiling_c == band(5.0).ceiling_c
    assert got.reason == "chicks of day 5; floor raised, chicks seen huddled"


def test_huddled_raises_the_floor_above_the_reading_it_was_seen_at() -> None:
    floor_c = band(5.0).floor_c
    assert band(5.0, seen("huddled", 1.0, floor_c + 3.0)).floor_c > floor_c + 3.0


def test_huddled_in_a_hot_box_asks_for_no_more_than_the_huddle_gains() -> None:
    assert band(0.0, seen("huddled", 0.0, 33.0)).floor_c == pytest.approx(band(0.0).floor_c + HUDDLE_GAIN_C)


def test_huddled_in_a_cold_box_still_raises_the_floor() -> None:
    assert band(0.0, seen("huddled", 0.0, 12.0)).floor_c == pytest.approx(band(0.0).floor_c + COMFORT_WIDTH_C)


def test_a_faded_verdict_leaves_no_word_in_the_reason() -> None:
    assert band(5.0, seen("panting", 24.0)) == band(5.0)


def test_panting_lowers_the_ceiling_and_leaves_the_floor() -> None:
    got = band(5.0, seen("panting", 0.0))
    assert got.ceiling_c == pytest.approx(band(5.0).ceiling_c - COMFORT_WIDTH_C)
    assert got.floor_c == band(5.0).floor_c
    assert got.reason == "chicks of day 5; ceiling lowered, chicks seen panting"


def test_panting_lowers_the_ceiling_under_the_reading_it_was_seen_at() -> None:
    assert band(0.0, seen("panting", 0.0, 30.0)).ceiling_c == pytest.approx(29.5)


def test_the_newest_verdict_takes_the_place_of_the_older() -> None:
    cold_then_well = (*seen("huddled", 5.0), *seen("spread", 1.0))
    well_then_cold = (*seen("huddled", 1.0), *seen("spread", 5.0))
    assert band(5.0, cold_then_well) == band(5.0, seen("spread", 1.0))
    assert band(5.0, well_then_cold) == band(5.0, seen("huddled", 1.0))


def test_some_huddled_and_some_panting_at_once_moves_both_ends() -> None:
    got = band(5.0, (*seen("panting", 0.0), *seen("huddled", 0.0)))
    assert got.floor_c == pytest.approx(band(5.0).floor_c + COMFORT_WIDTH_C)
    assert got.ceiling_c == pytest.approx(band(5.0).ceiling_c - COMFORT_WIDTH_C)


@pytest.mark.parametrize("kind", ["drinking", "loud", "apart", "weak"])
def test_other_look_ins_do_not_move_the_band(kind: str) -> None:
    assert band(1.0, seen(kind, 0.0, 15.0)) == band(1.0)


def test_other_look_ins_do_not_hide_an_earlier_huddle() -> None:
    assert band(1.0, (*seen("huddled", 2.0), *seen("loud", 1.0))) == band(1.0, seen("huddled", 2.0))


def test_a_look_in_of_later_is_not_known_yet() -> None:
    assert band(1.0, seen("huddled", -1.0)) == band(1.0)


def test_every_kind_of_look_in_is_taken() -> None:
    assert all(isinstance(band(1.0, seen(kind, 0.0)), Band) for kind in LOOK_IN_KINDS)


def test_an_unknown_look_in_is_refused_by_name() -> None:
    with pytest.raises(ValueError, match=r"look_ins.kind: 'cosy': must be one of huddled"):
        band(1.0, seen("cosy", 0.0))


@pytest.mark.parametrize("age_days", [float("nan"), float("inf")])
def test_an_age_that_is_no_number_is_refused_by_name(age_days: float) -> None:
    with pytest.raises(ValueError, match=r"age_days: (nan|inf): must be a finite"):
        band(age_days)


@pytest.mark.parametrize("ratio", [0.9, 2.1, float("nan")])
def test_newborn_air_is_not_stretched_beyond_what_was_measured(ratio: float) -> None:
    with pytest.raises(ValueError, match=r"metabolism_ratio: .*: must be 1 to 2"):
        newborn_air_c(ratio)
