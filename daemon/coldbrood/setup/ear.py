"""An ear on the broker: what comes on some topics, heard in the background while questions are asked."""

import os
import threading
import time
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.reasoncodes import ReasonCode

from coldbrood.probes import trouble

ANSWER_S: Final = 5.0
KEPT: Final = 2000


@dataclass(frozen=True, slots=True)
class Packet:
    """One message, and the monotonic second at which it came."""

    topic: str
    payload: bytes
    mono_s: float


class Ear:
    """Listens for as long as it is open, with a session of its own: the daemon misses nothing by it.

    Callbacks only note what came: an exception in one would end paho's thread in silence.
    """

    def __init__(
        self,
        topics: Sequence[str],
        host: str,
        port: int,
        username: str | None = None,
        password: str | None = None,
        tls_ca: Path | None = None,
    ) -> None:
        self._topics = list(topics)
        self._host, self._port, self._tls_ca = host, port, tls_ca
        self._news = threading.Condition()
        self._packets: deque[Packet] = deque(maxlen=KEPT)
        self._count = 0
        self._ready: bool | None = None
        self._refused = ""
        self._client = paho.Client(CallbackAPIVersion.VERSION2, f"coldbrood-ear-{os.getpid()}")
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

    def packets(self) -> list[Packet]:
        """The messages heard so far, the newest 2000."""
        with self._news:
            return list(self._packets)

    def wait(self, limit_s: float) -> bool:
        """Until another message comes; False if none did."""
        with self._news:
            known = self._count
            return self._news.wait_for(lambda: self._count > known, limit_s)

    def _on_connect(
        self, client: paho.Client, _user: object, _flags: object, reason: ReasonCode, _properties: object
    ) -> None:
        if not reason.is_failure:
            client.subscribe([(topic, 1) for topic in self._topics])
            return
        with self._news:
            self._ready, self._refused = False, trouble.refusal(str(reason), self._host, self._port)
            self._news.notify_all()

    def _on_subscribe(
        self, _client: paho.Client, _user: object, _mid: int, reasons: list[ReasonCode], _properties: object
    ) -> None:
        with self._news:
            self._ready = not any(reason.is_failure for reason in reasons)
            self._refused = "" if self._ready else trouble.topics_refused(self._topics)
            self._news.notify_all()

    def _on_message(self, _client: paho.Client, _user: object, message: paho.MQTTMessage) -> None:
        if message.retain:
            return  # kept from before: it says nothing of now
        with self._news:
            self._packets.append(Packet(message.topic, bytes(message.payload), time.monotonic()))
            self._count += 1
            self._news.notify_all()
