"""From what was answered to the text of the config file: a new one with every key explained, or the old one
with only what changed. Comments and edits of the keeper's own stay.
"""

import difflib
import textwrap
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any, Final

from coldbrood.settings.edit import add_table, set_key, toml_of
from coldbrood.settings.explain import COLUMNS, comment, header
from coldbrood.settings.schema import sections
from coldbrood.settings.setting import Setting

Values = Mapping[str, Any]
"""Per table its keys and values, for a list of tables a list of them; None takes a key out."""

HEAD: Final = """\
# coldbrood: written by `coldbrood setup`, and yours to edit: run it again, and
# your comments and changes stay. Ask: coldbrood check --config {name}
# Lines that begin with "# name =" are keys left at their default or left out.
# Hot water scalds, sealed boxes suffocate: see the cautions in the README."""


def fresh(values: Values, name: str) -> str:
    """A whole new file, each key under its explanation."""
    blocks = [HEAD.format(name=name)]
    for table, entry, keys in sections():
        if "." in table:
            continue  # a table within a table: only other firmware needs one
        rows = _rows(values.get(table))
        blocks.append("\n".join(_explained(table, entry, keys, rows[0] if rows else None)))
        blocks.extend("\n".join(_plain(table, row)) for row in rows[1:])
    return "\n\n".join(blocks) + "\n"


def _rows(given: object) -> list[Mapping[str, object]]:
    if given is None:
        return []
    return list(given) if isinstance(given, Sequence) else [given]  # type: ignore[list-item] # one table


def _explained(
    table: str, entry: Setting, keys: Mapping[str, Setting], row: Mapping[str, object] | None
) -> Iterator[str]:
    """A table with all its keys; those not answered are commented out, as is a table not wanted."""
    wanted = row is not None or (not entry.many and entry.default is not None)
    yield from (f"# {line}" for line in textwrap.wrap(entry.meaning, COLUMNS - 2))
    yield f"{'' if wanted else '# '}{header(table, entry.many)}"
    for key, setting in keys.items():
        if setting.table is not None:
            continue
        value = None if row is None else row.get(key)
        shown = value if value is not None else _usual(setting)
        yield ""
        yield from comment(setting)
        yield f"{'' if value is not None else '# '}{key} = {toml_of(shown)}"


def _usual(setting: Setting) -> object:
    return setting.example if setting.required or setting.default is None else setting.default


def _plain(table: str, row: Mapping[str, object]) -> Iterator[str]:
    yield header(table, many=True)
    yield from (f"{key} = {toml_of(value)}" for key, value in row.items() if value is not None)


def merged(text: str, values: Values) -> str:
    """The old text with what changed. Raises CannotEdit. Tables not asked for stay untouched."""
    for table, entry, keys in sections():
        if "." in table or values.get(table) is None:
            continue
        for row in _rows(values[table]):
            text = _merged_row(text, table, entry.many, keys, row)
    return text


def _merged_row(
    text: str, table: str, many: bool, keys: Mapping[str, Setting], row: Mapping[str, object]
) -> str:
    held = tomllib.loads(text).get(table)
    index = _index(held, row) if many else None
    if held is None or (many and index is None):
        given = {key: value for key, value in row.items() if value is not None}
        return add_table(text, table, given, many)
    old = held[index] if index is not None else held
    for key, value in row.items():
        if old.get(key, keys[key].default) != value:
            text = set_key(text, table, index, key, value)
    return text


def _index(held: Any, row: Mapping[str, object]) -> int | None:
    """Which table of a list has this row's name."""
    return next((at for at, old in enumerate(held or ()) if old.get("name") == row["name"]), None)


def difference(old: str, new: str, path: Path) -> list[str]:
    """What would be written: the changed lines, or for a new file its keys without the explanations."""
    if not old:
        said = [line for line in new.splitlines() if line.strip() and not line.startswith("#")]
        return [f"{path} is new, {len(new.splitlines())} lines with explanations. It says:", "", *said]
    lines = difflib.unified_diff(old.splitlines(), new.splitlines(), str(path), "new", lineterm="", n=0)
    return [line for line in lines if not line.startswith("@@")]
