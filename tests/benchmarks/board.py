#!/usr/bin/env python3
"""What the daemon asks of its board: memory, start, writes to the card and so its life, energy.

Run by hand: `.venv/bin/python tests/benchmarks/board.py [--quick] [--json]`. It needs mosquitto and a folder
on a real disk, and takes about 7 minutes (`--quick`: 2.5). It exits 0 whether the bars hold or not.
"""

import signal
import sys
import tempfile
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "helpers"))

import board_start
import path_memory
import path_writes
from board_sums import Battery, Board, Card
from broker import free_port
from figures import Figure, as_json, is_in_memory, machine, options, say, table, verdicts
from path_memory import Memory
from path_writes import DAY_MIN, Writes
from write_back import KERNEL_S, board_s

RESIDENT_MIB = 72.0
WRITTEN_MB_A_DAY = 15.0
START_S = 3.0
KERNEL_SCALE = 120.0  # slow enough that each commit is written back before the next
PROBES = 6
PAGE = 'address = "127.0.0.1"\nport = {port}'


@dataclass(frozen=True, slots=True)
class Size:
    """Minutes of the day that are played, those with the kernel as it comes, how fast; starts; messages."""

    minutes: int
    kernel_minutes: int
    scale: float
    starts: int
    messages: int


# 125 min hold one of the estimate's snapshots, which come every two hours; a day holds twelve.
FULL = Size(minutes=DAY_MIN, kernel_minutes=125, scale=480.0, starts=5, messages=40)
QUICK = Size(minutes=125, kernel_minutes=125, scale=480.0, starts=3, messages=10)
TINY = Size(minutes=10, kernel_minutes=5, scale=480.0, starts=1, messages=2)


@dataclass(frozen=True, slots=True)
class Measured:
    """Everything that one run found; starts in seconds."""

    memory: Memory
    writes: Writes
    kernel_mb_a_day: float
    starts_s: tuple[float, ...]
    broker_kb: float

    @property
    def broker_mb_a_day(self) -> float:
        """A message a minute from each probe."""
        return self.broker_kb * PROBES * DAY_MIN / 1000.0


def main(argv: Sequence[str] | None = None) -> int:
    """Measure, print, exit 0; 2 if the folder is in memory."""
    args = options(__doc__, "two hours instead of a day").parse_args(argv)
    size = TINY if args.tiny else QUICK if args.quick else FULL
    if is_in_memory(args.folder):
        print(f"--folder: {args.folder}: is in memory: name a folder on a disk", file=sys.stderr)
        return 2
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(128 + signal.SIGTERM))  # so that no child is left
    began_s = time.monotonic()
    with tempfile.TemporaryDirectory(prefix="board-", dir=args.folder) as folder:
        measured = measure(Path(folder), size)
    if args.json:
        print(as_json(figures_of(measured)))
    else:
        print(f"{machine(args.folder)}; took {time.monotonic() - began_s:.0f} s\n")
        parts = (memory_table(measured), start_line(measured), writes_table(measured), energy_table(measured))
        print("\n\n".join((*parts, verdicts(figures_of(measured)))))
    return 0


def measure(folder: Path, size: Size) -> Measured:
    """Memory first, while nothing else of ours has filled the page cache."""
    page = PAGE.format(port=free_port())
    say("  memory")
    memory = path_memory.measure(folder / "memory", PROBES, page)
    say(f"  start, {size.starts} times")
    starts_s = tuple(
        board_start.first_reading_s(folder / f"start-{n}", PROBES, page) for n in range(size.starts)
    )
    writes = path_writes.measure(folder / "writes", PROBES, size.minutes, size.scale, page)
    unset = (folder / "unset", PROBES, size.kernel_minutes, KERNEL_SCALE, KERNEL_S)
    kernel_mb_a_day = path_writes.daemon_mb_a_day(*unset)
    say(f"  broker: {size.messages} messages")
    broker_kb = board_start.broker_kb_a_message(folder / "broker", size.messages)
    return Measured(memory, writes, kernel_mb_a_day, starts_s, broker_kb)


