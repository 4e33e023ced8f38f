"""The report of odd batches: none yet, two in one journal, other units, a box never read, hostile words."""

import math
import sys
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pytest
from journal_records import open_journal
from report_figures import Read, read
from sites import make_site

from coldbrood.brooder.specs import BoxSpec
from coldbrood.journal.reader import HistoryLine, JournalReader
from coldbrood.journal.rows import Batch
from coldbrood.report.account import Account, account
from coldbrood.report.gather import Refilled, occasions
from coldbrood.report.plots import MISSING, require_plots
from coldbrood.report.series import Series
from coldbrood.report.sheet import sheet
from coldbrood.report.span import ReportError
from coldbrood.report.water import HEATERS, fuel, water
from coldbrood.report.words import Words
from coldbrood.watch.batches import start_text
from coldbrood.watch.events import History, Note, NoteKind, Reading
from coldbrood.watch.site import Site
from coldbrood.watch.takeback import standing

START_S = 1_775_779_200.0  # 2026-04-10 00:00 UTC, the day of arrival in sites.py
HOUR_S = 3600.0
DAYS = 2


def temperature(probe: str, wall_s: float, celsius: float) -> Reading:
    return Reading(probe, "temperature_c", celsius, celsius, wall_s - START_S + 1000.0, wall_s, True)


def note(kind: NoteKind, wall_s: float, key: str, **more: object) -> Note:
    plain = Note(key, kind, "a", wall_s - START_S + 1000.0, wall_s)
    return replace(plain, **more)  # type: ignore[arg-type] # fields of Note by their names


def days(from_s: float, count: float = DAYS, low_c: float = 23.0) -> list[Reading | Note]:
    """Readings each 15 minutes: a box that swings by 4 C about its floor, an outdoor air that swings by 5."""
    found: list[Reading | Note] = []
    for n in range(int(count * 96)):
        wave = math.sin(2.0 * math.pi * n / 32.0)
        found.append(temperature("box-a", from_s + 900.0 * n, low_c + 2.0 + 2.0 * wave))
        found.append(temperature("outdoor", from_s + 900.0 * n + 60.0, 5.0 + 5.0 * wave))
    return found


def keep(path: Path, *batches: Batch) -> None:
    journal = open_journal(path)
    for batch in batches:
        journal.commit(batch)
    journal.close()


def report(path: Path, site: Site, number: int | None = None) -> Read:
    with JournalReader.open(path) as reader:
        return read(sheet(account(site, reader, number), START_S))


def reckoned(path: Path, number: int | None = None) -> Account:
    """The account without its pictures."""
    with JournalReader.open(path) as reader:
        return account(make_site(), reader, number)


def test_a_journal_with_nothing_of_a_box_says_what_to_do(tmp_path: Path) -> None:
    keep(tmp_path / "j.db")
    with pytest.raises(ReportError, match="nothing is in the journal yet: let the daemon run first"):
        report(tmp_path / "j.db", make_site())
    keep(tmp_path / "j.db", Batch(taken=[temperature("outdoor", START_S + 60.0, 4.0)]))
    with pytest.raises(ReportError, match="batch 1: no reading of a hen box is in the journal"):
        report(tmp_path / "j.db", make_site())


def test_what_was_measured_before_the_arrival_is_not_of_the_batch(tmp_path: Path) -> None:
    early = days(START_S - 86_400.0, 1.0, low_c=2.0)
    keep(tmp_path / "j.db", Batch(taken=[*early, *days(START_S)]))
    found = reckoned(tmp_path / "j.db")
    assert len(found.facts.boxes["a"].celsius) == DAYS * 96
    assert [night.low_c for night in found.nights] == [pytest.approx(23.0)]


def test_two_batches_in_one_journal_are_told_apart(tmp_path: Path) -> None:
    end_s, next_s = START_S + DAYS * 86_400.0, START_S + 10 * 86_400.0
    first = [*days(START_S), note("loss", START_S + 90_000.0, "l1", count=2)]
    text = start_text(date(2026, 4, 20), None, "layer", {"a": 12})
    later = [note("batch-start", next_s, "b2", box=None, text=text), *days(next_s + 60.0, low_c=15.0)]
    close = note("batch-close", end_s, "c1", box=None)
    keep(tmp_path / "j.db", Batch(taken=[*first, close, *later]))
    old, new = (reckoned(tmp_path / "j.db", number) for number in (1, 2))
    assert [(flock.began, flock.left) for flock in (*old.flocks, *new.flocks)] == [(16, 14), (12, 12)]
    assert [night.low_c for night in (*old.nights, *new.nights)] == pytest.approx([23.0, 15.0])
    assert (old.facts.told.is_open, new.facts.told.is_open) == (False, True)
    assert (len(old.taught), len(new.taught)) == (0, 1)  # the box has learned on since the first
    with pytest.raises(ReportError, match="batch: 3: 1 to 2, for so many are in the journal"):
        report(tmp_path / "j.db", make_site(), 3)


def test_fahrenheit_is_shown_and_celsius_stays_behind_it(tmp_path: Path) -> None:
    keep(tmp_path / "j.db", Batch(taken=days(START_S)))
    celsius, fahrenheit = (report(tmp_path / "j.db", make_site(unit=unit)) for unit in ("C", "F"))
    assert celsius.values == fahrenheit.values
    assert [one.texts["lowest"].split() for one in (celsius, fahrenheit)] == [["23", "°C"], ["73", "°F"]]
    assert "temperature, °F" in fahrenheit.text()


