"""Promise: a note is taken whole or refused with field, value and what is allowed."""

from pathlib import Path

import pytest
from sites import START_WALL_S, make_site

from coldbrood.inbox import NOTE_BYTES_MAX, NoteInbox, drop, inbox_dir
from coldbrood.notes import BadNote, NoteForm, new_key, read_note, write_note
from coldbrood.watch.events import Now

NOW = Now(t_s=5000.0, wall_s=START_WALL_S, synced=True)


def test_a_refill_of_a_while_ago_keeps_its_time() -> None:
    note = read_note(b'{"kind": "refill", "at": "2026-04-11T11:50:00+02:00", "fill_c": 75}', make_site(), NOW)
    assert (note.kind, note.box, note.fill_c) == ("refill", "a", 75.0)
    assert note.t_s == 5000.0 - 600.0
    assert note.wall_s == START_WALL_S - 600.0
    assert note.key


def test_what_is_written_is_read_again() -> None:
    form = NoteForm(
        kind="look-in", key=new_key(START_WALL_S), box="b", look_in="huddled", text='the "small" one'
    )
    note = read_note(write_note(form), make_site("ab"), NOW)
    assert (note.key, note.box, note.look_in, note.text) == (form.key, "b", "huddled", form.text)
    assert note.t_s == 5000.0


@pytest.mark.parametrize(
    ("payload", "said"),
    [
        (b"", "note: "),
        (b"[]", "note: "),
        (b"\xff\xfe", "note: "),
        (b'{"kind": "dance"}', "dance"),
        (b'{"kind": "refill", "speed": 3}', "speed"),
        (b'{"kind": "refill", "box": "z"}', "box: z: one of a"),
        (b'{"kind": "count"}', "count: missing: 0 to 500 chicks"),
        (b'{"kind": "count", "count": 501}', "count: 501: 0 to 500 chicks"),
        (b'{"kind": "refill", "fill_c": 101}', "fill_c: 101.0: 20 to 100 C"),
        (b'{"kind": "look-in"}', "look_in: missing: one of huddled"),
        (b'{"kind": "shelve", "minutes": 0}', "minutes: 0.0: 1 to 720 minutes"),
        (
            b'{"kind": "refill", "at": "2026-04-11T11:50:00"}',
            "a time with its offset",
        ),
        (b'{"kind": "refill", "at": "2026-04-11T13:00:00Z"}', "within the past 7 days, not ahead"),
        (b'{"kind": "text", "text": "' + b"x" * 1001 + b'"}', "text: 1001: 0 to 1000 characters"),
        (b" " * 5000 + b'{"kind": "refill"}', "note: 5018 bytes: at most 4096"),
    ],
)
def test_a_bad_note_is_refused_with_its_reason(payload: bytes, said: str) -> None:
    with pytest.raises(BadNote) as refusal:
        read_note(payload, make_site(), NOW)
    assert said in str(refusal.value)


def test_with_two_boxes_the_box_must_be_named() -> None:
    with pytest.raises(BadNote, match="box: missing: one of a, b"):
        read_note(b'{"kind": "refill"}', make_site("ab"), NOW)


def test_the_inbox_hands_over_each_note_once_and_keeps_it_until_it_is_done(tmp_path: Path) -> None:
    journal = tmp_path / "journal.db"
    inbox = NoteInbox(journal)
    assert list(inbox.waiting([])) == []
    first, second = drop(journal, "1-a", b"one"), drop(journal, "2-b", b"two")
    (inbox_dir(journal) / ".3-half").write_bytes(b"not whole yet")
    assert list(inbox.waiting([])) == [(first, b"one"), (second, b"two")]
    assert list(inbox.waiting([first])) == [(second, b"two")]
    inbox.done([first])
    assert list(inbox.waiting([])) == [(second, b"two")]
    drop(journal, "4-c", b"x" * 10_000)
    assert len(dict(inbox.waiting([second]))[inbox_dir(journal) / "4-c.json"]) == NOTE_BYTES_MAX + 1
