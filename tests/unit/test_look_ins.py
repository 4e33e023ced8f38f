"""Each look-in moves the floor or the ceiling by what it can tell, for as long as it can, and none more.

The rule and its sources stand in brooder/look_ins.py; times are own choice, no source.
"""

import pytest

from coldbrood.brooder.band import COMFORT_WIDTH_C, HUDDLE_GAIN_C, SeenLookIn, band
from coldbrood.brooder.look_ins import nights_without_huddle, to_follow_up

HOUR, DAY = 3600.0, 86_400.0


def seen(kind: str, hours_ago: float, box_c: float | None = None) -> SeenLookIn:
    return SeenLookIn(kind, -hours_ago * HOUR, box_c)


def moved_c(age_days: float, *look_ins: SeenLookIn) -> float:
    return band(age_days, look_ins).floor_c - band(age_days).floor_c


def ceiling_moved_c(age_days: float, *look_ins: SeenLookIn) -> float:
    return band(age_days, look_ins).ceiling_c - band(age_days).ceiling_c


@pytest.mark.parametrize(
    ("age_days", "hours_ago", "weight"),
    [
        # First week: whole from bedtime to morning, half by the next evening, gone after the second night.
        (2.0, 0.0, 1.0),
        (2.0, 12.0, 1.0),
        (2.0, 24.0, 0.5),
        (2.0, 36.0, 0.0),
        # From day 14: a night.
        (20.0, 6.0, 1.0),
        (20.0, 15.0, 0.5),
        (20.0, 24.0, 0.0),
        # Between: at day 10.5 seen, 9 h and 30 h.
        (10.5, 0.0, 1.0),
        (10.5 + 9 / 24, 9.0, 1.0),
        (10.5 + 19.5 / 24, 19.5, 0.5),
    ],
)
def test_a_huddle_holds_and_fades_by_age(age_days: float, hours_ago: float, weight: float) -> None:
    assert moved_c(age_days, seen("huddled", hours_ago)) == pytest.approx(weight * COMFORT_WIDTH_C, abs=1e-6)


def test_a_huddle_seen_at_bedtime_lasts_to_the_morning_in_the_first_week() -> None:
    assert moved_c(4.0, seen("huddled", 8.5)) == pytest.approx(COMFORT_WIDTH_C)


def test_a_huddle_moves_the_ages_line_so_that_the_need_falls_with_age() -> None:
    floor_then_c = band(8.0).floor_c
    look_in = seen("huddled", 12.0, floor_then_c + 3.0)
    assert band(8.5, (look_in,)).floor_c == pytest.approx(band(8.5).floor_c + 3.5, abs=0.35)
    assert band(8.5, (look_in,)).floor_c < floor_then_c + 3.5


def test_of_several_huddles_the_one_that_asks_most_counts() -> None:
    floor_c = band(2.0).floor_c
    warm_then_cold = (seen("huddled", 6.0, floor_c + 3.0), seen("huddled", 1.0, floor_c - 2.0))
    assert moved_c(2.0, *warm_then_cold) == pytest.approx(3.5)


def test_no_huddle_asks_for_more_than_a_huddle_gains() -> None:
    assert moved_c(2.0, seen("huddled", 0.0, 33.0)) == pytest.approx(HUDDLE_GAIN_C)


@pytest.mark.parametrize(
    ("over_floor_c", "age_days", "let_down_c"),
    [
        (3.0, 6.0, 0.0),  # well in a warm box: says nothing of the floor
        (1.1, 6.0, 0.0),
        (0.0, 6.0, 1.1),
        (-1.1, 6.0, 2.2),
        (-4.0, 6.0, 2.2),  # one zone at most
        (0.0, 1.0, 1.0),  # a newborn's floor gives way by 1 C at most
        (-4.0, 1.0, 1.0),
    ],
)
def test_spread_lets_the_floor_down_by_what_it_was_seen_at(
    over_floor_c: float, age_days: float, let_down_c: float
) -> None:
    look_in = seen("spread", 0.0, band(age_days).floor_c + over_floor_c)
    assert moved_c(age_days, look_in) == pytest.approx(-let_down_c, abs=1e-6)


def test_spread_with_no_reading_lets_nothing_down() -> None:
    assert moved_c(6.0, seen("spread", 0.0)) == 0.0
    assert band(6.0, (seen("spread", 0.0),)).reason == "chicks of day 6"


