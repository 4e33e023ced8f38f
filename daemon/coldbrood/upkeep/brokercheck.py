"""Ask the broker as the daemon would: is it there, does it let us in, may we speak and hear on our own topic?

Our own status topic is the one on which the access list lets the daemon both write and read. What is sent is
not retained and says the same status as before, so nobody who listens is misled.
"""

import json
import os
import threading
import time
from dataclasses import dataclass
from typing import Any, Final

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.reasoncodes import ReasonCode

from coldbrood.probes import trouble
from coldbrood.settings.records import Broker

WAIT_S: Final = 5.0
QUIET_S: Final = 0.5


@dataclass(frozen=True, slots=True)
class BrokerAnswer:
    """`fault` is what stopped us, with what to do. `status` is what the daemon last said there."""

    fault: str = ""
    status: str | None = None
    echoed: bool = False


def ask(broker: Broker, site: str, wait_s: float = WAIT_S) -> BrokerAnswer:
    """Connect once, read the daemon's status, speak and listen on its topic. Raises nothing."""
    talk = _Talk(broker, f"coldbrood/{site}/daemon")
    try:
        return talk.run(wait_s)
    finally:
        talk.end()


class _Talk:
    """One short connection. Callbacks only note what came and wake the waiter."""

    def __init__(self, broker: Broker, topic: str) -> None:
        self._broker, self._topic = broker, topic
        self._mark = f"doctor-{os.getpid()}-{time.monotonic_ns()}"
        self._news = threading.Condition()
        self._refusal: str | None = None
        self._granted: bool | None = None
        self._status: str | None = None
        self._echoed = False
        self._client = paho.Client(CallbackAPIVersion.VERSION2, f"coldbrood-{self._mark}"[:60])
        if broker.username is not None:
            password = None if broker.password is None else broker.password.reveal()
            self._client.username_pw_set(broker.username, password)
        self._client.connect_timeout = WAIT_S
        self._client.on_connect = self._on_connect
        self._client.on_subscribe = self._on_subscribe
        self._client.on_message = self._on_message

    def run(self, wait_s: float) -> BrokerAnswer:
        host, port = self._broker.host, self._broker.port
        try:
            if self._broker.tls_ca is not None:
                self._client.tls_set(ca_certs=str(self._broker.tls_ca))
            self._client.connect(host, port)
        except (OSError, ValueError) as fault:
            return BrokerAnswer(trouble.failure(fault, host, port))
        self._client.loop_start()
        if not self._wait(lambda: self._granted is not None or self._refusal is not None, wait_s):
            return BrokerAnswer(f"{host}:{port} answers, but not as an MQTT broker does: check broker.port")
        if self._refusal is not None:
            return BrokerAnswer(trouble.refusal(self._refusal, host, port))
        if not self._granted:
            return BrokerAnswer(trouble.topics_refused([self._topic]))
        self._wait(lambda: self._status is not None, QUIET_S)
        body = {"status": self._status or "offline", "doctor": self._mark}
        self._client.publish(self._topic, json.dumps(body), qos=1)
        self._wait(lambda: self._echoed, wait_s)
        return BrokerAnswer("", self._status, self._echoed)

    def end(self) -> None:
        self._client.disconnect()
        self._client.loop_stop()

    def _wait(self, reached: Any, wait_s: float) -> bool:
        with self._news:
            return bool(self._news.wait_for(reached, wait_s))

    def _on_connect(
        self, client: paho.Client, _user: object, _flags: object, reason: ReasonCode, _properties: object
    ) -> None:
        with self._news:
            if reason.is_failure:
                self._refusal = str(reason)
            self._news.notify_all()
        if not reason.is_failure:
            client.subscribe(self._topic, 1)

    def _on_subscribe(
        self, _client: paho.Client, _user: object, _mid: int, reasons: list[ReasonCode], _properties: object
    ) -> None:
        with self._news:
            self._granted = not any(reason.is_failure for reason in reasons)
            self._news.notify_all()

    def _on_message(self, _client: paho.Client, _user: object, message: paho.MQTTMessage) -> None:
        with self._news:
            if self._mark.encode() in message.payload:
                self._echoed = True
            elif message.retain:
                self._status = _status_in(message.payload)
            self._news.notify_all()


def _status_in(payload: bytes | bytearray) -> str | None:
    try:
        body = json.loads(payload)
    except ValueError:
        return None
    status = body.get("status") if isinstance(body, dict) else None
    return status if status in ("online", "offline") else None
