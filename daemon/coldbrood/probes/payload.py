"""One payload of one probe to samples in the daemon's units, by the format its config names.

Three formats: `senml` (RFC 8428), `pointers` (RFC 6901 pointers into foreign JSON) and `plain`
(a bare number). Everything leaves here in degrees Celsius, per cent and volts.
"""

import math
import re
from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass

from jsonpointer import JsonPointer, JsonPointerException

from coldbrood.probes import senml, strict_json
from coldbrood.probes.strict_json import BadPayload
from coldbrood.watch.site import ProbeSpec, Quantity, TemperatureUnit

MAX_PLAIN_BYTES = 32
_ABSENT = object()

# unit -> quantity, scale, offset. The first four, K and dBW of RFC 8428 s. 12.1 [V, dBW M]; mV and dBm of RFC
# 8798 [M]. 0 dBW is 1 W, 30 dBm [C].
_UNITS: Mapping[str, tuple[Quantity, float, float]] = {
    "Cel": ("temperature_c", 1.0, 0.0),
    "K": ("temperature_c", 1.0, -273.15),
    "%RH": ("humidity_pct", 1.0, 0.0),
    "%EL": ("battery_pct", 1.0, 0.0),
    "V": ("battery_v", 1.0, 0.0),
    "mV": ("battery_v", 0.001, 0.0),
    "dBW": ("signal_dbm", 1.0, 30.0),
    "dBm": ("signal_dbm", 1.0, 0.0),
}
# "/" is a ratio of 0 to 1, and "%" its old name, not a per cent (RFC 8428 s. 12.1 [V]). The unit does
# not say of what, so the last part of the name must.
_RATIO_UNITS = ("/", "%")
_RATIO_NAMES: Mapping[str, Quantity] = {
    "humidity": "humidity_pct",
    "rh": "humidity_pct",
    "battery": "battery_pct",
    "level": "battery_pct",
}
_OF_THE_BOARD: frozenset[Quantity] = frozenset({"battery_v", "battery_pct", "signal_dbm"})
_NAME_PARTS = re.compile(r"[:./_-]")
_BEFORE_NAME = frozenset(":./_")  # not "-": probe "a" is not meant by a record named "box-a"
_NUMBER = re.compile(r"[+-]?(\d+(\.\d*)?|\.\d+)([eE][+-]?\d+)?", re.ASCII)
_NOT_NUMBERS = re.compile(r"[+-]?(nan|inf|infinity|null|none)?", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Sample:
    """One value as sent. `age_s` before arrival, or `unix_s` if the probe has a clock; never both.

    A value that was there and was no number is NaN: the gate refuses it alone, by its name.
    """

    quantity: Quantity
    value: float
    age_s: float | None = None
    unix_s: float | None = None


def decode(payload: bytes, spec: ProbeSpec, *, by_name: bool = False) -> tuple[Sample, ...]:
    """Decode one payload as `spec.format` says, oldest first.

    `by_name`: several probes share the topic, so a SenML record must carry this probe's name.
    Raises BadPayload if nothing in it can be used.
    """
    samples = _FORMATS[spec.format](payload, spec, by_name)
    if not samples:
        raise BadPayload("no-temperature", f"no value for probe {spec.name} in the payload")
    return samples


def to_celsius(value: float, unit: TemperatureUnit) -> float:
    """Degrees of the given scale to degrees Celsius."""
    return (value - 32.0) * 5.0 / 9.0 if unit == "F" else value


def _plain(payload: bytes, spec: ProbeSpec, _by_name: bool) -> tuple[Sample, ...]:
    strict_json.require_size(payload, MAX_PLAIN_BYTES)
    try:
        text = payload.decode("ascii")
    except UnicodeDecodeError:
        raise BadPayload("bad-payload", "not a bare number in ASCII") from None
    value = parse_number(text)
    return (Sample("temperature_c", to_celsius(value, spec.unit), age_s=0.0),)


def parse_number(text: str) -> float:
    """A decimal number and nothing else; blanks at the ends are allowed, as C's padded formats send them.

    Raises BadPayload: not-a-number for nan, inf and nothing at all, else bad-payload.
    """
    body = text.strip(" \t\r\n")
    if _NOT_NUMBERS.fullmatch(body):
        raise BadPayload("not-a-number", f"{text!r} is not a number")
    if len(body) > MAX_PLAIN_BYTES or not _NUMBER.fullmatch(body):
        raise BadPayload("bad-payload", f"{text[:40]!r} is not a bare decimal number")
    value = float(body)
    if not math.isfinite(value):
        raise BadPayload("not-a-number", f"{text!r} is beyond any number")
    return value


def _pointers(payload: bytes, spec: ProbeSpec, _by_name: bool) -> tuple[Sample, ...]:
    root = strict_json.load(payload)
    found = ((quantity, _at(root, pointer)) for quantity, pointer in spec.pointers.items())
    return tuple(
        Sample(quantity, _foreign(quantity, value, spec.unit), age_s=0.0)
        for quantity, value in found
        if value is not _ABSENT
    )


def _at(root: object, pointer: str) -> object:
    """The value a pointer leads to, or _ABSENT: firmware leaves out what it did not measure."""
    try:
        value: object = JsonPointer(pointer).resolve(root, _ABSENT)
    except JsonPointerException as fault:
        raise BadPayload("bad-payload", f"pointer {pointer!r}: {fault}") from None
    return value


def _foreign(quantity: Quantity, value: object, unit: TemperatureUnit) -> float:
    """A JSON number, or a number in text as some firmware sends it; NaN for all else."""
    if isinstance(value, bool) or not isinstance(value, int | float | str):
        return math.nan
    try:
        number = parse_number(value) if isinstance(value, str) else float(value)
    except (BadPayload, OverflowError):
        return math.nan
    return to_celsius(number, unit) if quantity == "temperature_c" else number


def _senml(payload: bytes, spec: ProbeSpec, by_name: bool) -> tuple[Sample, ...]:
    by_quantity: dict[Quantity, list[tuple[str, Sample]]] = defaultdict(list)
    for record in senml.resolve(strict_json.load(payload)):
        sample = _sample(record)
        if sample is not None:
            by_quantity[sample.quantity].append((record.name, sample))
    chosen = [
        sample
        for quantity, named in by_quantity.items()
        for sample in _choose(quantity, named, spec.name, by_name)
    ]
    return tuple(sorted(chosen, key=_oldest_first))


def _sample(record: senml.Record) -> Sample | None:
    meaning = _meaning(record)
    if meaning is None:
        return None
    quantity, scale, offset = meaning
    value = record.value
    number = math.nan if isinstance(value, bool) or not isinstance(value, float) else value * scale + offset
    if record.relative:
        return Sample(quantity, number, age_s=-record.time_s)
    return Sample(quantity, number, unix_s=record.time_s)


def _meaning(record: senml.Record) -> tuple[Quantity, float, float] | None:
    if record.unit in _RATIO_UNITS:
        quantity = _RATIO_NAMES.get(_NAME_PARTS.split(record.name)[-1].lower())
        return None if quantity is None else (quantity, 100.0, 0.0)
    return _UNITS.get(record.unit or "")


def _choose(
    quantity: Quantity, named: list[tuple[str, Sample]], probe: str, by_name: bool
) -> Iterable[Sample]:
    """Which records are this probe's: those named after it, else all if only one thing is named.

    A board has one battery and one radio, so what they tell may go to each of its probes. Two temperatures,
    and none named after the probe, are refused: a guess here would judge the box by the wrong air.
    """
    own = [sample for name, sample in named if _names(name, probe)]
    if own:
        return own
    names = {name for name, _ in named}
    if len(names) == 1 and (not by_name or quantity in _OF_THE_BOARD):
        return [sample for _, sample in named]
    if quantity == "temperature_c":
        listed = ", ".join(sorted(names))
        raise BadPayload("bad-payload", f"no temperature is named {probe!r} among: {listed}")
    return []


def _names(name: str, probe: str) -> bool:
    return name == probe or (name.endswith(probe) and name[-len(probe) - 1] in _BEFORE_NAME)


def _oldest_first(sample: Sample) -> tuple[bool, float]:
    if sample.unix_s is not None:
        return (False, sample.unix_s)
    return (True, -(sample.age_s or 0.0))


_FORMATS: Mapping[str, Callable[[bytes, ProbeSpec, bool], tuple[Sample, ...]]] = {
    "senml": _senml,
    "pointers": _pointers,
    "plain": _plain,
}