def test_what_is_not_known_is_said_and_words_of_the_keeper_are_no_markup(tmp_path: Path) -> None:
    """A box that was never read, a night with no forecast kept, a loss with hostile words."""
    hostile = '<script>alert(1)</script>"&'
    taken = [*days(START_S), note("loss", START_S + 90_000.0, "l", text=hostile)]
    keep(tmp_path / "j.db", Batch(taken=taken))
    found = report(tmp_path / "j.db", make_site("ab"))
    assert "script" not in found.tags
    assert hostile in found.text()
    assert "Nothing was read in this box: the figures are those of the box on paper." in found.text()
    assert (found.values["nights"], found.values["judged"]) == (1, 0)
    assert "none kept" in found.text()


def test_a_note_taken_back_counts_no_more(tmp_path: Path) -> None:
    told = [note("loss", START_S + 90_000.0, "l1"), note("loss", START_S + 90_060.0, "l2")]
    back = note("withdraw", START_S + 90_120.0, "w", text="l1")
    assert [one.key for one in standing([*told, back])] == ["l2"]
    keep(tmp_path / "j.db", Batch(taken=[*days(START_S), *told, back]))
    assert reckoned(tmp_path / "j.db").lost(early=True) == 1


def test_a_head_count_that_differs_is_said(tmp_path: Path) -> None:
    counted = [
        note("count", START_S + 4 * HOUR_S, "c0", count=15),  # within the first day: so many came
        note("loss", START_S + 30 * HOUR_S, "l1"),
        note("count", START_S + 40 * HOUR_S, "c1", count=12),
    ]
    keep(tmp_path / "j.db", Batch(taken=[*days(START_S), *counted]))
    (flock,) = reckoned(tmp_path / "j.db").flocks
    assert (flock.began, flock.left, flock.unexplained) == (15, 12, -2)


def test_an_occasion_runs_from_its_first_message_to_what_ended_it() -> None:
    lines = [
        ("alarm", "refill-now/a", "unacknowledged", "forecast", "raise from normal", 0),
        ("send", "refill-now/a#3.1@phone", "accepted", "refill-now/a", "", 1),
        ("send", "refill-now/a#3.1@other", "try-again", "refill-now/a", "", 2),
        ("send", "refill-now/a#3.2@phone", "accepted", "refill-now/a", "", 11),
        ("alarm", "refill-now/a", "acknowledged", "refill-seen", "acknowledge from unacknowledged", 30),
        ("alarm", "refill-now/a", "normal", "forecast", "clear from acknowledged", 45),
        ("send", "morning/2026-04-11@phone", "accepted", "morning/2026-04-11", "", 50),
    ]
    history = [
        HistoryLine(n, 60.0 * minute, START_S + 60.0 * minute, History(kind, *texts))
        for n, (kind, *texts, minute) in enumerate(lines)
    ]
    (one,) = occasions(make_site(), history)
    assert (one.condition, one.subject, one.box, one.wakes) == ("refill-now", "a", "a", True)
    assert one.first_s == START_S + 60.0
    assert (one.messages, one.answered_s, one.over_s) == (2, START_S + 1800.0, START_S + 2700.0)


def test_a_reading_stands_until_the_next_at_most_a_quarter_of_an_hour() -> None:
    series = Series.of(temperature("box-a", START_S + at, 20.0) for at in (0.0, 300.0, 7200.0))
    assert series.stands_s(START_S + 7500.0).tolist() == [300.0, 900.0, 300.0]
    assert series.seen_s(START_S + 7500.0) == 1500.0
    assert series.before(START_S + 7100.0) is None
    assert series.before(START_S + 7100.0, within_s=7200.0) == 20.0
    empty = Series.of([])
    assert (empty.seen_s(START_S), empty.lowest(), empty.before(START_S)) == (0.0, None, None)
    assert np.isfinite(Series.of([temperature("x", 1.0, math.nan)]).celsius).all()


def spec() -> BoxSpec:
    return make_site().boxes["a"]


def test_the_sum_of_the_water_by_hand() -> None:
    """3.8 L from 10 to 80 C: 1112.6 kJ by IAPWS-IF97 (physics sheet section 1, C), here within 0.1 %."""
    told = Refilled("a", START_S, 80.0, 24.0)
    found = water(spec(), [told])
    assert found.fresh_kwh == pytest.approx(1112.6 / 3600.0, rel=0.001)
    assert found.again_kwh == pytest.approx(found.fresh_kwh * 56.0 / 70.0)
    assert water(spec(), [replace(told, box_c=None, fill_c=None)]).again_kwh == pytest.approx(
        found.fresh_kwh * 60.0 / 70.0
    )
    gas = next(heater for heater in HEATERS if "gas" in heater.name)
    assert fuel(gas, 12.9) == pytest.approx((1.0 / 0.55, 2.5))


def test_lengths_of_time_are_said_as_people_say_them() -> None:
    words = Words(make_site(), "en")
    assert [words.time(minutes) for minutes in (0.0, 119.4, 454.0)] == ["0 min", "119 min", "8 h"]
    assert [words.hours(hours) for hours in (5.04, 24.0)] == ["5.0 h", "a day or more"]


def test_without_its_plotting_library_the_report_says_what_to_install(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setitem(sys.modules, "matplotlib.figure", None)
    with pytest.raises(ReportError, match="pip install 'coldbrood\\[report\\]'"):
        require_plots()
    assert "coldbrood[report]" in MISSING
