"""As much of MQTT 3.1.1 as a probe needs: log in, publish at QoS 1, wait for the acknowledgement, log out.

Own code, since the client that MicroPython ships waits for an acknowledgement without end. Here every wait is
bounded by one deadline, and a broker that drips bytes does not stretch it.
"""

import socket
import struct
import time

ANSWER_BYTES_MOST = 64
KEEP_ALIVE_S = 60
WRONG_LOGIN = (4, 5)


class MqttError(OSError):
    """The broker refused, fell silent or spoke nonsense."""


class Mqtt:
    """One connection. Every call raises OSError at the latest when `wait_ms` have passed."""

    def __init__(self, host, port, wait_ms):
        self.until_ms = time.ticks_add(time.ticks_ms(), wait_ms)
        self.packet_id = 0
        self.sock = socket.socket()
        try:
            address = socket.getaddrinfo(host, port)[0][-1]
            self._bound()
            self.sock.connect(address)
        except OSError:
            self.sock.close()
            raise

    def log_in(self, user, password):
        """CONNECT with a clean session and no will: a sleeping probe's will says nothing (3.1)."""
        body = _text("MQTT") + b"\x04\xc2" + struct.pack(">H", KEEP_ALIVE_S)
        body += _text(user) + _text(user) + _text(password)
        self._send(0x10, body)
        answer = self._answer(0x20)
        if len(answer) != 2 or answer[1] != 0:
            code = answer[1] if len(answer) == 2 else -1
            raise MqttError("login refused" if code in WRONG_LOGIN else f"broker refused, code {code}")

    def publish(self, topic, payload):
        """PUBLISH at QoS 1 (3.3); returns when the broker has taken it (3.4)."""
        self.packet_id += 1
        packet_id = struct.pack(">H", self.packet_id)
        self._send(0x32, _text(topic) + packet_id + payload)
        while self._answer(0x40) != packet_id:
            pass

    def close(self):
        """DISCONNECT (3.14) if it still can, and let go."""
        try:  # noqa: SIM105 - MicroPython has no contextlib
            self._send(0xE0, b"")
        except OSError:
            pass
        self.sock.close()

    def _bound(self):
        left_ms = time.ticks_diff(self.until_ms, time.ticks_ms())
        if left_ms <= 0:
            raise MqttError("the broker took too long")
        self.sock.settimeout(left_ms / 1000)

    def _send(self, kind, body):
        data = bytes([kind]) + _length(len(body)) + body
        while data:
            self._bound()
            data = data[self.sock.send(data) :]

    def _answer(self, kind):
        """The body of the next packet of this kind; others are passed over."""
        while True:
            first = self._take(1)[0]
            size, shift = 0, 0
            while True:
                byte = self._take(1)[0]
                size |= (byte & 0x7F) << shift
                shift += 7
                if byte < 0x80:
                    break
                if shift > 21:
                    raise MqttError("no MQTT broker")
            if size > ANSWER_BYTES_MOST:
                raise MqttError("no MQTT broker")
            body = self._take(size)
            if first & 0xF0 == kind:
                return body

    def _take(self, count):
        data = b""
        while len(data) < count:
            self._bound()
            more = self.sock.recv(count - len(data))
            if not more:
                raise MqttError("the broker closed the link")
            data += more
        return data


def _text(text):
    """A string as MQTT has it: two bytes of length, UTF-8 (1.5.3)."""
    data = text.encode()
    return struct.pack(">H", len(data)) + data


def _length(size):
    """The remaining length: seven bits a byte, lowest first (2.2.3)."""
    out = b""
    while True:
        size, low = size >> 7, size & 0x7F
        out += bytes([low | (0x80 if size else 0)])
        if not size:
            return out
