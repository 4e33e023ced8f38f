"""Promise: a config file is changed in the line that must change, every other byte stays, and a form that
cannot be changed so is changed by tomlkit or refused, never spoilt.
"""

import tomllib
from datetime import date
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coldbrood.settings.edit import CannotEdit, add_table, set_key, toml_of
from coldbrood.setup.document import fresh, merged

NAMED = 'name = "larch-lane"  # by the lane'
SAMPLES = sorted((Path(__file__).parents[2] / "config").glob("*.toml"))
TEXT = """\
# mine
[site]
name = "larch-lane"  # by the lane

[batch]
arrival = 2026-04-11
# hatched = 2026-04-10
# kind = "layer"

# A box.
[[box]]
name = "a"
chicks = 16

# Another comment of the broker's.
[broker]
host = "127.0.0.1"
"""


def changed_lines(before: str, after: str) -> tuple[list[str], list[str]]:
    was, now = before.splitlines(), after.splitlines()
    return [line for line in was if line not in now], [line for line in now if line not in was]


@pytest.mark.parametrize(
    ("table", "index", "key", "value", "gone", "come"),
    [
        ("site", None, "name", "oak", [NAMED], ['name = "oak"  # by the lane']),
        ("batch", None, "arrival", date(2026, 4, 12), ["arrival = 2026-04-11"], ["arrival = 2026-04-12"]),
        ("batch", None, "hatched", date(2026, 4, 9), ["# hatched = 2026-04-10"], ["hatched = 2026-04-09"]),
        ("box", 0, "chicks", 14, ["chicks = 16"], ["chicks = 14"]),
        ("box", 0, "jugs", 2, [], ["jugs = 2"]),
        ("broker", None, "host", None, ['host = "127.0.0.1"'], []),
        ("site", None, "name", 'a "b" \\', [NAMED], ['name = "a \\"b\\" \\\\"  # by the lane']),
    ],
)
def test_one_line_is_changed(
    table: str, index: int | None, key: str, value: object, gone: list[str], come: list[str]
) -> None:
    after = set_key(TEXT, table, index, key, value)
    assert changed_lines(TEXT, after) == (gone, come)
    held = tomllib.loads(after)[table]
    assert (held if index is None else held[index]).get(key) == value


def test_a_new_key_stands_in_its_own_table_and_a_new_table_before_the_next_ones_comment() -> None:
    after = set_key(TEXT, "box", 0, "jugs", 2)
    assert after.index("jugs = 2") < after.index("# Another comment")
    after = add_table(TEXT, "box", {"name": "b", "chicks": 3}, many=True)
    assert after.index('name = "b"') < after.index("# Another comment of the broker's.\n[broker]")
    after = add_table(TEXT.rstrip("\n"), "channel", {"name": "phone"}, many=True)
    assert tomllib.loads(after)["channel"] == [{"name": "phone"}]


def test_a_form_of_its_own_is_kept_to_or_refused() -> None:
    dotted = 'site.name = "x"\n[batch]\narrival = 2026-04-11\n'
    assert tomllib.loads(set_key(dotted, "site", None, "name", "y"))["site"] == {"name": "y"}
    inline = 'box = [{name = "a", chicks = 3}] # all\n'
    after = set_key(inline, "box", 0, "chicks", 4)
    assert tomllib.loads(after) == {"box": [{"name": "a", "chicks": 4}]}
    assert "# all" in after
    with pytest.raises(CannotEdit, match=r"box: .* add \[\[box\]\] by hand"):
        add_table(inline, "box", {"name": "b"}, many=True)
    text = '[site]\nname = """\nlong"""\nother = 1\n'
    after = set_key(text, "site", None, "name", "short")
    assert tomllib.loads(after) == {"site": {"name": "short", "other": 1}}


def test_what_is_so_already_changes_nothing() -> None:
    assert set_key(TEXT, "box", 0, "chicks", 16) == TEXT
    assert set_key(TEXT, "broker", None, "port", None) == TEXT


@pytest.mark.parametrize("path", SAMPLES, ids=lambda path: path.stem)
def test_a_sample_told_its_own_values_stays_as_it_is_and_a_fresh_file_says_them(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    values = tomllib.loads(text)
    assert merged(text, values) == text
    for probe in values["probe"]:
        probe.pop("pointers", None)  # setup asks for none: only other firmware needs them
    said = tomllib.loads(fresh(values, path.name))
    assert said == values | {name: {} for name in said if name not in values}


@given(
    st.text(st.characters(exclude_categories=["Cs", "Cc"], exclude_characters="\u2028\u2029"), max_size=60)
)
def test_any_text_survives_being_set(value: str) -> None:
    assert tomllib.loads(set_key(TEXT, "site", None, "name", value))["site"]["name"] == value
    assert tomllib.loads(f"x = {toml_of(value)}") == {"x": value}
