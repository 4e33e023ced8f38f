"""`coldbrood doctor`: what is wrong, what it means, what to do first."""

import argparse
import os
from pathlib import Path

from coldbrood.clock import Clock
from coldbrood.settings.load import load
from coldbrood.settings.records import ConfigProblems
from coldbrood.upkeep.doctor import examine
from coldbrood.upkeep.finding import fault

EPILOG = """example:
  coldbrood doctor --config /etc/coldbrood/coldbrood.toml

Looks at disk, journal, daemon, clock, rights, broker, access list, probes,
channels and sounder, and sends no message to anyone. What to do first comes
first. Exit codes: 0 no fault, 69 a fault, 78 the config is at fault.
"""


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the verb and its options."""
    parser = subparsers.add_parser(
        "doctor",
        help="find what is wrong and what to do first",
        description="Look at every part and say what is wrong, what it means and what to do first.",
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--config", type=Path, required=True, metavar="F", help="the config file")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Examine; 0 without a fault, 69 (EX_UNAVAILABLE) with one, 78 (EX_CONFIG) if it is the config."""
    try:
        config = load(args.config, os.environ)
    except ConfigProblems as faults:
        for problem in faults.problems:
            print(fault(f"config {problem.field}", f"{problem.value}", f"allowed is: {problem.allowed}"))
        return os.EX_CONFIG
    found = examine(config, Clock())
    print("\n".join(map(str, found)))
    return os.EX_UNAVAILABLE if any(finding.state == "fault" for finding in found) else os.EX_OK
