"""Promise: whatever is asked of a page or sent to it, the answer is ours and never a fault of the server."""

import io
import string
from typing import Any
from urllib.parse import urlencode
from wsgiref.util import setup_testing_defaults

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from journal_records import START_WALL_S, everything, open_journal, reading
from sites import box_probe, make_site

from coldbrood.clock import Clock
from coldbrood.page import acts
from coldbrood.page.acts import TAPPED
from coldbrood.page.app import make_app
from coldbrood.page.desk import Desk
from coldbrood.page.keys import Keys
from coldbrood.page.replies import Wsgi
from coldbrood.settings.records import Config, Page
from coldbrood.watch.events import Beat, Now, Started
from coldbrood.watch.state import first_state
from coldbrood.watch.step import step

KEYS = Keys("keeper-token", "guest-token", "signing-secret")
COOKIE = KEYS.cookie("keeper", START_WALL_S)
PROOF = KEYS.sign(f"form.{COOKIE}")
SHOWN = ("/", "/tonight", "/days", "/what-if", "/board", "/tell/a", "/enter")
ASKED = ("back", "box", "jug_litres", "jugs", "insulation_mm", "chicks", "outdoor", "helps", "part", "k")
TOLD = (
    "kind",
    "box",
    "key",
    "ago_min",
    "look_in",
    "count",
    "cause",
    "text",
    "low",
    "alarm",
    "minutes",
    "fill_c",
    "back",
)
NUMBERS = (
    "0",
    "-1",
    "1e309",
    "nan",
    "inf",
    "-40",
    "9" * 40,
    "1,5",
    "\N{MINUS SIGN}3",
    "0x10",
    "\N{ARABIC-INDIC DIGIT FIVE}",
)
VALUES = st.one_of(
    st.sampled_from((*NUMBERS, "a", "b", "cold", "huddled", "refill-now/a", "/tell/a", "//evil.example", "")),
    st.text(max_size=60),
)
TURNED_AWAY = (200, 303, 400, 401, 403, 404, 405, 413, 429)
QUIET = settings(
    max_examples=40,
    deadline=None,
    derandomize=True,
    database=None,
    suppress_health_check=list(HealthCheck),
)


@pytest.fixture(scope="module")
def app(tmp_path_factory: pytest.TempPathFactory) -> Wsgi:
    """The page over a real journal, with no loop behind it: what is told is posted to nobody."""
    path = tmp_path_factory.mktemp("fuzz") / "journal.db"
    journal = open_journal(path)
    for n in range(10):
        journal.commit(everything(n))
    journal.close()
    site = make_site("ab")
    desk = Desk(
        Config(site, None, (), path),
        Page("127.0.0.1", 8080, True, None, "de", "sunday"),
        Clock(),
        KEYS,
        print,
    )
    state, now = first_state(site, 0.0), Now(200_000.0, START_WALL_S + 200_000.0, True)
    for event in (Started(None, True), reading(3300, box_probe("a").name), Beat()):
        state, _ = step(site, state, event, now)
    desk.show(state, now)
    return make_app(desk)


def asked(app: Wsgi, method: str, path: str, query: str = "", body: bytes = b"") -> tuple[int, bytes]:
    """One request of the keeper's phone, without a network."""

    environ: dict[str, Any] = {"REQUEST_METHOD": method, "PATH_INFO": path, "QUERY_STRING": query}
    environ |= {"REMOTE_ADDR": "127.0.0.1", "HTTP_HOST": "127.0.0.1", "HTTP_COOKIE": f"coldbrood={COOKIE}"}
    environ |= {"CONTENT_TYPE": "application/x-www-form-urlencoded", "CONTENT_LENGTH": str(len(body))}
    environ["wsgi.input"] = io.BytesIO(body)
    setup_testing_defaults(environ)
    got: list[str] = []
    answer = b"".join(app(environ, lambda status, _headers, *_: got.append(status)))
    return int(got[0][:3]), answer


@QUIET
@given(path=st.sampled_from(SHOWN), query=st.dictionaries(st.sampled_from(ASKED), VALUES, max_size=6))
@example(path="/what-if", query={"box": "a", "jugs": "0", "outdoor": "45"})
@example(path="/what-if", query={"box": "b", "chicks": "0", "outdoor": "-40", "helps": "1"})
@example(path="/days", query={"back": "9999"})
def test_any_question_gets_a_page(app: Wsgi, path: str, query: dict[str, str]) -> None:
    status, answer = asked(app, "GET", path, urlencode(query, errors="replace"))
    assert status in (200, 401, 429), (status, answer[:200])
    assert b"<script>" not in answer


@QUIET
@given(
    kind=st.one_of(st.sampled_from(TAPPED), st.text(max_size=12)),
    fields=st.dictionaries(st.sampled_from(TOLD), VALUES, max_size=8),
)
def test_any_form_is_kept_or_refused_in_words(
    app: Wsgi, monkeypatch: pytest.MonkeyPatch, kind: str, fields: dict[str, str]
) -> None:
    """503 is the page's own "not yet kept": there is no loop here that could keep it."""
    monkeypatch.setattr(acts, "KEPT_WITHIN_S", 0.0)
    body = urlencode({"kind": kind, **fields, "proof": PROOF}, errors="replace").encode()
    status, answer = asked(app, "POST", "/act", body=body)
    assert status in (303, 422, 503), (status, answer[:200])
    assert status == 303 or b'role="alert"' in answer


@QUIET
@given(path=st.text(string.printable, max_size=30), body=st.binary(max_size=200))
def test_any_other_path_and_any_bytes_are_turned_away(app: Wsgi, path: str, body: bytes) -> None:
    for method, to in (("GET", f"/{path}"), ("POST", "/act"), ("POST", f"/{path}")):
        assert asked(app, method, to, body=body)[0] in (200, 303, 400, 401, 403, 404, 405, 413, 429), (
            method,
            to,
        )
