"""What a board can see by itself: its time zone and where that lies, wired probes, the disk, the broker."""

import os
import re
import shutil
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from coldbrood.probes import payload
from coldbrood.probes.strict_json import BadPayload
from coldbrood.setup.ear import Packet
from coldbrood.watch.site import ProbeSpec

ZONE_TABLES: Final = (Path("/usr/share/zoneinfo/zone1970.tab"), Path("/usr/share/zoneinfo/zone.tab"))
WIRES: Final = Path("/sys/bus/w1/devices")
TOPIC: Final = "coldbrood/+/+/reading"
BYTES_A_DAY: Final = 2_500_000
"""What a journal grows by at six probes and one reading a minute: some 2 MB, taken generously."""


def time_zone(environ: Mapping[str, str], etc: Path = Path("/etc")) -> str | None:
    """Name of the board's time zone, None if it does not tell."""
    if environ.get("TZ"):
        return environ["TZ"].lstrip(":")
    try:
        return (etc / "timezone").read_text(encoding="ascii").strip() or None
    except (OSError, UnicodeDecodeError):
        pass
    try:
        link = os.readlink(etc / "localtime")
    except OSError:
        return None
    return link.partition("zoneinfo/")[2] or None


def place_of(zone: str, tables: tuple[Path, ...] = ZONE_TABLES) -> tuple[float, float] | None:
    """Latitude and longitude in degrees of the town a zone is named after (tz database, zone1970.tab)."""
    for table in tables:
        try:
            lines = table.read_text(encoding="utf-8").splitlines()
        except OSError:
            continue
        rows = (line.split("\t") for line in lines if not line.startswith("#"))
        found = next((row[1] for row in rows if len(row) > 2 and row[2] == zone), None)
        if found is not None:
            return _degrees(found)
    return None


def _degrees(text: str) -> tuple[float, float] | None:
    """ISO 6709 as in the table: +DDMM+DDDMM or +DDMMSS+DDDMMSS."""
    match = re.fullmatch(r"([+-]\d{4}|[+-]\d{6})([+-]\d{5}|[+-]\d{7})", text)
    if match is None:
        return None
    return _angle(match[1], 2), _angle(match[2], 3)


def _angle(text: str, digits: int) -> float:
    body = text[1:]
    parts = body[:digits], body[digits : digits + 2], body[digits + 2 :] or "0"
    degrees = int(parts[0]) + int(parts[1]) / 60.0 + int(parts[2]) / 3600.0
    return round(-degrees if text[0] == "-" else degrees, 1)


def wired(folder: Path = WIRES) -> list[str]:
    """Numbers of the DS18B20 on this board's wires."""
    try:
        return sorted(path.name for path in folder.iterdir() if re.fullmatch(r"28-[0-9a-f]{12}", path.name))
    except OSError:
        return []


def disk(folder: Path) -> str:
    """Room for the journal, in words."""
    nearest = next((path for path in (folder, *folder.parents) if path.exists()), Path("/"))
    free = shutil.disk_usage(nearest).free
    years = free / BYTES_A_DAY / 365.0
    room = f"room for {years:.0f} years" if years >= 2 else f"room for {free / BYTES_A_DAY:.0f} days"
    return f"{free / 1e9:.1f} GB free, {room} of readings of six probes"


@dataclass(frozen=True, slots=True)
class Heard:
    """One probe heard on the broker: its topic, and its temperature if that could be read."""

    site: str
    probe: str
    topic: str
    celsius: float | None

    def __str__(self) -> str:
        said = "not SenML" if self.celsius is None else f"{self.celsius:.1f} C"
        return f"{self.probe} ({said})"


def heard(packets: Iterable[Packet]) -> list[Heard]:
    """The newest of each probe, by name."""
    newest: dict[str, Heard] = {}
    for packet in packets:
        parts = packet.topic.split("/")
        if len(parts) == 4:
            celsius = _celsius(parts[2], packet.topic, packet.payload)
            newest[packet.topic] = Heard(parts[1], parts[2], packet.topic, celsius)
    return sorted(newest.values(), key=lambda item: item.probe)


def _celsius(name: str, topic: str, body: bytes) -> float | None:
    spec = ProbeSpec(name, "outdoor", None, "mqtt", 300.0, topic=topic)
    try:
        samples = payload.decode(body, spec)
    except (BadPayload, ValueError, ArithmeticError, RecursionError):
        return None
    values = [sample.value for sample in samples if sample.quantity == "temperature_c"]
    return values[-1] if values else None
