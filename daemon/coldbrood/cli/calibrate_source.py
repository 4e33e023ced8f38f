"""Where the raw temperatures of a probe come from while it is compared: the broker, or the board's wires."""

import time
from pathlib import Path
from typing import Protocol

from coldbrood.probes import onewire, payload, quality
from coldbrood.probes.quality import GateState
from coldbrood.probes.strict_json import BadPayload
from coldbrood.settings.records import Config
from coldbrood.setup.ear import Ear, Packet
from coldbrood.watch.site import ProbeSpec

WIRE_EVERY_S = 5.0


class Source(Protocol):
    """Raw temperatures, one after the other, as the sensor gives them."""

    def open(self) -> str:
        """Begin; what stands in the way, in plain words, or nothing."""

    def close(self) -> None:
        """End."""

    def next_c(self, limit_s: float) -> list[float]:
        """Those that came next, oldest first; none within the limit."""


def source_of(config: Config, spec: ProbeSpec) -> Source:
    """The source for a probe of the config."""
    return Wire(spec) if spec.source == "onewire" else Air(config, spec)


class Air:
    """A battery probe, heard on the broker with a session of our own."""

    def __init__(self, config: Config, spec: ProbeSpec) -> None:
        if config.broker is None:
            raise ValueError("a probe over MQTT without a broker: the config's own check forbids it")
        broker = config.broker
        password = None if broker.password is None else broker.password.reveal()
        self._ear = Ear([spec.topic], broker.host, broker.port, broker.username, password, broker.tls_ca)
        self._spec = spec
        self._shared = sum(other.topic == spec.topic for other in config.site.probes.values()) > 1
        self._taken = 0
        self._begun_s = 0.0

    def open(self) -> str:
        """Connect and listen."""
        self._begun_s = time.monotonic()
        return self._ear.open()

    def close(self) -> None:
        """Let go."""
        self._ear.close()

    def next_c(self, limit_s: float) -> list[float]:
        """What the next message tells of the time since we began; a bundle may also tell of before."""
        packets = self._ear.packets()[self._taken :]
        if not packets and self._ear.wait(limit_s):
            packets = self._ear.packets()[self._taken :]
        self._taken += len(packets)
        return [value for packet in packets for value in self._values(packet)]

    def _values(self, packet: Packet) -> list[float]:
        try:
            samples = payload.decode(packet.payload, self._spec, by_name=self._shared)
        except BadPayload:
            return []
        since_s = packet.mono_s - self._begun_s
        fresh = [one for one in samples if one.quantity == "temperature_c" and (one.age_s or 0.0) <= since_s]
        return [one.value for one in fresh if _can_be(self._spec, one.value)]


class Wire:
    """A sensor on this board's wires. The kernel lets the daemon read it too."""

    def __init__(self, spec: ProbeSpec, every_s: float = WIRE_EVERY_S, base: Path | None = None) -> None:
        self._spec, self._every_s, self._base = spec, every_s, base

    def open(self) -> str:
        """Read once; what is wrong with it, or nothing."""
        celsius, _, detail = onewire.read(self._spec.sensor_id or "", self._base)
        return detail if celsius is None else ""

    def close(self) -> None:
        """Nothing to let go of."""

    def next_c(self, limit_s: float) -> list[float]:
        """One more reading after a pause."""
        time.sleep(min(self._every_s, limit_s))
        celsius, _, _ = onewire.read(self._spec.sensor_id or "", self._base)
        return [] if celsius is None or not _can_be(self._spec, celsius) else [celsius]


def _can_be(spec: ProbeSpec, raw: float) -> bool:
    """Whether the door would take it: no power-on value, no lost sensor."""
    return quality.plausible(GateState(), spec, "temperature_c", raw, 0.0).reason is None
