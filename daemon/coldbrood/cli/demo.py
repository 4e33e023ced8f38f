"""`coldbrood demo`: a night in the life of one hen box, in under two minutes, with nothing else installed."""

import argparse
import os
import shutil
import sys
from pathlib import Path

WIDTH_MAX = 100
SECONDS_LEAST = 45.0  # sending takes real time: faster, and a message seems lost before it can arrive
EPILOG = """example:
  coldbrood demo                      a night from 18:00 to 09:00 in 105 seconds
  coldbrood demo --seconds 60 --dir /tmp/night

All is local: a broker and a phone stand-in on loopback, simulated probes, the
real daemon. The site and the weather are made up. It leaves its config, log and
journal in the directory; the next demo there replaces them unless --keep is
given.
"""


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the verb and its options."""
    parser = subparsers.add_parser(
        "demo",
        help="play a night with a simulated hen box",
        description="Play a night of one hen box, with real MQTT, journal and messages.",
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--seconds", type=_seconds, default=105.0, help="how long it takes, 45 to 3600 (105)")
    parser.add_argument("--seed", type=int, default=1, help="another number, another night (1)")
    parser.add_argument(
        "--dir", type=Path, metavar="DIR", default=Path("coldbrood-demo"), help="its files (coldbrood-demo)"
    )
    parser.add_argument(
        "--keep", action="store_true", help="keep an earlier demo's files, use a new directory"
    )
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Play it; 0 to the end, 130 if stopped by Ctrl-C, 73 if DIR cannot be used, 70 if the stage fails."""
    from coldbrood.demo import broker, daemon, scenario, story  # heavy, and of no use to the other verbs
    from coldbrood.demo.screen import Screen

    width = min(shutil.get_terminal_size((80, 24)).columns, WIDTH_MAX)
    screen = Screen(sys.stdout, width, moves=sys.stdout.isatty())
    wishes = story.Wishes(args.dir, args.seconds, args.seed, args.keep)
    try:
        return story.play(wishes, screen)
    except scenario.DirectoryError as fault:
        print(fault, file=sys.stderr)
        return os.EX_CANTCREAT
    except (broker.BrokerError, daemon.DemoError, OSError) as fault:
        screen.rest()
        print(fault, file=sys.stderr)
        return os.EX_SOFTWARE


def _seconds(text: str) -> float:
    try:
        seconds = float(text)
    except ValueError:
        seconds = -1.0
    if not SECONDS_LEAST <= seconds <= 3600.0:
        raise argparse.ArgumentTypeError(f"{text}: must be 45 to 3600 seconds")
    return seconds
