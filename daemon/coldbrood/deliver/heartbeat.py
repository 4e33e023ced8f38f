"""The all-well signal: one request to a URL elsewhere, so that a dead board is noticed by its silence.

Whoever calls decides that all is well; this only carries the word, from a thread of its own. A redirect is no
success: it is how a network's login page would pass for the receiver.
"""

import threading
import urllib.error
import urllib.request
from collections.abc import Callable
from email.message import Message
from http.client import HTTPException
from typing import IO, Final

TIMEOUT_S: Final = 10.0
BODY: Final = b"all well\n"

News = Callable[[str], None]


class Heartbeat:
    """`news` is told of each change, from another thread: "" for taken, else what is wrong, no URL in it."""

    def __init__(self, url: str, method: str, news: News, timeout_s: float = TIMEOUT_S) -> None:
        self._url, self._method, self._timeout_s = url, method, timeout_s
        self._news = news
        self._told: str | None = None
        self._busy = threading.Lock()

    def tell(self) -> bool:
        """Send the word and return at once; False, and nothing is sent, while the last one is on its way."""
        if not self._busy.acquire(blocking=False):
            return False
        threading.Thread(target=self._send, name="heartbeat", daemon=True).start()
        return True

    def _send(self) -> None:
        try:
            fault = ask(self._url, self._method, self._timeout_s)
        finally:
            self._busy.release()
        if fault != self._told:
            self._told = fault
            self._news(fault)


def ask(url: str, method: str, timeout_s: float) -> str:
    """One request: "" if it was answered with a 2xx status, else what is wrong, without the URL."""
    body = BODY if method == "POST" else None
    try:
        request = urllib.request.Request(url, body, {"User-Agent": "coldbrood"}, method=method)
        with _OPENER.open(request, timeout=timeout_s):
            return ""
    except urllib.error.HTTPError as answer:
        answer.close()
        return f"answered with HTTP {answer.code}"
    except urllib.error.URLError as fault:
        return f"not reached ({_reason(fault.reason)})"
    except TimeoutError:
        return "no answer in time"
    except (OSError, HTTPException, ValueError) as fault:
        return f"no answer that makes sense ({type(fault).__name__})"


class _NoRedirect(urllib.request.HTTPRedirectHandler):
    def redirect_request(
        self,
        req: urllib.request.Request,  # noqa: ARG002 - the standard library's signature
        fp: IO[bytes],  # noqa: ARG002 - the standard library's signature
        code: int,  # noqa: ARG002 - the standard library's signature
        msg: str,  # noqa: ARG002 - the standard library's signature
        headers: Message,  # noqa: ARG002 - the standard library's signature
        newurl: str,  # noqa: ARG002 - the standard library's signature
    ) -> None:
        return None


_OPENER: Final = urllib.request.build_opener(_NoRedirect)


def _reason(reason: object) -> str:
    if isinstance(reason, OSError):
        return reason.strerror or type(reason).__name__
    return type(reason).__name__
