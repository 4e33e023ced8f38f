"""The fault loops one after the other, and their table: fault, places tried, lost, repeated."""

import argparse
import logging
import sys
import time
from collections.abc import Sequence

from fault_loops import LOOPS
from fault_rows import Row, unique_lines
from figures import Figure, say, table, verdicts


def run(names: Sequence[str], long: bool) -> list[Row]:
    """Each loop named, with a line of progress. A loop that breaks off is a row that says so."""
    rows = []
    for name in names:
        begun_s = time.monotonic()
        try:
            row = LOOPS[name](long)
        except AssertionError as fault:
            row = Row(name, wrong=[f"broke off: {str(fault)[:300]}"])
        rows.append(row)
        say(f"{name}: {row.places} places, {time.monotonic() - begun_s:.0f} s {unique_lines(row.wrong)}")
    return rows


def shown(rows: Sequence[Row]) -> str:
    """The table for people."""
    lines = [
        (
            row.fault,
            str(row.places),
            str(row.lost),
            str(row.repeated),
            unique_lines(row.wrong) or row.note or "held",
        )
        for row in rows
    ]
    return table(("fault", "places", "lost", "repeated", ""), lines)


def main(argv: Sequence[str] | None = None) -> int:
    """Run and print; 1 if a promise was broken."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--short", action="store_true", help="as the tests run them")
    parser.add_argument("loops", nargs="*", default=list(LOOPS), help=f"of {', '.join(LOOPS)}")
    asked = parser.parse_args(argv)
    logging.disable(logging.WARNING)
    rows = run(asked.loops, long=not asked.short)
    print(shown(rows))
    whole = Row("")
    for row in rows:
        whole.add(row)
    if whole.figures:
        print(f"\n{verdicts(Figure(name, value, bar) for name, (value, bar) in whole.figures.items())}")
    return int(any(row.wrong or row.lost for row in rows))


if __name__ == "__main__":
    sys.exit(main())
