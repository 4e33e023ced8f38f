"""Changing a config file as a careful person would: a line is changed, all others stay as they are.

Each change is checked against what the file must then say; where its form is too much of its own for
that (dotted keys, tables within a line), tomlkit rewrites the table, comments kept.
"""

import re
import tomllib
from collections.abc import Mapping
from copy import deepcopy
from typing import Any, Final

from coldbrood.settings.explain import header, toml

HEAD: Final = re.compile(r"\s*\[")


class CannotEdit(Exception):  # noqa: N818 - it is told to the keeper as it stands
    """The file has a form that cannot be changed without harm; the text says what to do by hand."""


def set_key(text: str, table: str, index: int | None, key: str, value: object) -> str:
    """The text with one key set, or taken out where `value` is None.

    `index` counts the tables of a [[list]]; None for a single [table]. A key that stood commented out comes
    back to its place. Raises CannotEdit, and KeyError if there is no such table.
    """
    wanted = _loaded(text)
    held = wanted[table] if index is None else wanted[table][index]
    if held.get(key) == value:
        return text
    if value is None:
        del held[key]
    else:
        held[key] = value
    for attempt in (_by_line, _by_tomlkit):
        changed = attempt(text, table, index, key, value)
        if changed is not None and _says(changed, wanted):
            return changed
    raise CannotEdit(f"{table}.{key}: the config file has a form of its own: set it by hand to {toml(value)}")


def add_table(text: str, table: str, values: Mapping[str, object], many: bool) -> str:
    """The text with one more table, after others of its kind, else at the end. Raises CannotEdit.

    A comment right above the next table is that table's, and stays with it.
    """
    lines = text.splitlines(keepends=True)
    at = _after_last(lines, table)
    block = [f"{header(table, many)}\n", *(f"{key} = {toml_of(value)}\n" for key, value in values.items())]
    if at and not lines[at - 1].endswith("\n"):
        block.insert(0, "\n")
    above = "\n" if at and lines[at - 1].strip() else ""
    below = "\n" if at < len(lines) else ""
    changed = "".join([*lines[:at], above, *block, below, *lines[at:]])
    wanted = _loaded(text)
    if many:
        wanted.setdefault(table, []).append(dict(values))
    else:
        wanted[table] = dict(values)
    if not _says(changed, wanted):
        raise CannotEdit(f"{table}: the config file has a form of its own: add {header(table, many)} by hand")
    return changed


def toml_of(value: object) -> str:
    """A plain value as TOML, quotes and backslashes in texts included."""
    if isinstance(value, str):
        import tomlkit  # here and below, since the daemon does not need it

        return tomlkit.string(value).as_string()
    return toml(value)


def _loaded(text: str) -> dict[str, Any]:
    return deepcopy(tomllib.loads(text))


def _says(text: str, wanted: Mapping[str, object]) -> bool:
    try:
        return tomllib.loads(text) == wanted
    except tomllib.TOMLDecodeError:
        return False


def _after_last(lines: list[str], table: str) -> int:
    """Index of the line before which one more table of this kind goes."""
    heads = [index for index, line in enumerate(lines) if HEAD.match(line)]
    kin = re.compile(rf"\s*\[{{1,2}} *{table} *[.\]]")
    own = [index for index in heads if kin.match(lines[index])]
    later = [index for index in heads if own and index > own[-1]]
    if not later:
        return len(lines)
    at = later[0]
    while at and lines[at - 1].startswith("#"):
        at -= 1
    return at


def _region(lines: list[str], table: str, index: int | None) -> tuple[int, int] | None:
    """First line after the head of a table, and the line after its last."""
    head = re.compile(rf"\s*\[{re.escape(table)}\]" if index is None else rf"\s*\[\[{re.escape(table)}\]\]")
    found = [at for at, line in enumerate(lines) if head.match(line)]
    if len(found) <= (index or 0):
        return None
    begin = found[index or 0] + 1
    end = next((at for at in range(begin, len(lines)) if HEAD.match(lines[at])), len(lines))
    return begin, end


def _by_line(text: str, table: str, index: int | None, key: str, value: object) -> str | None:
    lines = text.splitlines(keepends=True)
    region = _region(lines, table, index)
    if region is None:
        return None
    begin, end = region
    live = _find(lines, begin, end, rf"\s*{key}\s*=")
    if value is None:
        return None if live is None else "".join([*lines[:live], *lines[live + 1 :]])
    if live is not None:
        return "".join([*lines[:live], _with_value(lines[live], key, value), *lines[live + 1 :]])
    plain = f"{key} = {toml_of(value)}\n"
    asleep = _find(lines, begin, end, rf"#\s?{key}\s*=")
    if asleep is not None:
        return "".join([*lines[:asleep], plain, *lines[asleep + 1 :]])
    last = max((at for at in range(begin, end) if re.match(r"\s*[^#\s]", lines[at])), default=begin - 1)
    return "".join([*lines[: last + 1], plain, *lines[last + 1 :]])


def _find(lines: list[str], begin: int, end: int, pattern: str) -> int | None:
    return next((at for at in range(begin, end) if re.match(pattern, lines[at])), None)


def _with_value(line: str, key: str, value: object) -> str:
    """The line with another value; what follows the value stays. A line that is no whole TOML is left."""
    import tomlkit
    from tomlkit.exceptions import TOMLKitError

    try:
        document = tomlkit.parse(line)
    except TOMLKitError:
        return line
    document[key] = value
    return tomlkit.dumps(document)


def _by_tomlkit(text: str, table: str, index: int | None, key: str, value: object) -> str:
    import tomlkit

    document: Any = tomlkit.parse(text)  # its types are too loose to be of use
    held = document[table] if index is None else document[table][index]
    if value is None:
        del held[key]
    else:
        held[key] = value
    return tomlkit.dumps(document)
