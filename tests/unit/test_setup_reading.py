"""Promise: what a keeper types is read as meant or refused with what is allowed, and what the board can see
is seen: time zone, the place of its town, wires, and whether a box on paper holds the night.
"""

import os
from collections.abc import Callable
from datetime import date
from pathlib import Path
from zoneinfo import available_timezones

import pytest

from coldbrood.setup import found, hold, read
from coldbrood.setup.ask import BadAnswer, Person, SetupFault, wrapped
from coldbrood.setup.values import read_old


@pytest.mark.parametrize(
    ("reader", "text", "value"),
    [
        (read.place, "50.1, -3.5", (50.1, -3.5)),
        (read.place, "50.1 N 3.5 W", (50.1, -3.5)),
        (read.place, "-33.9; 18.4", (-33.9, 18.4)),
        (read.place, "33.9 S, 18.4E", (-33.9, 18.4)),
        (read.inside_m, "75 x 55 x 40", (0.75, 0.55, 0.4)),
        (read.inside_m, "75,5 55 40 cm", (0.755, 0.55, 0.4)),
        (read.inside_m, "0.75x0.55x0.4", (0.75, 0.55, 0.4)),
        (read.insulation, "30", (30.0, 0.038)),
        (read.insulation, "50 mm XPS", (50.0, 0.036)),
        (read.insulation, "30 0.041", (30.0, 0.041)),
        (read.insulation, "0 wood", (0.0, 0.13)),
        (read.jugs, "3.8", (1, 3.8)),
        (read.jugs, "2 x 3,8 L", (2, 3.8)),
        (read.names, "a, b c", ("a", "b", "c")),
        (read.yes, "Y", True),
        (read.yes, "no", False),
        (read.day, "2026-04-10", date(2026, 4, 10)),
        (read.or_none(read.day), "None", None),
        (read.number(-40, 35, "C"), "-4,5", -4.5),
        (read.address, "broker.lan", ("broker.lan", 1883)),
        (read.address, "10.0.0.2:8883", ("10.0.0.2", 8883)),
    ],
)
def test_what_is_typed_is_read_as_meant(reader: Callable[[str], object], text: str, value: object) -> None:
    assert reader(text) == value


@pytest.mark.parametrize(
    ("reader", "text", "said"),
    [
        (read.place, "here", "two numbers"),
        (read.place, "95, 0", "latitude -90 to 90"),
        (read.inside_m, "75 x 55", "three numbers"),
        (read.inside_m, "7500 x 55 x 40", "0.2 to 3 m"),
        (read.insulation, "30 straw", "eps, xps"),
        (read.insulation, "400", "0 to 300 mm"),
        (read.jugs, "two", "litres"),
        (read.jugs, "99", "0.5 to 40 L"),
        (read.names, "a a", "each once"),
        (read.names, "a/b", "1 to 32 letters"),
        (read.yes, "maybe", "yes or no"),
        (read.day, "10.4.2026", "such as 2026-04-10"),
        (read.number(30, 95, "C"), "nan", "30 to 95 C"),
        (read.address, "host:99999", "1 to 65535"),
        (read.of_schema("keeper", "bedtime"), "25:00", "00:00"),
    ],
)
def test_what_cannot_be_taken_is_refused_with_what_is_allowed(
    reader: Callable[[str], object], text: str, said: str
) -> None:
    with pytest.raises(BadAnswer, match=said):
        reader(text)


def test_the_boards_time_zone(tmp_path: Path) -> None:
    assert found.time_zone({"TZ": ":Etc/GMT-3"}, tmp_path) == "Etc/GMT-3"
    assert found.time_zone({}, tmp_path) is None
    (tmp_path / "localtime").symlink_to("../usr/share/zoneinfo/America/Halifax")
    assert found.time_zone({}, tmp_path) == "America/Halifax"
    (tmp_path / "timezone").write_text("Europe/Lisbon\n")
    assert found.time_zone({}, tmp_path) == "Europe/Lisbon"


