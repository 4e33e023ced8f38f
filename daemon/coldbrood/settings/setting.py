"""How one key of the config file describes itself, and what a text in it may look like."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from functools import cache
from types import NoneType
from typing import Annotated, Any, Final, Literal, get_args, get_origin

from msgspec import NODEFAULT, Meta, Struct
from msgspec.structs import fields

_TEXT: Final = r"[^\x00-\x1f\x7f-\x9f\u2028\u2029]"
"""Any character but those that break a line or a terminal."""


def text(pattern: str, words: str) -> Meta:
    """Limit a text; `words` says what is allowed to whoever cannot read the pattern."""
    return Meta(pattern=rf"\A{pattern}\Z", extra={"words": words})


def about(
    meaning: str,
    unit: str = "",
    *,
    ge: float | None = None,
    le: float | None = None,
    words: str = "",
    example: object = None,
    secret: bool = False,
) -> Meta:
    """Describe one key. What stands in a `secret` one is never shown."""
    extra = {"unit": unit, "words": words, "secret": secret}
    return Meta(ge=ge, le=le, description=meaning, examples=[example], extra=extra)


Name = Annotated[
    str,
    text(
        "[A-Za-z0-9][A-Za-z0-9_-]{0,31}",
        "1 to 32 letters, digits, - or _, beginning with a letter or digit",
    ),
]
TimeOfDay = Annotated[str, text("([01][0-9]|2[0-3]):[0-5][0-9]", 'a time in quotes, "00:00" to "23:59"')]
_WEEKDAY: Final = "(mon|tue|wed|thu|fri|sat|sun)"
_TIME: Final = "([01][0-9]|2[0-3]):[0-5][0-9]"
AwayTime = Annotated[
    str, text(f"{_WEEKDAY}(-{_WEEKDAY})? {_TIME}-{_TIME}", 'weekdays and times, "mon-fri 07:30-16:30"')
]
Zone = Annotated[str, text("[A-Za-z0-9_+/-]{1,100}", 'a time zone of the IANA data base, such as "Etc/UTC"')]
FilePath = Annotated[str, text(_TEXT + "{1,1000}", "a path of 1 to 1000 printable characters")]
Login = Annotated[str, text(_TEXT + "{1,128}", "1 to 128 printable characters")]
Host = Annotated[str, text("[A-Za-z0-9:][A-Za-z0-9._:-]{0,252}", "a host name or an IP address")]
Topic = Annotated[
    str,
    text(
        r"(?!\$)[^+#\x00-\x1f\x7f-\x9f\u2028\u2029]{1,200}",
        "an MQTT topic of 1 to 200 characters, without + or #, not beginning with $",
    ),
]
Word = Annotated[str, text(_TEXT + "{1,500}", "a text of 1 to 500 printable characters")]
Label = Annotated[str, text(_TEXT + "{1,128}", "1 to 128 printable characters")]
WebAddress = Annotated[
    str,
    text(
        r"https?://[A-Za-z0-9\[][^\s@\x00-\x1f\x7f-\x9f\u2028\u2029]{0,500}",
        "an http or https address without a password in it",
    ),
]
EnvName = Annotated[
    str, text("[A-Za-z_][A-Za-z0-9_]{0,127}", "the name of an environment variable: letters, digits and _")
]
SensorId = Annotated[str, text("28-[0-9a-f]{12}", "28- and 12 hexadecimal digits, 0 to 9 and a to f")]
Pointer = Annotated[str, text(_TEXT + "{0,200}", 'a JSON Pointer (RFC 6901), such as "/sensor/0/temp"')]


@dataclass(frozen=True, slots=True)
class Setting:
    """One key of one table, as its schema describes it. `table` is set for a table or a list of tables."""

    key: str
    type: Any  # what msgspec.convert checks a value against: a runtime type, with no static one
    required: bool
    default: object
    meaning: str
    unit: str
    low: float | None
    high: float | None
    allowed: str
    example: object
    secret: bool
    table: type[Struct] | None
    most: int | None  # how many tables of it there may be; None for a single one

    @property
    def many(self) -> bool:
        """Whether it is a list of tables."""
        return self.most is not None

    @property
    def filler(self) -> object:
        """Something valid to stand in for a faulty value while the rest is checked."""
        if self.table is None or not self.required:
            return self.example if self.required else self.default
        inner = {s.key: s.filler for s in settings_of(self.table).values() if s.required}
        return [inner] if self.many else inner


@cache
def settings_of(table: type[Struct]) -> dict[str, Setting]:
    """The keys of a table in their order."""
    return {info.name: _setting(info) for info in fields(table)}


def _setting(info: Any) -> Setting:  # msgspec's FieldInfo carries its types as Any
    metas = list(_metas(info.type))
    base = _base(info.type)
    many = get_origin(base) is list
    item = get_args(base)[0] if many else base
    table = item if isinstance(item, type) and issubclass(item, Struct) else None
    extra = {key: value for meta in reversed(metas) for key, value in (meta.extra or {}).items() if value}
    unit = str(extra.get("unit", ""))
    low = next((meta.ge for meta in metas if meta.ge is not None), None)
    high = next((meta.le for meta in metas if meta.le is not None), None)
    default = info.default_factory() if info.default_factory is not NODEFAULT else info.default
    return Setting(
        key=info.name,
        type=info.type,
        required=info.required,
        default=default,
        meaning=next(meta.description for meta in metas if meta.description),
        unit=unit,
        low=low,
        high=high,
        allowed=_table_words(info.name, many)
        if table
        else extra.get("words") or _words(base, low, high, unit),
        example=next((meta.examples[0] for meta in metas if meta.examples), None),
        secret=bool(extra.get("secret")),
        table=table,
        most=next(meta.max_length for meta in metas if meta.max_length) if many and table else None,
    )


def _metas(annotation: Any) -> Iterator[Meta]:  # a runtime annotation has no static type
    """Every Meta in an annotation, the outermost first."""
    args = get_args(annotation)
    if get_origin(annotation) is Annotated:
        yield from (arg for arg in reversed(args[1:]) if isinstance(arg, Meta))
        args = args[:1]
    if get_origin(annotation) is not Literal:
        for arg in args:
            yield from _metas(arg)


def _base(annotation: Any) -> Any:  # a runtime annotation has no static type
    """The bare type in an annotation: no Annotated, no None."""
    args = get_args(annotation)
    if get_origin(annotation) is Annotated:
        return _base(args[0])
    if NoneType in args:
        return _base(next(arg for arg in args if arg is not NoneType))
    return annotation


def _table_words(key: str, many: bool) -> str:
    return f"one [[{key}]] table or more" if many else f"a [{key}] table"


def _words(
    base: Any, low: float | None, high: float | None, unit: str
) -> str:  # a runtime annotation has no static type
    if get_origin(base) is Literal:
        return " or ".join(f'"{choice}"' for choice in get_args(base))
    if base is bool:
        return "true or false"
    if base is date:
        return "a date without quotes"
    if low is None or high is None:
        raise TypeError("a number or text without limits has no place in the schema")
    span = f"{low:g} to {high:g} {unit}".rstrip()
    return f"a whole number, {span}" if base is int else span
