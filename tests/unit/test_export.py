"""The export says in plain files all that the journal holds, whole or not at all, and changes nothing."""

import csv
import os
import resource
import sqlite3
import tracemalloc
from dataclasses import replace
from datetime import UTC
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from frictionless import Package
from journal_records import dump, everything, line, note, open_journal, reading

from coldbrood.journal.errors import JournalError
from coldbrood.journal.rows import Batch
from coldbrood.report.export import ExportError, export
from coldbrood.report.tables import guarded, in_unit, rfc3339
from coldbrood.watch.events import Reading

ZONE = ZoneInfo("Europe/Berlin")
FILES = [
    "readings.csv",
    "notes.csv",
    "history.csv",
    "refused.csv",
    "refused_counts.csv",
    "journal.sqlite",
    "datapackage.json",
]


@pytest.fixture
def journal_path(tmp_path: Path) -> Path:
    path = tmp_path / "j.sqlite"
    journal = open_journal(path)
    for n in range(5):
        journal.commit(everything(n))
    odd = replace(note("odd", 7, text='=HYPERLINK("x"), he said,\r\n"off"'), count=3, fill_c=-0.5)
    journal.commit(
        Batch(taken=[odd, reading(8, quantity="battery_v"), reading(9, "-box")], history=[line(9)])
    )
    journal.close()
    return path


