"""The digest's advice comes at its age and count, each under a key that lets it be told once.

Ages and counts: common practice, no source; space by Clauer (V).
"""

import pytest

from coldbrood.brooder.advice import advice
from coldbrood.brooder.milestones import BoxFacts, Weather

WELL = {"north": 16}


def keys(age_days: float) -> list[str]:
    return [one.key for one in advice(age_days, WELL)]


@pytest.mark.parametrize(
    ("age_days", "expected"),
    [
        (-1.0, ["first-72h", "space-0"]),
        (0.0, ["first-72h", "space-0"]),
        (2.9, ["first-72h", "space-0"]),
        (3.0, ["space-0"]),
        (7.0, ["space-7"]),
        (21.0, ["space-21"]),
        (36.0, ["space-35"]),
    ],
)
def test_by_age_alone(age_days: float, expected: list[str]) -> None:
    assert keys(age_days) == expected


def test_milestones_stand_between_counts_and_space() -> None:
    facts = {"north": BoxFacts(quiet_nights=5.0, floor_c=13.0)}
    found = advice(12.0, {"north": 5}, Weather(), facts)
    assert [one.key for one in found] == ["few:north", "interval-8", "jugs-stay", "space-7"]


@pytest.mark.parametrize(
    ("chicks", "expected"), [(0, []), (1, ["few:b"]), (11, ["few:b"]), (12, []), (20, []), (21, ["many:b"])]
)
def test_count_outside_12_to_20_a_box_is_told(chicks: int, expected: list[str]) -> None:
    got = [one.key for one in advice(4.0, {"b": chicks})]
    assert [key for key in got if not key.startswith("space")] == expected


def test_each_box_is_counted_on_its_own() -> None:
    got = advice(4.0, {"north": 5, "south": 30})
    assert [one.key for one in got] == ["few:north", "many:south", "space-0"]
    assert "Box north has 5 chicks" in got[0].text
    assert "Box south has 30 chicks" in got[1].text


def test_space_is_the_sum_over_all_boxes() -> None:
    text = advice(8.0, {"north": 16, "south": 14})[-1].text
    assert "465 cm2" in text
    assert "1.4 m2 for all 30" in text


def test_no_chicks_no_space() -> None:
    assert advice(5.0, {"north": 0}) == ()


def test_the_first_days_name_the_look_in_and_the_vet() -> None:
    text = advice(0.0, WELL)[0].text
    assert all(word in text for word in ("look-in", "against the jug", "weak", "loud", "apart", "vet"))


def test_words_are_plain_and_fit_a_digest() -> None:
    told = [one for age in (0.0, 12.0, 25.0) for one in advice(age, {"a": 3, "b": 40})]
    assert len({one.key for one in told}) == 6
    for one in told:
        assert "!" not in one.text
        assert len(one.text) <= 350
        assert one.text.endswith(".")


def test_bad_input_is_refused_by_name() -> None:
    with pytest.raises(ValueError, match=r"chicks_per_box.north: -1: must be 0 or more"):
        advice(1.0, {"north": -1})
    with pytest.raises(ValueError, match=r"night_c: nan: must be a finite"):
        advice(1.0, WELL, Weather(lows_c=(float("nan"), None)))
