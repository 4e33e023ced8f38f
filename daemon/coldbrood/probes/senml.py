"""SenML, the JSON form of RFC 8428: a decoded JSON root to resolved records.

Own code, since no kept library reads it strictly. Section numbers are those of the RFC
(reference/standards.md section 3, mark V). An exponent written with a capital E is taken: the
lower case is a rule for writers (s. 5), and the value is not in doubt.
"""

import base64
import binascii
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, field

from coldbrood.probes.strict_json import BadPayload

MAX_RECORDS = 64
VERSION = 10
RELATIVE_BELOW_S = 2.0**28  # s. 4.5.3: a time sum below this counts from the moment of arrival

Value = float | str | bool | bytes

_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9\-:./_]*")  # s. 4.5.1
_BASE = ("bver", "bn", "bt", "bu", "bv", "bs")
_VALUES = ("v", "vs", "vb", "vd")
_TEXT = ("bn", "bu", "n", "u", "vs", "vd")
_NUMBER = ("bver", "bt", "bv", "bs", "v", "s", "t", "ut")
_REGULAR = (*_VALUES, "n", "u", "s", "t", "ut")
_KNOWN = frozenset((*_BASE, *_REGULAR))


@dataclass(frozen=True, slots=True)
class Record:
    """One resolved record: no base fields left. `time_s` is relative below 2**28, else Unix time."""

    name: str
    unit: str | None
    value: Value | None
    total: float | None
    time_s: float
    update_s: float | None = None

    @property
    def relative(self) -> bool:
        """Whether `time_s` counts from the moment the pack arrived."""
        return self.time_s < RELATIVE_BELOW_S


@dataclass(slots=True)
class _Bases:
    """The base fields in force at a record, and the version the pack has shown so far."""

    fields: dict[str, object] = field(default_factory=dict)
    version: float | None = None

    def plus(self, base_label: str, where: str, value: object) -> float:
        """Base and value added, a missing part counted as 0 (s. 4.5.3, 4.5.4)."""
        total = _number(self.fields.get(base_label)) + _number(value)
        if not math.isfinite(total):
            raise _bad(f"{where}: base and value add up beyond any number")
        return total


def resolve(root: object) -> tuple[Record, ...]:
    """Resolve a pack (s. 4.6): names joined, sums made, in order of time.

    Raises BadPayload if any record breaks a rule: the pack is used whole or not at all.
    """
    if not isinstance(root, list):
        raise _bad("a SenML pack is a JSON array")
    if not root:
        raise _bad("the pack holds no record")
    if len(root) > MAX_RECORDS:
        raise BadPayload("too-large", f"{len(root)} records, at most {MAX_RECORDS} are taken")
    bases = _Bases()
    records = [_record(index, item, bases) for index, item in enumerate(root)]
    return tuple(sorted((r for r in records if r is not None), key=lambda record: record.time_s))


def _record(index: int, item: object, bases: _Bases) -> Record | None:
    where = f"record {index}"
    if not isinstance(item, dict) or not item:
        raise _bad(f"{where} is not an object with fields")
    _check_fields(where, item)
    _take_bases(where, item, bases)
    if not any(label in item for label in _REGULAR):
        return None  # base fields alone set the bases (s. 5.1.7)
    value = _value(where, item, bases)
    total = bases.plus("bs", where, item["s"]) if "s" in item else None
    if value is None and total is None:
        raise _bad(f"{where} has neither a value nor a sum")
    return Record(
        name=_name(where, item, bases),
        unit=_text(item.get("u", bases.fields.get("bu"))),
        value=value,
        total=total,
        time_s=bases.plus("bt", where, item.get("t")),
        update_s=_number(item["ut"]) if "ut" in item else None,
    )


def _check_fields(where: str, item: Mapping[str, object]) -> None:
    for label, value in item.items():
        if label in _TEXT and not isinstance(value, str):
            raise _bad(f"{where}: {label} must be text")
        if label in _NUMBER and not _is_number(value):
            raise _bad(f"{where}: {label} must be a number")
        if label == "vb" and not isinstance(value, bool):
            raise _bad(f"{where}: vb must be true or false")
        if label not in _KNOWN and label.endswith("_"):
            raise _bad(f"{where}: {label[:40]!r} must be understood and is not")  # s. 4.4


def _is_number(value: object) -> bool:
    if isinstance(value, bool) or not isinstance(value, int | float):
        return False
    return math.isfinite(value)


def _take_bases(where: str, item: Mapping[str, object], bases: _Bases) -> None:
    bases.fields.update({label: item[label] for label in _BASE if label in item})
    version = _number(bases.fields.get("bver", VERSION))
    if version > VERSION:
        raise _bad(f"{where}: version {version:g} is newer than {VERSION}")
    if bases.version not in (None, version):
        raise _bad(f"{where}: version {version:g} after {bases.version:g} in one pack")
    bases.version = version


def _number(value: object) -> float:
    return float(value) if isinstance(value, int | float) else 0.0


def _text(value: object) -> str | None:
    return value if isinstance(value, str) else None


def _value(where: str, item: Mapping[str, object], bases: _Bases) -> Value | None:
    given = [label for label in _VALUES if label in item]
    if not given:
        return None
    if len(given) > 1:
        raise _bad(f"{where} has more than one value: {', '.join(given)}")
    label, value = given[0], item[given[0]]
    if label == "v":
        return bases.plus("bv", where, value)
    if label == "vd":
        return _bytes(where, str(value))
    return value if isinstance(value, str | bool) else None


def _bytes(where: str, text: str) -> bytes:
    """base64url without padding (s. 4.2, RFC 4648 section 5)."""
    if not re.fullmatch(r"[A-Za-z0-9_-]*", text):
        raise _bad(f"{where}: vd is not base64url without padding")
    try:
        return base64.urlsafe_b64decode(text + "=" * (-len(text) % 4))
    except binascii.Error:
        raise _bad(f"{where}: vd is not base64url without padding") from None


def _name(where: str, item: Mapping[str, object], bases: _Bases) -> str:
    name = str(bases.fields.get("bn", "")) + str(item.get("n", ""))
    if not name:
        raise _bad(f"{where} has no name")
    if not _NAME.fullmatch(name):
        raise _bad(f"{where}: the name {name[:60]!r} is not allowed")
    return name


def _bad(detail: str) -> BadPayload:
    return BadPayload("bad-payload", detail)
