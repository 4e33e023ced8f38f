"""`coldbrood hold` fits 80 columns, marks what is too weak, takes what-ifs and refuses nonsense by option."""

import json
from collections.abc import Callable
from pathlib import Path

import pytest

from coldbrood.brooder.sizing import Sizing, median_or_day_h, size
from coldbrood.brooder.specs import BoxSpec, Flock
from coldbrood.cli.hold_table import with_range
from coldbrood.cli.main import main

PAPER = ("hold", "--size", "0.75x0.55x0.40", "--insulation", "30", "--litres", "3.8", "--chicks", "14")
SPEC = BoxSpec("a", 0.75, 0.55, 0.40, 30.0, 0.038, 10.0, 1, 3.8, 60.0, False)


@pytest.fixture
def told(capsys: pytest.CaptureFixture[str]) -> Callable[..., str]:
    def ask(*options: str) -> str:
        assert main([*PAPER, *options]) == 0
        return capsys.readouterr().out

    return ask


@pytest.mark.parametrize("by", ["age", "litres", "jugs", "chicks", "insulation"])
def test_the_screen_fits_a_narrow_terminal(told: Callable[..., str], by: str) -> None:
    lines = told("--by", by).splitlines()
    assert max(map(len, lines)) <= 80
    assert sum(line.lstrip().startswith(("-10 C", "20 C")) for line in lines) == 2
    assert lines[0] == "Box a, on paper"


def test_a_cell_is_the_sizing_of_its_row_and_column(told: Callable[..., str]) -> None:
    found = size(SPEC, Flock(14, 13.0, "layer"), 5.0, 15.0)
    line = next(line for line in told("--floor", "15").splitlines() if line.startswith("     5 C"))
    mark = "*" if median_or_day_h(found) < 8.0 else ""  # the timetable's hours on day 13
    assert line.endswith(f"  {with_range(found, mark)}")


@pytest.mark.parametrize(
    ("holds", "said"),
    [
        ((0.0, 2.345, 9.96), "2.3* (0-10)"),
        ((4.04, 10.4, 23.6), "10* (4.0-24)"),
        ((9.0, None, None), "24+* (9.0-24+)"),
        ((None, None, None), "24+*"),
    ],
)
def test_a_hold_is_written_short(holds: tuple[float | None, float | None, float | None], said: str) -> None:
    assert with_range(Sizing(*holds, 10.0), "*") == said


def test_what_falls_short_of_the_timetable_is_marked(told: Callable[..., str]) -> None:
    rows = {line[:8].strip(): line for line in told("--fill", "75").splitlines()}
    assert rows["-10 C"].count("*") == 4
    assert "*" not in rows["20 C"]
    assert "practice: 4 h on day 1, 6 h on day 5, 8 h on day 9, 8 h on day 13" in told()


def test_json_holds_the_same_and_null_beyond_a_day(told: Callable[..., str]) -> None:
    body = json.loads(told("--json", "--by", "litres", "--age", "2", "--outside", "20", "--floor", "18"))
    assert (body["source"], body["chicks"], body["age_days"], body["floor_c"]) == ("on paper", 14, 2, 18)
    assert body["box"]["jug_litres"] == 3.8
    assert len(body["table"]) == 4 * 7
    assert {row["litres"] for row in body["table"]} == {2, 4, 6, 8}
    assert body["hold"]["median_h"] is None
    assert [one["key"] for one in body["helps"]][-1] == "night"
    coldest = [row["median_h"] for row in body["table"] if row["outside_c"] == -10]
    assert coldest == sorted(coldest)


def test_broilers_warm_the_box_more_than_layers(told: Callable[..., str]) -> None:
    layer, broiler = (
        json.loads(told("--json", "--age", "9", "--kind", kind)) for kind in ("layer", "broiler")
    )
    assert broiler["hold"]["resting_c"] > layer["hold"]["resting_c"] + 1.0


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (("--litres", "600"), "--litres: 600: 0.5 to 40 L"),
        (("--jugs", "1.5"), "--jugs: 1.5: a whole number, 1 to 10"),
        (("--size", "1x2"), "--size: 1x2: inside in m, as 0.75x0.55x0.40"),
        (("--size", "1xax1"), "--size: a: a number"),
        (("--size", "9x1x1"), "--size (length_m): 9: 0.2 to 3 m"),
        (("--chicks", "-1"), "--chicks: -1: a whole number, 0 to 150"),
        (("--age", "61"), "--age: 61: 0 to 60"),
        (("--outside", "nan"), "--outside: nan: -40 to 45"),
        (("--floor", "80"), "--floor: 80: 5 to 36"),
    ],
)
def test_nonsense_is_refused_by_option(
    options: tuple[str, ...], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main([*PAPER, *options]) == 64
    assert capsys.readouterr().err.strip() == said


WIRED = """
[site]
name = "larch-lane"
time_zone = "Etc/UTC"
latitude_deg = 50.0
longitude_deg = 0.0
[keeper]
unit = "F"
[batch]
arrival = 2026-04-10
kind = "broiler"
[[box]]
name = "a"
chicks = 18
length_m = 0.60
width_m = 0.45
height_m = 0.35
insulation_mm = 40
jug_litres = 3.8
[[box]]
name = "b"
chicks = 12
length_m = 0.60
width_m = 0.45
height_m = 0.35
insulation_mm = 0
jugs = 2
jug_litres = 5
[[probe]]
name = "box-a"
role = "box"
box = "a"
source = "onewire"
sensor_id = "28-0123456789ab"
[[probe]]
name = "box-b"
role = "box"
box = "b"
source = "onewire"
sensor_id = "28-0123456789ac"
[page]
enabled = false
[journal]
path = "journal.db"
"""


@pytest.fixture
def config(tmp_path: Path) -> str:
    """Two wired boxes of a keeper who thinks in Fahrenheit; no journal yet."""
    path = tmp_path / "coldbrood.toml"
    path.write_text(WIRED)
    return str(path)


def test_the_config_gives_box_chicks_kind_and_unit(config: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["hold", "--config", config, "--box", "b"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[0] == "Box b, on paper, there is no journal yet"
    assert "2 jugs of 5 L at 140 F" in lines[2]
    assert lines[3] == "  12 broiler chicks of day 1"
    assert "    14 F" in "\n".join(lines)
    assert max(map(len, lines)) <= 80


def test_one_of_several_boxes_must_be_named(config: str, capsys: pytest.CaptureFixture[str]) -> None:
    for options in ((), ("--box", "z")):
        assert main(["hold", "--config", config, *options]) == 64
        assert capsys.readouterr().err.strip().endswith(": one of a, b")


def test_a_what_if_stands_beside_what_is(config: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["hold", "--config", config, "--box", "a", "--insulation", "80", "--chicks", "30"]) == 0
    out = capsys.readouterr().out
    assert "insulation 80 mm" in out
    assert "  as it stands" in out
    assert "  as asked" in out


def test_without_config_the_box_must_be_said(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["hold", "--litres", "3.8"]) == 64
    assert "--size, --insulation and --litres" in capsys.readouterr().err


def test_an_unsaid_part_has_the_default_of_the_config(told: Callable[..., str]) -> None:
    box = json.loads(told("--json"))["box"]
    assert (box["insulation_w_per_mk"], box["air_changes_per_h"]) == (0.038, 10)
    assert (box["fill_c"], box["jugs"], box["jug_wrapped"]) == (60, 1, False)
