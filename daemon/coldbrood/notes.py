"""The keeper's notes as JSON: written by `coldbrood note`, by the page, or by anyone on the note topic."""

import uuid
from dataclasses import dataclass
from datetime import datetime
from typing import get_args

import msgspec

from coldbrood.brooder import typed_low
from coldbrood.watch import batches
from coldbrood.watch.events import LookIn, Note, NoteKind, Now
from coldbrood.watch.site import Site

FUTURE_MOST_S = 60.0
PAST_MOST_S = 7 * 86_400.0
NOTE_BYTES_MAX = 4096
NEEDS_BOX = ("refill", "count", "loss", "look-in")


class BadNote(Exception):  # noqa: N818 - it says what is wrong with the note
    """A note that cannot be taken: field, value and what is allowed."""


class NoteForm(msgspec.Struct, forbid_unknown_fields=True, omit_defaults=True):
    """A note on its way. `at` is RFC 3339; without it the note is of the moment it arrives."""

    kind: NoteKind
    key: str = ""
    box: str | None = None
    at: datetime | None = None
    look_in: LookIn | None = None
    count: int | None = None
    fill_c: float | None = None
    alarm: str | None = None
    minutes: float | None = None
    text: str = ""


@dataclass(frozen=True, slots=True)
class TapNote:
    """A note from the page on its way to the loop, as JSON, and where it came from."""

    payload: bytes
    source: str


def new_key(wall_s: float) -> str:
    """A key no other note has, that sorts by time."""
    return f"{int(wall_s):011d}-{uuid.uuid4().hex[:12]}"


def write_note(form: NoteForm) -> bytes:
    """The note as JSON."""
    return msgspec.json.encode(form)


def read_note(payload: bytes, site: Site, now: Now) -> Note:
    """The note in a payload, checked against the site. Raises BadNote."""
    if len(payload) > NOTE_BYTES_MAX:
        raise BadNote(f"note: {len(payload)} bytes: at most {NOTE_BYTES_MAX}")
    try:
        form = msgspec.json.decode(payload, type=NoteForm)
    except (msgspec.DecodeError, msgspec.ValidationError, UnicodeDecodeError) as error:
        raise BadNote(f"note: {error}") from error
    return check_note(form, site, now)


def check_note(form: NoteForm, site: Site, now: Now) -> Note:
    """The note of a form, checked against the site. Raises BadNote."""
    wall_s = now.wall_s if form.at is None else form.at.timestamp() if form.at.tzinfo else None
    if wall_s is None:
        raise BadNote(f"at: {form.at}: a time with its offset, as 2026-04-10T22:05:00+02:00")
    if not -FUTURE_MOST_S <= now.wall_s - wall_s <= PAST_MOST_S:
        raise BadNote(f"at: {form.at}: within the past 7 days, not ahead")
    _check_values(form)
    _check_use(form, site, wall_s)
    return Note(
        key=form.key or new_key(now.wall_s),
        kind=form.kind,
        box=_box(form, site),
        t_s=now.t_s - max(0.0, now.wall_s - wall_s),
        wall_s=min(wall_s, now.wall_s),
        look_in=form.look_in,
        count=form.count,
        fill_c=form.fill_c,
        alarm=form.alarm,
        minutes=form.minutes,
        text=form.text,
    )


def _check_use(form: NoteForm, site: Site, wall_s: float) -> None:
    """What a note of batches, of a probe set aside or of a low says in its text."""
    if form.kind == "batch-start" and (fault := batches.start_fault(site, form.text, wall_s)):
        raise BadNote(fault)
    if form.kind == "low":
        try:
            typed_low.read(form.text)
        except ValueError as fault:
            raise BadNote(str(fault)) from fault
    if form.kind == "aside" and form.text not in site.probes:
        raise BadNote(f"text: {form.text}: one of {', '.join(site.probes)}")


def _box(form: NoteForm, site: Site) -> str | None:
    if form.box is None and len(site.boxes) == 1 and form.kind not in batches.KINDS:
        return next(iter(site.boxes))
    if form.box is None and form.kind in NEEDS_BOX:
        raise BadNote(f"box: missing: one of {', '.join(site.boxes)}")
    if form.box is not None and form.box not in site.boxes:
        raise BadNote(f"box: {form.box}: one of {', '.join(site.boxes)}")
    return form.box


def _check_values(form: NoteForm) -> None:
    if form.kind == "look-in" and form.look_in is None:
        raise BadNote(f"look_in: missing: one of {', '.join(get_args(LookIn))}")
    if form.kind == "withdraw" and not form.text:
        raise BadNote("text: missing: the key of the note that is taken back")
    if form.kind == "count" and form.count is None:
        raise BadNote("count: missing: 0 to 500 chicks")
    for field, value, least, most, unit in (
        ("count", form.count, 0, 500, "chicks"),
        ("fill_c", form.fill_c, 20.0, 100.0, "C"),
        ("minutes", form.minutes, 1.0, 720.0, "minutes"),
        ("text", len(form.text), 0, 1000, "characters"),
        ("key", len(form.key), 0, 80, "characters"),
    ):
        if value is not None and not least <= value <= most:
            raise BadNote(f"{field}: {value}: {least:g} to {most:g} {unit}")
