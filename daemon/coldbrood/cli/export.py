"""`coldbrood export`: hand over everything that was logged."""

import argparse
import os
import sys
from pathlib import Path
from typing import Final, TextIO

from coldbrood.report.export import ExportError, export
from coldbrood.report.forms import NAMES, MissingLibrary, forms_of
from coldbrood.settings.load import load

WIDTH: Final = 40
EPILOG = """examples:
  coldbrood export --config coldbrood.toml batch-april
  coldbrood export --config coldbrood.toml --also senml --also parquet all

Writes CSV files, a data package that describes them, and a copy of the journal
into the new directory. The daemon may go on running. For senml (RFC 8428),
lines (InfluxDB line protocol) and parquet all readings are written once more.
coldbrood import takes such a directory back.
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
    parser.add_argument(
        "--also", action="append", default=[], choices=NAMES, help="the readings in one more form"
    )
    parser.add_argument("directory", type=Path, metavar="DIR", help="a directory that is new or empty")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Export; 0 when whole, 69 if a form's library is missing, 73 if the directory cannot be used."""
    config = load(args.config, os.environ)
    site = config.site
    bar = Bar(sys.stderr)
    try:
        forms = forms_of(args.also, site)
        files = export(config.journal_path, args.directory, site.zone, site.keeper.unit, bar.tell, forms)
    except MissingLibrary as missing:
        print(missing, file=sys.stderr)
        return os.EX_UNAVAILABLE
    except ExportError as fault:
        print(fault, file=sys.stderr)
        return os.EX_CANTCREAT
    finally:
        bar.clear()
    for path in files:
        print(path)
    return os.EX_OK


class Bar:
    """How far each file is, on one line of a terminal that writes over itself; silent where there is none."""

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream if stream.isatty() else None
        self._shown = ""

    def tell(self, file: str, done: int, total: int) -> None:
        """One step; only a change is drawn."""
        part = done / total if total else 1.0
        filled = round(WIDTH * part)
        text = f"{file:<20} [{'#' * filled}{'.' * (WIDTH - filled)}] {100 * part:3.0f} %"
        if self._stream is not None and text != self._shown:
            self._stream.write(f"\r{text:<79}")
            self._stream.flush()
        self._shown = text

    def clear(self) -> None:
        """Leave the line empty."""
        if self._stream is not None and self._shown:
            self._stream.write(f"\r{'':<79}\r")
            self._stream.flush()
