"""What a board can see by itself: its time zone and where that lies, wired probes, the disk, the broker."""

import os
import re
import shutil
import threading
import time
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.reasoncodes import ReasonCode

from coldbrood.probes import payload, trouble
from coldbrood.probes.strict_json import BadPayload
from coldbrood.watch.site import ProbeSpec

ZONE_TABLES: Final = (Path("/usr/share/zoneinfo/zone1970.tab"), Path("/usr/share/zoneinfo/zone.tab"))
WIRES: Final = Path("/sys/bus/w1/devices")
TOPIC: Final = "coldbrood/+/+/reading"
ANSWER_S: Final = 5.0
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


class Ear:
    """Listens on the broker for probes, in the background, for as long as it is open.

    Callbacks only note what came: an exception in one would end paho's thread in silence.
    """

    def __init__(
        self, host: str, port: int, username: str | None, password: str | None, tls_ca: Path | None = None
    ) -> None:
        self._host, self._port, self._tls_ca = host, port, tls_ca
        self._news = threading.Condition()
        self._heard: dict[str, Heard] = {}
        self._ready: bool | None = None
        self._refused = ""
        self._client = paho.Client(CallbackAPIVersion.VERSION2, f"coldbrood-setup-{os.getpid()}")
        self._client.connect_timeout = ANSWER_S
        if username is not None:
            self._client.username_pw_set(username, password)
        self._client.on_connect = self._on_connect
        self._client.on_subscribe = self._on_subscribe
        self._client.on_message = self._on_message

    def open(self) -> str:
        """Connect and listen; what stands in the way, in plain words, or nothing."""
        try:
            if self._tls_ca is not None:
                self._client.tls_set(ca_certs=str(self._tls_ca))
            self._client.connect(self._host, self._port)
        except (OSError, ValueError) as fault:
            return trouble.failure(fault, self._host, self._port)
        self._client.loop_start()
        with self._news:
            self._news.wait_for(lambda: self._ready is not None, ANSWER_S)
            if self._ready:
                return ""
            return self._refused or f"{self._host}:{self._port} answers, but not as an MQTT broker does"

    def close(self) -> None:
        """Let go."""
        self._client.disconnect()
        self._client.loop_stop()

    def heard(self) -> list[Heard]:
        """All probes heard so far, by name."""
        with self._news:
            return sorted(self._heard.values(), key=lambda item: item.probe)

    def wait(self, limit_s: float) -> bool:
        """Until a probe not heard before speaks; False if none did."""
        with self._news:
            known = len(self._heard)
            return self._news.wait_for(lambda: len(self._heard) > known, limit_s)

    def _on_connect(
        self, client: paho.Client, _user: object, _flags: object, reason: ReasonCode, _properties: object
    ) -> None:
        if not reason.is_failure:
            client.subscribe(TOPIC, 1)
            return
        with self._news:
            self._ready, self._refused = False, trouble.refusal(str(reason), self._host, self._port)
            self._news.notify_all()

    def _on_subscribe(
        self, _client: paho.Client, _user: object, _mid: int, reasons: list[ReasonCode], _properties: object
    ) -> None:
        with self._news:
            self._ready = not any(reason.is_failure for reason in reasons)
            self._refused = "" if self._ready else trouble.topics_refused([TOPIC])
            self._news.notify_all()

    def _on_message(self, _client: paho.Client, _user: object, message: paho.MQTTMessage) -> None:
        parts = message.topic.split("/")
        if len(parts) == 4 and not message.retain:
            celsius = _celsius(parts[2], message.topic, bytes(message.payload))
            with self._news:
                self._heard[message.topic] = Heard(parts[1], parts[2], message.topic, celsius)
                self._news.notify_all()


def _celsius(name: str, topic: str, body: bytes) -> float | None:
    spec = ProbeSpec(name, "outdoor", None, "mqtt", 300.0, topic=topic)
    try:
        samples = payload.decode(body, spec)
    except (BadPayload, ValueError, ArithmeticError, RecursionError):
        return None
    values = [sample.value for sample in samples if sample.quantity == "temperature_c"]
    return values[-1] if values else None


def until(ear: Ear, limit_s: float) -> None:
    """Wait for a new probe, then a moment for its neighbours."""
    if ear.wait(limit_s):
        time.sleep(1.0)
