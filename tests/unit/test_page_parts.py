"""Promise: markup escapes, charts draw what is given, keys and guards hold, the past is exact."""

import sqlite3
import stat
import xml.etree.ElementTree as ET
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from journal_records import START_WALL_S, open_journal, reading
from scipy.optimize import brentq
from scipy.stats import norm

from coldbrood.brooder.paths import Paths
from coldbrood.journal.reader import JournalReader
from coldbrood.journal.rows import Batch
from coldbrood.notes import BadNote
from coldbrood.page import guard, jug, keys, past
from coldbrood.page.acts import cause_of, read_tap
from coldbrood.page.chart import Line, Mark, Picture, Range, draw, ticks
from coldbrood.page.markup import Html, html, tag
from coldbrood.page.outlook import quantiles
from coldbrood.page.what_if_page import wakings
from coldbrood.watch.events import Now, Reading

NOW = Now(1000.0, START_WALL_S, synced=True)
SVG = "{http://www.w3.org/2000/svg}"


# Markup.


def test_text_is_escaped_and_markup_is_not() -> None:
    assert tag("p", "<b>&", tag("i", "x"), None, 3) == "<p>&lt;b&gt;&amp;<i>x</i>3</p>"
    assert tag("input", value='"><script>', disabled=True, hidden=None) == (
        '<input value="&quot;&gt;&lt;script&gt;" disabled>'
    )
    assert tag("label", for_="x", aria_label="a b") == '<label for="x" aria-label="a b"></label>'
    assert html(["a", [Html("<b>"), "<"]]) == "a<b>&lt;"


# The chart.


def chart(**other: object) -> ET.Element:
    picture = Picture("t", "s", "c", 0.0, 86_400.0, [Line("past", "box", [(0.0, 20.0), (43_200.0, 30.0)])])
    text = draw(Picture(**{**{n: getattr(picture, n) for n in picture.__slots__}, **other}))
    return ET.fromstring(text.replace("<svg ", '<svg xmlns="http://www.w3.org/2000/svg" ', 1))


def test_a_chart_is_well_formed_and_named_for_a_reader() -> None:
    drawn = chart(title="Box <A>", marks=[Mark("wake", "up 02:40", 9600.0), Mark("refill", "", 3600.0, True)])
    ids = {element.get("id"): element.text for element in drawn.iter() if element.get("id")}
    labelled = (drawn.get("aria-labelledby") or "").split()
    assert drawn.get("role") == "img"
    assert [ids[name] for name in labelled] == ["Box <A>", "s"]


def test_points_stand_where_they_belong() -> None:
    drawn = chart()
    (line,) = [e for e in drawn.iter(f"{SVG}polyline") if "line" in (e.get("class") or "")]
    (x0, y0), (x1, y1) = [tuple(map(float, p.split(","))) for p in (line.get("points") or "").split()]
    levels = {
        float(e.text or ""): float(e.get("y") or 0) - 4
        for e in drawn.iter(f"{SVG}text")
        if e.get("class") == "level"
    }
    assert y0 == pytest.approx(levels[20.0], abs=0.1)
    assert y1 == pytest.approx(levels[30.0], abs=0.1)
    assert x1 - x0 == pytest.approx((380 - 36) / 2, abs=0.1)


def test_lines_that_end_together_keep_their_names_apart() -> None:
    same = [(0.0, 20.0), (43_200.0, 20.0)]
    drawn = chart(lines=[Line(f"l{n}", f"name {n}", same) for n in range(4)])
    ys = sorted(float(e.get("y") or 0) for e in drawn.iter(f"{SVG}text") if "name" in (e.get("class") or ""))
    assert len(ys) == 4
    assert min(np.diff(ys)) >= 12.0


def test_an_empty_chart_and_one_beyond_its_span_are_drawn() -> None:
    assert chart(lines=[]).get("role") == "img"
    wild = [(-1e6, -40.0), (1e6, 80.0)]
    drawn = chart(lines=[Line("x", "", wild)], ranges=[Range("y", wild, wild)])
    for line in drawn.iter(f"{SVG}polyline"):
        for point in (line.get("points") or "").split():
            x, y = map(float, point.split(","))
            assert 0.0 <= x <= 380.0
            assert 0.0 <= y <= 300.0


@pytest.mark.parametrize(("low", "high"), [(0.0, 0.0), (-12.3, 31.0), (20.1, 20.2), (-40.0, 80.0)])
def test_levels_are_round_enclose_and_are_few(low: float, high: float) -> None:
    found = ticks(low, high)
    assert found[0] <= low
    assert found[-1] >= high
    assert 2 <= len(found) <= 10
    assert len({round(b - a, 9) for a, b in pairwise(found)}) == 1


