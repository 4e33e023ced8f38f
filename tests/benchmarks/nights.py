#!/usr/bin/env python3
"""Fourteen days of chicks, many times over, with and without the watch: wakings, cold, and what was foretold.

Run by hand: `.venv/bin/python tests/benchmarks/nights.py [--quick] [--json] [--batches N] [--seeds tune]`.
The truth (tests/helpers/nightsim) is richer than the model, and meets the watch through its pure entry alone:
bytes of probes in, messages out. Seeds of *report* unless told otherwise. It exits 0 whether bars hold or
not.
"""

import argparse
import json
import os
import sys
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from pathlib import Path
from typing import Any

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
sys.path.insert(0, str(Path(__file__).parents[1] / "helpers"))

from figures import machine, table
from nightsim import bars, batch, blind, cost, innovations, known_box, known_nights, lows, picture
from nightsim.bars import Figure, Row
from nightsim.seeds_report import REPORT
from nightsim.seeds_tune import TUNE
from nightsim.weather import PLACES

PICTURE = Path(__file__).parents[2] / "fixtures" / "figures" / "wakings-against-cold.svg"
CURVE_RISKS = (0.025, 0.05, 0.2, 0.4)
PRICES_KH = (2.0, 8.0, 16.0, 32.0)
INTERVALS_MIN = (1, 2, 5, 15)
POLICIES = ("product", "timetable", "threshold", "oracle", batch.HEAT_MINDED)
LOOK_MS, PLAN_MS = 5.0, 200.0


def rows_of(seeds: Sequence[int], floor: str, risk: float, jobs: int, kept: Path | None) -> Iterator[Row]:
    """The batches, as they come; each is kept as a line of JSON where asked."""
    with ProcessPoolExecutor(jobs) as pool:
        for row in pool.map(partial(batch.run, floor_name=floor, risk=risk), seeds):
            if kept is not None:
                with kept.open("a", encoding="utf-8") as file:
                    file.write(json.dumps(row) + "\n")
            yield row


def tallies(rows: list[Row], policies: Sequence[str] = POLICIES) -> str:
    """Means of a batch, policy by policy."""
    lines = []
    for who in policies:
        means = [bars.total(rows, who, w) / len(rows) for w in ("wakings", "refills", "cold_kh", "hard_min")]
        lines.append((who, *(f"{mean:.1f}" for mean in means), f"{bars.cost_kh(rows, who) / len(rows):.1f}"))
    return table(("a batch", "wakings", "refills", "cold K h", "hard min", "cost K h"), lines)


def low_figures() -> dict[str, Figure]:
    """Tonight's low over a year of each series."""
    out = {}
    for place in PLACES:
        got = lows.score(place)
        best = min(got.rules_k)
        out[f"tonight's low at 21:00, {place.name}, K"] = bars.figure(
            got.ours_k, f"< {best:.3f}", got.ours_k < best
        )
        holds = 0.75 <= got.covered <= 0.87
        out[f"its 80 % range, {place.name}"] = bars.figure(got.covered, "0.75 to 0.87", holds)
    return out


def blind_figures(seeds: Sequence[int]) -> dict[str, Figure]:
    """Nudges of blind nights against the timetable."""
    out = {}
    for case in blind.CASES:
        found = [blind.lateness_min(seed, case) for seed in seeds]
        worst, said = max(late for late, _ in found), all(estimated for _, estimated in found)
        holds = worst <= blind.SLACK_MIN and said
        out[f"blind: {case}, min after the timetable"] = bars.figure(worst, "<= 15, as estimate", holds)
    return out


def cost_figures(seed: int) -> dict[str, Figure]:
    """Milliseconds of a look, a reading and a plan."""
    ms = cost.cost_ms(seed)
    return {
        "one look at a box, ms": bars.figure(ms.look, "<= 5", ms.look <= LOOK_MS),
        "the first look after a reading, ms": bars.figure(ms.first_look, "<= 5", ms.first_look <= LOOK_MS),
        "one step with a reading, ms": bars.figure(ms.step, "<= 5", ms.step <= LOOK_MS),
        "a box's night plan, ms": bars.figure(ms.plan, "<= 200", ms.plan <= PLAN_MS),
    }


def all_figures(rows: list[Row], seeds: Sequence[int], blind_seeds: int) -> dict[str, Figure]:
    """Every bar of the table. Weak boxes are left to their own table."""
    some = bars.strong(rows) or rows
    cases = bars.cases_of(some)
    return {
        **bars.night_figures(some),
        **bars.range_figures(cases),
        **bars.crps_figures(cases),
        **low_figures(),
        **bars.refill_figures(some),
        **cost_figures(seeds[0]),
        **blind_figures(seeds[:blind_seeds]),
    }


