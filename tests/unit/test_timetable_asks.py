"""Promise: a box that is blind or not known yet keeps its timetable, whatever a forecast holds worth it."""

import pytest

from coldbrood.watch.assess import timetable_asks

DUE_S = 10_000.0
LEAD_S = 1800.0


@pytest.mark.parametrize(("sureness", "blind"), [("known", True), ("learning", True), ("unknown", False)])
def test_it_asks_from_the_keepers_lead_before_it_is_due(sureness: str, blind: bool) -> None:
    assert not timetable_asks(DUE_S, sureness, blind, LEAD_S, DUE_S - LEAD_S - 1.0)
    assert timetable_asks(DUE_S, sureness, blind, LEAD_S, DUE_S - LEAD_S)
    assert timetable_asks(DUE_S, sureness, blind, LEAD_S, DUE_S + 3600.0)


def test_a_box_that_is_seen_and_known_does_not_rest_on_it() -> None:
    assert not timetable_asks(DUE_S, "learning", False, LEAD_S, DUE_S)


def test_a_timetable_without_refills_asks_for_none() -> None:
    assert not timetable_asks(None, "unknown", True, LEAD_S, DUE_S)
