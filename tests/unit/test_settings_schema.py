"""Promise: each key holds its limits, type and default, is known by its name alone, and is never dropped."""

import tomllib
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from coldbrood.settings.build import site_of
from coldbrood.settings.cautions import cautions
from coldbrood.settings.fetch import Fetch, no_scheme
from coldbrood.settings.rules import check
from coldbrood.settings.schema import sections
from coldbrood.settings.setting import Setting
from coldbrood.settings.walk import Walk

LEAST = Path(__file__).parents[2] / "fixtures" / "configs" / "good" / "least.toml"
ENVIRON = {
    "PHONE_URL": "json://127.0.0.1:9/x",
    "OTHER_URL": "json://127.0.0.1:9/y",
    "BROKER_PASSWORD": "p4ssword",
    "BEAT_URL": "http://127.0.0.1:9/b",
    "OTHER_BEAT_URL": "http://127.0.0.1:9/c",
}
ONE_OF_EACH = LEAST.read_text(encoding="utf-8").replace(
    'role = "outdoor"', 'role = "outdoor"\nformat = "pointers"\npointers = { temperature_c = "/t" }'
)
ONE_OF_EACH += """
[sounder]
command = ["/bin/true"]
[heartbeat]
url_env = "BEAT_URL"
[sleep]
file = "sleep"
[mirror]
url = "http://127.0.0.1:9"
org = "home"
bucket = "chicks"
"""
LEAVES = [(name, key) for name, _, keys in sections() for key in keys.values() if key.table is None]
NUMBERS = [(name, key) for name, key in LEAVES if key.low is not None]
GONE = object()

each_key = pytest.mark.parametrize(
    ("section", "setting"), LEAVES, ids=[f"{name}.{key.key}" for name, key in LEAVES]
)
each_number = pytest.mark.parametrize(
    ("section", "setting"), NUMBERS, ids=[f"{name}.{key.key}" for name, key in NUMBERS]
)


def with_value(section: str, key: str, value: object) -> tuple[str, dict[str, Any]]:
    """The name of a field, and a whole parsed file in which it has this value."""
    raw = tomllib.loads(ONE_OF_EACH)
    places = {
        "box": ("box[0]", raw["box"][0]),
        "probe": ("probe[0]", raw["probe"][0]),
        "probe.pointers": ("probe[1].pointers", raw["probe"][1]["pointers"]),
        "channel": ("channel[0]", raw["channel"][0]),
    }
    field, table = places.get(section) or (section, raw.setdefault(section, {}))
    table.pop(key, None)
    if value is not GONE:
        table[key] = value
    return f"{field}.{key}", raw


def walked(raw: dict[str, Any]) -> list[tuple[str, str]]:
    return [(problem.field, problem.allowed) for problem in Walk(raw).problems]


def test_the_schema_has_all_its_keys() -> None:
    assert len(LEAVES) >= 50
    assert len(NUMBERS) >= 20


@each_number
def test_a_number_is_taken_at_its_limits_and_not_beyond(section: str, setting: Setting) -> None:
    assert setting.low is not None
    assert setting.high is not None
    step = 1 if setting.allowed.startswith("a whole number") else 1e-9
    for value in (setting.low, setting.high):
        assert walked(with_value(section, setting.key, value)[1]) == []
    for value in (setting.low - step, setting.high + step):
        field, raw = with_value(section, setting.key, value)
        assert walked(raw) == [(field, setting.allowed)]


WRONG: list[object] = [[], {}, [1], {"a": 1}, float("nan"), float("-inf"), 10**400, -(10**400), "\x00"]


@each_key
def test_what_a_key_cannot_be_is_refused_by_its_name(section: str, setting: Setting) -> None:
    for value in WRONG:
        field, raw = with_value(section, setting.key, value)
        assert walked(raw) == [(field, setting.allowed)], value


@each_key
def test_only_what_is_required_may_not_be_left_out(section: str, setting: Setting) -> None:
    field, raw = with_value(section, setting.key, GONE)
    assert walked(raw) == ([(field, setting.allowed)] if setting.required else [])


@each_key
def test_a_key_misspelt_is_refused_with_the_right_one(section: str, setting: Setting) -> None:
    field, raw = with_value(section, f"{setting.key}x", 1)
    ((named, allowed),) = walked(raw)
    assert named == field
    assert allowed.startswith(f"did you mean {setting.key};")


@each_key
def test_the_example_and_the_default_are_themselves_allowed(section: str, setting: Setting) -> None:
    given = [setting.example, None if setting.required else setting.default]
    values = [value for value in given if value is not None]
    assert values or not setting.required
    for value in values:
        assert walked(with_value(section, setting.key, value)[1]) == []


