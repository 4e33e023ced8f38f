"""The digest's milestones come at their age, count and weather, each under a key that lets it be told once.

Ages and counts: common practice, no source; space by Clauer (V).
"""

import pytest

from coldbrood.brooder.advice import milestones

WELL = {"north": 16}


def keys(age_days: float, day_c: float | None = None, night_c: float | None = None) -> list[str]:
    return [advice.key for advice in milestones(age_days, WELL, day_c, night_c)]


@pytest.mark.parametrize(
    ("age_days", "expected"),
    [
        (-1.0, ["first-72h", "space-0"]),
        (0.0, ["first-72h", "space-0"]),
        (2.9, ["first-72h", "space-0"]),
        (3.0, ["space-0"]),
        (7.0, ["space-7"]),
        (10.0, ["jugs-stay", "space-7"]),
        (18.0, ["jugs-stay", "box-out", "space-7"]),
        (21.0, ["jugs-stay", "box-out", "outdoors", "space-21"]),
        (36.0, ["jugs-stay", "box-out", "outdoors", "space-35"]),
    ],
)
def test_by_age_with_weather_unknown(age_days: float, expected: list[str]) -> None:
    assert keys(age_days) == expected


def test_jugs_may_stop_when_days_and_nights_are_warm_enough() -> None:
    assert keys(12.0, 18.0, 11.0) == ["jugs-may-stop", "space-7"]
    assert keys(12.0, 18.0, 9.0) == ["jugs-stay", "space-7"]
    assert "jugs-may-stop" not in keys(8.0, 25.0, 15.0)


@pytest.mark.parametrize(
    ("chicks", "expected"), [(0, []), (1, ["few:b"]), (11, ["few:b"]), (12, []), (20, []), (21, ["many:b"])]
)
def test_count_outside_12_to_20_a_box_is_told(chicks: int, expected: list[str]) -> None:
    got = [advice.key for advice in milestones(4.0, {"b": chicks}, None, None)]
    assert [key for key in got if not key.startswith("space")] == expected


def test_each_box_is_counted_on_its_own() -> None:
    got = milestones(4.0, {"north": 5, "south": 30}, None, None)
    assert [advice.key for advice in got] == ["few:north", "many:south", "space-0"]
    assert "Box north has 5 chicks" in got[0].text
    assert "Box south has 30 chicks" in got[1].text


def test_space_is_the_sum_over_all_boxes() -> None:
    text = milestones(8.0, {"north": 16, "south": 14}, None, None)[-1].text
    assert "465 cm2" in text
    assert "1.4 m2 for all 30" in text


def test_no_chicks_no_space() -> None:
    assert milestones(5.0, {"north": 0}, None, None) == ()


def test_the_first_days_name_the_look_in_and_the_vet() -> None:
    text = milestones(0.0, WELL, None, None)[0].text
    assert all(word in text for word in ("look-in", "against the jug", "weak", "loud", "apart", "vet"))


def test_words_are_plain_and_fit_a_digest() -> None:
    told = [
        advice
        for age in (0.0, 12.0, 25.0)
        for weather in ((20.0, 12.0), (5.0, -2.0))
        for advice in milestones(age, {"a": 3, "b": 40}, *weather)
    ]
    assert len({advice.key for advice in told}) == 10
    for advice in told:
        assert "!" not in advice.text
        assert len(advice.text) <= 350
        assert advice.text.endswith(".")


def test_bad_input_is_refused_by_name() -> None:
    with pytest.raises(ValueError, match=r"chicks_per_box.north: -1: must be 0 or more"):
        milestones(1.0, {"north": -1}, None, None)
    with pytest.raises(ValueError, match=r"night_c: nan: must be a finite"):
        milestones(1.0, WELL, None, float("nan"))
