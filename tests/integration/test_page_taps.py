"""Promise: every button does what it says, once, from any phone, with script or without, in reach or out."""

import threading
from collections.abc import Iterator

import pytest
from broker import Broker
from page_site import PageSite, cooling, outside, page_site
from phone import PATIENCE_MS, at, chromium, opened, pocket
from playwright.sync_api import Browser, Page, Route, expect
from wire import Wire

from coldbrood.journal.reader import JournalReader
from coldbrood.watch.events import Note

LOOK_INS = ["huddled", "spread", "panting", "drinking", "loud", "apart", "weak"]
pytestmark = pytest.mark.timeout(300)  # a browser on a busy machine
BATTERY = '[{{"n": "temperature", "u": "Cel", "v": {0}}}, {{"n": "battery", "u": "%EL", "v": {1}}}]'


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Iterator[PageSite]:
    folder, broker = tmp_path_factory.mktemp("site"), Broker(tmp_path_factory.mktemp("broker"))
    broker.start()
    try:
        with page_site(folder, broker) as running:
            running.send_day("outdoor", outside(3))
            running.send_day("box-a", cooling(3, (2.0,)))
            for charge in (6, 5, 4, 3):  # three samples raise battery-low
                running.bench.publish("box-a", BATTERY.format(23.9 + charge / 100, charge))
            running.keep()
            running.bench.wait_for(lambda: "battery-low/box-a" in alarms(running), "the battery alarm")
            yield running
    finally:
        broker.stop()


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with chromium() as running:
        yield running


@pytest.fixture
def page(site: PageSite, browser: Browser) -> Iterator[Page]:
    """A phone at the page of now."""
    with pocket(browser) as phone:
        yield opened(phone, site.link)


class Journal:
    """The notes that a test adds to those that were there."""

    def __init__(self, site: PageSite) -> None:
        self.site = site
        self.before = {note.key for note in site.notes()}

    def new(self) -> list[Note]:
        return [note for note in self.site.notes() if note.key not in self.before]

    def one(self) -> Note:
        """The next note, which must be the only one."""
        self.site.bench.wait_for(lambda: bool(self.new()), "the tap to be kept")
        (note,) = self.new()
        self.before.add(note.key)
        return note


@pytest.fixture
def journal(site: PageSite) -> Journal:
    return Journal(site)


def alarms(site: PageSite) -> dict[str, str]:
    """Each alarm's last change in the journal's own history."""
    with JournalReader.open(site.bench.journal_path) as reader:
        lines = reader.history(float("-inf"), float("inf"), "alarm")
    return {line.line.subject: line.line.state for line in lines}


def kept(page: Page) -> None:
    """The page has said that the tap is kept."""
    expect(page.locator("#line.well")).to_be_visible(timeout=PATIENCE_MS)


def test_refilled_now_and_earlier(page: Page, journal: Journal) -> None:
    page.locator("article.box").get_by_role("button", name="Refilled", exact=True).click()
    kept(page)
    now = journal.one()
    assert (now.kind, now.box) == ("refill", "a")
    for minutes in (15, 30, 60, 120):
        page.locator("summary", has_text="More").click()
        page.locator(f"details[open] button[value='{minutes}'][name=ago_min]").click()
        note = journal.one()
        assert note.kind == "refill"
        assert note.wall_s == pytest.approx(now.wall_s - 60 * minutes, abs=60)


def test_fresh_figures_do_not_take_the_button_from_under_a_finger(page: Page, journal: Journal) -> None:
    """The finger is down while the page fetches what is new, and lifts after it came."""
    button = page.locator("article.box").get_by_role("button", name="Refilled", exact=True)
    place = button.bounding_box()
    assert place is not None
    page.mouse.move(place["x"] + place["width"] / 2, place["y"] + place["height"] / 2)
    page.mouse.down()
    with page.expect_response(lambda reply: "part=1" in reply.url):
        page.evaluate("document.dispatchEvent(new Event('visibilitychange'))")
    page.wait_for_timeout(250)
    page.mouse.up()
    assert journal.one().kind == "refill"


@pytest.mark.parametrize("seen", LOOK_INS)
def test_a_look_in_takes_two_taps(page: Page, journal: Journal, seen: str) -> None:
    page.locator("summary", has_text="Look-in").click()
    page.locator(f"button[name=look_in][value={seen}]").click()
    note = journal.one()
    assert (note.kind, note.box, note.look_in) == ("look-in", "a", seen)


