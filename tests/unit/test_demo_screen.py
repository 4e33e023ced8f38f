"""The demo's screen says the same in any width, and its keeper, files and account do what the story needs."""

import io
import json
import math
import os
import threading
import urllib.error
import urllib.request
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coldbrood.demo import account, scenario
from coldbrood.demo.account import Asked
from coldbrood.demo.keeper import Errand, Keeper
from coldbrood.demo.packets import payload
from coldbrood.demo.receiver import Arrived, Receiver
from coldbrood.demo.scenario import DirectoryError
from coldbrood.demo.screen import Screen, box_line, phone_lines, wrapped
from coldbrood.settings.load import load
from coldbrood.watch.site import Site

SHOWN = {
    "box": "a",
    "at": "2026-04-12T01:22:00Z",
    "state": "refill now",
    "box_c": 23.12,
    "estimated": False,
    "outdoor_c": 2.44,
    "floor_c": 21.1,
    "refill_by": "2026-04-12T01:50:00Z",
}
MESSAGE = Arrived("Refill now: box A 23.1 C, floor 21.1", "Under the floor about 02:10. " * 6)


def at(hour: int, minute: int = 0, day: int = 11) -> float:
    return datetime(2026, 4, day, hour, minute, tzinfo=UTC).timestamp()


def told(when: float, alarm: bool = True) -> Asked:
    return Asked(when, alarm, "Refill now: box A", "It falls.", 1, "forecast", None, None)


@pytest.fixture
def site(tmp_path: Path) -> Site:
    files = scenario.prepare(tmp_path / "night", keep=False)
    scenario.write(files, 1, "json://127.0.0.1:1/phone")
    return load(files.config, os.environ).site


def test_the_line_names_box_outdoor_floor_refill_by_and_state() -> None:
    assert box_line(SHOWN, 80) == (
        "01:22  box A 23.1 C  outdoor 2.4 C  floor 21.1  refill by 01:50  refill now"
    )


def test_on_a_phone_the_line_is_short_and_still_says_what_to_do_by_when() -> None:
    line = box_line(SHOWN, 40)
    assert len(line) <= 40
    assert line == "01:22 A 23.1 out 2.4 by 01:50 refill now"


def test_what_is_not_known_is_shown_as_such_and_an_estimate_is_marked() -> None:
    blind = SHOWN | {"box_c": None, "outdoor_c": None, "refill_by": None, "state": "cannot see"}
    assert "box A -- C  outdoor -- C" in box_line(blind, 80)
    assert "box A -- C" in box_line(blind | {"estimated": True}, 80)
    assert "refill by --:--" in box_line(blind, 80)
    assert "box A ~23.1 C" in box_line(SHOWN | {"estimated": True}, 80)


@given(width=st.integers(30, 120), body=st.text(st.characters(codec="ascii"), max_size=500))
def test_no_line_of_a_message_is_wider_than_the_screen(width: int, body: str) -> None:
    lines = phone_lines("01:22", Arrived(MESSAGE.title, body), False, width)
    assert all(len(line) <= width for line in lines)
    assert "".join("".join(lines).replace("|", "").split()).startswith("01:22phone:Refillnow")


def test_a_message_is_shown_whole_and_a_repeat_by_its_title_only() -> None:
    whole = " ".join(" ".join(phone_lines("01:22", MESSAGE, False, 80)).replace("|", " ").split())
    assert whole.count("Under the floor about 02:10.") == 6
    assert phone_lines("01:27", MESSAGE, True, 80) == [
        "01:27  phone, again: Refill now: box A 23.1 C, floor 21.1"
    ]


def test_where_nothing_can_move_a_line_comes_each_half_hour() -> None:
    out = io.StringIO()
    screen = Screen(out, 80, moves=False)
    for minute in (0, 5, 29, 30, 31, 59):
        screen.move(SHOWN | {"at": f"2026-04-12T01:{minute:02d}:00Z"})
    assert [line[:5] for line in out.getvalue().splitlines()] == ["01:00", "01:30"]


