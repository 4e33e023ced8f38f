"""Battery probes as the broker sees them: one MQTT client each, SenML (RFC 8428) at QoS 1."""

import json
import threading
from types import TracebackType

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion

from coldbrood.demo.scenario import BATTERY_EVERY, SITE

CONNECT_LIMIT_S = 10.0


class BatteryProbe:
    """Context manager: a probe that sends its temperature, and its battery's charge now and then.

    `handed` counts the values given to it to send, `sent` those the broker has taken. Raises
    TimeoutError if it cannot connect.
    """

    def __init__(self, name: str, port: int, battery_pct: float = 96.0) -> None:
        self.name = name
        self.topic = f"coldbrood/{SITE}/{name}/reading"
        self.battery_pct = battery_pct
        self.alive = True
        self.handed = 0
        self._port = port
        self._packets = 0
        self._waiting: list[tuple[mqtt.MQTTMessageInfo, int]] = []
        self._up = threading.Event()
        self._client = mqtt.Client(CallbackAPIVersion.VERSION2, client_id=f"probe-{name}")
        self._client.on_connect = lambda *_: self._up.set()

    def __enter__(self) -> "BatteryProbe":
        self._client.connect("127.0.0.1", self._port)
        self._client.loop_start()
        if not self._up.wait(CONNECT_LIMIT_S):
            raise TimeoutError(f"probe {self.name}: no answer from the demo's broker")
        return self

    def __exit__(
        self, kind: type[BaseException] | None, fault: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._client.disconnect()
        self._client.loop_stop()

    @property
    def sent(self) -> int:
        """Values the broker has acknowledged."""
        return sum(values for info, values in self._waiting if info.is_published())

    def send(self, celsius: float) -> None:
        """Send one packet, unless the battery is out."""
        if not self.alive:
            return
        with_battery = self._packets % BATTERY_EVERY == 0
        self._packets += 1
        pack = payload(self.name, celsius, self.battery_pct if with_battery else None)
        self.handed += 1 + with_battery
        self._waiting.append((self._client.publish(self.topic, pack, qos=1), 1 + with_battery))

    def settle(self, seconds: float) -> None:
        """Wait up to `seconds` for the broker to take what is on its way."""
        for info, _ in self._waiting[-50:]:
            info.wait_for_publish(seconds)


def payload(name: str, celsius: float, battery_pct: float | None) -> bytes:
    """One SenML pack. It carries no time: a probe has no clock, so its values are of now."""
    pack: list[dict[str, object]] = [{"bn": f"{name}/", "n": "temperature", "u": "Cel", "v": celsius}]
    if battery_pct is not None:
        pack.append({"n": "battery", "u": "%EL", "v": round(battery_pct, 1)})
    return json.dumps(pack, separators=(",", ":")).encode()