def test_a_loss_has_its_cause_and_words_and_a_count_its_number(
    page: Page, journal: Journal, site: PageSite
) -> None:
    at(page, f"{site.address}/tell/a")
    form = page.locator("form[data-kind=loss]")
    form.locator("[name=count]").fill("2")
    form.locator("[name=cause]").select_option("cold")
    form.locator("[name=ago_min]").select_option("30")
    form.locator("[name=text]").fill("by the door <b>")
    form.get_by_role("button").click()
    loss = journal.one()
    assert (loss.kind, loss.count, loss.text) == ("loss", 2, "cause: cold; by the door <b>")
    form = page.locator("form[data-kind=count]")
    form.locator("[name=count]").fill("14")
    form.get_by_role("button").click()
    assert (journal.one().count) == 14
    page.locator("form[data-kind=text] textarea").fill("moved the run")
    page.locator("form[data-kind=text]").get_by_role("button").click()
    assert (journal.one().text) == "moved the run"
    page.locator("form[data-kind=low] [name=low]").fill("-3")
    page.locator("form[data-kind=low]").get_by_role("button").click()
    low = journal.one()
    assert (low.kind, low.text) == ("low", "-3")
    at(page, f"{site.address}/days")
    assert "likely cause: cold" in page.locator("main").inner_text()
    assert "by the door <b>" in page.locator("main").inner_text()


def test_each_tap_can_be_undone(page: Page, journal: Journal, site: PageSite) -> None:
    at(page, f"{site.address}/tell/a")
    page.locator("form[data-kind=count] [name=count]").fill("9")
    page.locator("form[data-kind=count]").get_by_role("button").click()
    counted = journal.one()
    at(page, site.address)
    expect(page.locator(".told")).to_contain_text("Count, 9")
    page.locator(".told").get_by_role("button", name="Undo").click()
    taken_back = journal.one()
    assert (taken_back.kind, taken_back.text) == ("withdraw", counted.key)
    expect(page.locator(".told")).to_contain_text("Taken back: Count, 9")
    at(page, f"{site.address}/tell/a")
    assert page.locator("form[data-kind=count] [name=count]").input_value() != "9"
    assert page.locator("s", has_text="Count, 9").count() == 1, "what was said stays to be seen"


def test_an_alarm_is_acknowledged_undone_shelved_and_shown_again(
    page: Page, journal: Journal, site: PageSite
) -> None:
    key = "battery-low/box-a"
    alarm = page.locator(".alarm", has_text="Battery low")
    alarm.locator("summary").first.click()
    alarm.get_by_role("button", name="Acknowledge").click()
    assert (journal.one().alarm) == key
    site.bench.wait_for(lambda: alarms(site)[key] == "acknowledged", "the alarm to be acknowledged")
    page.locator(".told").get_by_role("button", name="Undo").click()
    assert journal.one().kind == "withdraw"
    site.bench.wait_for(lambda: alarms(site)[key] == "unacknowledged", "the alarm to ask again")
    for minutes in (30, 60, 120):
        at(page, site.address)
        alarm.locator("summary").first.click()
        alarm.locator("summary", has_text="Shelve").click()
        alarm.get_by_role("button", name=f"{minutes} min", exact=True).click()
        shelved = journal.one()
        assert (shelved.kind, shelved.minutes) == ("shelve", minutes)
        site.bench.wait_for(lambda: alarms(site)[key] == "shelved", "the alarm to be shelved")
        at(page, site.address)
        page.locator("summary", has_text="Answered").click()
        alarm.locator("summary").first.click()
        alarm.get_by_role("button", name="End the shelf").click()
        assert journal.one().kind == "unshelve"
        site.bench.wait_for(lambda: alarms(site)[key] == "unacknowledged", "the alarm to show again")


def test_the_test_alert_reaches_the_receiver(page: Page, journal: Journal, site: PageSite) -> None:
    at(page, f"{site.address}/board")
    page.get_by_role("button", name="Send a test alert").click()
    assert journal.one().kind == "test"
    site.bench.wait_for(lambda: any("Test" in title for title in site.bench.titles()), "the test alert")


