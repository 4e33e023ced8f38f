"""`coldbrood batch`: begin a batch, count its chicks, close it, and see which there were."""

import argparse
import os
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from datetime import date, datetime
from pathlib import Path

from coldbrood.journal.reader import JournalReader
from coldbrood.notes import BadNote, NoteForm, check_note
from coldbrood.settings.load import load
from coldbrood.settings.records import Config
from coldbrood.upkeep.hand import Handed, hand_over
from coldbrood.watch import batches
from coldbrood.watch.events import Now
from coldbrood.watch.site import Site

EPILOG = """examples:
  coldbrood batch count --config F 15                  one box
  coldbrood batch count --config F a=15 b=14           several
  coldbrood batch close --config F
  coldbrood batch start --config F a=16 b=14 --hatched 2026-05-19
  coldbrood batch list --config F

The [batch] of the config is the first one and begins by itself. After a close
no box is watched and nothing wakes anyone, until the next start. A box begins
its next batch with what the readings taught of it, taken a little less for
sure; boxes not named rest. A slip at the start? Close it and start it again.
Counts of less are losses: tell those by coldbrood note loss, with the reason.
Exit codes: 0 done, 65 cannot be done, 69 no daemon took it (it waits for the
next start), 77 run it as the daemon's user.
"""
NO_DAEMON = """\
The daemon does not run. The note waits beside the journal and counts from its next start; until then nothing
is watched: systemctl start coldbrood"""


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the verb and its own verbs."""
    parser = subparsers.add_parser(
        "batch",
        help="begin a batch, count it, close it, list them all",
        description="Begin a batch, count its chicks, close it, and list all there were.",
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    verbs = parser.add_subparsers(required=True, metavar="WHAT")
    start = _verb(verbs, "start", "the chicks are here, or come soon")
    _add_counts(start)
    start.add_argument("--arrival", type=_day, metavar="DATE", help="the day they arrive (today)")
    start.add_argument("--hatched", type=_day, metavar="DATE", help="the day of hatch, if known")
    start.add_argument("--kind", choices=("layer", "broiler"), default="layer", help="(layer)")
    start.set_defaults(run=run_start)
    count = _verb(verbs, "count", "so many chicks are in each box now")
    _add_counts(count)
    count.set_defaults(run=run_count)
    _verb(verbs, "close", "the chicks have moved out").set_defaults(run=run_close)
    _verb(verbs, "list", "every batch in the journal").set_defaults(run=run_list)


def _verb(
    verbs: "argparse._SubParsersAction[argparse.ArgumentParser]", name: str, words: str
) -> argparse.ArgumentParser:
    parser = verbs.add_parser(name, help=words, description=f"{words[:1].upper()}{words[1:]}.")
    parser.add_argument("--config", type=Path, required=True, metavar="F", help="the config file")
    return parser


def _add_counts(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("chicks", nargs="+", metavar="BOX=N", help="chicks in each box; N alone for one box")


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text}: a date, as 2026-04-10") from None


def counts(site: Site, words: Sequence[str]) -> dict[str, int]:
    """Chicks by box. Raises BadNote: field, value, what is allowed."""
    found: dict[str, int] = {}
    for word in words:
        box, equals, number = word.rpartition("=")
        if not equals and len(site.boxes) == 1:
            box = next(iter(site.boxes))
        if box not in site.boxes or box in found:
            raise BadNote(
                f"box: {box or 'missing'}: each once of {', '.join(site.boxes)}, as {_sample(site)}"
            )
        if not batches.is_count(number):
            raise BadNote(f"chicks: {number}: a whole number, 0 to {batches.CHICKS_MOST}")
        found[box] = int(number)
    return found


def _sample(site: Site) -> str:
    return " ".join(f"{box}=16" for box in site.boxes)


def run_start(args: argparse.Namespace) -> int:
    """Begin a batch. Raises ConfigProblems for `main` to tell."""
    config = load(args.config, os.environ)
    today = datetime.fromtimestamp(time.time(), config.site.zone).date()

    def forms() -> Iterator[NoteForm]:
        chicks = counts(config.site, args.chicks)
        text = batches.start_text(args.arrival or today, args.hatched, args.kind, chicks)
        yield NoteForm(kind="batch-start", text=text)

    return _hand(config, forms, "batch")


def run_count(args: argparse.Namespace) -> int:
    """Tell how many chicks are in each box."""
    config = load(args.config, os.environ)

    def forms() -> Iterator[NoteForm]:
        for box, count in counts(config.site, args.chicks).items():
            yield NoteForm(kind="count", box=box, count=count)

    return _hand(config, forms, "note")


def run_close(args: argparse.Namespace) -> int:
    """Close the batch, and say what to do with what it leaves."""
    config = load(args.config, os.environ)
    code = _hand(config, lambda: iter([NoteForm(kind="batch-close")]), "batch")
    if code == os.EX_OK:
        print("\nWhat the boxes taught stays and begins the next batch. Now, while it is fresh:")
        print(f"  coldbrood report --config {args.config} FILE      what happened, on one page")
        print(f"  coldbrood export --config {args.config} DIR       everything it kept, as tables")
        print(f"  coldbrood backup --config {args.config} FILE      onto another disk")
        print("Wash and dry box, jug and probe outdoors, then disinfect them.")
    return code


def _hand(config: Config, forms: Callable[[], Iterator[NoteForm]], kind: str) -> int:
    """Check each note, hand it over, and tell what the daemon made of it."""
    try:
        made = list(forms())
        for form in made:
            check_note(form, config.site, Now(0.0, time.time(), synced=True))
        handed = [hand_over(config, form, kind) for form in made]
    except BadNote as bad:
        print(bad, file=sys.stderr)
        return os.EX_DATAERR
    except OSError as error:
        print(f"batch: {error.filename}: {error.strerror}: run it as the daemon's user", file=sys.stderr)
        return os.EX_NOPERM
    return max(_told(form, one) for form, one in zip(made, handed, strict=True))


def _told(form: NoteForm, handed: Handed) -> int:
    if handed.refused:
        print(f"not done: {handed.refused}", file=sys.stderr)
        return os.EX_DATAERR
    if not handed.running:
        print(NO_DAEMON, file=sys.stderr)
        return os.EX_UNAVAILABLE
    if not handed.taken:
        print("the daemon runs, but has not taken the note yet: coldbrood doctor", file=sys.stderr)
        return os.EX_UNAVAILABLE
    if form.kind == "count":
        print(f"box {form.box}: {form.count} chicks")
    elif handed.line is not None:
        print(f"batch of {handed.line.reason} {handed.line.state}: {handed.line.detail}")
    return os.EX_OK


def run_list(args: argparse.Namespace) -> int:
    """Every batch that the journal tells of, with its readings."""
    config = load(args.config, os.environ)
    with JournalReader.open(config.journal_path) as reader:
        for span in batches.spans(config.site, reader.notes(float("-inf"), float("inf"))):
            print(_line(config.site, span, reader))
    return os.EX_OK


def _line(site: Site, span: batches.Span, reader: JournalReader) -> str:
    from_s = float("-inf") if span.from_wall_s is None else span.from_wall_s
    to_s = float("inf") if span.to_wall_s is None else span.to_wall_s
    until = "open" if span.to_wall_s is None else f"closed {_date(site, span.to_wall_s)}"
    chicks = ", ".join(f"{box} {count}" for box, count in span.batch.chicks.items())
    readings = reader.count(from_s, to_s)
    return f"batch of {span.batch.arrival}: day 0 {span.batch.day0}, {until}; {chicks}; {readings} readings"


def _date(site: Site, wall_s: float) -> str:
    return datetime.fromtimestamp(wall_s, site.zone).date().isoformat()
