"""`coldbrood restore`: go on from a backup."""

import argparse
import os
import sys
import time
from pathlib import Path

from coldbrood.settings.load import load
from coldbrood.settings.records import ConfigProblems
from coldbrood.upkeep.backup import BackupError, look, restore

EPILOG = """example:
  coldbrood restore --config coldbrood.toml /media/stick/chicks-april.zip

Stop the daemon first. A journal that is there already is set aside, never
deleted. If the config file is missing, as on a new card, the one in the
backup is put there first; the secrets it points to are yours to bring.
"""


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the verb and its options."""
    parser = subparsers.add_parser(
        "restore",
        help="go on from a backup",
        description="Put the journal of a backup in its place, and the config file if there is none.",
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--config", type=Path, required=True, metavar="F", help="the config file")
    parser.add_argument("file", type=Path, metavar="FILE", help="a file that coldbrood backup made")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Restore; 0 when done, 65 (EX_DATAERR) if the backup or the place does not fit, 78 for the config."""
    try:
        _, kept_config = look(args.file)
        if not args.config.exists():
            _put_config(args.config, kept_config)
        config = load(args.config, os.environ)
        label = time.strftime("%Y%m%dT%H%M%SZ", time.gmtime())
        done = restore(args.file, config.journal_path, label)
    except BackupError as bad:
        print(bad, file=sys.stderr)
        return os.EX_DATAERR
    except ConfigProblems:
        print("nothing was restored yet: mend this, then ask again", file=sys.stderr)
        raise
    except OSError as error:
        print(f"{error.filename}: {error.strerror}: nothing was restored", file=sys.stderr)
        return os.EX_NOPERM
    if done.set_aside is not None:
        print(f"the journal that was there is kept as {done.set_aside}")
    told = done.manifest
    print(f"{done.journal}: {told.readings} readings of {told.site} up to {told.made_at}")
    print("start the daemon: what it was told since then is not in it")
    return os.EX_OK


def _put_config(path: Path, body: bytes) -> None:
    with path.open("xb") as file:
        file.write(body)
        file.flush()
        os.fsync(file.fileno())
    print(f"{path}: put there from the backup")
