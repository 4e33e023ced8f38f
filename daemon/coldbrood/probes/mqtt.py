"""The link to the broker: MQTT 3.1.1 over paho, QoS 1, acknowledged only when told to.

All it does is post what happened into the service's queue. paho's network thread dies without a
word if a callback raises, so none may.
"""

import json
import logging
import sys
import threading
import time
import uuid
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import wraps
from pathlib import Path
from typing import Any, Concatenate, ParamSpec

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.reasoncodes import ReasonCode

from coldbrood.probes import trouble
from coldbrood.probes.strict_json import MAX_BYTES

_log = logging.getLogger(__name__)

RECONNECT_MOST_S = 30
QUIET_S = 10.0  # with nothing owed to the broker, a queue that had more would have sent it by then
RESUBSCRIBE_S = 30.0
KEEP_ALIVE_S = 20  # a link that died without a word is seen to be dead after up to twice this
_FAREWELL_S = 2.0
_MID_BITS = 16

P = ParamSpec("P")


@dataclass(frozen=True, slots=True)
class BrokerSettings:
    """Where the broker is and who we are to it. `client_id` must be lasting: the session hangs on it."""

    host: str
    port: int = 1883
    username: str | None = None
    password: str | None = field(default=None, repr=False)
    tls_ca: Path | None = None
    client_id: str = "coldbrood"
    keepalive_s: int = KEEP_ALIVE_S


@dataclass(frozen=True, slots=True)
class Packet:
    """One message. Hand `mid` to `Link.ack` after the commit; 0 needs none.

    `queued`: it may have waited at the broker since the link was last up; `dup`: since before that, for
    as long as it waited for our acknowledgement. Neither: it came as it was sent. `overtook`: how many of its
    topic were dropped for it, see inlet.py.
    """

    mid: int
    topic: str
    payload: bytes
    retained: bool
    dup: bool
    queued: bool
    overtook: int = 0

    @property
    def number(self) -> int:
        """What the broker calls it, the same if it is sent again; 0 for a message that it sends once."""
        return self.mid & ((1 << _MID_BITS) - 1)


@dataclass(frozen=True, slots=True)
class Connected:
    """The broker accepted the connection and every subscription. Packets come only after this."""

    session_present: bool


@dataclass(frozen=True, slots=True)
class Lost:
    """The broker is gone or refuses; what to do about it in plain words. Posted once per cause."""

    detail: str


@dataclass(frozen=True, slots=True)
class Fault:
    """Something went wrong inside, the link itself stands."""

    detail: str


LinkPost = Packet | Connected | Lost | Fault


def _guarded(callback: Callable[Concatenate["Link", P], None]) -> Callable[Concatenate["Link", P], None]:
    """Post what a callback raised, and let the network thread live."""

    @wraps(callback)
    def guarded(link: "Link", /, *args: P.args, **kwargs: P.kwargs) -> None:
        try:
            callback(link, *args, **kwargs)
        except Exception as fault:  # noqa: BLE001 - an exception here would end the network thread in silence
            link.report(f"{callback.__name__}: {type(fault).__name__}: {fault}")

    return guarded


