"""The bars of the nights benchmark, from the plain numbers of many batches."""

import math
from collections.abc import Callable, Iterable
from itertools import pairwise
from typing import Any

import numpy as np
from nightsim.batch import HEAT_MINDED
from nightsim.scores import Case

Row = dict[str, Any]
Figure = dict[str, Any]
PRICE_KH = 4.0


def figure(value: float, bar: str, holds: bool) -> Figure:
    """One figure of the table."""
    return {"value": round(value, 3) if math.isfinite(value) else None, "bar": bar, "holds": bool(holds)}


def strong(rows: Iterable[Row]) -> list[Row]:
    """Batches whose box the watch did not call too weak on day 0."""
    return [row for row in rows if not row["called_weak"]]


def total(rows: Iterable[Row], who: str, what: str) -> float:
    """A sum over batches."""
    return float(sum(row["tally"][who][what] for row in rows))


def cost_kh(rows: list[Row], who: str) -> float:
    """Wakings at 4 degree-hours each, plus cold."""
    return PRICE_KH * total(rows, who, "wakings") + total(rows, who, "cold_kh")


def wakings_at(points: Iterable[tuple[float, float]], cold_kh: float) -> float:
    """Wakings on a trade-off of (wakings, cold) points at no more than some cold, linear between points.

    Where the coldest point has less, that point's; where the warmest has more, no number.
    """
    by_cold = sorted((cold, wakings) for wakings, cold in points)
    colds, wakings = zip(*by_cold, strict=True)
    return float(np.interp(cold_kh, colds, wakings, left=math.nan))


def _ratio(above: float, below: float) -> float:
    return above / below if below else math.inf


def night_figures(rows: list[Row]) -> dict[str, Figure]:
    """Wakings, refills, cold and cost against the baselines and the oracle."""
    cold = {who: total(rows, who, "cold_kh") for who in ("product", "timetable", "threshold", "oracle")}
    hard = {who: total(rows, who, "hard_min") for who in cold}
    out: dict[str, Figure] = {}
    for who, most in (("timetable", 0.15), ("threshold", 0.10)):
        share = _ratio(total(rows, "product", "wakings"), total(rows, who, "wakings"))
        warm = cold["product"] <= cold[who]
        out[f"wakings against the {who}, at no more cold"] = figure(
            share, f"<= {most}", warm and share <= most
        )
        out[f"cold against the {who}"] = figure(_ratio(cold["product"], cold[who]), "<= 1", warm)
    refills = _ratio(total(rows, "product", "refills"), total(rows, "timetable", "refills"))
    out["refills against the timetable"] = figure(refills, "<= 0.45", refills <= 0.45)
    for who, name in (("oracle", "the oracle"), (HEAT_MINDED, "an oracle that minds heat as the watch does")):
        cost = _ratio(cost_kh(rows, "product"), cost_kh(rows, who))
        out[f"cost against {name}"] = figure(cost, "<= 1.2", cost <= 1.2)
    least = min(hard["timetable"], hard["threshold"])
    out["minutes under the hard floor"] = figure(hard["product"], f"< {least:.0f}", hard["product"] < least)
    return out


def cases_of(rows: Iterable[Row]) -> list[Case]:
    """All forecasts scored."""
    return [Case(**case) for row in rows for case in row["cases"]]


def range_figures(cases: list[Case]) -> dict[str, Figure]:
    """Coverage of the 80 % range, of the forecasts that had anything to say and of those that did cross."""
    out = {}
    for when in ("1 h", "3 h", "6 h", "bedtime"):
        said = [case for case in cases if case.when == when and case.open]
        crossed = [case for case in said if case.came_min is not None]
        for name, some in (("", said), (", of those that cross", crossed)):
            share = float(np.mean([case.covered for case in some])) if some else math.nan
            label = f"80 % range at {when}{name} (n = {len(some)})"
            out[label] = figure(share, "0.75 to 0.87", 0.75 <= share <= 0.87)
    return out


def crps_figures(cases: list[Case]) -> dict[str, Figure]:
    """CRPS of the crossing time against the straight line, and against the box on paper after a day."""

    def share(some: list[Case], against: Callable[[Case], float]) -> float:
        return _ratio(sum(case.crps_h for case in some), sum(against(case) for case in some))

    out = {}
    for when, most in (("1 h", 0.3), ("3 h", 0.5)):
        some = [case for case in cases if case.when == when]
        value = share(some, lambda case: case.line_h)
        out[f"CRPS at {when} against the straight line"] = figure(value, f"<= {most}", value <= most)
    for when in ("1 h", "3 h"):
        some = [case for case in cases if case.when == when and case.age_days > 1.5]
        value = share(some, lambda case: case.prior_h)
        out[f"CRPS at {when} against the prior alone"] = figure(value, "<= 0.6", value <= 0.6)
    return out


def refill_figures(rows: list[Row]) -> dict[str, Figure]:
    """Refills seen within ten minutes, and sightings of none."""
    real, caught, false = (sum(row["refills_seen"][i] for row in rows) for i in range(3))
    recall, per = _ratio(caught, real), _ratio(5.0 * false, len(rows))
    told = _ratio(*(sum(row["refills_read"][i] for row in rows) for i in (1, 0)))
    plain = _ratio(*(sum(row["refills_plain"][i] for row in rows) for i in (1, 0)))
    sure = _ratio(5.0 * sum(row["false_and_sure"] for row in rows), len(rows))
    return {
        "refills read 3 to 10 min on, the most that can be seen": figure(told, ">= 0.98", told >= 0.98),
        "refills seen within 10 min": figure(recall, ">= 0.98", recall >= 0.98),
        "of those read, the jug 15 K hotter or more": figure(plain, ">= 0.98", plain >= 0.98),
        "false sightings in 5 batches": figure(per, "<= 1", per <= 1.0),
        "of those not held in doubt": figure(sure, "<= 1", sure <= 1.0),
    }


def residual_table(rows: list[Row]) -> list[tuple[str, int, float, float]]:
    """Where the model is wrong: mean and deviation in K of two hours' forecasts by hour, age and wind."""
    found = np.array([r for row in rows for r in row["residuals"]]).reshape(-1, 4)
    cuts: list[tuple[str, int, tuple[float, ...]]] = [
        ("hour", 0, (0.0, 6.0, 9.0, 12.0, 15.0, 18.0, 21.0, 24.0)),
        ("day of age", 1, (0.0, 1.0, 3.0, 7.0, 10.0, 14.1)),
        ("wind m/s", 2, (0.0, 0.5, 1.0, 2.0, 9.0)),
    ]
    out = []
    for name, column, edges in cuts:
        for low, high in pairwise(edges):
            some = found[(found[:, column] >= low) & (found[:, column] < high), 3]
            if len(some):
                out.append((f"{name} {low:g} to {high:g}", len(some), float(some.mean()), float(some.std())))
    return out
