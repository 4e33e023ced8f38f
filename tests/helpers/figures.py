"""What a benchmark prints: a table for people, one JSON object for machines, the machine it ran on."""

import argparse
import json
import os
import platform
import sqlite3
import sys
import tempfile
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True, slots=True)
class Figure:
    """One measured figure against its bar, the most it may be, in the unit that its name ends with."""

    name: str
    value: float
    bar: float

    @property
    def holds(self) -> bool:
        """Whether the figure is at or under its bar; one that is no number is not."""
        return self.value <= self.bar


def as_json(figures: Iterable[Figure]) -> str:
    """`{figure: {"value": .., "bar": .., "holds": true|false}}` in one line."""
    whole = {f.name: {"value": round(f.value, 3), "bar": round(f.bar, 3), "holds": f.holds} for f in figures}
    return json.dumps(whole)


def verdicts(figures: Iterable[Figure]) -> str:
    """The figures with a bar, one a line."""
    rows = [(f.name, f"{f.value:.2f}", f"{f.bar:.2f}", "holds" if f.holds else "MISSED") for f in figures]
    return table(("figure", "value", "bar", ""), rows)


def table(head: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """Columns under a head, the first to the left, the rest to the right."""
    lines = [tuple(head), *(tuple(row) for row in rows)]
    widths = [max(len(line[n]) for line in lines) for n in range(len(head))]
    shown = [
        "  ".join(
            cell.rjust(wide) if n else cell.ljust(wide)
            for n, (cell, wide) in enumerate(zip(line, widths, strict=True))
        )
        for line in lines
    ]
    return "\n".join(line.rstrip() for line in shown)


def percentile(values: Sequence[float], percent: float) -> float:
    """By the nearest rank: a value that was measured. Raises ValueError if there are none."""
    if not values:
        raise ValueError("values: none: at least one is needed")
    rank = -(-len(values) * percent // 100)
    return sorted(values)[max(0, int(rank) - 1)]


def machine(folder: Path) -> str:
    """Processor, memory, system, versions and the disk under `folder`."""
    cpu = _field("/proc/cpuinfo", "model name") or platform.machine()
    memory_kb = int((_field("/proc/meminfo", "MemTotal") or "0").split()[0])
    load, cores = os.getloadavg()[0], os.cpu_count() or 1
    return (
        f"{cores} x {cpu}, {memory_kb / 2**20:.1f} GiB, load {load:.1f}"
        f"{' (busy with other work: times are poor)' if load > cores else ''}; {platform.system()} "
        f"{platform.release()}; Python {platform.python_version()}, SQLite {sqlite3.sqlite_version}; "
        f"{filesystem(folder)} under {folder}"
    )


def filesystem(folder: Path) -> str:
    """The type of the file system that holds `folder`."""
    whole = folder.resolve()
    found = ("", "unknown")
    for line in Path("/proc/mounts").read_text(encoding="utf-8").splitlines():
        at, kind = line.split()[1:3]
        if whole.is_relative_to(at) and len(at) >= len(found[0]):
            found = (at, kind)
    return found[1]


def is_in_memory(folder: Path) -> bool:
    """Whether nothing written under `folder` reaches a disk."""
    return filesystem(folder) in ("tmpfs", "ramfs", "devtmpfs")


def say(text: str) -> None:
    """Progress for the person who waits; standard output is for the result."""
    print(text, file=sys.stderr, flush=True)


def _field(path: str, name: str) -> str | None:
    lines = Path(path).read_text(encoding="utf-8").splitlines()
    return next((line.partition(":")[2].strip() for line in lines if line.startswith(name)), None)


def options(about: str | None, quick: str) -> argparse.ArgumentParser:
    """The options of a benchmark that writes to a disk; `quick` says what its short run leaves out."""
    parser = argparse.ArgumentParser(description=about, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--quick", action="store_true", help=quick)
    parser.add_argument(
        "--tiny", action="store_true", help="only to see that it runs: the figures mean nothing"
    )
    parser.add_argument("--json", action="store_true", help="one JSON object instead of tables")
    parser.add_argument(
        "--folder",
        type=Path,
        default=Path(tempfile.gettempdir()),
        metavar="DIR",
        help="where journals and the logger's file go; on the disk to be measured (default: %(default)s)",
    )
    return parser
