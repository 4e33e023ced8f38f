#!/usr/bin/env python3
"""Every fault at every place it can strike: how many places, what was lost, what came twice.

Run by hand: `.venv/bin/python tests/benchmarks/faults.py [--long] [--only WORD ...] [--json]`. The short form
takes some minutes, the long one hours: `--only` picks rows by a word of their name. It needs mosquitto, gcc
and, for the disk, root. It exits 0 whether the bars hold or not; what broke a promise stands under the table.
"""

import argparse
import sys
import time
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "helpers"))

import fault_clock
import fault_disk
import fault_flood
import fault_kills
import fault_load
import fault_machine
import fault_probes
import fault_receiver
import fault_soak
import fault_ways
import fuzz_config
import fuzz_door
from fault_rows import Row
from figures import Figure, as_json, machine, say, table, verdicts

Loop = Callable[[bool], Row]

LOOPS: Mapping[str, Loop] = {
    "kills by place": fault_kills.by_place,
    "kills at random": fault_kills.at_random,
    "disk once": fault_disk.once_while_running,
    "disk for good": fault_disk.for_good_while_running,
    "disk at the start": fault_disk.at_the_start,
    "clock steps": fault_clock.steps,
    "clock at boot": fault_clock.boots,
    "receiver": fault_receiver.by_way_and_place,
    "ways": fault_ways.through_the_daemon,
    "network": fault_receiver.without_network,
    "probes": fault_probes.row,
    "load": fault_load.row,
    "flood": fault_flood.row,
    "machine": fault_machine.row,
    "payloads": fuzz_door.row,
    "config": fuzz_config.row,
    "soak": fault_soak.row,
}


def main(argv: Sequence[str] | None = None) -> int:
    """Run the loops asked for and print what they found."""
    args = _parser().parse_args(argv)
    names = [name for name in LOOPS if not args.only or any(word in name for word in args.only)]
    rows = {name: _run(name, args.long) for name in names}
    if args.json:
        print(as_json(figures(rows)))
        return 0
    print(f"{machine(Path.cwd())}\n")
    head = ("fault", "places", "lost", "repeated", "broken promises")
    print(
        table(
            head,
            [(n, f"{r.places}", f"{r.lost}", f"{r.repeated}", f"{len(r.wrong)}") for n, r in rows.items()],
        )
    )
    print(f"\n{verdicts(_measured(rows))}\n" if _measured(rows) else "")
    for name, row in rows.items():
        for line in (*([row.note] if row.note else []), *dict.fromkeys(row.wrong)):
            print(f"  {name}: {line[:400]}")
    return 0


def figures(rows: Mapping[str, Row]) -> list[Figure]:
    """For each loop what was lost and how many promises broke; the bar of both is none."""
    lost = [Figure(f"{name}: lost", float(row.lost), 0.0) for name, row in rows.items()]
    return [
        *lost,
        *_measured(rows),
        *(Figure(f"{name}: broken promises", float(len(row.wrong)), 0.0) for name, row in rows.items()),
    ]


def _measured(rows: Mapping[str, Row]) -> list[Figure]:
    """What the loops measured: how soon, how much, how many."""
    whole = Row("")
    for row in rows.values():
        whole.add(row)
    return [Figure(name, value, bar) for name, (value, bar) in whole.figures.items()]


def _run(name: str, long: bool) -> Row:
    began_s = time.monotonic()
    try:
        row = LOOPS[name](long)
    except AssertionError as fault:  # the other loops still count
        row = Row(name, wrong=[str(fault)[:400] or repr(fault)])
    say(f"  {name}: {row.places} places in {time.monotonic() - began_s:.0f} s")
    return row


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(description="Faults at every place, counted.")
    parser.add_argument("--long", action="store_true", help="every place, not a few of each")
    parser.add_argument("--only", nargs="+", metavar="WORD", help="rows whose name holds one of these words")
    parser.add_argument("--json", action="store_true", help="one JSON object")
    return parser


if __name__ == "__main__":
    sys.exit(main())
