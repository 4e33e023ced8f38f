"""`coldbrood backup`: everything that cannot be made again, in one file."""

import argparse
import os
import sys
import time
from pathlib import Path

from coldbrood.settings.load import load
from coldbrood.upkeep.backup import BackupError, make

EPILOG = """example:
  coldbrood backup --config coldbrood.toml /media/stick/chicks-april.zip

Holds the journal as of one moment and the config file, with their hashes; no
secret is in it. The daemon may go on running. Keep it on another disk than
the board's: a card that dies takes everything with it.
"""


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the verb and its options."""
    parser = subparsers.add_parser(
        "backup",
        help="write journal and config into one file",
        description="Write journal and config into one file, while the daemon runs.",
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--config", type=Path, required=True, metavar="F", help="the config file")
    parser.add_argument("file", type=Path, metavar="FILE", help="a new file")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Back up; 0 when whole and read back, 73 (EX_CANTCREAT) if the file cannot be made."""
    config = load(args.config, os.environ)
    try:
        manifest = make(args.config, config.journal_path, config.site.name, args.file, time.time())
    except BackupError as bad:
        print(bad, file=sys.stderr)
        return os.EX_CANTCREAT
    except OSError as error:
        print(f"{args.file}: {error.strerror or error}: name a place with room and rights", file=sys.stderr)
        return os.EX_CANTCREAT
    print(f"{args.file}: {manifest.readings} readings of {manifest.site} up to {manifest.made_at}, read back")
    return os.EX_OK