def figures_of(measured: Measured) -> list[Figure]:
    """What has a bar."""
    return [
        Figure("resident_after_a_day_mib", measured.writes.resident_mib, RESIDENT_MIB),
        Figure("resident_after_a_send_mib", measured.memory.daemon_mib, RESIDENT_MIB),
        Figure("start_to_first_reading_s", sorted(measured.starts_s)[len(measured.starts_s) // 2], START_S),
        Figure("written_a_day_mb", measured.writes.daemon_mb_a_day, WRITTEN_MB_A_DAY),
    ]


def memory_table(measured: Measured) -> str:
    """MiB resident: each library against bare Python, then the daemon itself."""
    memory, before = measured.memory, 0.0
    rows = []
    for what, mib in memory.steps:
        rows.append((what, f"{mib:.1f}", f"{mib - before:+.1f}"))
        before = mib
    day_mib = measured.writes.resident_mib
    rows += [
        (
            "coldbrood run with page, after a send",
            f"{memory.daemon_mib:.1f}",
            f"{memory.daemon_mib - before:+.1f}",
        ),
        (f"the same after {measured.writes.minutes} min played", f"{day_mib:.1f}", ""),
        ("at its highest", f"{measured.writes.highest_mib:.1f}", ""),
    ]
    return table(("resident, MiB", "whole", "more"), rows)


def start_line(measured: Measured) -> str:
    """Seconds of each start."""
    told = ", ".join(f"{took_s:.2f}" for took_s in measured.starts_s)
    return f"from the start of the process to the first reading handed to it, s: {told}"


def writes_table(measured: Measured) -> str:
    """Megabytes a day, and how long a card lasts."""
    writes, card = measured.writes, Card()
    both = writes.daemon_mb_a_day + measured.broker_mb_a_day
    days = (
        ("coldbrood", writes.daemon_mb_a_day),
        (f"the same with the kernel's own {KERNEL_S:.0f} s", measured.kernel_mb_a_day),
        ("the broker as deployed, which keeps each message", measured.broker_mb_a_day),
        ("the two together", both),
        ("bare logger, a commit a reading, no broker", writes.logger_mb_a_day),
    )
    rows = [(who, f"{mb:.1f}", f"{card.years(mb):.1f}") for who, mb in days]
    notes = (
        f"{writes.minutes} min played at {writes.scale:g} times the speed, {writes.readings} values kept; "
        f"the broker wrote {measured.broker_kb:.1f} kB a message.",
        f"Card: {card.capacity_gb:g} GB, each cell {card.cell_writes:g} times, {card.amplification:g} times "
        "what is asked (M, the bad end).",
        f"What is not synced goes to the card after {board_s() / 60:.0f} min (deploy/card.conf).",
        "At a reading each 5 minutes, as battery probes send, the broker writes a fifth.",
    )
    head = (f"{PROBES} probes, one reading a minute", "MB a day", "years of card")
    return "\n".join((table(head, rows), *notes))


def energy_table(measured: Measured) -> str:
    """Watt-hours a day, and days without sun."""
    board, battery, cpu_s = Board(), Battery(), measured.writes.cpu_s_a_day
    wh = board.wh_a_day(cpu_s)
    rows = [
        ("processor of the daemon, s a day here", f"{cpu_s:.0f}"),
        (f"the same {board.slower:g} times slower, % of a core", f"{cpu_s * board.slower / 864:.1f}"),
        (f"board, {board.rest_w:g} W at rest, {board.busy_w:g} W more when busy, Wh a day", f"{wh:.1f}"),
        ("of it the daemon's processor", f"{wh - board.wh_a_day(0.0):.2f}"),
        (
            f"days without sun on {battery.amp_hours:g} Ah at {battery.volts:g} V, half of it used",
            f"{battery.days(wh):.1f}",
        ),
    ]
    return table(("energy (board and battery are guesses, M: put in your own)", ""), rows)


if __name__ == "__main__":
    sys.exit(main())
