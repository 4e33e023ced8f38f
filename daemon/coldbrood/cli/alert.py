"""`coldbrood alert --test`: send a test through the whole chain and tell how far it got."""

import argparse
import os
import sys
from pathlib import Path

from coldbrood.settings.load import load
from coldbrood.upkeep import chain

EPILOG = """example:
  coldbrood alert --test --config coldbrood.toml

Each hop is a line: well, caution or fault, what it means, what to do. The
message goes out on every channel at once and sounds as a refill nudge would;
the sounder, where there is one, is run for some 10 s. Whether it would have
woken you, only you can tell. Exit codes: 0 every hop is well, 69 one is not,
77 ask as the daemon's user.
"""


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the verb and its options."""
    parser = subparsers.add_parser(
        "alert",
        help="send a test through the whole chain",
        description="Send a test through broker, daemon, journal, channels and sounder.",
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--config", type=Path, required=True, metavar="F", help="the config file")
    parser.add_argument("--test", action="store_true", required=True, help="say that it is only a test")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Test; 0 if every hop is well, 69 (EX_UNAVAILABLE) if one is not, 77 (EX_NOPERM) without the right."""
    config = load(args.config, os.environ)
    broken = False
    try:
        for finding in chain.run(config):
            print(finding, flush=True)
            broken |= finding.state == "fault"
    except OSError as error:
        print(f"alert: {error.filename}: {error.strerror}: run it as the daemon's user", file=sys.stderr)
        return os.EX_NOPERM
    print("The chain is broken: see above." if broken else "Every hop is well. Did it make a sound?")
    return os.EX_UNAVAILABLE if broken else os.EX_OK
