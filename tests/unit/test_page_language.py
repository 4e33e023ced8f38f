"""Promise: each language of the page is complete, and all that the watch can say has words on it."""

import io
import string
from pathlib import Path
from typing import get_args

import pytest
from babel.messages.catalog import Catalog
from babel.messages.extract import extract_from_dir
from babel.messages.mofile import read_mo
from babel.messages.pofile import read_po
from sites import make_site

from coldbrood.brooder.sizing import helps
from coldbrood.brooder.specs import Flock
from coldbrood.brooder.timetable import TABLE
from coldbrood.page import phrases
from coldbrood.page.speech import LOCALE, MINUS, Speech
from coldbrood.settings.fetch import languages
from coldbrood.watch.alarmstates import STATES
from coldbrood.watch.conditions import CONDITIONS
from coldbrood.watch.events import LookIn, NoteKind, Refusal
from coldbrood.watch.wording import REASON_WORDS

NBSP = "\N{NO-BREAK SPACE}"
KEYWORDS = {"say": None, "safe": None, "N_": None, "say_n": (1, 2)}
FOLDERS = sorted(path for path in LOCALE.iterdir() if path.is_dir())
each_language = pytest.mark.parametrize("folder", FOLDERS, ids=lambda path: path.name)
Msgid = str | tuple[str, ...]


def said() -> set[Msgid]:
    """Every text in the code of the page and the report, by Babel's own extraction."""
    rooms = (LOCALE.parent, LOCALE.parents[1] / "report")
    found = [
        message[2]
        for room in rooms
        for message in extract_from_dir(room, method_map=[("**.py", "python")], keywords=KEYWORDS)
    ]
    return {text if isinstance(text, str) else tuple(text) for text in found}


def catalogue(folder: Path) -> Catalog:
    return read_po(io.BytesIO((folder / "LC_MESSAGES" / "coldbrood.po").read_bytes()), locale=folder.name)


def names(text: str) -> set[str | None]:
    return {name for _, name, _, _ in string.Formatter().parse(text) if name is not None}


@each_language
def test_every_text_is_translated_and_no_dead_one_is_left(folder: Path) -> None:
    kept = {
        m.id if isinstance(m.id, str) else tuple(m.id): m.string
        for m in catalogue(folder)
        if m.id and not m.fuzzy
    }
    assert len(kept) > 300
    assert set(kept) == said()
    for text, translated in kept.items():
        forms = [translated] if isinstance(translated, str) else list(translated or ())
        assert all(form.strip() for form in forms), text
        wanted = names(text) if isinstance(text, str) else names(text[1])
        assert all(names(form) == wanted for form in forms), text


@each_language
def test_the_compiled_catalogue_is_of_the_written_one(folder: Path) -> None:
    compiled = read_mo(io.BytesIO((folder / "LC_MESSAGES" / "coldbrood.mo").read_bytes()))
    written = {m.id if isinstance(m.id, str) else m.id[0]: m.string for m in catalogue(folder) if m.id}
    read = {m.id if isinstance(m.id, str) else m.id[0]: m.string for m in compiled if m.id}
    assert {k: list(v) if isinstance(v, tuple) else v for k, v in read.items()} == {
        k: list(v) if isinstance(v, tuple) else v for k, v in written.items()
    }


def test_the_config_knows_the_same_languages() -> None:
    assert languages() == sorted({"en", *(folder.name for folder in FOLDERS)})
    assert "de" in languages()


def test_all_that_the_watch_can_say_has_words() -> None:
    assert set(phrases.ALARMS) >= set(CONDITIONS)
    assert set(phrases.ALARM_STATES) == set(STATES) - {"normal"}
    assert set(phrases.LOOK_INS) == set(get_args(LookIn))
    assert set(phrases.KINDS) >= set(get_args(NoteKind))
    assert set(phrases.REFUSALS) >= set(get_args(Refusal))
    assert set(phrases.REFILL_REASONS) == set(REASON_WORDS)
    assert set(phrases.TIMETABLE_REASONS) == {row.reason for row in TABLE}
    spec = make_site().boxes["a"]
    found = {one.key for one in helps(spec, Flock(16, 3.0, "layer"), 2.0, 21.0)}
    assert found - {"towel"} <= set(phrases.HELPS)


@pytest.mark.parametrize(
    ("language", "degrees", "ago"), [("en", "19.8 °C", "3 min ago"), ("de", "19,8 °C", "vor 3 min")]
)
def test_figures_speak_the_language(language: str, degrees: str, ago: str) -> None:
    speech = Speech(make_site(), language)
    assert speech.degrees(19.84) == degrees.replace(" ", NBSP)
    assert speech.ago(180.0) == ago


def test_figures_are_in_the_keepers_units() -> None:
    speech = Speech(make_site(unit="F", clock_24h=False), "en")
    assert speech.degrees(20.0) == f"68{NBSP}°F"
    assert speech.difference(-1.0) == f"{MINUS}1.8{NBSP}°F"
    assert speech.clock(1_775_901_600.0) == f"10:00{NBSP}am"
    assert Speech(make_site(), "en").degrees(-0.04) == f"0{NBSP}°C"
    assert Speech(make_site(), "en").degrees(None) == "not known"


def test_a_language_without_a_catalogue_falls_back_to_english() -> None:
    assert Speech(make_site(), "xx").say("Refilled") == "Refilled"
    assert Speech(make_site(), "de").say("") == "", "gettext's own header is no text"
