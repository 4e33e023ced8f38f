"""The refill timetable by age and weather: the start, the fallback when blind, and the comparison.

Everything here is common practice, no source: what keepers report. Readings and look-ins overrule it.
"""

import math
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Interval:
    """Hours between refills, None where no refills are needed; `look_in` if each refill is one too."""

    hours: float | None
    reason: str
    look_in: bool


@dataclass(frozen=True, slots=True)
class Row:
    """One row: it applies when every bound that is not None is met. A bound on weather needs the weather."""

    hours: float | None
    reason: str
    huddled: bool = False
    from_day: float = 0.0
    to_day: float = math.inf
    day_least_c: float | None = None
    night_least_c: float | None = None
    day_most_c: float | None = None
    night_most_c: float | None = None


LOOK_IN_DAYS = 3.0

TABLE = (
    Row(4.0, "chicks seen huddled", huddled=True),
    Row(4.0, "freezing night", night_most_c=0.0),
    Row(4.0, "day near freezing", from_day=7.0, day_most_c=4.0),
    Row(None, "warm days and nights", from_day=10.0, day_least_c=16.0, night_least_c=10.0),
    Row(4.0, "first three days", to_day=3.0),
    Row(6.0, "first week", to_day=7.0),
    Row(8.0, "second week", to_day=14.0),
    Row(8.0, "days or nights not yet warm, or not known"),
)
"""THE timetable: the first row that applies counts, the cold ones stand first.

Practice says freezing is about -1 C, 30 F; 0 is the cautious end. Without weather the warm row
cannot apply, so chicks older than two weeks keep the 8 hours.
"""


def _at_least(value: float | None, least: float | None) -> bool:
    return least is None or (value is not None and value >= least)


def _at_most(value: float | None, most: float | None) -> bool:
    return most is None or (value is not None and value <= most)


def _applies(row: Row, age_days: float, day_c: float | None, night_c: float | None, huddled: bool) -> bool:
    return (
        row.from_day <= age_days < row.to_day
        and (huddled or not row.huddled)
        and _at_least(day_c, row.day_least_c)
        and _at_least(night_c, row.night_least_c)
        and _at_most(day_c, row.day_most_c)
        and _at_most(night_c, row.night_most_c)
    )


def _check(field: str, value: float | None) -> None:
    if value is not None and not math.isfinite(value):
        raise ValueError(f"{field}: {value}: must be a finite number")


def interval(age_days: float, day_c: float | None, night_c: float | None, huddled: bool = False) -> Interval:
    """How long between refills at this age, outdoor day's high and night's low (None: not known).

    `huddled` says that the last look-in found them so. Before day 0 the row of day 0 counts.
    Raises ValueError for a value that is no finite number.
    """
    for field, value in (("age_days", age_days), ("day_c", day_c), ("night_c", night_c)):
        _check(field, value)
    age_days = max(0.0, age_days)
    row = next(row for row in TABLE if _applies(row, age_days, day_c, night_c, huddled))
    return Interval(row.hours, row.reason, look_in=age_days < LOOK_IN_DAYS)
