"""`coldbrood import`: go on from an export."""

import argparse
import os
import sys
import time
from contextlib import closing
from pathlib import Path

from coldbrood.journal.schema import connect_reader
from coldbrood.settings.load import load
from coldbrood.upkeep.backup import BackupError
from coldbrood.upkeep.bring import bring_in

EPILOG = """example:
  coldbrood import --config coldbrood.toml batch-april

Stop the daemon first. The copy of the journal in the export is taken if it is
whole, and the journal then is the one that was exported. A journal that is
there already is set aside, never deleted.
"""


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the verb and its options."""
    parser = subparsers.add_parser(
        "import",
        help="go on from an export",
        description="Put the journal of an export in the place of the journal.",
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--config", type=Path, required=True, metavar="F", help="the config file")
    parser.add_argument("directory", type=Path, metavar="DIR", help="what coldbrood export wrote")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Import; 0 when done, 65 (EX_DATAERR) if the export or the place does not fit."""
    journal_path = load(args.config, os.environ).journal_path
    try:
        label = time.strftime("%Y%m%dT%H%M%SZ", time.gmtime())
        set_aside = bring_in(args.directory, journal_path, label)
    except BackupError as bad:
        print(bad, file=sys.stderr)
        return os.EX_DATAERR
    except OSError as error:
        print(f"{error.filename}: {error.strerror}: nothing was imported", file=sys.stderr)
        return os.EX_NOPERM
    if set_aside is not None:
        print(f"the journal that was there is kept as {set_aside}")
    with closing(connect_reader(journal_path)) as db:  # it may be of an older schema till the daemon starts
        count = db.execute("SELECT count(*) FROM reading").fetchone()[0]
    print(f"{journal_path}: {count} readings")
    return os.EX_OK
