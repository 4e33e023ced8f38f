#!/usr/bin/env python3
"""Two years at six probes, exported: how much memory, how long, against a bare dump of the same table.

Run by hand: `.venv/bin/python tests/benchmarks/export.py [--quick] [--json]`. It needs some 2 GB of disk. It
exits 0 whether the bars hold or not.
"""

import argparse
import os
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "helpers"))

import page_years
from figures import Figure, as_json, machine, say, table, verdicts
from journal_records import START_WALL_S
from sites import make_site

from coldbrood.watch.site import Site

GROWTH_MIB = 8.0  # from an eighth of the log to all of it
TIMES_THE_DUMP = 20.0
PROBES, EVERY_S, DAY_S = 6, 300, 86_400
AN_EIGHTH = 8
DUMP = """import csv, sqlite3, sys
db = sqlite3.connect(sys.argv[1])
with open(sys.argv[2], "w", newline="") as file:
    csv.writer(file).writerows(db.execute("SELECT * FROM reading ORDER BY seq"))
"""
EXPORT = """import sys
from pathlib import Path
from zoneinfo import ZoneInfo
from sites import make_site
from coldbrood.report.export import export
from coldbrood.report.forms import forms_of
names = sys.argv[3].split(",") if sys.argv[3] else []
export(Path(sys.argv[1]), Path(sys.argv[2]), ZoneInfo("Etc/UTC"), "C", None, forms_of(names, make_site()))
"""
# Of the child's own memory alone: what wait4 tells may be its parent's, held over from the fork.
PEAK = """
print(next(line for line in open("/proc/self/status") if line.startswith("VmHWM")))
"""


@dataclass(frozen=True, slots=True)
class Cost:
    """What one child took."""

    seconds: float
    peak_mib: float


def main(argv: Sequence[str] | None = None) -> int:
    """Measure, print, exit 0."""
    args = _parser().parse_args(argv)
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(128 + signal.SIGTERM))  # so that no folder is left
    days = 3 if args.tiny else 90 if args.quick else 730
    began_s = time.monotonic()
    with tempfile.TemporaryDirectory(prefix="export-", dir=args.folder) as folder:
        rows, figures = measure(Path(folder), days)
    if args.json:
        print(as_json(figures))
    else:
        print(f"{machine(args.folder)}; took {time.monotonic() - began_s:.0f} s\n")
        print(f"{table(('what', 'rows', 'seconds', 'peak MiB'), rows)}\n\n{verdicts(figures)}")
    return 0


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    size = parser.add_mutually_exclusive_group()
    size.add_argument("--quick", action="store_true", help="90 days instead of two years")
    size.add_argument("--tiny", action="store_true", help="three days, to try the script itself")
    parser.add_argument("--json", action="store_true", help="one JSON object")
    parser.add_argument("--folder", type=Path, default=Path.cwd(), help="a folder on a disk with room")
    return parser


def measure(folder: Path, days: int) -> tuple[list[tuple[str, ...]], list[Figure]]:
    """All children, and what is judged of them."""
    part, whole = folder / "part.db", folder / "whole.db"
    few, many = (fill(path, count) for path, count in ((part, max(1, days // AN_EIGHTH)), (whole, days)))
    dump = child("bare dump", DUMP, whole, folder / "dump.csv")
    small = child("export, an eighth", EXPORT, part, folder / "small", "")
    full = child("export", EXPORT, whole, folder / "full", "")
    small_forms = child("export in all forms, an eighth", EXPORT, part, folder / "small-forms", ALL)
    full_forms = child("export in all forms", EXPORT, whole, folder / "full-forms", ALL)
    costs = {
        ("bare dump of the table", many): dump,
        ("export, an eighth", few): small,
        ("export", many): full,
        ("export in all forms, an eighth", few): small_forms,
        ("export in all forms", many): full_forms,
    }
    rows: list[tuple[str, ...]] = [
        (what, f"{count:,}", f"{cost.seconds:.1f}", f"{cost.peak_mib:.1f}")
        for (what, count), cost in costs.items()
    ]
    figures = [
        Figure("export_memory_growth_mib", full.peak_mib - small.peak_mib, GROWTH_MIB),
        Figure("all_forms_memory_growth_mib", full_forms.peak_mib - small_forms.peak_mib, GROWTH_MIB),
        Figure("export_times_the_dump", full.seconds / dump.seconds, TIMES_THE_DUMP),
    ]
    return rows, figures


ALL = "senml,lines,parquet"


def fill(path: Path, days: int) -> int:
    """A journal of so many days; the number of its readings."""
    say(f"filling {days} days")
    return page_years.write(path, six_probes(), START_WALL_S + days * DAY_S, days, EVERY_S)


def six_probes() -> Site:
    """The made-up site with its box probe five times over."""
    site = make_site()
    box, outdoor = (next(p for p in site.probes.values() if p.role == role) for role in ("box", "outdoor"))
    boxes = [replace(box, name=f"box-{chr(97 + n)}") for n in range(PROBES - 1)]
    return replace(site, probes={probe.name: probe for probe in (*boxes, outdoor)})


def child(what: str, code: str, *args: object) -> Cost:
    """Run some Python on its own; its time and the most memory it held."""
    say(what)
    helpers = str(Path(__file__).parents[1] / "helpers")
    command = [sys.executable, "-c", code + PEAK, *(str(arg) for arg in args)]
    began_s = time.monotonic()
    done = subprocess.run(
        command, env={**os.environ, "PYTHONPATH": helpers}, stdout=subprocess.PIPE, text=True, check=True
    )
    return Cost(time.monotonic() - began_s, int(done.stdout.split()[-2]) / 1024.0)


if __name__ == "__main__":
    sys.exit(main())
