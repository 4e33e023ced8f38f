"""Each further form of an export holds every reading that it can hold, as others' libraries read it."""

import json
import math
import re
import sys
import tracemalloc
from dataclasses import replace
from pathlib import Path
from zoneinfo import ZoneInfo

import pyarrow.parquet as pq
import pytest
from frictionless import Package
from journal_records import everything, open_journal, reading
from sites import make_site

from coldbrood.journal.reader import JournalReader
from coldbrood.journal.rows import Batch
from coldbrood.probes.senml import resolve
from coldbrood.report.export import export
from coldbrood.report.forms import NAMES, SENML_UNITS, MissingLibrary, forms_of
from coldbrood.watch.events import Reading

ZONE = ZoneInfo("Etc/UTC")
SITE = make_site()
ODD = 5  # readings below that SenML and the line protocol cannot hold


def make_journal(path: Path, rows: int = 200) -> None:
    """Rows of each quantity, and odd ones: no number, no date, a clock never set, a hostile name."""
    journal = open_journal(path)
    journal.commit(Batch(taken=[reading(n) for n in range(rows)]))
    for n in range(3):
        journal.commit(everything(n))
    each = [reading(n, quantity=quantity) for n, quantity in enumerate(SENML_UNITS)]
    odd = [replace(reading(9), value=value, raw=value) for value in (math.nan, math.inf)]
    lost = [replace(reading(9), wall_s=wall_s) for wall_s in (1e18, -1e18, 86_400.0)]
    hostile = reading(10, probe='a b,c="d"')
    journal.commit(Batch(taken=[*each, *odd, *lost, hostile]))
    journal.close()


@pytest.fixture(scope="module")
def out(tmp_path_factory: pytest.TempPathFactory) -> Path:
    base = tmp_path_factory.mktemp("forms")
    make_journal(base / "j.sqlite")
    export(base / "j.sqlite", base / "out", ZONE, "C", forms=forms_of(NAMES, SITE))
    return base / "out"


def kept(out: Path) -> list[Reading]:
    with JournalReader.open(out / "journal.sqlite") as reader:
        return [event for event in reader.since(0) if isinstance(event, Reading)]


def test_senml_is_read_by_the_strict_reader_that_probes_meet(out: Path) -> None:
    """RFC 8428: names, units, absolute times, one base name; resolved here 64 records at a time."""
    pack = json.loads((out / "readings.senml.json").read_text())
    readings = kept(out)
    assert len(pack) == len(readings) - ODD
    base = pack[0].pop("bn")
    assert base == "coldbrood:larch-lane:"
    for first in range(0, len(pack), 64):
        part = [dict(record) for record in pack[first : first + 64]]
        part[0]["bn"] = base
        assert all(not record.relative for record in resolve(part))
    fit = [r for r in readings if math.isfinite(r.value) and 2.0**28 <= r.wall_s < 1e12]
    for record, one in zip(pack, fit, strict=True):
        assert (record["u"], record["v"]) == (SENML_UNITS[one.quantity], one.value)
        assert record["t"] == pytest.approx(one.wall_s, abs=0.0006)
        assert record["n"].endswith(one.quantity.rpartition("_")[0])


def test_the_line_protocol_holds_the_same_points_as_the_mirror_sends(out: Path) -> None:
    """Grammar of the InfluxDB v2 line protocol (M): measurement,tags field=value time; escapes."""
    lines = (out / "readings.lines.txt").read_text().splitlines()
    fit = [r for r in kept(out) if math.isfinite(r.value) and 1e9 < r.wall_s < 1e12]
    assert len(lines) == len(fit) == len(kept(out)) - ODD
    form = re.compile(r"reading(?:,\w+=(?:[^ ,=\\]|\\.)+)+ (\w+)=(-?[\d.e+-]+) (\d{13})")
    for line, one in zip(lines, fit, strict=True):
        match = form.fullmatch(line)
        assert match is not None, line
        assert (match[1], float(match[2])) == (one.quantity, one.value)
        assert int(match[3]) == round(one.wall_s * 1000.0)
    assert 'probe=a\\ b\\,c\\="d"' in lines[-1]


def test_parquet_holds_every_reading(out: Path) -> None:
    """Read by the library pyarrow."""
    table = pq.read_table(out / "readings.parquet").to_pylist()
    readings = kept(out)
    assert len(table) == len(readings)
    for row, one in zip(table, readings, strict=True):
        assert (row["probe"], row["quantity"]) == (one.probe, one.quantity)
        assert (row["clock_synced"], row["late"], row["watch_s"]) == (one.synced, one.late, one.t_s)
        for name in ("value", "raw"):
            assert row[name] == getattr(one, name) or math.isnan(getattr(one, name))
        at = row["time"]
        assert (
            at is None if abs(one.wall_s) > 1e12 else round(at.timestamp() * 1e3) == round(one.wall_s * 1e3)
        )


def test_the_description_names_them_with_size_hash_and_what_was_left_out(out: Path) -> None:
    package = json.loads((out / "datapackage.json").read_text())
    told = {one["path"]: one for one in package["resources"]}
    for file, left_out in (
        ("readings.senml.json", ODD),
        ("readings.lines.txt", ODD),
        ("readings.parquet", 0),
    ):
        assert told[file]["bytes"] == (out / file).stat().st_size
        assert told[file]["description"].startswith(f"{left_out} readings")
    report = Package(str(out / "datapackage.json")).validate()
    assert report.flatten(["title", "note"]) == []


def test_an_empty_journal_gives_valid_files(tmp_path: Path) -> None:
    open_journal(tmp_path / "j.sqlite").close()
    export(tmp_path / "j.sqlite", tmp_path / "out", ZONE, "C", forms=forms_of(NAMES, SITE))
    assert json.loads((tmp_path / "out" / "readings.senml.json").read_text()) == []
    assert (tmp_path / "out" / "readings.lines.txt").read_text() == ""
    assert pq.read_table(tmp_path / "out" / "readings.parquet").num_rows == 0


def test_only_the_forms_asked_for_are_written_each_once(tmp_path: Path) -> None:
    assert [form.name for form in forms_of(["senml", "senml"], SITE)] == ["senml"]
    make_journal(tmp_path / "j.sqlite", rows=3)
    files = export(tmp_path / "j.sqlite", tmp_path / "out", ZONE, "C", forms=forms_of(["senml"], SITE))
    assert [path.name for path in files if "readings" in path.name] == ["readings.csv", "readings.senml.json"]


@pytest.mark.parametrize(("name", "extra"), [("lines", "mirror"), ("parquet", "parquet")])
def test_a_missing_library_is_said_before_anything_is_written(
    name: str, extra: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    for library in ("influxdb_client", "pyarrow", "pyarrow.parquet"):
        monkeypatch.setitem(sys.modules, library, None)
    with pytest.raises(MissingLibrary, match=rf"--also {name}: .* pip install 'coldbrood\[{extra}\]'"):
        forms_of([name], SITE)
    assert forms_of(["senml"], SITE)


def test_memory_stays_flat_in_every_form_as_the_log_grows(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Python's own peak for eight chunks is that for two; 3,000 more rows at once would be some 1 MB."""
    monkeypatch.setattr("coldbrood.report.forms.CHUNK", 500)
    peaks = []
    for rows in (1000, 4000):
        make_journal(tmp_path / f"{rows}.sqlite", rows)
        tracemalloc.start()
        export(tmp_path / f"{rows}.sqlite", tmp_path / f"{rows}", ZONE, "C", forms=forms_of(NAMES, SITE))
        peaks.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
    assert peaks[1] < peaks[0] + 250_000