def test_on_a_terminal_the_line_stays_last_under_what_happened() -> None:
    out = io.StringIO()
    screen = Screen(out, 80, moves=True)
    screen.move(SHOWN)
    screen.tell(["01:23  something happened"])
    last = out.getvalue().rsplit("\r\x1b[K", 1)[1]
    assert last == "01:23  something happened\n" + box_line(SHOWN, 80)
    screen.rest()
    assert out.getvalue().endswith("\n")


def test_two_threads_never_mix_their_lines() -> None:
    out = io.StringIO()
    screen = Screen(out, 80, moves=False)

    def shout(letter: str) -> None:
        for _ in range(200):
            screen.tell([letter * 40] * 3)

    threads = [threading.Thread(target=shout, args=(letter,)) for letter in "ab"]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    lines = out.getvalue().splitlines()
    assert len(lines) == 1200
    assert all(len(set(lines[i : i + 3])) == 1 for i in range(0, 1200, 3))


def test_wrapped_text_keeps_every_word() -> None:
    text = "one two three " * 20
    assert " ".join(wrapped(text, 33, 7)).split() == text.split()


def test_a_keeper_who_slept_through_the_nudge_still_refills_on_what_takes_it_over() -> None:
    assert Keeper().told("No refill seen: box A 19.6 C", 0.0) == "refill"


def test_the_keeper_comes_twenty_minutes_after_the_nudge_and_once_for_its_repeats() -> None:
    keeper = Keeper()
    done: list[str] = []
    assert keeper.told("Refill now: box A 23.1 C, floor 21.1", 0.0) == "refill"
    assert keeper.told("Refill now: box A 22.9 C, floor 21.1", 300.0) is None
    keeper.carry_out(1199.0, done.append)
    assert done == []
    keeper.carry_out(1200.0, done.append)
    keeper.carry_out(5000.0, done.append)
    assert done == ["refill"]
    assert keeper.told("Refill now: box A 22.0 C, floor 21.1", 1300.0) is None  # the jug needs time to work
    assert keeper.told("Refill now: box A 22.0 C, floor 21.1", 9000.0) == "refill"


@pytest.mark.parametrize(
    ("title", "act"),
    [
        ("Too cold: box A 15.0 C, refill now", "refill"),
        ("Too hot: box A 35.0 C, open it", "air"),
        ("Cannot see box A: probe box-a silent", "battery"),
        ("One fill now, up at 03:10: box A", "refill"),
        ("No fill now, up at 03:10: box A", None),
        ("Sleep through: box A", None),
        ("Morning: woken once", None),
        ("", None),
    ],
)
def test_the_keeper_does_what_the_title_asks(title: str, act: str | None) -> None:
    assert Keeper().told(title, 0.0) == act


def test_errands_are_run_in_the_order_they_are_due() -> None:
    done: list[str] = []
    Keeper([Errand("late", 20.0), Errand("early", 10.0), Errand("never", 99.0)]).carry_out(30.0, done.append)
    assert done == ["early", "late"]


def test_a_packet_is_senml_of_the_probe() -> None:
    """RFC 8428: base name, name, unit Cel and %EL (V, standards.md section 3)."""
    assert json.loads(payload("box-a", 23.0625, 96.0)) == [
        {"bn": "box-a/", "n": "temperature", "u": "Cel", "v": 23.0625},
        {"n": "battery", "u": "%EL", "v": 96.0},
    ]
    assert len(json.loads(payload("box-a", 23.0625, None))) == 1


def test_the_config_that_is_written_is_the_site_that_is_simulated(tmp_path: Path) -> None:
    files = scenario.prepare(tmp_path / "night", keep=False)
    scenario.write(files, 12_345, "json://127.0.0.1:1/phone")
    config = load(files.config, os.environ)
    assert config.site.boxes["a"] == scenario.STATED
    assert config.site.batch.chicks == {"a": scenario.CHICKS}
    assert config.broker is not None
    assert config.broker.port == 12_345
    assert config.channels[0].url.reveal() == "json://127.0.0.1:1/phone"
    assert set(config.site.probes) == set(scenario.PROBES)
    assert files.phone_url.stat().st_mode & 0o077 == 0
    age = scenario.STARTS - datetime.combine(config.site.batch.day0, datetime.min.time(), UTC)
    assert age == timedelta(days=scenario.AGE_DAYS)


