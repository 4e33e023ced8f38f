"""A phone stand-in: takes the messages the daemon sends over HTTP and hands them on, one at a time."""

import json
import threading
from collections.abc import Callable
from dataclasses import dataclass
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from types import TracebackType

BODY_MAX_BYTES = 65_536


@dataclass(frozen=True, slots=True)
class Arrived:
    """One message as it reached the phone."""

    title: str
    body: str


class Receiver:
    """Context manager: an HTTP server on 127.0.0.1. `told` runs in its threads, never twice at once."""

    def __init__(self, told: Callable[[Arrived], None]) -> None:
        self.told = told
        self._lock = threading.Lock()
        self._server = ThreadingHTTPServer(("127.0.0.1", 0), self._handler())
        self._server.daemon_threads = True
        self._thread = threading.Thread(
            target=self._server.serve_forever, args=(0.05,), name="demo-phone", daemon=True
        )

    @property
    def url(self) -> str:
        """Where the daemon's channel sends to, in the form its delivery library takes."""
        return f"json://127.0.0.1:{self._server.server_port}/phone"

    def __enter__(self) -> "Receiver":
        self._thread.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, fault: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._server.shutdown()
        self._server.server_close()
        self._thread.join(2.0)

    def take(self, payload: bytes) -> bool:
        """One request's body; False if it is no message."""
        try:
            told = json.loads(payload)
            arrived = Arrived(str(told["title"]), str(told["message"]))
        except (ValueError, KeyError, TypeError):
            return False
        with self._lock:
            self.told(arrived)
        return True

    def _handler(self) -> type[BaseHTTPRequestHandler]:
        receiver = self

        class Handler(BaseHTTPRequestHandler):
            timeout = 10

            def do_POST(self) -> None:
                size = min(int(self.headers.get("Content-Length") or 0), BODY_MAX_BYTES)
                taken = receiver.take(self.rfile.read(size))
                self.send_response(200 if taken else 400)
                self.send_header("Content-Length", "0")
                self.end_headers()

            def log_message(self, format: str, *args: object) -> None:
                """Keep the screen to the demo."""

        return Handler
