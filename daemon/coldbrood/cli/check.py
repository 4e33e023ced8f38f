"""`coldbrood check`: ask of a config file what the daemon asks at its start."""

import argparse
import os
import sys
from pathlib import Path
from typing import Final

from coldbrood.deliver.channel import url_fault
from coldbrood.settings.explain import describe, explain
from coldbrood.settings.load import Config, ConfigProblems, load

EPILOG: Final = """\
examples:
  coldbrood check --config coldbrood.toml
  coldbrood check --config coldbrood.toml --show
  coldbrood check --explain

Every problem is one line, field: value: what is allowed, and the exit code is
78. What works but may hurt or fail is a line that begins with caution, and the
exit code is 0.
"""


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the verb and its options."""
    parser = subparsers.add_parser(
        "check",
        help="find every problem in a config file",
        description="Find every problem in a config file, or explain what may stand in it.",
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    what = parser.add_mutually_exclusive_group(required=True)
    what.add_argument("--config", type=Path, metavar="F", help="the config file to check")
    what.add_argument("--explain", action="store_true", help="print every key with its range and meaning")
    parser.add_argument("--show", action="store_true", help="print what was read, secrets masked")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Check or explain; 0 if all is well, 78 (EX_CONFIG of sysexits.h) if the config cannot be used."""
    if args.explain:
        print(explain())
        return os.EX_OK
    try:
        config = load(args.config, os.environ, url_fault)
    except ConfigProblems as faults:
        for problem in faults.problems:
            print(problem, file=sys.stderr)
        return os.EX_CONFIG
    for caution in config.cautions:
        print(f"caution: {caution}", file=sys.stderr)
    if args.show:
        print(describe(config))
    print(_summary(args.config, config))
    return os.EX_OK


def _summary(path: Path, config: Config) -> str:
    site = config.site
    boxes, probes, channels = len(site.boxes), len(site.probes), len(site.channels)
    chicks = sum(site.batch.chicks.values())
    counts = [
        _count(boxes, "hen box", "hen boxes"),
        _count(chicks, "chick", "chicks"),
        _count(probes, "probe", "probes"),
        _count(channels, "channel", "channels"),
    ]
    return f"{path}: good: site {site.name}, {', '.join(counts)}"


def _count(number: int, one: str, many: str) -> str:
    return f"{number} {one if number == 1 else many}"