class Link:
    """One lasting session with the broker. `post` is called on the network thread and must not block."""

    def __init__(
        self,
        settings: BrokerSettings,
        topics: Sequence[str],
        will_topic: str,
        post: Callable[[LinkPost], None],
    ) -> None:
        self._settings = settings
        self._will_topic = will_topic
        self._topics = [*topics, will_topic]
        self._post = post
        self._lock = threading.Lock()
        self._generation = 0
        self._up = False
        self._owed = 0
        self._last_s = 0.0
        self._queued = False
        self._session_present = False
        self._last_lost: str | None = None
        self._mark = ""
        self._retained: dict[str, bytes] = {}
        self._early: list[Packet] = []
        self._again: threading.Timer | None = None
        self._client = self._make_client()

    def start(self) -> None:
        """Begin to connect, and go on trying for ever. Raises ValueError if the CA file is unusable."""
        self._secure()
        self._client.connect_async(self._settings.host, self._settings.port, self._settings.keepalive_s)
        self._client.loop_start()

    def ack(self, mid: int) -> None:
        """Tell the broker that a packet is kept. An earlier connection's is passed over: it comes again."""
        with self._lock:
            if mid and self._up and mid >> _MID_BITS == self._generation:
                self._client.ack(mid & ((1 << _MID_BITS) - 1), 1)
                self._owed -= 1
                self._last_s = time.monotonic()

    def publish_retained(self, topic: str, payload: bytes) -> None:
        """Publish the newest state of a topic, now or at the next connect."""
        with self._lock:
            self._retained[topic] = payload
            if self._up:
                self._client.publish(topic, payload, qos=1, retain=True)

    def publish(self, topic: str, payload: bytes) -> bool:
        """Publish once; False, and nothing is kept, while the link is down."""
        with self._lock:
            return self._up and self._client.publish(topic, payload, qos=1).rc == paho.MQTT_ERR_SUCCESS

    def stop(self) -> None:
        """Say "offline", leave in order; the session and its queue stay at the broker."""
        with self._lock:
            up, self._up = self._up, False
        if self._again is not None:
            self._again.cancel()
        if up:
            farewell = self._client.publish(self._will_topic, _status("offline", ""), qos=1, retain=True)
            try:
                farewell.wait_for_publish(_FAREWELL_S)
            except (RuntimeError, ValueError) as fault:
                _log.info("the broker did not take the farewell: %s", fault)
        self._client.disconnect()
        self._client.loop_stop()

    def report(self, detail: str) -> None:
        """Post a fault; if even that fails, log it."""
        _log.error("broker link: %s", detail)
        try:
            self._post(Fault(detail))
        except Exception:  # noqa: BLE001 - the caller is the network thread, which must live
            _log.exception("broker link: the fault could not be posted")

    def _make_client(self) -> paho.Client:
        settings = self._settings
        client = paho.Client(
            CallbackAPIVersion.VERSION2,
            settings.client_id,
            clean_session=False,
            protocol=paho.MQTTv311,
            manual_ack=True,
        )
        client.reconnect_delay_set(1, RECONNECT_MOST_S)
        client.will_set(self._will_topic, _status("offline", ""), qos=1, retain=True)
        if settings.username is not None:
            client.username_pw_set(settings.username, settings.password)
        client.on_connect = self._on_connect
        client.on_connect_fail = self._on_connect_fail
        client.on_disconnect = self._on_disconnect
        client.on_subscribe = self._on_subscribe
        client.on_message = self._on_message
        return client

    def _secure(self) -> None:
        ca = self._settings.tls_ca
        if ca is None:
            return
        try:
            self._client.tls_set(ca_certs=str(ca))
        except OSError as fault:
            allowed = "allowed is a readable PEM file"
            raise ValueError(f"broker.tls_ca: {ca}: {fault.strerror or fault}: {allowed}") from None

    @_guarded
    def _on_connect(
        self,
        _client: paho.Client,
        _userdata: object,
        flags: paho.ConnectFlags,
        reason: ReasonCode,
        _properties: object,
    ) -> None:
        if reason.is_failure:
            self._lost(trouble.refusal(str(reason), self._settings.host, self._settings.port))
            return
        with self._lock:
            self._generation += 1
            self._owed, self._last_s = 0, time.monotonic()
        self._session_present = self._queued = flags.session_present
        self._early = []  # what an earlier connection brought comes again
        self._mark = uuid.uuid4().hex
        self._subscribe()

    @_guarded
    def _on_subscribe(
        self,
        client: paho.Client,
        _userdata: object,
        _mid: int,
        reasons: list[ReasonCode],
        _properties: object,
    ) -> None:
        refused = [topic for topic, reason in zip(self._topics, reasons, strict=False) if reason.is_failure]
        if refused:
            self._lost(trouble.topics_refused(refused))
            self._ask_again_later(self._generation)
            return
        with self._lock:
            self._up = True
            client.publish(self._will_topic, _status("online", self._mark), qos=1, retain=True)
            for topic, payload in self._retained.items():
                client.publish(topic, payload, qos=1, retain=True)
        self._last_lost = None
        self._post(Connected(self._session_present))
        early, self._early = self._early, []
        for packet in early:
            self._post(packet)

    def _ask_again_later(self, generation: int) -> None:
        """The connection stands, so nothing else would try the subscription again."""

        def ask() -> None:
            with self._lock:
                if generation == self._generation and not self._up:
                    self._subscribe()

        self._again = threading.Timer(RESUBSCRIBE_S, ask)
        self._again.daemon = True
        self._again.start()

    def _subscribe(self) -> None:
        self._client.subscribe([(topic, 1) for topic in self._topics])

    @_guarded
    def _on_connect_fail(self, _client: paho.Client, _userdata: object) -> None:
        # paho calls this while it handles the error and does not pass it on.
        self._lost(trouble.failure(sys.exc_info()[1], self._settings.host, self._settings.port))

    @_guarded
    def _on_disconnect(
        self,
        _client: paho.Client,
        _userdata: object,
        _flags: object,
        reason: ReasonCode,
        _properties: object,
    ) -> None:
        with self._lock:
            was_up, self._up = self._up, False
            self._generation += 1
        if reason.is_failure and (was_up or self._last_lost is None):
            self._lost(trouble.broken(self._settings.host, self._settings.port))

    @_guarded
    def _on_message(self, client: paho.Client, _userdata: object, message: paho.MQTTMessage) -> None:
        if message.topic == self._will_topic:
            self._own_status(client, message)
            return
        self._see_quiet()
        with self._lock:
            mid = (self._generation << _MID_BITS) | message.mid if message.qos else 0
            self._owed += 1 if message.qos else 0
            self._last_s = time.monotonic()
        payload = bytes(
            message.payload[: MAX_BYTES + 1]
        )  # one byte over is enough to be refused as too large
        packet = Packet(mid, message.topic, payload, message.retain, message.dup, self._queued)
        if self._up:
            self._post(packet)
        else:
            self._early.append(packet)  # a kept session speaks before our subscription is granted

    def _own_status(self, client: paho.Client, message: paho.MQTTMessage) -> None:
        """Our birth coming back ends the queue: the broker keeps the order, so what follows is live."""
        if not message.retain and self._mark.encode() in message.payload:
            self._queued = False
        client.ack(message.mid, message.qos)

    def _see_quiet(self) -> None:
        """The queue has run dry though our birth never came back: the broker does not let us read it."""
        if self._queued and self._up and self._owed == 0 and time.monotonic() - self._last_s > QUIET_S:
            self._queued = False
            self.report(f"cannot read back {self._will_topic}: allow it in the broker's access list")

    def _lost(self, detail: str) -> None:
        if detail != self._last_lost:
            self._last_lost = detail
            self._post(Lost(detail))


def _status(status: str, mark: str) -> bytes:
    body: dict[str, Any] = {"status": status, "mark": mark} if mark else {"status": status}
    return json.dumps(body).encode()
