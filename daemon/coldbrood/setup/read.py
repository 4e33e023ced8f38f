"""From what a keeper types to what the config holds; each reader raises BadAnswer with what is allowed."""

import re
from collections.abc import Callable, Collection
from datetime import date
from typing import Final, TypeVar

import msgspec

from coldbrood.settings.schema import File
from coldbrood.settings.setting import Setting, settings_of
from coldbrood.setup.ask import BadAnswer

T = TypeVar("T")

NONE: Final = "none"
INSULATION_W_PER_MK: Final = {
    "eps": 0.038,
    "xps": 0.036,
    "wool": 0.040,
    "fibre": 0.045,
    "shavings": 0.12,
    "wood": 0.13,
}
"""Middle of the ranges in the config's insulation_w_per_mk (V there); wool is mineral or sheep's wool (M)."""


def setting(table: str, key: str) -> Setting:
    """What the schema says of one key."""
    inner = settings_of(File)[table].table
    if inner is None:
        raise KeyError(table)
    return settings_of(inner)[key]


def of_schema(table: str, key: str) -> Callable[[str], object]:
    """A reader that takes what the schema takes."""
    known = setting(table, key)

    def read(text: str) -> object:
        try:
            return msgspec.convert(text, known.type, strict=False)
        except (msgspec.ValidationError, OverflowError):
            raise BadAnswer(known.allowed) from None

    return read


def why(table: str, key: str) -> str:
    """What the schema says that the key means."""
    return setting(table, key).meaning


def place(text: str) -> tuple[float, float]:
    """`50.0, 8.5` or `50 N 8.5 E`."""
    found = re.fullmatch(r"\s*([-+]?[\d.]+)\s*([NSns]?)[\s,;]+([-+]?[\d.]+)\s*([EWew]?)\s*", text)
    if found is None:
        raise BadAnswer("two numbers, latitude and longitude in degrees, such as 50.0, -3.5")
    try:
        latitude_deg, longitude_deg = float(found[1]), float(found[3])
    except ValueError:
        raise BadAnswer("two numbers, such as 50.0, -3.5") from None
    latitude_deg *= -1.0 if found[2] in "sS" and found[2] else 1.0
    longitude_deg *= -1.0 if found[4] in "wW" and found[4] else 1.0
    if abs(latitude_deg) > 90 or abs(longitude_deg) > 180:
        raise BadAnswer("latitude -90 to 90 and longitude -180 to 180 degrees")
    return latitude_deg, longitude_deg


def names(text: str) -> tuple[str, ...]:
    """Names of boxes, parted by blanks or commas."""
    found = tuple(part for part in re.split(r"[\s,]+", text.strip()) if part)
    read = of_schema("box", "name")
    for name in found:
        read(name)
    if not found or len(set(found)) != len(found) or len(found) > 8:
        raise BadAnswer("one name to eight, each once, such as: a b")
    return found


def inside_m(text: str) -> tuple[float, float, float]:
    """`75 x 55 x 40` in cm, or in m if all are under 4."""
    parts = re.findall(r"\d+(?:[.,]\d+)?", text)
    if len(parts) != 3:
        raise BadAnswer("three numbers in cm, such as 75 x 55 x 40")
    values = [float(part.replace(",", ".")) for part in parts]
    metres = values if max(values) < 4.0 else [value / 100.0 for value in values]
    for key, value in zip(("length_m", "width_m", "height_m"), metres, strict=True):
        of_schema("box", key)(repr(value))
    return metres[0], metres[1], metres[2]


def insulation(text: str) -> tuple[float, float]:
    """`30 eps`: millimetres and what it is of, in W/mK."""
    found = re.fullmatch(r"\s*(\d+(?:\.\d+)?)\s*(?:mm)?\s*([a-z]*|0?\.\d+)\s*", text.lower())
    known = ", ".join(INSULATION_W_PER_MK)
    if found is None or (found[2].isalpha() and found[2] not in INSULATION_W_PER_MK):
        raise BadAnswer(f"millimetres and one of {known}, or a conductivity in W/mK: such as 30 eps")
    of_schema("box", "insulation_mm")(found[1])
    if found[2] and not found[2].isalpha():
        of_schema("box", "insulation_w_per_mk")(found[2])
        return float(found[1]), float(found[2])
    return float(found[1]), INSULATION_W_PER_MK[found[2] or "eps"]


def jugs(text: str) -> tuple[int, float]:
    """`3.8`, or `2 x 3.8`: jugs and litres in each."""
    found = re.fullmatch(r"\s*(?:(\d+)\s*[x*]\s*)?(\d+(?:[.,]\d+)?)\s*[lL]?\s*", text)
    if found is None:
        raise BadAnswer("litres, such as 3.8, or several jugs, such as 2 x 3.8")
    of_schema("box", "jugs")(found[1] or "1")
    of_schema("box", "jug_litres")(found[2].replace(",", "."))
    return int(found[1] or 1), float(found[2].replace(",", "."))


def yes(text: str) -> bool:
    """`yes` or `no`."""
    if text.lower() in ("yes", "y", "no", "n"):
        return text.lower().startswith("y")
    raise BadAnswer("yes or no")


def day(text: str) -> date:
    """A date."""
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise BadAnswer("a date, such as 2026-04-10") from None


def or_none(read: Callable[[str], T]) -> Callable[[str], T | None]:
    """The same reader, which also takes the word none."""
    return lambda text: None if text.lower() == NONE else read(text)


def number(low: float, high: float, unit: str) -> Callable[[str], float]:
    """A number within limits."""

    def read(text: str) -> float:
        try:
            value = float(text.replace(",", "."))
        except ValueError:
            value = float("nan")
        if not low <= value <= high:
            raise BadAnswer(f"{low:g} to {high:g} {unit}")
        return value

    return read


def address(text: str) -> tuple[str, int]:
    """`host` or `host:port` of the broker."""
    host, _, port = text.rpartition(":") if text.count(":") == 1 else (text, "", "1883")
    of_schema("broker", "host")(host)
    of_schema("broker", "port")(port)
    return host, int(port)


def one_of(words: Collection[str], read: Callable[[str], T]) -> Callable[[str], T | str]:
    """Some words as they are, else what the reader makes of it."""
    return lambda text: text if text in words else read(text)
