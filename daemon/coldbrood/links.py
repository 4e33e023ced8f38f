"""All links to the outside of one site: the broker, where there is one, and the wires."""

from collections.abc import Callable, Mapping

import msgspec

from coldbrood.clock import Clock
from coldbrood.probes.mqtt import BrokerSettings, Connected, Fault, Link, Lost, Packet
from coldbrood.probes.onewire import WiredPoller, WiredSample
from coldbrood.settings.records import Broker, Config

Heard = Packet | Connected | Lost | Fault | WiredSample


class Links:
    """Starts, stops and speaks to whatever links the config asks for."""

    def __init__(self, config: Config, clock: Clock, post: Callable[[Heard], None]) -> None:
        site = config.site
        base = f"coldbrood/{site.name}"
        self.note_topic = f"{base}/note"
        self._base = base
        self._shown: dict[str, Mapping[str, object]] = {}
        self._broker: Link | None = None
        self._wires: WiredPoller | None = None
        if config.broker is not None:
            topics = sorted({spec.topic for spec in site.probes.values() if spec.source == "mqtt"})
            settings = _settings(config.broker, f"coldbrood-{site.name}")
            self._broker = Link(settings, [*topics, self.note_topic], f"{base}/daemon", post)
        wired = [spec for spec in site.probes.values() if spec.source == "onewire"]
        if wired:
            self._wires = WiredPoller(wired, post, clock.mono_s)

    def start(self) -> None:
        """Connect and poll."""
        if self._broker is not None:
            self._broker.start()
        if self._wires is not None:
            self._wires.start()

    def stop(self) -> None:
        """Let go."""
        if self._wires is not None:
            self._wires.stop()
        if self._broker is not None:
            self._broker.stop()

    def acknowledge(self, mid: int) -> None:
        """Tell the broker that a message is in the journal."""
        if self._broker is not None:
            self._broker.ack(mid)

    def show(self, box: str, body: Mapping[str, object]) -> None:
        """Publish the state of a box, retained; the same again is not sent again."""
        if self._broker is not None and self._shown.get(box) != body:
            self._shown[box] = body
            self._broker.publish_retained(f"{self._base}/{box}/state", msgspec.json.encode(body))


def _settings(broker: Broker, client_id: str) -> BrokerSettings:
    return BrokerSettings(
        host=broker.host,
        port=broker.port,
        username=broker.username,
        password=None if broker.password is None else broker.password.reveal(),
        tls_ca=broker.tls_ca,
        client_id=client_id,
    )
