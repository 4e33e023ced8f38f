"""Promise: what a part says of itself is in the page's language; of what the system adds, nothing is lost."""

import socket
import sqlite3
import ssl
from pathlib import Path

import pytest
from sites import START_WALL_S, make_site
from watching import Watching

from coldbrood import selftest
from coldbrood.deliver import outcome
from coldbrood.journal.errors import _PLAIN, explain
from coldbrood.page.machine import machine_words, trouble_words
from coldbrood.page.phrases import MACHINE
from coldbrood.page.speech import Speech
from coldbrood.probes import trouble
from coldbrood.watch.events import GoingDown, JournalFailed, LinkDown, Note, SelfTested
from coldbrood.watch.wellness import troubles

SITE = make_site()
GERMAN, ENGLISH = Speech(SITE, "de"), Speech(SITE, "en")
PLACE = ("board.lan", 1883)


def of_sqlite(code: int) -> str:
    fault = sqlite3.OperationalError("as SQLite says it")
    fault.sqlite_errorcode = code
    return str(explain(fault, Path("/data/journal.db")))


SENTENCES = [
    *(of_sqlite(code) for code in (*_PLAIN, sqlite3.SQLITE_MISUSE)),
    trouble.refusal("Not authorized", *PLACE),
    trouble.refusal("Server unavailable", *PLACE),
    *(
        trouble.failure(fault, *PLACE)
        for fault in (
            socket.gaierror(),
            ConnectionRefusedError(),
            ssl.SSLCertVerificationError(),
            TimeoutError(),
            OSError("as the system says it"),
        )
    ),
    trouble.broken(*PLACE),
    trouble.topics_refused(["coldbrood/#"]),
    *(
        outcome.of_failure([], errors).detail
        for errors in ([], ["Read timed out."], ["Connection reset"], ["ProxyError"])
    ),
    *selftest.sounder("/no/such/program"),
    *selftest.disk(Path("/no/such/folder")),
]


@pytest.mark.parametrize("sentence", SENTENCES)
def test_each_sentence_of_a_part_is_known_to_the_page(sentence: str) -> None:
    """One that is put otherwise at its place is found here, since German would show it in English."""
    assert machine_words(ENGLISH, sentence) == sentence
    said = machine_words(GERMAN, sentence)
    assert said != sentence
    for kept in (
        "as SQLite says it",
        "as the system says it",
        "board.lan",
        "/data/journal.db",
        "/no/such/program",
    ):
        assert (kept in said) == (kept in sentence)
    assert not {"check", "the", "and", "it"} & set(
        said.replace("as the system says it", "").replace("as SQLite says it", "").split()
    )


def test_a_full_disk_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(selftest, "FREE_LEAST_BYTES", 1 << 62)
    (said,) = selftest.disk(tmp_path)
    assert machine_words(GERMAN, said).startswith("auf dem Speicher sind noch ")


def test_every_trouble_of_a_bad_hour_is_told_in_the_language() -> None:
    watching = Watching(SITE, START_WALL_S)
    watching.outcome = "try-again"
    watching.do(Note("k", "test", None, watching.t_s, watching.wall_s))
    for event in (
        LinkDown(trouble.broken(*PLACE)),
        JournalFailed(of_sqlite(sqlite3.SQLITE_FULL)),
        SelfTested(("the folder of the journal may not be written",), ("the page: no answer in time",)),
        GoingDown("power"),
    ):
        watching.do(event)
    found = troubles(watching.site, watching.state, watching.now)
    assert [trouble_words(ENGLISH, one) for one in found] == [str(one) for one in found]
    said = [trouble_words(GERMAN, one).partition(": ") for one in found]
    assert {part for part, _, _ in said} >= {"Broker", "Journal", "Fühler box-a", "Kanal phone-1", "Gerät"}
    for one, (_, _, detail) in zip(found, said, strict=True):
        assert detail != one.detail
    (aside,) = watching.state.health.asides
    assert machine_words(GERMAN, aside) == "die Seite: keine Antwort in der Zeit"


def test_a_name_is_no_phrase_and_an_unknown_sentence_stays() -> None:
    assert machine_words(GERMAN, "probe board") == "Fühler board"
    assert machine_words(GERMAN, "something new (42)") == "something new (42)"
    assert machine_words(GERMAN, "its last message did not get through, HTTP 410").endswith(", HTTP 410")
    assert len(set(MACHINE)) == len(MACHINE)
