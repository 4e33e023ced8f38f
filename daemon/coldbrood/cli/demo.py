"""`coldbrood demo`: a night in the life of one hen box, in under two minutes, with nothing else installed."""

import argparse
import shutil
import sys
from pathlib import Path

WIDTH_MAX = 100
EPILOG = """example:
  coldbrood demo                      a night from 18:00 to 09:00 in 90 seconds
  coldbrood demo --seconds 60 --dir /tmp/night

All is local: a broker and a phone stand-in on loopback, simulated probes, the real
daemon. The site and the weather are made up. It leaves its config, log and journal in
the directory; the next demo there replaces them unless --keep is given.
"""


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the verb and its options."""
    parser = subparsers.add_parser(
        "demo",
        help="play a night with a simulated hen box",
        description="Play a night in the life of one hen box, with real MQTT, journal and messages.",
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--seconds", type=_seconds, default=90.0, help="how long it takes, 20 to 3600 (90)")
    parser.add_argument("--seed", type=int, default=1, help="another number, another night (1)")
    parser.add_argument("--dir", type=Path, default=Path("coldbrood-demo"), help="where it keeps its files")
    parser.add_argument(
        "--keep", action="store_true", help="keep an earlier demo's files, use a new directory"
    )
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Play it; 0 to the end, 130 if stopped by Ctrl-C, 1 with one line that says what to do."""
    from coldbrood.demo import broker, scenario, story  # heavy, and of no use to the other verbs
    from coldbrood.demo.screen import Screen

    width = min(shutil.get_terminal_size((80, 24)).columns, WIDTH_MAX)
    screen = Screen(sys.stdout, width, moves=sys.stdout.isatty())
    wishes = story.Wishes(args.dir, args.seconds, args.seed, args.keep)
    try:
        return story.play(wishes, screen)
    except KeyboardInterrupt:
        screen.rest()
        print("stopped before the night began", file=sys.stderr)
        return 130
    except (broker.BrokerError, scenario.DirectoryError, story.DemoError, OSError) as fault:
        screen.rest()
        print(f"coldbrood demo: {fault}", file=sys.stderr)
        return 1


def _seconds(text: str) -> float:
    try:
        seconds = float(text)
    except ValueError:
        seconds = -1.0
    if not 20.0 <= seconds <= 3600.0:
        raise argparse.ArgumentTypeError(f"{text}: must be 20 to 3600 seconds")
    return seconds