def test_the_jug_empties_with_the_time_left() -> None:
    assert [jug.share_left(s) for s in (None, 6 * 3600.0, 3 * 3600.0, 0.0, -60.0)] == [
        1.0,
        1.0,
        0.5,
        0.0,
        0.0,
    ]
    assert "cry" in jug.sign(0.0, alert=True, blind=False)
    assert "water" not in jug.sign(1.0, alert=False, blind=True)


# The range of the forecast, against scipy's normal distribution.


def test_quantiles_of_the_mixture_are_scipys() -> None:
    rng = np.random.default_rng(5)
    box_c, sd_c = rng.normal(20.0, 3.0, (7, 4)), rng.uniform(0.2, 1.5, (7, 4))
    weights = rng.dirichlet(np.ones(7))
    found = quantiles(Paths(np.arange(4.0), box_c, sd_c, weights))
    for n in range(4):
        for row, level in enumerate((0.1, 0.5, 0.9)):

            def off(x: float, n: int = n, level: float = level) -> float:
                return float(weights @ norm.cdf((x - box_c[:, n]) / sd_c[:, n]) - level)

            assert found[row, n] == pytest.approx(brentq(off, -20.0, 60.0), abs=0.001)


# Keys.


def test_keys_are_made_once_private_and_kept(tmp_path: Path) -> None:
    journal = tmp_path / "journal.db"
    made = keys.load_keys(journal)
    path = keys.keys_path(journal)
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert keys.load_keys(journal) == made
    assert made.keeper != made.guest
    assert made.keeper not in repr(made)
    assert [file.name for file in tmp_path.iterdir()] == [path.name]
    assert keys.new_keys(journal) != made


def test_a_file_that_is_none_of_ours_is_said(tmp_path: Path) -> None:
    keys.keys_path(tmp_path / "journal.db").write_text("{}")
    with pytest.raises(ValueError, match="not the keys of a page"):
        keys.load_keys(tmp_path / "journal.db")


def test_a_cookie_cannot_be_made_or_changed(tmp_path: Path) -> None:
    one, other = (keys.load_keys(tmp_path / name) for name in ("a.db", "b.db"))
    cookie = one.cookie("guest", 1000.0)
    assert one.read_cookie(cookie) == "guest"
    assert one.read_cookie(cookie.replace("guest", "keeper")) is None
    assert other.read_cookie(cookie) is None
    for false in ("", "keeper", "keeper.1.", f"{cookie}0", "\N{SNOWMAN}.1.2"):
        assert one.read_cookie(false) is None
    assert one.role_of(one.keeper) == "keeper"
    assert one.role_of(one.guest) == "guest"
    assert one.role_of("") is None


# Who is answered. Private ranges: RFC 1918, RFC 4193, RFC 3927 (M).


@pytest.mark.parametrize(
    ("peer", "local"),
    [
        ("127.0.0.1", True),
        ("192.168.1.7", True),
        ("10.0.0.1", True),
        ("172.16.5.5", True),
        ("169.254.1.1", True),
        ("::1", True),
        ("fe80::1%wlan0", True),
        ("fd00::1", True),
        ("::ffff:192.168.1.7", True),
        ("8.8.8.8", False),
        ("::ffff:8.8.8.8", False),
        ("2606:4700::1", False),
        ("", False),
        ("phone", False),
    ],
)
def test_who_is_on_the_local_network(peer: str, local: bool) -> None:
    assert guard.is_local(peer) is local


@pytest.mark.parametrize(
    ("header", "ours"),
    [
        ("192.168.1.5:8417", True),
        ("[fd00::5]:8417", True),
        ("localhost", True),
        ("coop", True),
        ("coop.local:8417", True),
        ("BARN.home.arpa", True),
        ("evil.example", False),
        ("coop.evil.example", False),
        ("", False),
        ("192.168.1.5.evil.example", False),
    ],
)
def test_which_names_are_this_boards(header: str, ours: bool) -> None:
    assert guard.is_ours(header, "barn.home.arpa", own_name="coop") is ours


def test_where_a_form_may_come_from() -> None:
    assert guard.same_origin("http://10.0.0.5:8417", None, "10.0.0.5:8417")
    assert not guard.same_origin("http://evil.example", "same-origin", "10.0.0.5:8417")
    assert not guard.same_origin("null", None, "10.0.0.5:8417")
    assert guard.same_origin(None, "same-origin", "x")
    assert not guard.same_origin(None, "cross-site", "x")


def test_wrong_tokens_wait_longer_and_longer_and_memory_is_bounded() -> None:
    now = [0.0]
    slow = guard.Slow(lambda: now[0])
    waits = []
    for _ in range(20):
        slow.wrong("10.0.0.9")
        waits.append(slow.wait_s("10.0.0.9"))
        now[0] += waits[-1]
    assert waits[: guard.FREE_TRIES - 1] == [0.0] * (guard.FREE_TRIES - 1)
    rest = waits[guard.FREE_TRIES - 1 :]
    assert rest == sorted(rest)
    assert rest[-1] == guard.LONGEST_WAIT_S
    assert slow.wait_s("10.0.0.10") == 0.0
    slow.right("10.0.0.9")
    assert slow.wait_s("10.0.0.9") == 0.0
    for n in range(2000):
        slow.wrong(f"10.0.{n // 256}.{n % 256}")
    assert len(slow._tries) == guard.ADDRESSES_KEPT


