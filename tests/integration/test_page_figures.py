"""Promise: each figure of days, tonight, what if and board is the journal's or the core's."""

import html
import re
import urllib.request
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from http.cookiejar import CookieJar

import pytest
from broker import Broker
from page_site import NIGHT, PageSite, cooling, outside, page_site
from path_lag import more_boxes

from coldbrood.brooder.band import band
from coldbrood.brooder.sizing import size
from coldbrood.brooder.specs import Flock
from coldbrood.journal.reader import HistoryLine, JournalReader
from coldbrood.watch.events import Reading
from coldbrood.watch.localtime import age_days

NOW_S = datetime.fromisoformat(NIGHT).timestamp()
DAYS = [datetime(2026, 4, day, tzinfo=UTC) for day in (12, 11, 10)]  # newest on top, from the arrival on
BIN_S = 900.0
REFILLED_H = (20, 14, 9.2, 4.7)
NEAR_S = 900.0  # a refill is placed by readings five minutes apart, some of them after the lid
ALL = (float("-inf"), float("inf"))


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Iterator[PageSite]:
    """Box A with a day of readings; box B, of which nothing was ever read."""
    folder, broker = tmp_path_factory.mktemp("site"), Broker(tmp_path_factory.mktemp("broker"))
    broker.start()
    try:
        with page_site(folder, broker, probes=more_boxes(["b"])) as running:
            running.send_day("outdoor", outside(26))
            running.send_day("box-a", cooling(26, REFILLED_H, low_c=15.0))  # near its floor at each refill
            told = '{{"kind": "loss", "box": "a", "count": 2, "key": "lost", "at": "{}"}}'
            at = (datetime.fromisoformat(NIGHT) - timedelta(hours=4)).isoformat()
            running.bench.publish_to("coldbrood/larch-lane/note", told.format(at))
            running.bench.publish("box-a", '[{"n": "temperature", "u": "Cel", "v": 900}]')
            running.bench.publish("box-a", "no payload at all")
            running.keep()
            yield running
    finally:
        broker.stop()


@pytest.fixture(scope="module")
def phone(site: PageSite) -> urllib.request.OpenerDirector:
    opener = urllib.request.build_opener(urllib.request.HTTPCookieProcessor(CookieJar()))
    opener.open(site.link, timeout=60).close()
    return opener


class Shown:
    """One page as text: its parts, the rows of its tables."""

    def __init__(self, site: PageSite, phone: urllib.request.OpenerDirector, path: str) -> None:
        with phone.open(site.address + path, timeout=60) as reply:
            self.markup = reply.read().decode()

    def parts(self) -> list[str]:
        return re.findall(r"<section.*?</section>", self.markup, re.S)

    def rows(self) -> dict[str, list[str]]:
        """Each row of a table: its head, its cells."""
        found = re.findall(r'<tr><th scope="row">(.*?)</th>(.*?)</tr>', self.markup, re.S)
        return {
            plain(head): [plain(c) for c in re.findall(r"<td>(.*?)</td>", cells)] for head, cells in found
        }


def plain(markup: str) -> str:
    text = html.unescape(re.sub(r"<[^>]*>", "", markup)).replace("\N{MINUS SIGN}", "-")
    return text.replace("\N{NO-BREAK SPACE}", " ")


def line(part: str, name: str) -> str:
    """What a day says under a name."""
    found = re.search(rf"<dt>{name}</dt><dd>(.*?)</dd>", part)
    assert found is not None, (name, part)
    return plain(found[1])


def readings(site: PageSite, probe: str) -> list[Reading]:
    with JournalReader.open(site.bench.journal_path) as reader:
        return [one for one in reader.readings(*ALL) if one.probe == probe and not one.late]


def history(site: PageSite, kind: str) -> list[HistoryLine]:
    with JournalReader.open(site.bench.journal_path) as reader:
        return reader.history(*ALL, kind)


def refilled(site: PageSite) -> list[float]:
    """When the box was refilled, as this night was made: those of them that the watch has seen, all late."""
    lines = [one for one in history(site, "refill") if one.line.subject == "a"]
    assert all(one.wall_s >= NOW_S - 60.0 for one in lines), "in bundles that were sent hours later"
    truth = [NOW_S - 3600.0 * hours for hours in REFILLED_H]
    kept = [datetime.fromisoformat(one.line.detail.partition("at=")[2]).timestamp() for one in lines]
    seen = [at for at in truth if any(abs(at - one) <= NEAR_S for one in kept)]
    assert len(seen) == len(kept) >= 3
    return seen


