"""`coldbrood report`: what came of a batch, as one file to read, print and keep."""

import argparse
import os
import sys
from pathlib import Path

from coldbrood.clock import Clock
from coldbrood.journal.disk import sync_directory, sync_file
from coldbrood.journal.reader import JournalReader
from coldbrood.report.account import account
from coldbrood.report.pdf import find_browser, print_pdf
from coldbrood.report.plots import require_plots
from coldbrood.report.sheet import sheet
from coldbrood.report.span import ReportError
from coldbrood.settings.fetch import languages
from coldbrood.settings.load import load

EPILOG = """examples:
  coldbrood report --config coldbrood.toml april.html
  coldbrood report --config coldbrood.toml --batch 1 --pdf first.html
  coldbrood report --config coldbrood.toml --language de april-de.html

Reads the journal alone; the daemon may go on running. The file needs no other.
Exit code 66 if there is nothing to report yet, 69 if the plotting library or,
for --pdf, a browser is missing, 73 if the file cannot be written.
"""


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the verb and its options."""
    parser = subparsers.add_parser(
        "report",
        help="what came of a batch, as one HTML file",
        description="What came of a batch, as one HTML file.",
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--config", type=Path, required=True, metavar="F", help="the config file")
    parser.add_argument("--batch", type=int, metavar="N", help="which one, from 1; the newest if not given")
    parser.add_argument(
        "--language", choices=languages(), help="of the report; that of the page if not given"
    )
    parser.add_argument("--pdf", action="store_true", help="a PDF beside it, if Chromium is there")
    parser.add_argument("file", type=Path, metavar="FILE", help="a new file, ending in .html")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Write the report; 0 when whole."""
    config = load(args.config, os.environ)
    language = args.language or ("en" if config.page is None else config.page.language)
    targets = [args.file, *([args.file.with_suffix(".pdf")] if args.pdf else [])]
    try:
        _check_targets(targets)
    except ReportError as fault:
        print(fault, file=sys.stderr)
        return os.EX_CANTCREAT
    try:
        require_plots()
        browser = find_browser() if args.pdf else ""
    except ReportError as fault:
        print(fault, file=sys.stderr)
        return os.EX_UNAVAILABLE
    try:
        with JournalReader.open(config.journal_path) as reader:
            text = sheet(account(config.site, reader, args.batch, language), Clock().wall_s())
    except ReportError as fault:
        print(fault, file=sys.stderr)
        return os.EX_NOINPUT
    return _write(text, targets, browser)


def _check_targets(targets: list[Path]) -> None:
    if targets[0].suffix != ".html":
        raise ReportError(f"{targets[0]}: name a file that ends in .html")
    for target in targets:
        if target.exists():
            raise ReportError(f"{target}: there is a file already: name a new one")
        if not target.absolute().parent.is_dir():
            raise ReportError(f"{target.parent}: no such folder: make it first")


def _write(text: str, targets: list[Path], browser: str) -> int:
    part = targets[0].with_name(f".{targets[0].name}.part.html")
    try:
        part.write_text(text, encoding="utf-8")
        sync_file(part)
        for pdf in targets[1:]:
            print_pdf(browser, part, pdf)
        os.replace(part, targets[0])
        sync_directory(targets[0].absolute().parent)
    except (ReportError, OSError) as fault:
        print(fault, file=sys.stderr)
        return os.EX_CANTCREAT
    finally:
        part.unlink(missing_ok=True)
    for target in targets:
        print(target)
    return os.EX_OK
