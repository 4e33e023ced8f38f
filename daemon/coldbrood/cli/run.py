"""`coldbrood run`: the daemon."""

import argparse
import os
import signal
import sys
from datetime import datetime
from pathlib import Path

from coldbrood import logs
from coldbrood.clock import Clock
from coldbrood.deliver.channel import url_fault
from coldbrood.service import Service
from coldbrood.settings.load import load

EPILOG = """example:
  coldbrood run --config /etc/coldbrood/coldbrood.toml
  coldbrood run --config trial.toml --rehearse 60@2026-04-10T18:00:00+00:00

Stays in the foreground and logs to stderr: one line an hour when all is well.
Stop it with SIGTERM or Ctrl-C; nothing is lost. SIGPWR, or a file going-down
in the folder of the notes beside the journal, makes it say that the board
shuts down; the file goes when that is said. The second example plays an
hour a minute. Exit codes: 78 the config cannot be used, 74 the file it names
is no journal, or another coldbrood writes it.
"""


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the verb and its options."""
    parser = subparsers.add_parser(
        "run",
        help="watch the site: the daemon",
        description="Watch the site: keep every reading, forecast the night, send what must be told.",
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--config", type=Path, required=True, metavar="F", help="the config file")
    parser.add_argument(
        "--rehearse",
        type=stated_clock,
        metavar="SCALE@TIME",
        help="not for real use: a clock that runs SCALE times faster, from an RFC 3339 TIME; a second @ "
        "gives the seconds of uptime at which it began, to go on after a restart",
    )
    parser.add_argument("--verbose", action="store_true", help="log each refused payload and each send")
    parser.set_defaults(run=run)


def stated_clock(text: str) -> Clock:
    """The clock of a rehearsal."""
    scale, _, rest = text.partition("@")
    start, _, real0_s = rest.partition("@")
    try:
        began = datetime.fromisoformat(start)
        if began.tzinfo is None:
            raise ValueError("no offset")
        return Clock(float(scale), began.timestamp(), float(real0_s) if real0_s else None)
    except ValueError as error:
        raise argparse.ArgumentTypeError(f"{text}: as 60@2026-04-10T18:00:00+00:00") from error


def run(args: argparse.Namespace) -> int:
    """Watch until stopped. Raises ConfigProblems and JournalError for `main` to tell."""
    config = load(args.config, os.environ, url_fault)
    logs.set_up(args.verbose)
    for caution in config.cautions:
        print(f"caution: {caution}", file=sys.stderr)
    service = Service(config, args.rehearse)
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda _number, _frame: service.stop())
    signal.signal(signal.SIGPWR, lambda _number, _frame: service.going_down())
    return service.run()