def _each(jobs: int, run: Callable[[int], Any], seeds: Iterable[int]) -> list[Any]:
    """What `run` gives for each seed, so many at once."""
    with ProcessPoolExecutor(jobs) as pool:
        return list(pool.map(run, seeds))


def _lived(
    rows: list[Row], jobs: int, live: Callable[..., Any] = batch.product_tally, **how: Any
) -> list[Row]:
    """The same batches lived again by the watch alone, or by whom `live` tallies."""
    lived = _each(jobs, partial(live, **how), (row["seed"] for row in rows))
    return [{"tally": {"product": one}} for one in lived]


def curve(rows: list[Row], floor: str, jobs: int) -> None:
    """The trade-off by risk on some batches, the oracle's by price: a table, a picture, and at equal cold."""
    lived = {risk: _lived(rows, jobs, floor_name=floor, risk=risk) for risk in CURVE_RISKS}
    lived = dict(sorted({**lived, batch.DEFAULT_RISK: rows}.items()))
    cool = _lived(rows, jobs, floor_name=floor, minds_heat=False)
    known = {kh: _lived(rows, jobs, batch.oracle_tally, floor_name=floor, waking_kh=kh) for kh in PRICES_KH}
    baselines = [(who, _point(rows, who)) for who in ("timetable", "threshold")]
    named = [(f"risk {risk:g}", _point(some)) for risk, some in lived.items()]
    foreknown = [(f"oracle, {kh:g} K h", _point(some)) for kh, some in known.items()]
    others = [*baselines, ("oracle", _point(rows, "oracle"))]
    lines = [*named, ("heat let be", _point(cool)), *others, *foreknown]
    columns = ("trade-off", "wakings", "cold K h", "hard min")
    print(table(columns, [(name, *(f"{value:.1f}" for value in point)) for name, point in lines]))
    oracles = [others[-1], *foreknown]
    for who, (wakings, cold_kh, _) in baselines:
        for whose, points in (("the watch", named), ("the oracle", oracles)):
            at = bars.wakings_at([point[:2] for _, point in points], cold_kh)
            print(f"at no more cold than the {who}, {whose}: {at:.1f} wakings, {at / wakings:.3f} of its")
    costs = [
        bars.cost_kh(some, who) for some, who in ((rows, "product"), (cool, "product"), (rows, "oracle"))
    ]
    print(f"cost against the oracle: {costs[0] / costs[2]:.2f}, heat let be {costs[1] / costs[2]:.2f}")
    PICTURE.parent.mkdir(exist_ok=True)
    line, marks = ([(name, x, y) for name, (x, y, _) in some] for some in (named, others))
    PICTURE.write_text(picture.curve_svg(line, marks, len(rows)), encoding="utf-8")
    print(f"drawn: {PICTURE.relative_to(PICTURE.parents[2])}")


def consistency(seeds: Sequence[int], jobs: int) -> None:
    """Normalised innovations of some batches, with the chi-square bounds of their mean."""
    found = [one for some in _each(jobs, innovations.run, seeds) for one in some]
    rows = [(n, str(m), f"{x:.2f}", f"{y:.3f}", z) for n, m, x, y, z in innovations.table_rows(found)]
    print(table(("innovations", "n", "mean square", "beyond 3.84", "mean, 95 %"), rows))


def bound(seeds: Sequence[int], jobs: int) -> None:
    """CRPS against the box on paper, ours and that of the true box: in the long run the best."""
    found = [one for some in _each(jobs, known_box.run, seeds) for one in some]
    print(table(("CRPS after", "n", "ours, h", "to paper", "true box"), known_box.table_rows(found)))


def bound_of_nights(rows: list[Row], jobs: int) -> None:
    """The same batches, planned by the true box, and with heat let be: where the oracle's lead comes from."""
    known = _each(jobs, known_nights.run, (row["seed"] for row in rows))
    with_it = [{**row, "tally": {**row["tally"], **it}} for row, it in zip(rows, known, strict=True)]
    policies = ("product", *known_nights.WHO, batch.HEAT_MINDED, "oracle")
    print(tallies(with_it, policies))
    least = bars.cost_kh(with_it, "oracle")
    told = ", ".join(f"{who} {bars.cost_kh(with_it, who) / least:.2f}" for who in policies[:-1])
    print(f"cost against the oracle's: {told}")


