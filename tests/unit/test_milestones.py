"""Each milestone comes with its reason: the readings where a box is known, else the trade's rule, called so.

Ages, nights and limits: common practice, no source.
"""

from dataclasses import replace

import pytest

from coldbrood.brooder.milestones import TRADE, Advice, BoxFacts, Weather, milestones

MILD = Weather((18.0, 17.0), (11.0, 12.0), 11.5, 10.2)
COLD = Weather((12.0, 18.0), (3.0, 11.0), 2.0, -1.0)
UNKNOWN = Weather()
QUIET = BoxFacts(quiet_nights=5.0, floor_c=12.0)
SURE = replace(QUIET, alone_c=(13.0, 15.0))
COOL = replace(QUIET, alone_c=(10.5, 14.0))


def found(age: float, weather: Weather, *boxes: BoxFacts) -> dict[str, str]:
    named = dict(zip("abc", boxes, strict=False))
    return {advice.key: advice.text for advice in milestones(age, weather, named)}


@pytest.mark.parametrize(
    ("age", "weather", "keys"),
    [
        (2.0, MILD, []),
        (3.0, MILD, ["interval-6"]),
        (8.0, MILD, ["interval-8"]),
        (8.0, COLD, ["interval-8"]),
        (8.0, replace(COLD, lows_c=(-1.0, 3.0)), []),  # a freezing night keeps the four hours
        (11.0, MILD, ["jugs-may-stop"]),  # no interval any more: the timetable asks for none
        (11.0, COLD, ["interval-8", "jugs-stay"]),
        (11.0, UNKNOWN, ["interval-8", "jugs-stay"]),
        (18.0, MILD, ["jugs-may-stop", "box-out"]),
        (18.0, COLD, ["interval-8", "jugs-stay"]),
        (22.0, MILD, ["jugs-may-stop", "box-out", "outdoors"]),
    ],
)
def test_by_age_and_weather_where_no_box_is_known(age: float, weather: Weather, keys: list[str]) -> None:
    assert list(found(age, weather, QUIET)) == keys


def test_the_trades_rule_is_called_so() -> None:
    told = found(11.0, MILD, QUIET)["jugs-may-stop"]
    assert told == (
        "The jugs may stop: two warm days, the last of 18 C (64 F) and a night of 11 C (52 F), tonight 12 C "
        f"(53 F); no huddle in two nights ({TRADE}). Keep one ready; go back to it if they huddle or it "
        "turns cold."
    )


@pytest.mark.parametrize(
    "weather",
    [
        replace(MILD, highs_c=(15.9, 17.0)),
        replace(MILD, highs_c=(17.0, None)),
        replace(MILD, lows_c=(12.0, 9.9)),
        replace(MILD, tonight_c=9.9),
        replace(MILD, tonight_c=None),
    ],
)
def test_the_trades_rule_wants_two_warm_days_and_a_warm_night_ahead(weather: Weather) -> None:
    told = found(11.0, weather, QUIET)
    assert "jugs-stay" in told
    assert TRADE in told["jugs-stay"]


def test_a_known_box_decides_by_its_own_readings_either_way() -> None:
    warm = found(11.0, COLD, SURE)["jugs-may-stop"]
    assert "box a without a jug ends at 15 C (59 F) tonight, 13 C (55 F) at the cold end, floor 12 C" in warm
    assert TRADE not in warm
    cold = found(11.0, MILD, COOL)
    assert cold["jugs-stay"].startswith(
        "Keep the jugs for now, or go back to them: box a without a jug ends at"
    )


def test_the_coldest_box_decides() -> None:
    told = found(11.0, MILD, SURE, COOL)["jugs-stay"]
    assert "box b without" in told
    assert "box a" not in told


def test_one_box_known_and_warm_does_not_speak_for_the_other() -> None:
    assert TRADE in found(11.0, MILD, SURE, QUIET)["jugs-may-stop"]
    assert "jugs-stay" in found(11.0, COLD, SURE, QUIET)


@pytest.mark.parametrize(("nights", "keys"), [(1.9, ["jugs-stay"]), (2.0, ["jugs-may-stop", "box-stays"])])
def test_nights_without_a_huddle_must_be_shown(nights: float, keys: list[str]) -> None:
    told = found(18.0, MILD, replace(SURE, quiet_nights=nights))
    assert list(told) == keys
    assert "no look-in shows" in told[keys[-1]]


def test_a_huddle_seen_is_the_reason() -> None:
    huddled = replace(SURE, quiet_nights=0.5, huddled=True)
    assert "the chicks of box a were seen huddled" in found(12.0, MILD, huddled)["jugs-stay"]
    waits = found(5.0, MILD, huddled)
    assert waits == {"interval-waits": "The interval stays at 4 h, not 6: chicks seen huddled in box a."}


@pytest.mark.parametrize(("cold_c", "why"), [(9.9, "may be 10 C"), (None, "is not known")])
def test_outdoors_waits_for_the_cold_end_of_the_night(cold_c: float | None, why: str) -> None:
    told = found(22.0, replace(MILD, tonight_cold_c=cold_c), SURE)
    assert list(told) == ["jugs-may-stop", "box-out", "outdoors-waits"]
    assert why in told["outdoors-waits"]


def test_jugs_that_stay_keep_the_hen_box_too() -> None:
    assert found(22.0, COLD, QUIET)["jugs-stay"].startswith("Keep the jugs and the hen box for now")


def test_no_box_no_milestone() -> None:
    assert milestones(22.0, MILD, {}) == ()


def test_bad_input_is_refused_by_name() -> None:
    with pytest.raises(ValueError, match="age_days: nan"):
        milestones(float("nan"), MILD, {"a": QUIET})
    with pytest.raises(ValueError, match="night_c: inf"):
        milestones(11.0, replace(MILD, lows_c=(float("inf"), 1.0)), {"a": QUIET})


def test_words_are_plain_and_fit_a_digest() -> None:
    restless = (replace(SURE, quiet_nights=2.5), replace(COOL, huddled=True, quiet_nights=0.0))
    told: set[Advice] = set()
    for age in (3.0, 8.0, 12.0, 18.0, 25.0):
        for weather in (MILD, COLD, UNKNOWN):
            for box in (QUIET, SURE, COOL, *restless):
                told.update(milestones(age, weather, {"a": box}))
    assert len({advice.key for advice in told}) == 9
    for advice in told:
        assert "!" not in advice.text
        assert len(advice.text) <= 320
        assert advice.text.endswith(".")
