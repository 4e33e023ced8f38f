"""Check a parsed file against the schema, key by key, so that every fault is found in one go."""

import difflib
import json
import math
from collections.abc import Iterable, Mapping
from typing import Final

import msgspec
from msgspec import Struct

from coldbrood.settings.records import Problem
from coldbrood.settings.schema import File
from coldbrood.settings.secrets import MASK
from coldbrood.settings.setting import Setting, settings_of

SHOWN_MAX: Final = 60


class Walk:
    """One pass over a file: its problems, and a `File` in which something valid stands in for each fault."""

    def __init__(self, raw: Mapping[str, object]) -> None:
        self.problems: list[Problem] = []
        self._bad: list[str] = []
        self.file: File = msgspec.convert(self._table(File, raw, ""), File)

    def sound(self, *fields: str) -> bool:
        """Whether what stands in these fields, such as `box[0].name`, is the keeper's own and no stand-in."""
        return not any(_within(field, bad) for field in fields for bad in self._bad)

    def _report(self, field: str, value: str, allowed: str) -> None:
        self.problems.append(Problem(field, value, allowed))
        self._bad.append(field)

    def _table(self, table: type[Struct], raw: Mapping[str, object], path: str) -> dict[str, object]:
        known = settings_of(table)
        for key in raw:
            if key not in known:
                field = _join(path, key)
                self.problems.append(Problem(field, "unknown key", _nearest(key, known)))
        return {key: self._entry(setting, raw, _join(path, key)) for key, setting in known.items()}

    def _entry(self, setting: Setting, raw: Mapping[str, object], field: str) -> object:
        if setting.key in raw:
            return self._value(setting, raw[setting.key], field)
        if setting.required:
            self._report(field, "missing", setting.allowed)
        return setting.filler

    def _value(self, setting: Setting, raw: object, field: str) -> object:
        if setting.table is None:
            return self._leaf(setting, raw, field)
        if setting.many:
            return self._tables(setting, setting.table, raw, field)
        if isinstance(raw, dict):
            return self._table(setting.table, raw, field)
        self._report(field, show(raw), setting.allowed)
        return setting.filler

    def _tables(self, setting: Setting, table: type[Struct], raw: object, field: str) -> object:
        if not isinstance(raw, list) or not all(isinstance(item, dict) for item in raw):
            self._report(field, show(raw), setting.allowed)
            return setting.filler
        if setting.required and not raw:
            self._report(field, "none", setting.allowed)
            return setting.filler
        if setting.most is not None and len(raw) > setting.most:
            self._report(field, f"{len(raw)} tables", f"{setting.most} [[{setting.key}]] tables at most")
            return setting.filler
        return [self._table(table, item, f"{field}[{index}]") for index, item in enumerate(raw)]

    def _leaf(self, setting: Setting, raw: object, field: str) -> object:
        try:
            if isinstance(raw, float) and not math.isfinite(raw):  # TOML has nan and inf; limits miss nan
                raise OverflowError
            return msgspec.convert(raw, setting.type)
        except (msgspec.ValidationError, OverflowError):  # a whole number may be too big for a float
            self._report(field, MASK if setting.secret else show(raw), setting.allowed)
            return setting.filler


def show(value: object) -> str:
    """Write a value as one short line; a text with :// in it may be a secret URL and is masked."""
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list):
        return f"a list of {len(value)}"
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, int) and abs(value) > 10**20:
        return "a huge number"
    if isinstance(value, str):
        return MASK if "://" in value else _cut(json.dumps(value))
    return _cut(str(value))


def _cut(text: str) -> str:
    return text if len(text) <= SHOWN_MAX else text[: SHOWN_MAX - 3] + "..."


def _join(path: str, key: str) -> str:
    plain = key.replace("_", "").replace("-", "").isalnum() and key.isascii()
    name = key if plain and len(key) <= SHOWN_MAX else show(key)
    return f"{path}.{name}" if path else name


def _within(field: str, bad: str) -> bool:
    return field == bad or (field.startswith(bad) and field[len(bad)] in ".[")


def _nearest(key: str, known: Iterable[str]) -> str:
    names = list(known)
    if f"{key}_env" in names:
        return f"a secret is not written here: {key}_env or {key}_file says where it is"
    near = difflib.get_close_matches(key[:100], names, n=1, cutoff=0.5)
    return (f"did you mean {near[0]}; " if near else "") + f"known here are {', '.join(names)}"