def by_interval(seeds: Sequence[int], jobs: int) -> None:
    """Refills seen where the box probe speaks more or less often: whether it is readings that lack."""
    lines = []
    for every_min in INTERVALS_MIN:
        found = _each(jobs, partial(batch.seen_by_interval, every_min=every_min), seeds)
        refills, soon, later, false = (
            sum(one[w] for one in found) for w in ("refills", "soon", "later", "false")
        )
        seen = (f"{soon / refills:.3f}", f"{later / refills:.3f}", f"{5 * false / len(found):.1f}")
        lines.append((f"{every_min} min", str(refills), *seen))
    print(table(("a reading each", "refills", "seen in 10 min", "in 15", "false in five"), lines))


def _point(rows: list[Row], who: str = "product") -> tuple[float, float, float]:
    """Wakings, degree-hours and minutes under the hard floor of a batch."""
    wakings, cold_kh, hard_min = (
        bars.total(rows, who, what) / max(len(rows), 1) for what in ("wakings", "cold_kh", "hard_min")
    )
    return wakings, cold_kh, hard_min


def report(rows: list[Row], figures: dict[str, Figure], begun: float) -> None:
    """The tables for people."""
    some, weak = bars.strong(rows), [row for row in rows if row not in bars.strong(rows)]
    print(machine(PICTURE.parents[2]))
    print(f"\n{len(some)} batches of 14 days; {len(weak)} more whose box was called too weak on day 0\n")
    if some:
        print(tallies(some), "\n")
    if weak:
        print("called too weak by the watch itself on day 0:")
        print(tallies(weak), "\n")
    lines = [
        (
            name,
            "none" if f["value"] is None else f"{f['value']:g}",
            f["bar"],
            "holds" if f["holds"] else "MISSED",
        )
        for name, f in figures.items()
    ]
    print(table(("figure", "value", "bar", ""), lines), "\n")
    wrong = [(name, str(n), f"{mean:+.2f}", f"{sd:.2f}") for name, n, mean, sd in bars.residual_table(rows)]
    print(table(("box two hours on, less forecast", "n", "mean K", "sd K"), wrong))
    print(f"\n{time.monotonic() - begun:.0f} s")


def _options(argv: Sequence[str] | None) -> argparse.Namespace:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--quick", action="store_true", help="two batches, no curve")
    parser.add_argument("--json", action="store_true", help="one object instead of tables")
    parser.add_argument("--batches", type=int, default=40)
    parser.add_argument("--seeds", choices=("report", "tune"), default="report")
    parser.add_argument("--floor", choices=("demanding", "own"), default="demanding")
    parser.add_argument("--jobs", type=int, default=os.cpu_count() or 1)
    parser.add_argument(
        "--curve", type=int, default=0, help="batches for the trade-off curve and its picture"
    )
    parser.add_argument(
        "--innovations", type=int, default=0, help="batches whose readings are held against the estimate"
    )
    parser.add_argument(
        "--known-box", type=int, default=0, help="batches whose forecasts are held against the true box's"
    )
    parser.add_argument(
        "--known-nights", type=int, default=0, help="batches to be lived again by the true box"
    )
    parser.add_argument(
        "--intervals", type=int, default=0, help="batches lived again with a reading more or less often"
    )
    parser.add_argument("--keep", type=Path, help="a file for the plain numbers of each batch")
    parser.add_argument("--from", type=Path, dest="kept", help="take the batches from such a file")
    return parser.parse_args(argv)


def main(argv: Sequence[str] | None = None) -> int:
    """Run, print, and leave the verdict to the reader."""
    asked, begun = _options(argv), time.monotonic()
    seeds = (REPORT if asked.seeds == "report" else TUNE)[: 2 if asked.quick else asked.batches]
    rows: list[dict[str, Any]]
    if asked.kept is not None:
        rows = [json.loads(line) for line in asked.kept.read_text(encoding="utf-8").splitlines()]
    else:
        rows = list(rows_of(seeds, asked.floor, batch.DEFAULT_RISK, asked.jobs, asked.keep))
    figures = all_figures(rows, seeds, 1 if asked.quick else 6)
    if asked.json:
        print(json.dumps(figures))
        return 0
    report(rows, figures, begun)
    if asked.curve:
        curve(bars.strong(rows)[: asked.curve], asked.floor, asked.jobs)
    if asked.innovations:
        consistency(seeds[: asked.innovations], asked.jobs)
    if asked.known_box:
        bound(seeds[: asked.known_box], asked.jobs)
    if asked.known_nights:
        bound_of_nights(bars.strong(rows)[: asked.known_nights], asked.jobs)
    if asked.intervals:
        by_interval([row["seed"] for row in bars.strong(rows)[: asked.intervals]], asked.jobs)
    return 0


if __name__ == "__main__":
    sys.exit(main())
