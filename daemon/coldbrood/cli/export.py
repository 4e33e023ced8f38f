"""`coldbrood export`: hand over everything that was logged."""

import argparse
import os
import sys
from pathlib import Path

from coldbrood.report.export import ExportError, export
from coldbrood.settings.load import load

EPILOG = """example:
  coldbrood export --config coldbrood.toml batch-april

Writes CSV files, a data package that describes them, and a copy of the journal
into the new directory. The daemon may go on running.
"""


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the verb and its options."""
    parser = subparsers.add_parser(
        "export",
        help="write the whole log into a directory",
        description="Write the whole log into a directory.",
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--config", type=Path, required=True, metavar="F", help="the config file")
    parser.add_argument("directory", type=Path, metavar="DIR", help="a directory that is new or empty")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Export; 0 when whole, 73 (EX_CANTCREAT) if the directory cannot be used."""
    config = load(args.config, os.environ)
    try:
        files = export(config.journal_path, args.directory, config.site.zone, config.site.keeper.unit)
    except ExportError as fault:
        print(fault, file=sys.stderr)
        return os.EX_CANTCREAT
    for path in files:
        print(path)
    return os.EX_OK
