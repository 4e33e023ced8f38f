#!/usr/bin/env python3
"""From a packet at the broker to a message that cannot be lost: how long, how much memory, how much disk.

Run by hand: `.venv/bin/python tests/benchmarks/path.py [--quick] [--json]`. It needs mosquitto and a folder
on a real disk. It exits 0 whether the bars hold or not.
"""

import signal
import sys
import tempfile
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "helpers"))

import path_lag
import path_memory
import path_writes
from figures import Figure, as_json, is_in_memory, machine, options, percentile, say, table, verdicts
from path_lag import Lag
from path_memory import Memory
from path_writes import Writes

TIMES_THE_LOGGER = 2.0
RESIDENT_MIB = 72.0
WRITTEN_MB_A_DAY = 15.0
PROBES, MANY_PROBES = 6, 200
SCALE = 240.0  # a box is looked at once a minute at most: at 960 a busy machine has no time for that
ENOUGH_COMMITS = 0.85  # of one a minute


@dataclass(frozen=True, slots=True)
class Size:
    """How much is played: rounds of six probes and of many, how many `many` are, minutes of the day."""

    lives: int
    many_probes: int
    many_lives: int
    minutes: int
    scale: float


# 125 and 365 min hold one and three of the estimate's snapshots, which come every two hours.
FULL = Size(lives=6, many_probes=MANY_PROBES, many_lives=2, minutes=365, scale=SCALE)
QUICK = Size(lives=2, many_probes=MANY_PROBES, many_lives=1, minutes=125, scale=2 * SCALE)
TINY = Size(lives=1, many_probes=8, many_lives=1, minutes=20, scale=2 * SCALE)


@dataclass(frozen=True, slots=True)
class Measured:
    """Everything that one run found."""

    few: Lag
    many: Lag
    memory: Memory
    writes: Writes


def main(argv: Sequence[str] | None = None) -> int:
    """Measure, print, exit 0; 2 if the folder is in memory."""
    args = options(__doc__, "fewer rounds, a shorter day: under 90 s").parse_args(argv)
    size = TINY if args.tiny else QUICK if args.quick else FULL
    if is_in_memory(args.folder):
        print(f"--folder: {args.folder}: is in memory: name a folder on a disk", file=sys.stderr)
        return 2
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(128 + signal.SIGTERM))  # so that no child is left
    began_s = time.monotonic()
    with tempfile.TemporaryDirectory(prefix="path-", dir=args.folder) as folder:
        measured = measure(Path(folder), size)
    figures = figures_of(measured)
    if args.json:
        print(as_json(figures))
    else:
        print(f"{machine(args.folder)}; took {time.monotonic() - began_s:.0f} s\n")
        print(
            "\n\n".join(
                (lag_table(measured), memory_table(measured), writes_table(measured), verdicts(figures))
            )
        )
    return 0


def measure(folder: Path, size: Size) -> Measured:
    """Memory first, while nothing else of ours has filled the page cache."""
    say("  memory")
    memory = path_memory.measure(folder / "memory", PROBES)
    few = path_lag.measure(folder / "few", PROBES, size.lives)
    many = path_lag.measure(folder / "many", size.many_probes, size.many_lives)
    writes = path_writes.measure(folder / "writes", PROBES, size.minutes, size.scale)
    return Measured(few, many, memory, writes)


def figures_of(measured: Measured) -> list[Figure]:
    """What has a bar."""
    return [
        *(
            Figure(
                f"intent_at_{lag.probes}_probes_median_ms",
                percentile(lag.daemon_ms, 50),
                TIMES_THE_LOGGER * percentile(lag.logger_ms, 50),
            )
            for lag in (measured.few, measured.many)
        ),
        Figure("resident_after_a_send_mib", measured.memory.daemon_mib, RESIDENT_MIB),
        Figure("written_a_day_mb", measured.writes.daemon_mb_a_day, WRITTEN_MB_A_DAY),
    ]


def lag_table(measured: Measured) -> str:
    """Milliseconds from packet to PUBACK."""
    rows, many = [], measured.many
    boxes = many.probes - 1
    for lag in (measured.few, measured.many):
        for who, took_ms in (("coldbrood", lag.daemon_ms), ("bare logger", lag.logger_ms)):
            cells = (f"{percentile(took_ms, p):.1f}" for p in (5, 50, 99, 100))
            rows.append((f"{who}, {lag.probes} probes", str(len(took_ms)), *cells))
    head = ("packet at the broker to intent committed, ms", "count", "5 %", "median", "99 %", "most")
    return (
        table(head, rows)
        + "\nBoth ends from the broker's log: packet in, PUBACK in; each acknowledges only what is committed."
        + f"\nA look ahead at a box takes {many.look_ms:.0f} ms of processor: where those of {boxes} boxes "
        + f"fall due in one beat,\na packet may wait {boxes * many.look_ms / 1000:.1f} s. That comes "
        + "every five minutes, near the floor every minute:\ntoo seldom to be in this table."
    )


def memory_table(measured: Measured) -> str:
    """MiB resident, step by step."""
    memory, before = measured.memory, 0.0
    rows = []
    for what, mib in memory.steps:
        rows.append((what, f"{mib:.1f}", f"{mib - before:+.1f}"))
        before = mib
    rows.append(
        (
            "coldbrood run, after a send, at rest",
            f"{memory.daemon_mib:.1f}",
            f"{memory.daemon_mib - before:+.1f}",
        )
    )
    rows.append((f"the same, at its highest; {memory.threads} threads", f"{memory.highest_mib:.1f}", ""))
    return table(("resident, MiB", "whole", "more"), rows)


def writes_table(measured: Measured) -> str:
    """Megabytes a day, and whether the fast clock was kept."""
    writes = measured.writes
    rows = [
        ("coldbrood", f"{writes.daemon_mb:.2f}", f"{writes.daemon_mb_a_day:.1f}"),
        ("bare logger, a commit a reading", f"{writes.logger_mb:.2f}", f"{writes.logger_mb_a_day:.1f}"),
    ]
    kept = writes.commits_a_day >= ENOUGH_COMMITS * path_writes.DAY_MIN
    note = (
        "" if kept else "\nToo few: this machine could not keep up with the clock, and the figure is too low."
    )
    return (
        table((f"written to the disk, MB, {PROBES} probes, one reading a minute", "played", "a day"), rows)
        + f"\n{writes.minutes} min played at {writes.scale:g} times the speed: {writes.packets} packets, "
        f"{writes.readings} values kept, {writes.messages} messages; "
        f"{writes.commits_a_day:.0f} commits a day." + note
    )


if __name__ == "__main__":
    sys.exit(main())
