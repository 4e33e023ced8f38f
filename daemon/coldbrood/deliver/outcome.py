"""What became of one attempt to send, read from what the library says of it.

The library tells failures apart only by the status number in its log text (STACK.md). The
four outcomes and what leads to them (status classes: RFC 9110 section 15, from memory):

- accepted: the service took it.
- refused: 4xx; the same message would be refused again.
- try-again: 408, 425, 429, 5xx and 3xx (what answers is not the service, perhaps a login
  page of the network), and where no connection was made.
- unknown: the request may have gone out, and no answer tells. A repeat must say so.

In doubt the outcome is unknown: it is tried again, and marked.
"""

import re
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from coldbrood.watch.events import SendOutcome

_STATUS: Final = re.compile(r"\berror=(\d{3,5})\b")
_TRY_AGAIN: Final = frozenset({408, 425, 429})

# Texts of urllib3 for failures before the first byte of a request.
_NOT_SENT: Final = (
    "Failed to establish a new connection",
    "NewConnectionError",
    "ConnectTimeoutError",
    "NameResolutionError",
    "Failed to resolve",
    "Max retries exceeded",
    "CERTIFICATE_VERIFY_FAILED",
    "SSLCertVerificationError",
    "ProxyError",
)


@dataclass(frozen=True, slots=True)
class SendResult:
    """The outcome, and a detail in our own words: never an address or a secret."""

    outcome: SendOutcome
    detail: str


def of_status(number: int) -> SendResult:
    """The outcome of a status number. Five digits are a service's own code: the first three tell."""
    status = number // 100 if number > 999 else number
    detail = f"HTTP {status}"
    if status in _TRY_AGAIN or 300 <= status <= 399 or 500 <= status <= 599:
        return SendResult("try-again", detail)
    if 400 <= status <= 499:
        return SendResult("refused", detail)
    return SendResult("unknown", detail)


def of_failure(warnings: Iterable[str], errors: Iterable[str]) -> SendResult:
    """The outcome of a failed attempt: `warnings` carry the status, `errors` the texts of the sockets."""
    numbers = [int(found) for text in warnings for found in _STATUS.findall(text)[-1:]]
    if numbers:
        return of_status(numbers[-1])
    texts = tuple(errors)
    if any(mark in text for text in texts for mark in _NOT_SENT):
        return SendResult("try-again", "no connection")
    if any("timed out" in text.lower() for text in texts):
        return SendResult("unknown", "no answer in time")
    if texts:
        return SendResult("unknown", "the connection broke before an answer came")
    return SendResult("unknown", "failed without a status")
