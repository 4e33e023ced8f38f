"""Each figure of a batch's report is what the journal says, reckoned here a second time by other means."""

import json
import re
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import pytest
from iapws import IAPWS97
from played_batch import play
from report_figures import Read, read

from coldbrood.brooder.band import SeenLookIn, band
from coldbrood.settings.records import Config

pytestmark = pytest.mark.timeout(300)  # three days are played before the first test
DAYS = 3.4
TRACK_MOST_S = 900.0


@dataclass
class Made:
    """A played batch, the report that the command made of it, and the journal behind it."""

    folder: Path
    config: Config
    said: str
    report: Read
    html: str
    db: sqlite3.Connection

    def rows(self, sql: str, *values: object) -> list[tuple[object, ...]]:
        return self.db.execute(sql, values).fetchall()

    @property
    def offset_s(self) -> float:
        """Seconds that local time is ahead of UTC, from the zone's name in the config."""
        zone = re.search(r'time_zone = "Etc/GMT([+-]\d+)"', (self.folder / "coldbrood.toml").read_text())
        assert zone is not None
        return -3600.0 * int(zone[1])

    def local(self, day: int, hour: float) -> float:
        """Unix time of an hour of the local day, counted from the day of arrival."""
        arrival = self.config.site.batch.arrival
        midnight_s = datetime(arrival.year, arrival.month, arrival.day, tzinfo=UTC).timestamp()
        return midnight_s - self.offset_s + 86_400.0 * day + 3600.0 * hour


def command(*args: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "coldbrood", *args], capture_output=True, text=True, timeout=300, check=False
    )


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Made]:
    folder = tmp_path_factory.mktemp("batch")
    config = play(folder, days=DAYS)
    target = folder / "batch.html"
    done = command("report", "--config", str(folder / "coldbrood.toml"), str(target))
    assert (done.returncode, done.stderr) == (0, "")
    html = target.read_text(encoding="utf-8")
    db = sqlite3.connect(f"file:{config.journal_path}?mode=ro", uri=True)
    yield Made(folder, config, done.stdout, read(html), html, db)
    db.close()


def box_readings(made: Made, from_s: float, to_s: float) -> list[tuple[float, float, float]]:
    sql = """SELECT r.wall_s, r.value, r.t_s FROM reading r JOIN probe p ON p.id = r.probe
        WHERE p.name = 'box-a' AND r.quantity = 1 AND NOT r.flags & 2 AND r.wall_s >= ? AND r.wall_s < ?
        ORDER BY r.wall_s"""
    return made.db.execute(sql, (from_s, to_s)).fetchall()


def nights(made: Made) -> list[tuple[str, float, float]]:
    """Name, bedtime and rising (22:00 to 06:30 in the config) of the three whole nights."""
    found = []
    for day in range(3):
        from_s = made.local(day, 22.0)
        evening = datetime.fromtimestamp(from_s + made.offset_s, UTC).date()
        found.append((f"night-a-{evening.isoformat()}", from_s, made.local(day + 1, 6.5)))
    return found


def test_it_says_where_it_is(made: Made) -> None:
    assert made.said.split() == [str(made.folder / "batch.html")]
    assert [path.name for path in made.folder.glob(".*")] == []


def test_it_needs_no_other_file(made: Made) -> None:
    assert made.report.fetches == []
    assert not {"script", "link", "iframe", "object", "img", "base"} & set(made.report.tags)
    urls = set(re.findall(r"url\(([^)]*)\)", made.html)) | set(re.findall(r"@import.*", made.html))
    assert all(url.startswith("#") for url in urls)
    assert "default-src 'none'" in made.html


def test_no_two_things_have_one_name_and_each_link_has_its_aim(made: Made) -> None:
    names = made.report.names
    assert len(names) == len(set(names))
    aims = set(re.findall(r'(?:href="|url\()#([^")]+)', made.html))
    assert aims <= set(names)
    assert made.report.tags.count("svg") == 5


def test_each_figure_reads_as_its_value(made: Made) -> None:
    """What stands on the paper is the value rounded as it is shown."""
    assert len(made.report.values) > 100
    for name, text in made.report.texts.items():
        reads_as(name, text, made.report.values[name])


def reads_as(name: str, text: str, value: float) -> None:
    """A figure in English marks: thousands and decimals as in 1,234.5, a true minus."""
    if text == "not at all":
        assert value == 0.0, name
        return
    number = re.match(r"-?[\d,]+(\.\d+)?", text.replace("\N{MINUS SIGN}", "-"))
    assert number is not None, (name, text)
    digits = len((number[1] or ".")[1:])
    assert float(number[0].replace(",", "")) == pytest.approx(value, abs=0.501 * 10.0**-digits), name


