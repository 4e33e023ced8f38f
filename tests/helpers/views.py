"""A box view with plain figures, any of them replaced by the test."""

from typing import Any

import numpy as np

from coldbrood.brooder.band import Band
from coldbrood.brooder.hold import Hold
from coldbrood.brooder.timetable import Interval
from coldbrood.watch.assess import BoxView

T_S = 100_000.0
MIN_S = 60.0


def make_hold(by: float | None, early: float | None, median: float | None, late: float | None) -> Hold:
    """A hold with times in minutes after T_S."""
    times = [None if at is None else T_S + at * MIN_S for at in (by, early, median, late)]
    return Hold(times[0], times[1], times[2], times[3], np.zeros(3), np.zeros(3))


def make_view(**other: Any) -> BoxView:
    """Box a on day 1 at 19.8 C over a floor of 18, falling, known, refill by in two hours."""
    figures: dict[str, Any] = {
        "box": "a",
        "t_s": T_S,
        "box_c": 19.8,
        "box_sd_c": 0.0,
        "read_t_s": T_S - 60.0,
        "estimated": False,
        "blind": False,
        "trend_c_per_h": -1.2,
        "outdoor_c": 4.0,
        "band": Band(18.0, 15.0, 32.0, "chicks of day 1"),
        "sureness": "known",
        "hold": make_hold(120, 150, 180, 230),
        "timetable": Interval(4.0, "first three days", look_in=True),
        "timetable_due_s": T_S + 30 * MIN_S,
        "refill_by_s": T_S + 120 * MIN_S,
        "refill_reason": "forecast",
        "refill_t_s": T_S - 210 * MIN_S,
        "chicks": 16,
        "age_days": 1.4,
    }
    return BoxView(**{**figures, **other})
