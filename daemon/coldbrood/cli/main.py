"""The command line: one parser, one verb a file, one exit code for each class of error."""

import argparse
import importlib
import os
import sys
from collections.abc import Sequence
from typing import Final

from coldbrood import __version__
from coldbrood.journal.errors import JournalError
from coldbrood.settings.records import ConfigProblems

# One module of this package each, in the order of the help.
VERBS: Final = (
    "run",
    "setup",
    "check",
    "status",
    "note",
    "batch",
    "page",
    "probe",
    "calibrate",
    "hold",
    "alert",
    "doctor",
    "export",
    "import",
    "report",
    "backup",
    "restore",
    "demo",
)
_MODULES: Final = {"import": "bring"}  # a keyword is no name for a module


def build_parser(only: Sequence[str] = VERBS) -> argparse.ArgumentParser:
    """The parser with all verbs, or with some: the daemon need not hold in memory what the others need."""
    parser = argparse.ArgumentParser(
        prog="coldbrood",
        description="Watches a hen box: logs, forecasts the night, wakes you if needed.",
        epilog="example:\n  coldbrood demo",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--version", action="version", version=f"coldbrood {__version__}")
    verbs = parser.add_subparsers(required=True, metavar="VERB")
    for verb in only:
        importlib.import_module(f"coldbrood.cli.{_MODULES.get(verb, verb)}").add_parser(verbs)
    return parser


def main(argv: Sequence[str] | None = None) -> int:
    """Run one verb. 0 done, 2 wrong usage, 66 no journal or file, 74 disk, 78 bad config, 130 stopped."""
    words = sys.argv[1:] if argv is None else argv
    args = build_parser(words[:1] if words and words[0] in VERBS else VERBS).parse_args(words)
    try:
        return int(args.run(args))
    except ConfigProblems as faults:
        for problem in faults.problems:
            print(problem, file=sys.stderr)
        return os.EX_CONFIG
    except JournalError as fault:
        print(fault, file=sys.stderr)
        return os.EX_IOERR
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return os.EX_IOERR
    except KeyboardInterrupt:
        return 130


if __name__ == "__main__":
    sys.exit(main())