def test_a_second_demo_takes_the_place_of_the_first_or_stands_beside_it(tmp_path: Path) -> None:
    home = tmp_path / "night"
    scenario.write(scenario.prepare(home, keep=False), 1, "json://127.0.0.1:1/phone")
    assert scenario.prepare(home, keep=True).directory == tmp_path / "night-2"
    (home / "journal.db").write_text("old")
    assert not scenario.prepare(home, keep=False).journal.exists()


@pytest.mark.parametrize("made", ["file", "other", "lookalike"])
def test_what_no_demo_made_is_never_touched(tmp_path: Path, made: str) -> None:
    home = tmp_path / "night"
    if made == "file":
        home.write_text("mine")
        kept = home
    else:
        home.mkdir()
        kept = home / ("coldbrood.toml" if made == "lookalike" else "precious.txt")
        kept.write_text("mine")
    with pytest.raises(DirectoryError, match="--dir"):
        scenario.prepare(home, keep=False)
    assert kept.read_text() == "mine"


def test_the_phone_takes_messages_and_refuses_the_rest() -> None:
    got: list[Arrived] = []
    with Receiver(got.append) as receiver:
        url = receiver.url.replace("json://", "http://")
        good = json.dumps({"version": "1.0", "title": "T", "message": "M", "type": "info"}).encode()
        with urllib.request.urlopen(urllib.request.Request(url, good), timeout=5) as answer:
            assert answer.status == 200
        for bad in (b"", b"\xff", b"[]", b'{"title": "T"}'):
            with pytest.raises(urllib.error.HTTPError) as refused:
                urllib.request.urlopen(urllib.request.Request(url, bad), timeout=5)
            assert refused.value.code == 400
            refused.value.close()
    assert got == [Arrived("T", "M")]


def test_wakings_count_nudges_in_the_night_once_each(site: Site) -> None:
    night = [told(at(20)), told(at(22), alarm=False), told(at(1, 20, day=12)), told(at(7, 20, day=12))]
    assert account.wakings(site, night) == 1
    line = account.waking_line(site, night, at(18), at(9, day=12))
    assert line.startswith("Woken once. By the age timetable, a refill each 4 h,")
    assert line.endswith("got up twice.")  # 22:00 while still up, then 02:00 and 06:00


def test_the_timetable_of_the_demo_wakes_at_two_and_six(site: Site) -> None:
    """Four hours in the first three days: common practice, no source (poultry.md, last section)."""
    assert account.timetable_wakings(site, at(18), at(9, day=12)) == (4.0, 2)
    assert account.timetable_wakings(site, at(18), at(23)) == (4.0, 0)


def test_the_account_says_why_how_often_and_when_it_was_over(site: Site) -> None:
    body = "It goes under the floor about 02:10. Falling 2 C an hour."
    one = Asked(
        at(1, 22, day=12), True, MESSAGE.title, body, 4, "forecast", at(1, 51, day=12), at(2, 2, day=12)
    )
    lines = account.table_lines(site, [one], 200)
    assert lines[1] == f"01:22  {MESSAGE.title}"
    assert lines[2].strip() == (
        "why: forecast. It goes under the floor about 02:10. Told 4 times, answered 01:51, over 02:02."
    )
    assert all(len(line) <= 40 for line in account.table_lines(site, [one], 40))


def test_the_story_fits_its_hours() -> None:
    assert math.isclose(scenario.STORY_S, 15 * 3600.0)
    end = scenario.STARTS + timedelta(seconds=scenario.STORY_S)
    assert (scenario.STARTS.hour, end.hour) == (18, 9)