def test_the_floor_is_never_let_down_under_the_hard_floor() -> None:
    for age in (0.0, 4.0, 9.0, 14.0, 30.0):
        got = band(age, (seen("spread", 0.0, -10.0),))
        assert got.floor_c >= got.hard_floor_c


def test_spread_lasts_one_night() -> None:
    def at(hours_ago: float) -> float:
        return moved_c(20.0, seen("spread", hours_ago, 10.0))

    assert at(6.0) == pytest.approx(-1.1)
    assert at(15.0) == pytest.approx(-0.55)
    assert at(24.0) == 0.0


def test_spread_in_the_noon_sun_does_not_take_back_the_huddle_of_the_night() -> None:
    floor_c = band(5.0).floor_c
    night, noon = seen("huddled", 9.0, floor_c + 0.5), seen("spread", 1.0, floor_c + 8.0)
    assert moved_c(5.0, night, noon) == moved_c(5.0, night) > 2.0


def test_spread_where_they_huddled_before_takes_the_huddle_back() -> None:
    floor_c = band(5.0).floor_c
    night, later = seen("huddled", 9.0, floor_c + 2.0), seen("spread", 1.0, floor_c + 2.0)
    assert moved_c(5.0, night, later) == 0.0


def test_the_newer_counts_where_a_reading_is_not_known() -> None:
    assert moved_c(5.0, seen("huddled", 5.0), seen("spread", 1.0)) == 0.0
    assert moved_c(5.0, seen("spread", 5.0), seen("huddled", 1.0)) == pytest.approx(COMFORT_WIDTH_C)


def test_panting_in_a_hot_box_leaves_the_huddle_of_a_cold_one() -> None:
    floor_c = band(5.0).floor_c
    night, noon = seen("huddled", 9.0, floor_c), seen("panting", 1.0, 33.0)
    assert moved_c(5.0, night, noon) == pytest.approx(COMFORT_WIDTH_C)
    assert ceiling_moved_c(5.0, night, noon) < 0.0


def test_panting_lowers_the_ceiling_under_its_reading_for_a_night() -> None:
    assert band(1.0, (seen("panting", 0.0, 31.0),)).ceiling_c == pytest.approx(30.5)
    assert ceiling_moved_c(1.0, seen("panting", 24.0, 31.0)) == 0.0


def test_spread_where_they_panted_before_takes_the_panting_back() -> None:
    panted, well = seen("panting", 5.0, 31.0), seen("spread", 1.0, 31.0)
    assert ceiling_moved_c(1.0, panted, well) == 0.0
    assert ceiling_moved_c(1.0, panted, seen("spread", 1.0, 27.0)) < 0.0


@pytest.mark.parametrize(
    ("look_ins", "asked"),
    [
        ((seen("weak", 4.0),), "the weak one"),
        ((seen("weak", 4.0), seen("apart", 3.9)), "the weak one and the one apart"),
        ((seen("loud", 4.0),), "the loud one"),
        ((seen("weak", 0.2),), ""),  # the same visit
        ((seen("weak", 49.0),), ""),
        ((seen("weak", 4.0), seen("drinking", 3.8)), "the weak one"),  # the same visit
        ((seen("weak", 4.0), seen("drinking", 1.0)), ""),
        ((seen("weak", 4.0), seen("weak", 1.0)), "the weak one"),  # still weak: asked again
        ((seen("huddled", 4.0),), ""),
        ((seen("weak", -1.0),), ""),
    ],
)
def test_a_weak_loud_or_lone_chick_is_asked_after_until_someone_looked_in(
    look_ins: tuple[SeenLookIn, ...], asked: str
) -> None:
    assert to_follow_up(look_ins, 0.0) == asked


def test_a_loss_after_it_answers_too() -> None:
    weak = (seen("weak", 4.0),)
    assert to_follow_up(weak, 0.0, loss_t_s=-HOUR) == ""
    assert to_follow_up(weak, 0.0, loss_t_s=-5 * HOUR) == "the weak one"


def test_nights_without_a_huddle_count_from_the_last_one_or_the_first_look() -> None:
    assert nights_without_huddle((seen("huddled", 60.0), seen("spread", 10.0)), 0.0, None) == 2.5
    assert nights_without_huddle((seen("spread", 10.0),), 0.0, -3 * DAY) == 3.0
    assert nights_without_huddle((), 0.0, None) == 0.0