UNITS = {
    "length_m": "m",
    "width_m": "m",
    "height_m": "m",
    "insulation_mm": "mm",
    "insulation_w_per_mk": "W/mK",
    "air_changes_per_h": "an hour",
    "jug_litres": "L",
    "fill_c": "C",
    "offset_c": "C",
    "min_c": "C",
    "max_c": "C",
    "latitude_deg": "degrees",
    "longitude_deg": "degrees",
    "lead_min": "min",
    "after_min": "min",
    "every_min": "min",
    "least_min": "min",
    "most_min": "min",
    "margin_min": "min",
    "interval_min": "min",
    "battery_low_v": "V",
    "battery_low_pct": "%",
}


@each_key
def test_each_key_says_what_it_means_in_the_unit_of_its_name(section: str, setting: Setting) -> None:
    assert len(setting.meaning) > 12
    assert setting.meaning.endswith((".", ")."))
    unnamed = {"", "characters"}
    assert setting.unit == UNITS[setting.key] if setting.key in UNITS else setting.unit in unnamed


# No key is read and then dropped.


def changed(section: str, setting: Setting) -> object:
    """Another allowed value than the one that stands in the file or by default."""
    now = setting.default if not setting.required else setting.example
    if isinstance(now, bool):
        return not now
    if setting.low is not None and setting.high is not None:
        other = setting.low + 0.3 * (setting.high - setting.low)
        return int(other) if setting.allowed.startswith("a whole number") else other
    return OTHER[f"{section}.{setting.key}"]


OTHER: dict[str, object] = {
    "keeper.away": ["sun 08:00-09:00"],
    "site.name": "elder-row",
    "site.time_zone": "Etc/GMT+1",
    "keeper.bedtime": "21:00",
    "keeper.rising": "05:00",
    "keeper.unit": "F",
    "keeper.clock": "12h",
    "batch.arrival": date(2026, 4, 12),
    "batch.hatched": date(2026, 4, 10),
    "batch.kind": "broiler",
    "box.name": "b",
    "box.jug_plastic": "PET",
    "probe.name": "box-b",
    "probe.role": "outdoor",
    "probe.box": "b",
    "probe.source": "onewire",
    "probe.topic": "shed",
    "probe.format": "plain",
    "probe.unit": "F",
    "probe.sensor_id": "28-0316a2795cff",
    "probe.pointers.temperature_c": "/a",
    "probe.pointers.humidity_pct": "/a",
    "probe.pointers.battery_v": "/a",
    "probe.pointers.battery_pct": "/a",
    "probe.pointers.signal_dbm": "/a",
    "broker.host": "localhost",
    "broker.username": "coldbrood",
    "broker.password_env": "BROKER_PASSWORD",
    "broker.password_file": "broker-password",
    "broker.tls_ca": "ca.pem",
    "channel.name": "neighbour",
    "channel.url_env": "OTHER_URL",
    "channel.url_file": "phone-url",
    "channel.person": "second",
    "sounder.command": ["/bin/false"],
    "heartbeat.url_env": "OTHER_BEAT_URL",
    "heartbeat.url_file": "beat-url",
    "heartbeat.method": "POST",
    "sleep.file": "other-sleep",
    "sleep.command": ["/bin/true"],
    "mirror.url": "http://127.0.0.1:10",
    "mirror.org": "shed",
    "mirror.bucket": "hens",
    "mirror.token_env": "BROKER_PASSWORD",
    "mirror.token_file": "mirror-token",
    "page.address": "127.0.0.1",
    "page.peers": "any",
    "page.host": "barn.home.arpa",
    "page.language": "de",
    "page.week_starts": "sunday",
    "journal.path": "other.db",
}


def outcome(raw: dict[str, Any], base: Path) -> object:
    """All that loading makes of a parsed file, good or bad."""
    walk = Walk(raw)
    fetch = Fetch(walk, ENVIRON, base, no_scheme)
    found = [*walk.problems, *check(walk), *fetch.problems]
    told = [*cautions(walk.file), *fetch.cautions]
    aides = fetch.sounder, fetch.heartbeat, fetch.mirror, fetch.page, fetch.sleep
    return site_of(walk.file), fetch.broker, fetch.channels, aides, fetch.journal_path(), found, told


@each_key
def test_each_key_changes_what_is_loaded(section: str, setting: Setting, tmp_path: Path) -> None:
    as_it_is = outcome(tomllib.loads(ONE_OF_EACH), tmp_path)
    assert outcome(tomllib.loads(ONE_OF_EACH), tmp_path) == as_it_is
    _, raw = with_value(section, setting.key, changed(section, setting))
    assert outcome(raw, tmp_path) != as_it_is