def test_without_script_every_kind_of_tap_works(site: PageSite, browser: Browser, journal: Journal) -> None:
    with pocket(browser, scripts=False) as phone:
        page = opened(phone, site.link)
        page.locator("article.box").get_by_role("button", name="Refilled", exact=True).click()
        assert journal.one().kind == "refill"
        assert "Kept: Refilled" in page.locator(".told").inner_text()
        page.locator("summary", has_text="Look-in").click()
        page.locator("button[name=look_in][value=spread]").click()
        assert journal.one().look_in == "spread"
        page.locator(".told").get_by_role("button", name="Undo").click()
        assert journal.one().kind == "withdraw"
        at(page, f"{site.address}/tell/a")
        page.locator("form[data-kind=count] [name=count]").fill("15")
        page.locator("form[data-kind=count]").get_by_role("button").click()
        assert journal.one().count == 15
        assert page.url.endswith("/tell/a")


def test_taps_made_out_of_reach_are_sent_later_once_and_at_their_own_time(
    site: PageSite, browser: Browser, journal: Journal
) -> None:
    wire = Wire(int(site.address.rpartition(":")[2]))
    with pocket(browser) as phone:
        page = opened(phone, site.link.replace(site.address, wire.address))
        wire.cut()
        page.locator("summary", has_text="Look-in").click()
        page.locator("button[name=look_in][value=loud]").click()
        page.locator("summary", has_text="More").click()
        page.locator("details[open] form[data-kind=loss] [name=cause]").select_option("piled")
        page.locator("details[open] form[data-kind=loss]").get_by_role("button").click()
        expect(page.locator("#line")).to_contain_text("2 waiting on this phone")
        expect(page.locator("#line")).to_contain_text("No link to the board")
        assert journal.new() == []
        page.wait_for_timeout(3000)
        wire.mend()
        site.bench.wait_for(lambda: len(journal.new()) == 2, "both taps to arrive", patience_s=60)
        look_in, loss = journal.new()
        assert (look_in.look_in, loss.text) == ("loud", "cause: piled")
        sent = [line for line in site.bench.log_text().splitlines() if "note=a state=loss" in line]
        assert len(sent) >= 1
        assert loss.wall_s - look_in.wall_s == pytest.approx(0.0, abs=30.0)
        expect(page.locator("#line")).not_to_contain_text("waiting", timeout=PATIENCE_MS)
        page.reload()
        page.wait_for_timeout(1000)
        assert len(journal.new()) == 2
        wire.cut()


def test_a_tap_whose_answer_is_lost_counts_once(site: PageSite, browser: Browser, journal: Journal) -> None:
    with pocket(browser) as phone:
        page = opened(phone, site.link)
        lost = threading.Event()

        def lose_the_first(route: Route) -> None:
            if lost.is_set():
                route.continue_()
                return
            lost.set()
            route.fetch()
            route.abort("connectionreset")

        page.route("**/act", lose_the_first)
        page.locator("article.box").get_by_role("button", name="Refilled", exact=True).click()
        expect(page.locator("#line")).to_contain_text("waiting")
        kept(page)
        assert lost.is_set()
        assert journal.one().kind == "refill"


def test_two_phones_see_each_other(site: PageSite, browser: Browser, journal: Journal) -> None:
    with pocket(browser) as one, pocket(browser) as other:
        first, second = opened(one, site.link), opened(other, site.link)
        first.locator("summary", has_text="Look-in").click()
        first.locator("button[name=look_in][value=apart]").click()
        seen = journal.one()
        expect(second.locator(".told")).to_contain_text("one apart", timeout=40_000)
        second.locator(".told").get_by_role("button", name="Undo").click()
        assert journal.one().text == seen.key
        expect(first.locator(".told")).to_contain_text("Taken back", timeout=40_000)


def test_a_neighbour_can_look_and_not_act(site: PageSite, browser: Browser, journal: Journal) -> None:
    with pocket(browser) as phone:
        page = opened(phone, site.guest_link)
        assert page.locator("header").get_by_text("look only").count() == 1
        for path in ("/", "/tell/a", "/tonight", "/days", "/what-if", "/board"):
            assert at(page, site.address + path).status == 200
            assert page.locator("form.tap").count() == 0, path
        reply = page.request.post(f"{site.address}/act", form={"kind": "refill", "box": "a"})
        assert reply.status == 403
        assert journal.new() == []