def rows_of(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_the_files_are_named_and_nothing_else_is_left(journal_path: Path, tmp_path: Path) -> None:
    out = tmp_path / "deep" / "out"
    assert [path.name for path in export(journal_path, out, ZONE, "C")] == FILES
    assert sorted(path.name for path in out.iterdir()) == sorted(FILES)


def test_frictionless_finds_the_package_valid(journal_path: Path, tmp_path: Path) -> None:
    """The frictionless library checks types, keys, sizes and hashes against the description."""
    for unit in ("C", "F"):
        out = tmp_path / unit
        export(journal_path, out, ZONE, unit)
        report = validate(out)
        assert report.flatten(["title", "note", "rowNumber"]) == []
        assert report.valid
        assert report.stats["tasks"] == len(FILES) - 1


def test_frictionless_finds_a_changed_file(journal_path: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    export(journal_path, out, ZONE, "C")
    changed = out / "readings.csv"
    changed.write_bytes(changed.read_bytes().replace(b",true,", b",ture,", 1))
    assert not validate(out).valid
    copy = tmp_path / "again"
    export(journal_path, copy, ZONE, "C")
    (copy / "journal.sqlite").write_bytes((copy / "journal.sqlite").read_bytes()[:-1])
    assert not validate(copy).valid


def validate(out: Path) -> Any:
    return Package(str(out / "datapackage.json")).validate()


def test_every_reading_is_there_in_order_with_its_times(journal_path: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    export(journal_path, out, ZONE, "C")
    rows = rows_of(out / "readings.csv")
    journal = open_journal(journal_path)
    taken = [event for event in journal.since(0) if isinstance(event, Reading)]
    journal.close()
    assert len(rows) == len(taken) == 12
    for row, event in zip(rows, taken, strict=True):
        name, _, ending = event.quantity.rpartition("_")
        assert float(row[event.quantity]) == event.value
        assert float(row[f"{name}_raw_{ending}"]) == event.raw
        assert float(row["watch_s"]) == event.t_s
        assert row["time_utc"] == rfc3339(event.wall_s, UTC)
        assert row["time_local"] == rfc3339(event.wall_s, ZONE)
        assert row["clock_synced"] == ("true" if event.synced else "false")
        assert row["probe"].lstrip("'") == event.probe
    assert [int(row["seq"]) for row in rows] == sorted(int(row["seq"]) for row in rows)
    assert rows[0]["humidity_pct"] == ""


def test_fahrenheit_is_named_and_computed_for_temperatures_only(journal_path: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    export(journal_path, out, ZONE, "F")
    rows = rows_of(out / "readings.csv")
    assert "temperature_c" not in rows[0]
    assert float(rows[0]["temperature_raw_f"]) == 68.0  # 20 C
    volts = [row["battery_v"] for row in rows if row["battery_v"]]
    assert volts == [repr(reading(8).value)]
    assert rows_of(out / "notes.csv")[-1]["fill_f"] == "31.1"
    # Fixed points of the two scales (ice, body, boiling; definition of the degree Fahrenheit, from memory).
    assert [in_unit(c, "F") for c in (-40.0, 0.0, 37.0, 100.0, None)] == [-40.0, 32.0, 98.6, 212.0, None]


def test_a_formula_in_a_text_is_disarmed_and_a_negative_number_stays_one(
    journal_path: Path, tmp_path: Path
) -> None:
    out = tmp_path / "out"
    export(journal_path, out, ZONE, "C")
    last = rows_of(out / "notes.csv")[-1]
    assert last["text"] == '\'=HYPERLINK("x"), he said,\r\n"off"'
    assert (last["fill_c"], last["count"]) == ("-0.5", "3")
    assert rows_of(out / "readings.csv")[-1]["probe"] == "'-box"
    copied = {row[1]: row[11] for row in dump(out / "journal.sqlite")["note"]}
    assert copied["odd"] == '=HYPERLINK("x"), he said,\r\n"off"'


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r", "\n", "\0"])
def test_each_start_that_makes_a_formula_is_guarded(start: str) -> None:
    """The list of OWASP's page on CSV injection (reference sheet section 5, V), and a line feed."""
    assert guarded(f"{start}1+1") == f"'{start}1+1"


def test_other_texts_are_left_as_they_are() -> None:
    assert [guarded(text) for text in ("box a", " =1", "2-1", "'x", "", None)] == [
        "box a",
        " =1",
        "2-1",
        "'x",
        "",
        "",
    ]


def test_history_and_refusals_are_there(journal_path: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    export(journal_path, out, ZONE, "C")
    history = rows_of(out / "history.csv")
    assert [row["reason"] for row in history] == ["under-floor-soon"] * 6
    payloads = [row["payload"] for row in rows_of(out / "refused.csv")]
    assert payloads == [f"\\xff{n}" for n in range(5) for _ in range(2)]
    counts = [tuple(row.values()) for row in rows_of(out / "refused_counts.csv")]
    assert counts == [("(none)", "bad-payload", "5"), ("box-a", "jump", "5")]


def test_the_copy_is_the_journal(journal_path: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    export(journal_path, out, ZONE, "C")
    assert dump(out / "journal.sqlite") == dump(journal_path)
    open_journal(out / "journal.sqlite").close()  # and coldbrood takes it for one


def test_the_repeated_hour_of_autumn_keeps_two_distinct_times() -> None:
    """02:30 comes twice on 2026-10-25 in central Europe: 00:30 and 01:30 UTC (IANA time zone database)."""
    first, second = 1_792_888_200.0, 1_792_891_800.0
    assert (rfc3339(first, UTC), rfc3339(second, UTC)) == (
        "2026-10-25T00:30:00.000Z",
        "2026-10-25T01:30:00.000Z",
    )
    assert rfc3339(first, ZONE) == "2026-10-25T02:30:00.000+02:00"
    assert rfc3339(second, ZONE) == "2026-10-25T02:30:00.000+01:00"


def test_a_clock_out_of_all_bounds_gives_an_empty_time() -> None:
    assert [rfc3339(wall_s, UTC) for wall_s in (1e18, -1e18, float("inf"), float("nan"))] == [""] * 4
    assert rfc3339(0.0004, UTC) == "1970-01-01T00:00:00.000Z"
    assert rfc3339(1.9996, UTC) == "1970-01-01T00:00:02.000Z"


def test_an_odd_number_is_one_the_description_allows(tmp_path: Path) -> None:
    """A number may be INF (Table Schema, field type "number"); a NaN is a missing value."""
    journal = open_journal(tmp_path / "j.sqlite")
    journal.commit(Batch(taken=[replace(reading(1), raw=float("-inf"), value=float("nan"))]))
    journal.close()
    for unit in ("C", "F"):
        export(tmp_path / "j.sqlite", tmp_path / unit, ZONE, unit)
        row = rows_of(tmp_path / unit / "readings.csv")[0]
        assert (row[f"temperature_{unit.lower()}"], row[f"temperature_raw_{unit.lower()}"]) == ("", "-INF")
        assert validate(tmp_path / unit).valid


def test_a_directory_in_use_is_refused(journal_path: Path, tmp_path: Path) -> None:
    (tmp_path / "used").mkdir()
    (tmp_path / "used" / "eggs.txt").write_text("12")
    with pytest.raises(ExportError, match="used is not empty: name a new or empty directory"):
        export(journal_path, tmp_path / "used", ZONE, "C")
    with pytest.raises(ExportError, match="is a file: name a new or empty directory"):
        export(journal_path, journal_path, ZONE, "C")
    assert os.listdir(tmp_path / "used") == ["eggs.txt"]


def test_a_missing_journal_is_said_before_anything_is_written(tmp_path: Path) -> None:
    with pytest.raises(JournalError, match="there is no journal here"):
        export(tmp_path / "none.sqlite", tmp_path / "out", ZONE, "C")
    assert not (tmp_path / "out").exists()


def test_an_export_that_fails_leaves_no_file_under_its_name(journal_path: Path, tmp_path: Path) -> None:
    """The kernel refuses writes beyond RLIMIT_FSIZE: fail at each size until it fits."""
    out = tmp_path / "out"
    out.mkdir()
    journal = open_journal(journal_path)  # the daemon's log and its shared memory are there already
    failures = 0
    while not _fits(journal_path, out, failures * 512):
        failures += 1
        assert list(out.iterdir()) == []
    journal.close()
    assert failures * 512 > 10_000
    assert sorted(path.name for path in out.iterdir()) == sorted(FILES)


def _fits(journal_path: Path, out: Path, limit: int) -> bool:
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (limit, hard))
    try:
        export(journal_path, out, ZONE, "C")
    except (JournalError, OSError):
        return False
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    return True


def test_progress_is_told_for_each_file(journal_path: Path, tmp_path: Path) -> None:
    told: list[tuple[str, int, int]] = []
    export(journal_path, tmp_path / "out", ZONE, "C", lambda *step: told.append(step))
    assert told[0] == ("journal.sqlite", 0, 1)
    assert ("readings.csv", 12, 12) in told
    assert [name for name, done, total in told if done == total] == ["journal.sqlite", *FILES[:5]]


def test_memory_stays_flat_as_the_log_grows(tmp_path: Path) -> None:
    """Python's own peak is the same for 2,000 readings and for 20,000, which as a list would be 8 MB."""
    peaks = []
    for rows in (2_000, 20_000):
        journal = open_journal(tmp_path / f"{rows}.sqlite")
        journal.commit(Batch(taken=[reading(n) for n in range(rows)]))
        journal.close()
        tracemalloc.start()
        export(tmp_path / f"{rows}.sqlite", tmp_path / f"out-{rows}", ZONE, "C")
        peaks.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
    assert peaks[1] < peaks[0] + 300_000


def test_the_export_reads_one_moment_while_the_daemon_writes(journal_path: Path, tmp_path: Path) -> None:
    journal = open_journal(journal_path)
    step = 100

    def write_on(_file: str, _done: int, _total: int) -> None:
        nonlocal step
        step += 1
        journal.commit(everything(step))

    export(journal_path, tmp_path / "out", ZONE, "C", write_on)
    journal.close()
    last = dump(tmp_path / "out" / "journal.sqlite")["state"]
    assert ("state-101", 28, b"\x00\xff") in last
    assert not any(name == "state-102" for name, _, _ in last)
    keys = [row["key"] for row in rows_of(tmp_path / "out" / "notes.csv")]
    assert keys == ["note-0", "note-1", "note-2", "note-3", "note-4", "odd", "note-101"]
    assert validate(tmp_path / "out").valid


def test_the_copy_is_sound(journal_path: Path, tmp_path: Path) -> None:
    export(journal_path, tmp_path / "out", ZONE, "C")
    db = sqlite3.connect(tmp_path / "out" / "journal.sqlite")
    assert db.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    assert db.execute("SELECT count(*) FROM refused").fetchone() == (10,)
    db.close()
