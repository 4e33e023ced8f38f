"""`coldbrood note`: what the keeper did or saw, for the daemon to take up."""

import argparse
import os
import sys
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import get_args

from coldbrood.brooder.band import c_from_f
from coldbrood.inbox import drop
from coldbrood.notes import BadNote, NoteForm, check_note, new_key, write_note
from coldbrood.settings.load import load
from coldbrood.watch import batches
from coldbrood.watch.events import LookIn, NoteKind, Now
from coldbrood.watch.site import TemperatureUnit

EPILOG = f"""examples:
  coldbrood note --config F refill                     back and hot, just now
  coldbrood note --config F refill --ago 15 --fill 75  a while ago, at 75 C
  coldbrood note --config F count 15 --box a
  coldbrood note --config F loss 1 --text "the weak one"
  coldbrood note --config F look-in huddled
  coldbrood note --config F low 2                      tonight, by the radio
  coldbrood note --config F acknowledge --alarm too-hot/a
  coldbrood note --config F shelve --minutes 60 --alarm probe-wrong/outdoor
  coldbrood note --config F text "moved the box out of the wind"

A look-in is one of: {", ".join(get_args(LookIn))}.
With one box in the config --box may be left out. The note waits beside the
journal until the daemon takes it, within 15 s when it runs. A sick or injured
chick is a case for a vet, not for a log.
"""
TOLD = tuple(kind for kind in get_args(NoteKind) if kind not in batches.KINDS)  # those have other verbs
KINDS = ", ".join(TOLD)
VALUE_OF = {"count": "count", "loss": "count", "look-in": "look_in", "text": "text", "low": "low"}


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the verb and its options."""
    parser = subparsers.add_parser(
        "note",
        help="tell the daemon what you did or saw",
        description="Tell the daemon what you did or saw.",
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--config", type=Path, required=True, metavar="F", help="the config file")
    parser.add_argument("kind", choices=TOLD, metavar="KIND", help=f"one of {KINDS}")
    parser.add_argument(
        "value",
        nargs="?",
        metavar="VALUE",
        help="count: chicks; loss: chicks (1); look-in: what you saw; low: "
        "tonight's low outside, in the unit of your screens; text",
    )
    parser.add_argument("--box", help="the box, where there is more than one")
    parser.add_argument("--ago", type=float, default=0.0, metavar="MIN", help="how many minutes ago (0)")
    parser.add_argument("--fill", type=float, metavar="C", help="refill: temperature of the water, C")
    parser.add_argument(
        "--alarm", metavar="A", help="acknowledge, shelve: condition/subject, as status shows it"
    )
    parser.add_argument("--minutes", type=float, metavar="MIN", help="shelve: for how long (60)")
    parser.add_argument("--text", default="", help="free words")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Check the note and leave it for the daemon; 65 (EX_DATAERR) if it cannot be taken."""
    config = load(args.config, os.environ)
    wall_s = time.time()
    try:
        form = _form(args, wall_s, config.site.keeper.unit)
        check_note(form, config.site, Now(0.0, wall_s, synced=True))
        drop(config.journal_path, form.key, write_note(form))
    except BadNote as bad:
        print(bad, file=sys.stderr)
        return os.EX_DATAERR
    except OSError as error:
        print(f"note: {error.filename}: {error.strerror}: run it as the daemon's user", file=sys.stderr)
        return os.EX_NOPERM
    print(f"noted: {form.kind}")
    return os.EX_OK


def _form(args: argparse.Namespace, wall_s: float, unit: TemperatureUnit) -> NoteForm:
    form = NoteForm(
        kind=args.kind,
        key=new_key(wall_s),
        box=args.box,
        at=datetime.fromtimestamp(wall_s, UTC) - timedelta(minutes=args.ago),
        fill_c=args.fill,
        alarm=args.alarm,
        minutes=args.minutes,
        text=args.text,
    )
    if args.value is not None:
        _set_value(form, args.kind, args.value, unit)
    return form


def _set_value(form: NoteForm, kind: str, value: str, unit: TemperatureUnit) -> None:
    field = VALUE_OF.get(kind)
    if field is None:
        raise BadNote(f"value: {value}: a {kind} note takes none")
    if field == "count":
        if not value.isdecimal():
            raise BadNote(f"count: {value}: a whole number, 0 to 500 chicks")
        form.count = int(value)
    elif field == "look_in":
        allowed = get_args(LookIn)
        if value not in allowed:
            raise BadNote(f"look_in: {value}: one of {', '.join(allowed)}")
        form.look_in = next(seen for seen in allowed if seen == value)
    elif field == "low":
        form.text = _low_text(value, unit)
    else:
        form.text = value


def _low_text(value: str, unit: TemperatureUnit) -> str:
    """A low as typed, in C. What is no number is left as it is: the check names it."""
    try:
        typed = float(value)
    except ValueError:
        return value
    return f"{c_from_f(typed) if unit == 'F' else typed:g}"