def test_in_german_it_says_the_same_figures_and_no_english(made: Made) -> None:
    """The figures that the other tests hold to the journal, in German marks and German words."""
    target = made.folder / "german.html"
    config = str(made.folder / "coldbrood.toml")
    done = command("report", "--config", config, "--language", "de", str(target))
    assert (done.returncode, done.stderr) == (0, "")
    html = target.read_text(encoding="utf-8")
    german = read(html)
    assert '<html lang="de">' in html
    assert german.values == made.report.values
    swap = str.maketrans(",.", ".,")
    for name, text in german.texts.items():
        reads_as(name, text.translate(swap).replace("gar nicht", "not at all"), german.values[name])
    shown = read(re.sub(r"<style.*?</style>", "", html, flags=re.DOTALL)).text()
    kept = "found in the morning, weak since the journey"
    assert kept in shown, "the keeper's own words stay"
    words = set(re.findall(r"[A-Za-z]+", shown.replace(kept, "")))
    assert not words & {"the", "of", "box", "and", "night", "refill", "day", "hold", "outside", "chicks"}
    for said in ("Heißes Wasser verbrüht", "einen Tierarzt fragen", "Lebenstage", "keine Quelle"):
        assert said in german.text(), said


def test_each_night_came_as_the_readings_say(made: Made) -> None:
    for name, from_s, to_s in nights(made):
        seen = box_readings(made, from_s, to_s)
        assert len(seen) > 80
        assert made.report.values[f"{name}-low"] == pytest.approx(min(value for _, value, _ in seen))
        outdoor = made.rows(
            "SELECT min(value) FROM reading r JOIN probe p ON p.id = r.probe WHERE p.name = 'outdoor' "
            "AND NOT flags & 2 AND wall_s >= ? AND wall_s < ?",
            from_s,
            to_s,
        )
        assert made.report.values[f"{name}-outdoor"] == pytest.approx(outdoor[0][0])
    lows = [made.report.values[f"{name}-low"] for name, _, _ in nights(made)]
    assert made.report.values["lowest"] == min(lows)
    assert made.report.values["nights"] == len(lows) == 3


def test_each_forecast_is_the_one_kept_at_bedtime(made: Made) -> None:
    kept = made.rows("SELECT wall_s, state, detail FROM history WHERE kind = 'forecast' ORDER BY seq")
    assert len(kept) == 3
    inside = 0
    for (name, from_s, _), (wall_s, state, detail) in zip(nights(made), kept, strict=True):
        assert abs(float(str(wall_s)) - from_s) <= 300.0
        assert state == "known"
        words = re.search(r"low_c=([\d.]+),([\d.]+),([\d.]+)", str(detail))
        assert words is not None
        told = [made.report.values[f"{name}-foreseen-{at}"] for at in ("low", "middle", "high")]
        assert told == [float(word) for word in words.groups()]
        inside += told[0] <= made.report.values[f"{name}-low"] <= told[2]
    assert made.report.values["judged"] == 3
    assert made.report.values["inside"] == inside


def test_the_time_under_the_floor_is_that_of_the_readings(made: Made) -> None:
    """Each reading stands until the next one, at most a quarter of an hour; the floor heeds the look-ins."""
    everything = box_readings(made, 0.0, 1e12)
    look_ins = []
    for look_in, t_s, wall_s in made.rows("SELECT look_in, t_s, wall_s FROM note WHERE kind = 'look-in'"):
        before = [
            value for at, value, _ in everything if float(str(wall_s)) - 3600 <= at <= float(str(wall_s))
        ]
        look_ins.append(SeenLookIn(str(look_in), float(str(t_s)), before[-1] if before else None))
    total = 0.0
    for name, from_s, to_s in nights(made):
        seen = box_readings(made, from_s, to_s)
        minutes = 0.0
        for (wall_s, value, t_s), after in zip(seen, [*(row[0] for row in seen[1:]), to_s], strict=True):
            age = (wall_s - made.local(0, 0.0)) / 86_400.0
            if value < band(age, tuple(look_ins), t_s).floor_c:
                minutes += min(after - wall_s, TRACK_MOST_S) / 60.0
        assert made.report.values[f"{name}-under"] == pytest.approx(minutes, abs=0.02)
        total += minutes
    assert made.report.values["under-min"] == pytest.approx(total, abs=0.05)


def test_wakings_are_the_sends_that_reached_the_phone_at_night(made: Made) -> None:
    """One for each raised alarm, however often it was repeated."""
    found: set[str] = set()
    for _, from_s, to_s in nights(made):
        sent = made.rows(
            "SELECT subject FROM history WHERE kind = 'send' AND state = 'accepted' AND wall_s >= ? "
            "AND wall_s < ?",
            from_s,
            to_s,
        )
        found |= {str(subject).split("@")[0].split(".")[0] for (subject,) in sent if "#" in str(subject)}
        first = [
            made.rows("SELECT min(wall_s) FROM history WHERE subject GLOB ?", f"{key}.1@*")[0][0]
            for key in found
        ]
        assert all(float(str(at)) >= made.local(0, 22.0) for at in first)
    assert made.report.values["wakings"] == len(found)


