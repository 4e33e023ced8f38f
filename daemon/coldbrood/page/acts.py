"""From a tap to a note in the journal: read the form, post it to the loop, wait until it is kept."""

import math
import time
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Final, get_args

from coldbrood.brooder.band import c_from_f
from coldbrood.notes import BadNote, NoteForm, TapNote, check_note, new_key, write_note
from coldbrood.page.desk import Desk
from coldbrood.page.past import note_of
from coldbrood.page.phrases import CAUSES
from coldbrood.watch.events import LookIn, Note, NoteKind, Now
from coldbrood.watch.site import TemperatureUnit
from coldbrood.watch.siteview import SiteView

TAPPED: Final[tuple[NoteKind, ...]] = (
    "refill",
    "count",
    "loss",
    "look-in",
    "acknowledge",
    "shelve",
    "unshelve",
    "text",
    "low",
    "test",
    "withdraw",
)
KEPT_WITHIN_S: Final = 5.0
LOOK_EVERY_S: Final = 0.02
AGO_MOST_MIN: Final = 7 * 24 * 60.0


@dataclass(frozen=True, slots=True)
class Tapped:
    """What became of a tap: kept, or not yet seen in the journal, with the key it counts under."""

    key: str
    kept: bool


def read_tap(form: Mapping[str, str], now: Now, unit: TemperatureUnit = "C") -> NoteForm:
    """The note that a form means, its temperatures in `unit`. Raises BadNote: field, value, what is right."""
    kind = next((kind for kind in TAPPED if kind == form.get("kind")), None)
    if kind is None:
        raise BadNote(f"kind: {form.get('kind', 'missing')}: one of {', '.join(TAPPED)}")
    ago_min = _number(form, "ago_min") or 0.0
    if not 0.0 <= ago_min <= AGO_MOST_MIN:
        raise BadNote(f"ago_min: {ago_min}: 0 to {AGO_MOST_MIN:g} min")
    count = _number(form, "count")
    if count is not None and count != int(count):
        raise BadNote(f"count: {count}: a whole number, 0 to 500 chicks")
    return NoteForm(
        kind=kind,
        key=form.get("key") or new_key(now.wall_s),
        box=form.get("box") or None,
        at=datetime.fromtimestamp(now.wall_s - 60.0 * ago_min, UTC),
        look_in=_look_in(form),
        count=None if count is None else int(count),
        fill_c=_number(form, "fill_c"),
        alarm=form.get("alarm") or None,
        minutes=_number(form, "minutes"),
        text=_low(form, unit) if kind == "low" else _words(form),
    )


def _number(form: Mapping[str, str], field: str) -> float | None:
    text = form.get(field, "").strip().replace(",", ".")
    if not text:
        return None
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise BadNote(f"{field}: {text[:40]}: a number")
    return value


def _look_in(form: Mapping[str, str]) -> LookIn | None:
    said = form.get("look_in")
    if not said:
        return None
    kinds: tuple[LookIn, ...] = get_args(LookIn)
    found = next((seen for seen in kinds if seen == said), None)
    if found is None:
        raise BadNote(f"look_in: {said[:40]}: one of {', '.join(get_args(LookIn))}")
    return found


def _low(form: Mapping[str, str], unit: TemperatureUnit) -> str:
    """A low that was announced, in C, as a low note has it."""
    typed = _number(form, "low")
    if typed is None:
        raise BadNote("low: missing: a number")
    return f"{c_from_f(typed) if unit == 'F' else typed:g}"


def _words(form: Mapping[str, str]) -> str:
    """Free words; a loss has its likely cause in front, as `cause: cold; by the door`."""
    text, cause = form.get("text", "").strip(), form.get("cause", "")
    if not cause:
        return text
    if cause not in CAUSES:
        raise BadNote(f"cause: {cause[:40]}: one of {', '.join(CAUSES)}")
    return f"cause: {cause}; {text}" if text else f"cause: {cause}"


def cause_of(text: str) -> tuple[str, str]:
    """The cause and the words in the text of a loss."""
    if not text.startswith("cause: "):
        return "", text
    cause, _, words = text.removeprefix("cause: ").partition("; ")
    return cause, words


def take(desk: Desk, view: SiteView, form: Mapping[str, str], peer: str) -> Tapped:
    """Post the note and wait for its commit, for some seconds at most. Raises BadNote, JournalError.

    A key that the journal holds already is kept: the same tap may come again after a lost answer.
    """
    tap = read_tap(form, view.now, view.site.keeper.unit)
    with desk.reader() as reader:
        if note_of(reader, tap.key) is not None:
            return Tapped(tap.key, kept=True)
        check_note(tap, view.site, view.now)
        desk.post(TapNote(write_note(tap), f"page:{peer}"))
        until_s = time.monotonic() + KEPT_WITHIN_S
        while time.monotonic() < until_s:
            if note_of(reader, tap.key) is not None:
                return Tapped(tap.key, kept=True)
            time.sleep(LOOK_EVERY_S)
    return Tapped(tap.key, kept=False)


def can_be_undone(view: SiteView, note: Note) -> bool:
    """Whether the watch still remembers what this note did."""
    return note.kind not in ("withdraw", "test") and any(t.key == note.key for t in view.state.sight.told)