ROWS = "# comment\nXX\t+384300-0090800\tEurope/Lisbon\tmainland\nYY\t-3352+15113\tAustralia/Sydney\n"


def test_the_town_of_a_zone(tmp_path: Path) -> None:
    """The two forms of ISO 6709 in the tz data base's own table; the degrees are worked by hand."""
    table = tmp_path / "zone1970.tab"
    table.write_text(ROWS)
    assert found.place_of("Europe/Lisbon", (table,)) == (38.7, -9.1)
    assert found.place_of("Australia/Sydney", (tmp_path / "no", table)) == (-33.9, 151.2)
    assert found.place_of("Etc/UTC", (table,)) is None


def test_every_town_of_the_boards_own_table_lies_on_the_globe() -> None:
    towns = [found.place_of(zone) for zone in sorted(available_timezones())]
    known = [town for town in towns if town is not None]
    assert not any(path.exists() for path in found.ZONE_TABLES) or len(known) > 250
    assert all(abs(latitude) <= 90 and abs(longitude) <= 180 for latitude, longitude in known)


def test_wires_and_disk(tmp_path: Path) -> None:
    for name in ("28-0316a2795cff", "w1_bus_master1", "28-short"):
        (tmp_path / name).mkdir()
    assert found.wired(tmp_path) == ["28-0316a2795cff"]
    assert found.wired(tmp_path / "none") == []
    assert "GB free, room for" in found.disk(tmp_path / "not" / "yet")


class Silent(Person):
    """Keeps what is said."""

    def __init__(self) -> None:
        super().__init__()
        self.said: list[str] = []

    def say(self, *lines: str) -> None:
        self.said += lines


WEAK = {
    "name": "a",
    "chicks": 16,
    "length_m": 0.75,
    "width_m": 0.55,
    "height_m": 0.4,
    "insulation_mm": 0.0,
    "insulation_w_per_mk": 0.13,
    "jugs": 1,
    "jug_litres": 2.0,
    "fill_c": 50.0,
    "jug_wrapped": False,
}
STRONG = {
    **WEAK,
    "insulation_mm": 60.0,
    "insulation_w_per_mk": 0.038,
    "jugs": 2,
    "jug_litres": 6.0,
    "fill_c": 60.0,
}


def test_a_weak_box_is_called_weak_with_what_helps_and_a_strong_one_is_not() -> None:
    weak, strong = Silent(), Silent()
    assert not hold.tell(weak, WEAK, 1.0, -5.0)
    assert hold.tell(strong, STRONG, 1.0, 10.0)
    said = "\n".join(weak.said)
    assert "TOO WEAK" in said
    assert len([line for line in weak.said if line.startswith("    ")]) == hold.SHOWN_HELPS
    assert "TOO WEAK" not in "\n".join(strong.said)
    assert max(len(line) for line in (*weak.said, *strong.said)) <= 80


def test_long_words_are_wrapped_and_laid_out_lines_are_left() -> None:
    assert max(len(line) for line in wrapped("word " * 60)) <= 80
    assert wrapped("a\n\n  as it is") == ["a", "", "  as it is"]


def test_an_old_file_that_is_no_toml_is_named_with_its_line(tmp_path: Path) -> None:
    path = tmp_path / "coldbrood.toml"
    assert read_old(path, 78).raw == {}
    path.write_text("[site]\nname = \n")
    with pytest.raises(SetupFault, match="line 2") as fault:
        read_old(path, 78)
    assert fault.value.code == os.EX_CONFIG
    path.write_text('site = 3\nbox = "a"\n[batch]\narrival = 2026-04-10\n')
    old = read_old(path, 78)
    assert (old.table("site"), old.rows("box"), old.row("probe", "x")) == ({}, [], {})
    assert old.table("batch") == {"arrival": date(2026, 4, 10)}