def test_by_the_timetable_a_keeper_gets_up_twice_a_night(made: Made) -> None:
    """22:00 to 06:30, every 4 h to day 3: 02:00 and 06:00 in each of three nights (common practice)."""
    assert made.report.values["timetable-wakings"] == 6


def test_refills_are_those_seen_and_those_noted_once_each(made: Made) -> None:
    seen = made.rows("SELECT detail FROM history WHERE kind='refill' AND state='seen'")
    at = [datetime.fromisoformat(str(row[0]).partition("at=")[2]).timestamp() for row in seen]
    at += [float(str(row[0])) for row in made.rows("SELECT wall_s FROM note WHERE kind = 'refill'")]
    each: list[float] = []
    for wall_s in sorted(at):
        if not each or wall_s - each[-1] >= 2700.0:
            each.append(wall_s)
    assert len(each) > 6
    assert made.report.values["refills"] == made.report.values["water-a-refills"] == len(each)
    spec = made.config.site.boxes["a"]
    litres = len(each) * spec.jugs * spec.jug_litres
    assert made.report.values["litres"] == made.report.values["water-a-litres"] == pytest.approx(litres)


def test_the_heat_is_that_of_the_steam_tables(made: Made) -> None:
    """Enthalpies of IAPWS-IF97 by the library iapws, litres measured cold at 10 C, within 1 %."""
    spec = made.config.site.boxes["a"]
    cold, hot = (IAPWS97(T=celsius + 273.15, P=0.101325) for celsius in (10.0, spec.fill_c))
    kg = made.report.values["litres"] / 1000.0 * cold.rho
    kwh = kg * (hot.h - cold.h) / 3600.0
    assert made.report.values["water-a-fresh"] == pytest.approx(kwh, rel=0.01)
    assert made.report.values["water-a-again"] < made.report.values["water-a-fresh"]
    kettle = made.report.values["fuel-0-fresh-most"]
    assert kettle == pytest.approx(made.report.values["water-a-fresh"] / 0.8)


def test_losses_are_told_apart_at_72_hours(made: Made) -> None:
    day0_s, early, later = made.local(0, 0.0), 0, 0
    for wall_s, count in made.rows("SELECT wall_s, count FROM note WHERE kind = 'loss'"):
        if float(str(wall_s)) - day0_s < 72 * 3600:
            early += int(str(count))
        else:
            later += int(str(count))
    assert (early, later) == (1, 0)
    assert (made.report.values["lost-early"], made.report.values["lost-later"]) == (early, later)
    began = made.config.site.batch.chicks["a"]
    assert made.report.values["chicks-began"] == began
    assert made.report.values["chicks-left"] == began - early - later


def test_the_day_before_a_loss_is_that_of_the_box(made: Made) -> None:
    ((wall_s,),) = made.rows("SELECT wall_s FROM note WHERE kind = 'loss'")
    seen = box_readings(made, float(str(wall_s)) - 86_400.0, float(str(wall_s)))
    assert made.report.values["loss-1-low"] == pytest.approx(min(value for _, value, _ in seen))


@pytest.mark.parametrize("outside", ["0", "10"])
def test_holds_are_those_that_the_hold_command_tells(made: Made, outside: str) -> None:
    """`coldbrood hold` reads what the box learned by a way of its own; it rounds to 0.01 h."""
    chicks = str(made.config.site.batch.chicks["a"])
    args = ("--json", "--age", "2", "--chicks", chicks, "--outside", outside)
    done = command("hold", "--config", str(made.folder / "coldbrood.toml"), *args)
    assert done.returncode == 0, done.stderr
    told = json.loads(done.stdout)
    assert told["source"] == "as learned"
    for at in ("early", "median", "late"):
        mine = made.report.values[f"hold-a-2-{outside}-{at}"]
        assert mine == pytest.approx(told["hold"][f"{at}_h"], abs=0.006)
        assert made.report.values[f"pin-a-{outside}-{at}"] == mine


def test_readings_are_counted(made: Made) -> None:
    assert made.report.values["readings"] == len(box_readings(made, 0.0, 1e12))


def test_it_gives_its_cautions_and_says_what_is_an_estimate(made: Made) -> None:
    words = made.report.text()
    for said in (
        "Hot water scalds",
        "outranks every figure",
        "ask a vet",
        "no source",
        "an estimate",
        "nothing was weighed",
    ):
        assert said in words, said


def test_a_pdf_is_printed_by_a_real_browser_with_the_summary_on_one_page(made: Made) -> None:
    target = made.folder / "printed.html"
    done = command("report", "--config", str(made.folder / "coldbrood.toml"), "--pdf", str(target))
    assert (done.returncode, done.stderr) == (0, "")
    pdf = (made.folder / "printed.pdf").read_bytes()
    assert pdf.startswith(b"%PDF-")
    assert 2 <= len(re.findall(rb"/Type\s*/Page\b", pdf)) <= 8
