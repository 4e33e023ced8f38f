"""`coldbrood run`: the daemon."""

import argparse
import os
import signal
import sys
from pathlib import Path

from coldbrood import logs
from coldbrood.service import Service
from coldbrood.settings.load import load

EPILOG = """example:
  coldbrood run --config /etc/coldbrood/coldbrood.toml

Stays in the foreground and logs to stderr: one line an hour when all is well. Stop it with SIGTERM or
Ctrl-C; nothing is lost. Exit codes: 78 the config cannot be used, 74 the journal cannot be opened.
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
    parser.add_argument("--verbose", action="store_true", help="log each refused payload and each send")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Watch until stopped. Raises ConfigProblems and JournalError for `main` to tell."""
    config = load(args.config, os.environ)
    logs.set_up(args.verbose)
    for caution in config.cautions:
        print(f"caution: {caution}", file=sys.stderr)
    service = Service(config)
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda _number, _frame: service.stop())
    return service.run()
