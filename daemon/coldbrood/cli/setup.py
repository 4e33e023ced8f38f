"""`coldbrood setup`: the config file by a few questions, with a test by the phone in the hand."""

import argparse
import os
import stat
import sys
import tomllib
from datetime import date
from pathlib import Path

from coldbrood.setup import flow
from coldbrood.setup.ask import Asker, Person, SetupFault, Written

EPILOG = """examples:
  coldbrood setup --config /etc/coldbrood/coldbrood.toml
  coldbrood setup --config trial.toml --answers answers.toml

A second run offers what the file says, keeps your comments and edits, and
shows what it would change. The file of answers has one key = "text" a line,
as typed at the questions: site, time_zone, place, bedtime, rising, broker,
broker_user, broker_password, boxes, chicks_a, inside_a, insulation_a, jugs_a,
fill_c_a, wrapped_a, arrival, hatched, coldest_c, probe_a, probe_outdoor,
phone_url, second_url, write. It may hold secrets, so it must be readable by
its owner alone. Exit codes: 0 written or nothing to change, 1 not written
because you said no, 69 a channel did not take its test, 77 no right to write,
78 an answer or the old file cannot be used, 130 stopped by Ctrl-C.
"""


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the verb and its options."""
    parser = subparsers.add_parser(
        "setup",
        help="make or change the config file by a few questions",
        description="Make or change the config file by a few questions, and test each channel.",
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--config", type=Path, required=True, metavar="F", help="the config file")
    parser.add_argument("--answers", type=Path, metavar="F", help="answers from a file: nobody is asked")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Lead through it. Raises ConfigProblems for `main` to tell."""
    try:
        asker = _asker(args.answers)
        board = flow.Board(os.environ, date.today())  # noqa: DTZ011 - the keeper's own day, by the board's zone
        done = flow.run(args.config.absolute(), asker, board)
        if isinstance(asker, Written) and asker.unused():
            print(f"answers not asked for: {', '.join(asker.unused())}", file=sys.stderr)
    except SetupFault as fault:
        print(f"{fault}; nothing was written", file=sys.stderr)
        return fault.code
    except OSError as error:
        print(
            f"setup: {error.filename}: {error.strerror}: run it as root, or name another file",
            file=sys.stderr,
        )
        return os.EX_NOPERM
    except KeyboardInterrupt:
        print("\nStopped. Nothing was written.")
        return 130
    return os.EX_OK if done else 1


def _asker(path: Path | None) -> Asker:
    """A person at the terminal, or a file. Raises SetupFault."""
    if path is None:
        import readline  # noqa: F401 - lets input() edit a line

        return Person()
    try:
        mode, told = path.stat().st_mode, tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as fault:
        raise SetupFault(f"answers: {path}: {fault}", os.EX_CONFIG) from None
    if mode & (stat.S_IRWXO | stat.S_IRWXG) and any(key.endswith(("_url", "_password")) for key in told):
        raise SetupFault(f"answers: {path}: holds secrets and others may read it: chmod 600 it", os.EX_CONFIG)
    bad = [key for key, value in told.items() if isinstance(value, (dict, list))]
    if bad:
        raise SetupFault(f"answers: {bad[0]}: one line, as typed at the question", os.EX_CONFIG)
    return Written({key: _typed(value) for key, value in told.items()}, os.EX_CONFIG)


def _typed(value: object) -> str:
    """A value of the file as it would be typed."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return str(value)
