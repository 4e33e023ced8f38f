"""A small real HTTP receiver that keeps every request and answers as told: well, late, badly or never."""

import contextlib
import json
import socket
import ssl
import threading
import time
from collections.abc import Mapping
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from types import TracebackType
from typing import Any, Literal

Manner = Literal["status", "stall", "drop", "garbage", "drip"]


@dataclass(frozen=True)
class Received:
    """One request as it came, with the monotonic second of its arrival."""

    at_s: float
    method: str
    path: str
    headers: Mapping[str, str]
    body: bytes

    def json(self) -> Any:
        """The body as JSON."""
        return json.loads(self.body)


@dataclass(frozen=True)
class Answer:
    """How to answer: a status with headers and body, or one of the ways a service fails."""

    manner: Manner = "status"
    status: int = 200
    body: bytes = b"{}"
    headers: Mapping[str, str] = field(default_factory=dict)
    delay_s: float = 0.0


class Receiver:
    """An HTTP server on a free port of 127.0.0.1. `plan` is used up first, then `answer` for ever."""

    def __init__(self, port: int = 0, tls: ssl.SSLContext | None = None) -> None:
        self.answer = Answer()
        self.plan: list[Answer] = []
        self._received: list[Received] = []
        self._news = threading.Condition()
        self.ending = threading.Event()
        self._server = _Server(("127.0.0.1", port), _Handler)
        self._server.receiver = self
        if (
            tls is not None
        ):  # the handshake waits for the handler's thread, so that a bad one holds up no other
            self._server.socket = tls.wrap_socket(
                self._server.socket, server_side=True, do_handshake_on_connect=False
            )
        self.port: int = self._server.server_address[1]
        self._thread = threading.Thread(target=self._server.serve_forever, args=(0.02,), daemon=True)
        self._thread.start()

    @property
    def address(self) -> str:
        """Host and port."""
        return f"127.0.0.1:{self.port}"

    @property
    def received(self) -> tuple[Received, ...]:
        """All requests so far, in order."""
        with self._news:
            return tuple(self._received)

    def wait_for(self, count: int, timeout_s: float = 20.0) -> tuple[Received, ...]:
        """At least `count` requests, or AssertionError saying how many came."""
        with self._news:
            came = self._news.wait_for(lambda: len(self._received) >= count, timeout_s)
            assert came, f"{len(self._received)} of {count} requests in {timeout_s} s"
            return tuple(self._received)

    def stop(self) -> None:
        """Close the door: later connections are refused."""
        self.ending.set()
        self._server.shutdown()
        self._server.server_close()
        self._thread.join(10)

    def take(self, request: Received) -> Answer:
        """Keep a request and say how to answer it."""
        with self._news:
            self._received.append(request)
            self._news.notify_all()
            return self.plan.pop(0) if self.plan else self.answer

    def __enter__(self) -> "Receiver":
        return self

    def __exit__(
        self, kind: type[BaseException] | None, fault: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.stop()


class _Server(ThreadingHTTPServer):
    daemon_threads = True
    block_on_close = False
    receiver: Receiver

    def handle_error(self, request: object, client_address: object) -> None:
        """A sender that breaks off is what some tests are about."""


class _Handler(BaseHTTPRequestHandler):
    protocol_version = "HTTP/1.1"
    server: _Server

    def do_POST(self) -> None:
        length = int(self.headers.get("Content-Length") or 0)
        body = self.rfile.read(length)
        if len(body) < length:
            return  # the sender died in the middle: nothing was received
        request = Received(time.monotonic(), self.command, self.path, dict(self.headers.items()), body)
        answer = self.server.receiver.take(request)
        self.server.receiver.ending.wait(answer.delay_s)
        with contextlib.suppress(OSError):  # the sender may be gone: that is what some tests are about
            getattr(self, f"_{answer.manner}")(answer)

    do_GET = do_PUT = do_POST  # noqa: N815 - the names http.server calls

    def log_message(self, format: str, *args: object) -> None:
        """Keep quiet."""

    def _status(self, answer: Answer) -> None:
        self.send_response(answer.status)
        for name, value in answer.headers.items():
            self.send_header(name, value)
        self.send_header("Content-Length", str(len(answer.body)))
        self.end_headers()
        self.wfile.write(answer.body)

    def _stall(self, answer: Answer) -> None:
        self.server.receiver.ending.wait(120.0)
        self.close_connection = True

    def _drop(self, answer: Answer) -> None:
        self.connection.shutdown(socket.SHUT_RDWR)
        self.close_connection = True

    def _garbage(self, answer: Answer) -> None:
        self.wfile.write(b"\x00\xff no protocol at all\r\n\r\n")
        self.close_connection = True

    def _drip(self, answer: Answer) -> None:
        """A byte of a header now and then, for ever: no single wait is long."""
        self.wfile.write(b"HTTP/1.1 200 OK\r\nX-Slow: ")
        while not self.server.receiver.ending.wait(0.2):
            self.wfile.write(b"z")
            self.wfile.flush()
        self.close_connection = True
