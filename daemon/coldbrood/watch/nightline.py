"""What bedtime foresaw of one box, as a line of the history: kept so that a report can hold it against truth.

The detail is words of `key=value`; a temperature is in C, a time RFC 3339 in UTC, a dash what is not known.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Final

import numpy as np

from coldbrood.brooder.plan import NightPlan
from coldbrood.brooder.specs import OutdoorCurve
from coldbrood.watch.boxstate import rfc3339
from coldbrood.watch.events import History, Now
from coldbrood.watch.localtime import wall_of

KIND: Final = "forecast"
NONE: Final = "-"


@dataclass(frozen=True, slots=True)
class NightLine:
    """One box at one bedtime. Times are Unix times.

    `low_c` are the 10, 50 and 90 % points of the lowest box temperature under the plan, `under_s` those
    of when it goes under the floor with no waking. `outdoor_c` is the least of the outdoor mean with its
    deviation. `known` is False where the night rested on the timetable and the figures are of little weight.
    """

    box: str
    known: bool
    low_c: tuple[float, float, float]
    floor_c: float
    outdoor_c: tuple[float, float]
    fill: bool
    wake_s: tuple[float, ...]
    under_s: tuple[float | None, float | None, float | None]
    rising_s: float


def line_of(
    box: str, plan: NightPlan, known: bool, floor_c: float, ahead: OutdoorCurve, rising_t_s: float, now: Now
) -> History:
    """The line to keep; `rising_t_s` is a watch time, as those of the plan."""

    def at(t_s: float | None) -> str:
        return NONE if t_s is None else rfc3339(wall_of(now, t_s))

    held = plan.sleep_through
    words = (
        f"low_c={_numbers(plan.low_c)}",
        f"floor_c={floor_c:.2f}",
        f"outdoor_c={_numbers(_lowest(ahead, now.t_s, rising_t_s))}",
        f"fill={'yes' if plan.fill_at_bedtime else 'no'}",
        f"wake={','.join(map(at, plan.wake_s)) or NONE}",
        f"under={','.join(map(at, (held.early_s, held.median_s, held.late_s)))}",
        f"rising={at(rising_t_s)}",
    )
    return History(KIND, box, "known" if known else "by-timetable", "bedtime", " ".join(words))


def read_line(line: History) -> NightLine | None:
    """The night in such a line; None if it is another kind of line or says less than it should."""
    if line.kind != KIND:
        return None
    told = dict(word.split("=", 1) for word in line.detail.split() if "=" in word)
    try:
        return _night(line, told)
    except (KeyError, ValueError):
        return None


def _night(line: History, told: Mapping[str, str]) -> NightLine:
    low_10_c, low_50_c, low_90_c = map(float, told["low_c"].split(","))
    outdoor_c, outdoor_sd_c = map(float, told["outdoor_c"].split(","))
    early_s, middle_s, late_s = (None if at == NONE else _unix_s(at) for at in told["under"].split(","))
    return NightLine(
        box=line.subject,
        known=line.state == "known",
        low_c=(low_10_c, low_50_c, low_90_c),
        floor_c=float(told["floor_c"]),
        outdoor_c=(outdoor_c, outdoor_sd_c),
        fill=told["fill"] == "yes",
        wake_s=() if told["wake"] == NONE else tuple(map(_unix_s, told["wake"].split(","))),
        under_s=(early_s, middle_s, late_s),
        rising_s=_unix_s(told["rising"]),
    )


def _lowest(ahead: OutdoorCurve, from_t_s: float, to_t_s: float) -> tuple[float, float]:
    t_s = np.linspace(from_t_s, to_t_s, 49)
    mean_c, sd_c = ahead.at(t_s)
    least = int(np.argmin(mean_c))
    return float(mean_c[least]), float(sd_c[least])


def _numbers(values: tuple[float, ...]) -> str:
    return ",".join(f"{value:.2f}" for value in values)


def _unix_s(text: str) -> float:
    return datetime.fromisoformat(text).timestamp()