def quarter(wall_s: float) -> str:
    """The quarter of an hour in which it was."""
    return f"{datetime.fromtimestamp(wall_s // BIN_S * BIN_S, UTC):%H:%M}"


def number(text: str) -> float:
    found = re.search(r"-?\d+(\.\d+)?", text)
    assert found is not None, text
    return float(found[0])


@pytest.mark.parametrize(("name", "probe"), [("Box A", "box-a"), ("Outside", "outdoor")])
def test_lows_and_highs_of_a_day_are_those_of_its_readings(
    site: PageSite, phone: urllib.request.OpenerDirector, name: str, probe: str
) -> None:
    parts = Shown(site, phone, "/days").parts()
    assert len(parts) == len(DAYS)
    for part, day in zip(parts, DAYS, strict=True):
        from_s = day.timestamp()
        span = [one for one in readings(site, probe) if from_s <= one.wall_s < from_s + 86_400.0]
        low, high = min(one.value for one in span), max(one.value for one in span)
        said = re.fullmatch(r"(\S+) \((\S+)\) to (\S+) °C \((\S+)\)", line(part, name))
        assert said is not None, line(part, name)
        assert float(said[1]) == pytest.approx(low, abs=0.051)
        assert float(said[3]) == pytest.approx(high, abs=0.051)
        assert said[2] in {quarter(one.wall_s) for one in span if one.value == low}
        assert said[4] in {quarter(one.wall_s) for one in span if one.value == high}


def test_band_refills_and_losses_of_a_day_are_the_cores_and_the_journals(
    site: PageSite, phone: urllib.request.OpenerDirector
) -> None:
    parts = Shown(site, phone, "/days").parts()
    refills = refilled(site)
    for part, day in zip(parts, DAYS, strict=True):
        age = age_days(site.bench.config.site, day.timestamp() + 43_200.0)
        limits = band(age)
        low, high = re.findall(r"-?[\d.]+", line(part, "Band"))
        assert (float(low), float(high)) == pytest.approx((limits.floor_c, limits.ceiling_c), abs=0.051)
        mine = [at for at in refills if 0.0 <= at - day.timestamp() < 86_400.0]
        if mine:
            assert line(part, "Refills").startswith(f"{len(mine)}: ")
            shown = re.findall(r"(\d\d):(\d\d)", line(part, "Refills"))
            for (hour, minute), at in zip(shown, mine, strict=True):
                assert abs(3600.0 * int(hour) + 60.0 * int(minute) - (at - day.timestamp())) <= NEAR_S
        else:
            assert "<dt>Refills</dt>" not in part
    lost_s = site.wait_for_note("lost").wall_s
    before = [one.value for one in readings(site, "box-a") if lost_s - 86_400.0 <= one.wall_s <= lost_s]
    told = plain(parts[1])
    assert "2 losses" in told
    assert "in the first 72 h" in told
    said = re.search(r"The day before: box (\S+) to (\S+) °C, (\d+) refills", told)
    assert said is not None, told
    assert (float(said[1]), float(said[2])) == pytest.approx((min(before), max(before)), abs=0.3), (
        "in steps of a quarter of an hour, so one at the very edge may be in or out"
    )
    assert int(said[3]) == sum(lost_s - 86_400.0 <= at <= lost_s for at in refills)


def test_tonight_begins_where_the_readings_end(site: PageSite, phone: urllib.request.OpenerDirector) -> None:
    shown = Shown(site, phone, "/tonight")
    part = next(one for one in shown.parts() if "<h2>Box A</h2>" in one)
    first = re.search(r'<tbody><tr><th scope="row">(.*?)</th>(.*?)</tr>', part)
    assert first is not None
    box, _, floor, out = (plain(cell) for cell in re.findall(r"<td>(.*?)</td>", first[2]))
    assert number(box) == pytest.approx(readings(site, "box-a")[-1].value, abs=1.0), (
        "the estimate stands within a degree of the probe: it weighs the reading against what it knew"
    )
    assert number(out) == pytest.approx(readings(site, "outdoor")[-1].value, abs=1.5)
    age = age_days(site.bench.config.site, NOW_S)
    assert number(floor) == pytest.approx(band(age).floor_c, abs=0.06)
    seen = [at for at in refilled(site) if at >= NOW_S - 36_000.0]
    assert part.count('class="mark refill') + part.count('class="foot') == len(seen)


