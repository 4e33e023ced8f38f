"""Promise: the page answers whom it should and nobody else, changes nothing on a GET, and harms no watch."""

import http.client
import re
import socket
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import urlencode

import pytest
from bench import Bench
from broker import Broker, free_port
from journal_records import dump
from page_site import PageSite, page_site

from coldbrood.cli.main import main
from coldbrood.page.guard import FREE_TRIES, HEADERS
from coldbrood.page.keys import keys_path

PAGES = ("/", "/tonight", "/days", "/days?back=3", "/what-if", "/what-if?jugs=2&helps=1", "/board", "/tell/a")
FORM = "application/x-www-form-urlencoded"


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Iterator[PageSite]:
    folder, broker = tmp_path_factory.mktemp("site"), Broker(tmp_path_factory.mktemp("broker"))
    broker.start()
    try:
        with page_site(folder, broker, page='host = "barn.home.arpa"') as running:
            running.bench.send_c("box-a", 24.0)
            running.bench.send_c("outdoor", 3.0)
            running.keep()
            yield running
    finally:
        broker.stop()


class Answer:
    """One answer, read whole."""

    def __init__(self, reply: http.client.HTTPResponse) -> None:
        self.status, self.headers = reply.status, reply.headers
        self.text = reply.read().decode("utf-8", "replace")

    @property
    def cookie(self) -> str:
        return (self.headers["Set-Cookie"] or "").split(";")[0]


def ask(site: PageSite, method: str, path: str, body: str | None = None, **headers: str) -> Answer:
    host = site.address.removeprefix("http://")
    link = http.client.HTTPConnection(host, timeout=30)
    sent = {name.replace("_", "-"): value for name, value in headers.items()}
    if body is not None:
        sent.setdefault("Content-Type", FORM)
    try:
        link.request(method, path, body, sent)
        return Answer(link.getresponse())
    finally:
        link.close()


def enter(site: PageSite, link: str) -> str:
    reply = ask(site, "GET", link.removeprefix(site.address))
    assert (reply.status, reply.headers["Location"]) == (303, "/")
    return reply.cookie


def tap(site: PageSite, cookie: str, **fields: str) -> dict[str, str]:
    """The fields of a form as the page gives it, with these on top."""
    shown = ask(site, "GET", "/tell/a", Cookie=cookie).text
    proof = re.search(r'name="proof" value="([0-9a-f]+)"', shown)
    key = re.search(r'name="key" value="([\w-]+)"', shown)
    return {
        "proof": proof[1] if proof else "",
        "key": key[1] if key else "",
        "kind": "refill",
        "box": "a",
        **fields,
    }


def test_without_a_token_nothing_is_told(site: PageSite) -> None:
    for path in PAGES:
        reply = ask(site, "GET", path)
        assert reply.status == 401
        assert "24" not in re.sub(r"<head>.*?</head>|data-\S+", "", reply.text).replace("2026", "")
    assert ask(site, "GET", "/", Cookie="coldbrood=keeper.1.00").status == 401
    assert ask(site, "POST", "/act", "kind=refill&box=a").status == 401
    assert ask(site, "GET", "/coldbrood.css").status == 200


def test_every_answer_has_the_safety_headers_and_is_not_kept(site: PageSite) -> None:
    cookie = enter(site, site.link)
    replies = [ask(site, "GET", path, Cookie=cookie) for path in (*PAGES, "/coldbrood.js", "/nowhere")]
    replies += [ask(site, "GET", "/"), ask(site, "POST", "/act", "x=y", Cookie=cookie), ask(site, "PUT", "/")]
    for reply in replies:
        for name, value in HEADERS.items():
            assert reply.headers.get_all(name) == [value]
        assert reply.status < 500
    assert all(ask(site, "GET", path, Cookie=cookie).headers["Cache-Control"] == "no-store" for path in PAGES)
    assert "Server" not in replies[0].headers


def test_the_cookie_is_out_of_reach_of_scripts_and_other_sites(site: PageSite) -> None:
    flags = ask(site, "GET", site.link.removeprefix(site.address)).headers["Set-Cookie"]
    assert {"httponly", "samesite=strict", "path=/"} <= {part.strip().lower() for part in flags.split(";")}
    assert site.keys.keeper not in flags


def test_a_get_changes_nothing(site: PageSite) -> None:
    cookie = enter(site, site.link)
    fields = urlencode(tap(site, cookie))
    before = dump(site.bench.journal_path)["note"]
    for path in (*PAGES, f"/act?{fields}", f"/?{fields}"):
        assert ask(site, "GET", path, Cookie=cookie).status in (200, 404, 405)
    assert dump(site.bench.journal_path)["note"] == before


def test_a_form_from_elsewhere_is_refused(site: PageSite) -> None:
    cookie, host = enter(site, site.link), site.address.removeprefix("http://")
    fields = tap(site, cookie)
    before = len(site.notes())
    elsewhere: list[dict[str, str]] = [
        {"Origin": "http://evil.example"},
        {"Origin": "null"},
        {"Sec_Fetch_Site": "cross-site"},
    ]
    for headers in elsewhere:
        assert ask(site, "POST", "/act", urlencode(fields), Cookie=cookie, **headers).status == 403
    for proof in ("", "0" * 32, fields["proof"][:-1]):
        changed = urlencode({**fields, "proof": proof})
        assert ask(site, "POST", "/act", changed, Cookie=cookie, Origin=f"http://{host}").status == 403
    other = enter(site, site.guest_link)
    assert ask(site, "POST", "/act", urlencode(fields), Cookie=other).status == 403
    assert len(site.notes()) == before
    assert ask(site, "POST", "/act", urlencode(fields), Cookie=cookie, Origin=f"http://{host}").status == 303


