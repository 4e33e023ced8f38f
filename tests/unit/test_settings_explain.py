"""Promise: explanation, samples and listing tell every key of the schema, in its own words, and no secret."""

import re
from collections.abc import Iterator
from datetime import date
from pathlib import Path

import pytest

from coldbrood.settings.explain import COLUMNS, comment, describe, explain, header, limits, toml
from coldbrood.settings.load import load
from coldbrood.settings.schema import sections
from coldbrood.settings.setting import Setting

ROOT = Path(__file__).parents[2]
SAMPLES = sorted((ROOT / "config").glob("*.toml"))
LEAST = ROOT / "fixtures" / "configs" / "good" / "least.toml"
TABLES = {name: keys for name, _, keys in sections()}
LEAVES = [(name, key) for name, keys in TABLES.items() for key in keys.values() if key.table is None]
each_key = pytest.mark.parametrize(
    ("section", "setting"), LEAVES, ids=[f"{name}.{key.key}" for name, key in LEAVES]
)


def flat(text: str) -> str:
    return " ".join(text.split())


def block(section: str, setting: Setting) -> str:
    """What the explanation says of one key: from its name to the next blank line, in its own section."""
    many = {name: entry.many for name, entry, _ in sections()}[section]
    after = explain().split(f"\n{header(section, many)}  ")[1].split("\n[")[0]
    return flat(after.split(f"\n  {setting.key}: ")[1].split("\n\n")[0])


def test_the_explanation_fits_a_small_terminal() -> None:
    lines = explain().splitlines()
    assert max(len(line) for line in lines) <= COLUMNS
    assert all(line.isascii() and line == line.rstrip() for line in lines)


def test_the_explanation_opens_each_table_as_the_file_does() -> None:
    opened = [line.split("  ")[0] for line in explain().splitlines() if line.startswith("[")]
    assert opened == [
        "[site]",
        "[keeper]",
        "[batch]",
        "[[box]]",
        "[[probe]]",
        "[probe.pointers]",
        "[broker]",
        "[[channel]]",
        "[sounder]",
        "[heartbeat]",
        "[sleep]",
        "[mirror]",
        "[page]",
        "[journal]",
    ]


@each_key
def test_the_explanation_tells_limits_default_and_meaning(section: str, setting: Setting) -> None:
    told = block(section, setting)
    assert told.startswith(limits(setting))
    assert flat(setting.meaning) in told
    if setting.required:
        assert "; required" in told
    elif setting.default is not None:
        assert f"; default {toml(setting.default)}" in told
    assert setting.example is None or told.endswith(f"Such as {toml(setting.example)}.")


@pytest.mark.parametrize(
    ("value", "wanted"),
    [
        (True, "true"),
        (3, "3"),
        (3.8, "3.8"),
        (30.0, "30"),
        (28.1234567, "28.1234567"),
        (1e-9, "1e-09"),
        ("a", '"a"'),
        (date(2026, 4, 11), "2026-04-11"),
    ],
)
def test_values_are_written_as_toml(value: object, wanted: str) -> None:
    assert toml(value) == wanted


def sample_keys(path: Path) -> Iterator[tuple[str, str, list[str]]]:
    """Each key of a sample, used or as a comment: its section, its name, the comment lines above it."""
    section, above = "", list[str]()
    for line in path.read_text(encoding="utf-8").splitlines():
        key = line.removeprefix("# ").split(" = ")[0]
        if re.match(r"(# )?\[", line):  # a table that may be left out is commented out as a whole
            section, above = line.strip("#[] "), []
        elif " = " in line and key in TABLES.get(section, {}):
            yield section, key, above
            above = []
        elif line.startswith("#"):
            above = [*above, line]
        else:
            above = []


@pytest.mark.parametrize("path", SAMPLES, ids=lambda path: path.stem)
def test_a_sample_comments_each_key_in_the_words_of_the_schema(path: Path) -> None:
    seen: set[tuple[str, str]] = set()
    for section, key, above in sample_keys(path):
        if (section, key) not in seen:
            assert above == comment(TABLES[section][key]), f"{section}.{key}"
        seen.add((section, key))
    assert len(seen) >= 25


def test_the_samples_together_show_every_key() -> None:
    shown = {(section, key) for path in SAMPLES for section, key, _ in sample_keys(path)}
    assert {(section, setting.key) for section, setting in LEAVES} == shown


@pytest.mark.parametrize("path", SAMPLES, ids=lambda path: path.stem)
def test_a_key_left_out_shows_its_default_or_example(path: Path) -> None:
    section = ""
    for line in path.read_text(encoding="utf-8").splitlines():
        section = line.strip("#[] ") if re.match(r"(# )?\[", line) else section
        key, _, value = line.removeprefix("# ").partition(" = ")
        if line.startswith("# ") and key in TABLES.get(section, {}):
            setting = TABLES[section][key]
            shown = setting.example if setting.required or setting.default is None else setting.default
            assert value == toml(shown)


def test_what_was_read_is_listed_in_the_units_the_daemon_uses() -> None:
    lines = describe(load(LEAST, {"PHONE_URL": "json://127.0.0.1:9/s3cret"})).splitlines()
    assert len(lines) == len({line.split(" = ")[0] for line in lines})
    for line in (
        'site.name = "larch-lane"',
        "site.zone = Etc/UTC",
        "site.keeper.bedtime_s = 79200",
        "site.keeper.clock_24h = true",
        "site.batch.arrival = 2026-04-11",
        "site.batch.hatched = -",
        "site.boxes.a.jug_litres = 3.8",
        'site.probes.box-a.topic = "coldbrood/larch-lane/box-a/reading"',
        'broker.host = "127.0.0.1"',
        'channels[0].name = "phone"',
        "channels[0].url = ***",
        f"journal_path = {LEAST.parent}/journal.db",
    ):
        assert line in lines
    assert "s3cret" not in "\n".join(lines)
