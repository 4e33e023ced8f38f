"""What goes back: a response nobody keeps, with the headers that every answer has."""

import json
from collections.abc import Callable, Iterable
from typing import Any, Final

from bottle import HTTPResponse

from coldbrood.page.guard import HEADERS

HTML: Final = "text/html; charset=utf-8"
PLAIN: Final = "text/plain; charset=utf-8"
JSON: Final = "application/json"

Environ = dict[str, Any]  # WSGI's own, PEP 3333: keys of many kinds
StartResponse = Callable[..., Any]
Wsgi = Callable[[Environ, StartResponse], Iterable[bytes]]


def answer(status: int, body: str | bytes, kind: str, **headers: str) -> HTTPResponse:
    """A response. Header names have `_` for `-`."""
    reply = HTTPResponse(body, status)
    reply.set_header("Content-Type", kind)
    for name, value in {"Cache_Control": "no-store", **headers}.items():
        reply.set_header(name.replace("_", "-"), value)
    return reply


def as_json(status: int, **values: object) -> HTTPResponse:
    """A short answer for a script."""
    return answer(status, json.dumps(values), JSON)


def with_headers(app: Wsgi) -> Wsgi:
    """The application with the safety headers on whatever it answers, faults included."""

    def wrapped(environ: Environ, start_response: StartResponse) -> Iterable[bytes]:
        def start(status: str, headers: list[tuple[str, str]], *fault: Any) -> Any:
            return start_response(status, [*headers, *HEADERS.items()], *fault)

        return app(environ, start)

    return wrapped