def test_a_name_that_is_not_this_boards_is_not_answered(site: PageSite) -> None:
    cookie = enter(site, site.link)
    for name in ("evil.example", "127.0.0.1.evil.example", ""):
        assert ask(site, "GET", "/", Cookie=cookie, Host=name).status in (400, 421)
    for name in ("barn.home.arpa", "localhost", f"{socket.gethostname()}.local"):
        assert ask(site, "GET", "/", Cookie=cookie, Host=name).status == 200


def test_the_same_key_counts_once_and_the_way_back_is_our_own(site: PageSite) -> None:
    cookie = enter(site, site.link)
    fields = tap(site, cookie, back="https://evil.example/")
    for _ in range(3):
        reply = ask(site, "POST", "/act", urlencode(fields), Cookie=cookie)
        assert (reply.status, reply.headers["Location"]) == (303, "/")
    assert [note.key for note in site.notes()].count(fields["key"]) == 1


def test_a_bad_tap_names_field_value_and_what_is_allowed(site: PageSite) -> None:
    cookie = enter(site, site.link)
    for change, said in (
        ({"kind": "dance"}, "kind: dance: one of"),
        ({"box": "z"}, "box: z: one of a"),
        ({"ago_min": "NaN"}, "ago_min: NaN: a number"),
        ({"kind": "count", "count": "501"}, "count: 501: 0 to 500"),
        ({"text": "x" * 2000, "kind": "text"}, "text: 2000: 0 to 1000"),
        ({"key": "k" * 100}, "key: 100: 0 to 80"),
    ):
        body = urlencode({**tap(site, cookie), **change})
        assert said in ask(site, "POST", "/act", body, Cookie=cookie).text
        scripted = ask(site, "POST", "/act", body, Cookie=cookie, Accept="application/json")
        assert scripted.status == 422
        assert said in scripted.text
    assert ask(site, "POST", "/act", "x=" + "y" * 20_000, Cookie=cookie).status == 413


def test_a_program_may_come_with_a_bearer_token(site: PageSite) -> None:
    assert ask(site, "GET", "/", Authorization=f"Bearer {site.keys.guest}").status == 200
    assert ask(site, "GET", "/", Authorization="Bearer x").status == 401


def test_wrong_tokens_are_slowed_down_and_a_phone_let_in_before_is_not(
    tmp_path: Path, broker: Broker
) -> None:
    with page_site(tmp_path, broker) as site:
        cookie = enter(site, site.link)
        statuses = [ask(site, "GET", f"/enter?k=wrong{n}").status for n in range(FREE_TRIES + 2)]
        assert statuses == [401] * FREE_TRIES + [429] * 2
        slowed = ask(site, "POST", "/enter", "k=wrong")
        assert slowed.status == 429
        assert int(slowed.headers["Retry-After"]) >= 0
        assert ask(site, "GET", "/", Cookie=cookie).status == 200
        assert site.bench.stop() == 0
        site.bench.start()
        site.bench.wait_for(site.is_up, "the page to answer again")
        assert ask(site, "GET", "/", Cookie=cookie).status == 200, "a restart sends nobody out"


def test_a_port_that_is_taken_is_told_and_the_watch_goes_on(tmp_path: Path, broker: Broker) -> None:
    port = free_port()
    with socket.create_server(("127.0.0.1", port)):
        table = f'address = "127.0.0.1"\nport = {port}'
        with Bench(tmp_path, broker, page=table) as bench:
            bench.start()
            bench.wait_for(lambda: "page=larch-lane state=failed" in bench.log_text(), "the fault to be told")
            bench.send_c("box-a", 25.0)
            bench.flush()
            assert [reading.value for reading in bench.readings()] == [25.0]
            assert bench.stop() == 0


def test_switched_off_it_leaves_no_port_and_no_keys(tmp_path: Path, broker: Broker) -> None:
    with Bench(tmp_path, broker) as bench:
        bench.start()
        bench.flush()
        assert not keys_path(bench.journal_path).exists()
        assert "page:" not in bench.log_text()


def test_the_link_is_printed_with_a_code_and_can_be_renewed(
    site: PageSite, capsys: pytest.CaptureFixture[str], tmp_path: Path, broker: Broker
) -> None:
    config = str(site.bench.config_path)
    assert main(["page", "link", "--config", config, "--no-code"]) == 0
    address = site.address.replace("127.0.0.1", "barn.home.arpa")
    assert capsys.readouterr().out == f"{address}/enter?k={site.keys.keeper}\n"
    assert main(["page", "link", "--config", config, "--look-only"]) == 0
    shown = capsys.readouterr().out
    assert shown.startswith(f"{address}/enter?k={site.keys.guest}\n")
    assert max(map(len, shown.splitlines())) <= 80
    assert "█" in shown
    with Bench(tmp_path, broker, page="port = 8417") as other:
        config = str(other.config_path)
        assert main(["page", "link", "--config", config, "--no-code"]) == 0
        first = capsys.readouterr().out
        assert main(["page", "link", "--config", config, "--no-code", "--renew"]) == 0
        assert capsys.readouterr().out != first