# Taps.


def test_a_tap_is_read() -> None:
    tap = read_tap(
        {"kind": "loss", "box": "a", "count": "2", "cause": "cold", "text": " x ", "ago_min": "30"}, NOW
    )
    assert (tap.kind, tap.count, tap.text) == ("loss", 2, "cause: cold; x")
    assert tap.at is not None
    assert tap.at.timestamp() == pytest.approx(START_WALL_S - 1800.0, abs=1e-3)
    assert cause_of(tap.text) == ("cold", "x")
    assert cause_of("by the door") == ("", "by the door")
    assert cause_of("cause: heat") == ("heat", "")


@pytest.mark.parametrize(
    ("form", "field"),
    [
        ({}, "kind"),
        ({"kind": "batch-start"}, "kind"),
        ({"kind": "refill", "ago_min": "-1"}, "ago_min"),
        ({"kind": "refill", "ago_min": "nan"}, "ago_min"),
        ({"kind": "refill", "ago_min": "1e9"}, "ago_min"),
        ({"kind": "count", "count": "1.5"}, "count"),
        ({"kind": "count", "count": "inf"}, "count"),
        ({"kind": "look-in", "look_in": "asleep"}, "look_in"),
        ({"kind": "loss", "cause": "magic"}, "cause"),
        ({"kind": "shelve", "minutes": "soon"}, "minutes"),
        ({"kind": "low"}, "low"),
        ({"kind": "low", "low": "cold"}, "low"),
    ],
)
def test_a_tap_that_cannot_be_taken_names_its_field(form: dict[str, str], field: str) -> None:
    with pytest.raises(BadNote, match=f"^{field}: .*: "):
        read_tap(form, NOW)


def test_a_low_is_told_in_the_keepers_unit_and_kept_in_c() -> None:
    assert read_tap({"kind": "low", "low": "-2,5"}, NOW).text == "-2.5"
    assert read_tap({"kind": "low", "low": "14"}, NOW, "F").text == "-10"


@pytest.mark.parametrize(
    ("hold_h", "times"), [(None, 0), (0.0, None), (9.0, 0), (8.5, 0), (8.0, 1), (4.25, 1), (4.0, 2), (2.0, 4)]
)
def test_wakings_of_a_night_of_eight_and_a_half_hours(hold_h: float | None, times: int | None) -> None:
    assert wakings(hold_h, 8.5) == times


# The past.


def test_bins_are_exact_though_readings_came_late_and_out_of_order(tmp_path: Path) -> None:
    rng = np.random.default_rng(3)
    taken: list[Reading] = []
    for n in range(3000):
        at = START_WALL_S + 300.0 * n
        late_s = 36 * 3600.0 * float(rng.random()) if n % 7 == 0 else 0.0
        given = reading(n)
        taken.append(
            Reading(given.probe, given.quantity, given.raw, given.value, at - late_s, at - late_s, True)
        )
    journal = open_journal(tmp_path / "journal.db")
    journal.commit(Batch(taken=list(taken)))
    journal.close()
    with JournalReader.open(tmp_path / "journal.db") as reader:
        for start, length in (
            (0.0, 3600.0),
            (40_000.0, 7200.0),
            (600_000.0, 86_400.0),
            (-9e9, 9e12),
            (5e9, 10.0),
        ):
            from_s, to_s = START_WALL_S + start, START_WALL_S + start + length
            wanted = [x for x in taken if from_s <= x.wall_s < to_s]
            found = past.bins(reader, from_s, to_s, 900.0).get("box-a", [])
            assert sum(b.readings for b in found) == len(wanted)
            for b in found:
                inside = [x.value for x in wanted if abs(x.wall_s - b.wall_s) <= 450.0]
                assert (b.low_c, b.high_c) == (min(inside), max(inside))
                assert b.mean_c == pytest.approx(sum(inside) / len(inside))


def test_the_span_is_found_by_few_looks(tmp_path: Path) -> None:
    journal = open_journal(tmp_path / "journal.db")
    journal.commit(Batch(taken=[reading(n) for n in range(4096)]))
    journal.close()
    asked: list[str] = []
    with JournalReader.open(tmp_path / "journal.db") as reader:
        reader.db.set_trace_callback(asked.append)
        past.first_seq(reader.db, START_WALL_S + 60.1 * 1234)
        assert len(asked) <= 14, "halving, not walking"
        reader.db.set_trace_callback(None)
        assert isinstance(reader.db, sqlite3.Connection)
        assert past.first_seq(reader.db, -1e12) == 1
        assert past.first_seq(reader.db, 1e12) == 4097
