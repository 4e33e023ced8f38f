"""Any box on paper: water, wool, chicks never shorten the hold, cold never lengthens it, offsets shift it."""

from dataclasses import replace

import numpy as np
import pytest
from box_days import FLOCK, SPEC
from hypothesis import given, settings
from hypothesis import strategies as st

from coldbrood.brooder.sizing import Sizing, helps, size
from coldbrood.brooder.specs import BoxSpec

few = settings(max_examples=25, deadline=None)
outdoors = st.floats(-12.0, 20.0)
floors = st.floats(8.0, 22.0)
boxes = st.builds(
    lambda length, width, height, mm, air, jugs, litres, fill, wrapped: replace(
        SPEC,
        length_m=length,
        width_m=width,
        height_m=height,
        insulation_mm=mm,
        air_changes_per_h=air,
        jugs=jugs,
        jug_litres=litres,
        fill_c=fill,
        jug_wrapped=wrapped,
    ),
    st.floats(0.3, 1.2),
    st.floats(0.3, 0.9),
    st.floats(0.2, 0.6),
    st.floats(0.0, 80.0),
    st.floats(2.0, 20.0),
    st.integers(1, 3),
    st.floats(1.5, 10.0),
    st.floats(45.0, 85.0),
    st.booleans(),
)


def hours(found: Sizing) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    """The three holds in h, 25 for what lasts beyond the day."""
    holds = (found.early_h, found.median_h, found.late_h)
    return np.array([25.0 if h is None else h for h in holds], dtype=np.float64)


def never_shorter(less: Sizing, more: Sizing) -> bool:
    return bool((hours(more) >= hours(less) - 0.02).all())


@few
@given(boxes, outdoors, floors, st.floats(0.1, 5.0))
def test_more_water_never_shortens_the_hold(
    box: BoxSpec, outdoor_c: float, floor_c: float, litres: float
) -> None:
    more = replace(box, jug_litres=box.jug_litres + litres)
    assert never_shorter(size(box, FLOCK, outdoor_c, floor_c), size(more, FLOCK, outdoor_c, floor_c))


@few
@given(boxes, outdoors, floors, st.floats(1.0, 100.0))
def test_more_insulation_never_shortens_the_hold(
    box: BoxSpec, outdoor_c: float, floor_c: float, thicker_mm: float
) -> None:
    thick = replace(box, insulation_mm=box.insulation_mm + thicker_mm)
    assert never_shorter(size(box, FLOCK, outdoor_c, floor_c), size(thick, FLOCK, outdoor_c, floor_c))


@few
@given(boxes, outdoors, floors, st.floats(0.1, 10.0))
def test_colder_outside_never_lengthens_the_hold(
    box: BoxSpec, outdoor_c: float, floor_c: float, kelvin: float
) -> None:
    found = size(box, FLOCK, outdoor_c, floor_c)
    assert never_shorter(size(box, FLOCK, outdoor_c - kelvin, floor_c), found)


@few
@given(boxes, outdoors, floors, st.integers(1, 20))
def test_more_chicks_never_shorten_the_hold_nor_cool_the_resting_box(
    box: BoxSpec, outdoor_c: float, floor_c: float, chicks: int
) -> None:
    found = size(box, FLOCK, outdoor_c, floor_c)
    fuller = size(box, replace(FLOCK, chicks=FLOCK.chicks + chicks), outdoor_c, floor_c)
    assert never_shorter(found, fuller)
    assert outdoor_c <= found.resting_c <= fuller.resting_c


@few
@given(boxes, outdoors, floors, st.floats(-15.0, 15.0))
def test_without_chicks_an_offset_of_all_temperatures_shifts_nothing(
    box: BoxSpec, outdoor_c: float, floor_c: float, offset_k: float
) -> None:
    empty = replace(FLOCK, chicks=0)
    here = size(box, empty, outdoor_c, floor_c)
    moved = replace(box, fill_c=box.fill_c + offset_k)
    there = size(moved, empty, outdoor_c + offset_k, floor_c + offset_k)
    assert hours(there) == pytest.approx(hours(here), abs=1e-6)
    assert there.resting_c == pytest.approx(here.resting_c + offset_k, abs=1e-6)


@few
@given(boxes, outdoors, floors)
def test_the_one_that_helps_most_stands_first_and_no_change_is_forgotten(
    box: BoxSpec, outdoor_c: float, floor_c: float
) -> None:
    found = helps(box, FLOCK, outdoor_c, floor_c)
    assert found[0].gain_h == max(h.gain_h for h in found[:-1])
    assert {"insulation", "litres", "jugs", "towel", "chicks", "night"} <= {h.key for h in found}
    assert all(np.isfinite(h.gain_h) for h in found)