@pytest.mark.parametrize(
    ("asked", "litres", "jugs", "mm", "chicks", "outdoor_c"),
    [
        ("", 3.8, 1, 40.0, 16, None),
        ("&jug_litres=7.6&outdoor=0", 7.6, 1, 40.0, 16, 0.0),
        ("&jugs=2&outdoor=-12", 3.8, 2, 40.0, 16, -12.0),
        ("&insulation_mm=90&chicks=40&outdoor=-5", 3.8, 1, 90.0, 40, -5.0),
    ],
)
def test_what_if_is_the_sizing_of_such_a_box(
    site: PageSite,
    phone: urllib.request.OpenerDirector,
    asked: str,
    litres: float,
    jugs: int,
    mm: float,
    chicks: int,
    outdoor_c: float | None,
) -> None:
    shown = Shown(site, phone, f"/what-if?box=b{asked}")
    told = plain(shown.markup)
    assert "on paper, nothing learned yet" in told
    stated = re.search(r"at its floor of (\S+) °C, and (\S+) °C outside", told)
    assert stated is not None
    outside_c = float(stated[2])
    assert outdoor_c is None or outside_c == outdoor_c
    age = age_days(site.bench.config.site, NOW_S)
    spec = replace(site.bench.config.site.boxes["b"], jug_litres=litres, jugs=jugs, insulation_mm=mm)
    flock = Flock(chicks, age, site.bench.config.site.batch.kind)
    truth = size(spec, flock, outside_c, band(age).floor_c)
    rows = shown.rows()
    assert said_h(rows["Hold after a fill"][-1]) == pytest.approx(in_hours(truth.median_h), abs=0.11)
    low, high = rows["Range"][-1].split(" to ")
    assert said_h(low) == pytest.approx(in_hours(truth.early_h), abs=0.11)
    assert said_h(high) == pytest.approx(in_hours(truth.late_h), abs=0.11)
    assert number(rows["Jug cold, chicks alone"][-1]) == pytest.approx(truth.resting_c, abs=0.11)
    night_h = 8.5
    middle = 0 if truth.median_h is None else -int(-night_h // truth.median_h) - 1 if truth.median_h else None
    words = rows["Wakings a night"][-1]
    assert words == "it cannot be held" if middle is None else int(number(words)) == max(0, middle)


def said_h(text: str) -> float:
    return {"over 24 h": 24.0, "none": 0.0}.get(text) or (0.0 if text == "none" else number(text))


def in_hours(hold_h: float | None) -> float:
    return 24.0 if hold_h is None else hold_h


def test_of_a_box_that_was_read_more_water_holds_longer_and_a_colder_night_shorter(
    site: PageSite, phone: urllib.request.OpenerDirector
) -> None:
    def hold_h(asked: str) -> tuple[float, float]:
        shown = Shown(site, phone, f"/what-if?box=a{asked}")
        assert "as learned from its readings" in plain(shown.markup)
        stands, other = shown.rows()["Hold after a fill"]
        return said_h(stands), said_h(other)

    stands, more = hold_h("&jug_litres=6&outdoor=-8")
    _, colder = hold_h("&outdoor=-15")
    _, straw = hold_h("&insulation_mm=120&outdoor=-15")
    assert 0.0 < colder < straw
    assert colder < stands
    assert colder < more


def test_probes_are_told_as_the_journal_has_them(
    site: PageSite, phone: urllib.request.OpenerDirector
) -> None:
    rows = Shown(site, phone, "/board").rows()
    with JournalReader.open(site.bench.journal_path) as reader:
        refused = {why: n for (probe, why), n in reader.refused_counts().items() if probe == "box-a"}
    assert sum(refused.values()) == 2
    for probe in ("box-a", "outdoor"):
        newest = readings(site, probe)[-1]
        assert number(rows[probe][0]) == pytest.approx(newest.value, abs=0.051)
        assert re.fullmatch(r"just now|\d+ min ago", rows[probe][1])
    assert sorted(map(int, re.findall(r"\d+", rows["box-a"][3]))) == sorted(refused.values())
    assert rows["outdoor"][3] == "0"
    assert rows["box-b"][:2] == ["not known", "never"]


def test_settings_are_those_of_the_file_and_no_secret_is_among_them(
    site: PageSite, phone: urllib.request.OpenerDirector
) -> None:
    told = plain(Shown(site, phone, "/board").markup)
    for stated in ('bedtime = "22:00" in your file', "jug_litres = 3.8 in your file", "port = "):
        assert stated in told, stated
    assert re.search(r"clock = \S+ default", told)
    receiver = site.bench.receivers["phone"].address
    assert receiver not in told
    assert site.keys.keeper not in told
