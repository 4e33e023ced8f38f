"""Promise: what the library logs of a failure is read as the right outcome, and in doubt as unknown."""

from http import HTTPStatus

import pytest

from coldbrood.deliver.channel import dress
from coldbrood.deliver.outcome import SendResult, of_failure, of_status


@pytest.mark.parametrize("status", [s for s in HTTPStatus if s >= 300])
def test_every_registered_status_has_an_outcome_by_its_class(status: HTTPStatus) -> None:
    # The list is Python's copy of the IANA registry; classes of RFC 9110 section 15 (from memory).
    waits = (
        status >= 500 or status < 400 or status.name in ("REQUEST_TIMEOUT", "TOO_EARLY", "TOO_MANY_REQUESTS")
    )
    assert of_status(status) == SendResult("try-again" if waits else "refused", f"HTTP {status.value}")


@pytest.mark.parametrize("status", [0, 99, 100, 200, 204, 299, 600, 999])
def test_a_status_that_tells_of_no_failure_is_unknown(status: int) -> None:
    assert of_status(status).outcome == "unknown"


@pytest.mark.parametrize(
    ("code", "outcome"), [(42901, "try-again"), (40301, "refused"), (50001, "try-again"), (20000, "unknown")]
)
def test_five_digits_are_read_by_their_first_three(code: int, outcome: str) -> None:
    assert of_status(code).outcome == outcome


def test_the_last_status_of_the_last_line_counts() -> None:
    lines = ["Failed to send: error=503.", "Failed to send: words with error=404 in them, error=429."]
    assert of_failure(lines, []) == SendResult("try-again", "HTTP 429")


# Texts as urllib3 2 and requests 2 wrote them in runs against closed ports, names and stalls.
NOT_SENT = (
    "HTTPConnectionPool(host='h', port=1): Max retries exceeded with url: /x (Caused by NewConnectionError("
    "\"HTTPConnection(host='h', port=1): Failed to establish a new connection: [Errno 111] refused\"))",
    "HTTPConnectionPool(host='h', port=80): Max retries exceeded with url: / (Caused by "
    "ConnectTimeoutError(<HTTPConnection(host='h', port=80)>, 'Connection to h timed out.'))",
    "HTTPSConnectionPool(host='h', port=443): Max retries exceeded with url: / (Caused by SSLError("
    "SSLCertVerificationError(1, '[SSL: CERTIFICATE_VERIFY_FAILED] certificate verify failed')))",
)


@pytest.mark.parametrize("text", NOT_SENT)
def test_what_never_left_is_tried_again_without_a_mark(text: str) -> None:
    assert of_failure(["A Connection error occurred."], [text]) == SendResult("try-again", "no connection")


def test_what_may_have_been_taken_is_unknown() -> None:
    stalled = "HTTPConnectionPool(host='h', port=1): Read timed out. (read timeout=1.0)"
    assert of_failure([], [stalled]) == SendResult("unknown", "no answer in time")
    dropped = "('Connection aborted.', RemoteDisconnected('Remote end closed connection without response'))"
    assert of_failure([], [dropped]).outcome == "unknown"
    assert of_failure([], []).outcome == "unknown"


def test_the_url_is_dressed_without_losing_what_the_keeper_wrote() -> None:
    url = "ntfy://host:8080/larch-lane?token=a%2Fb&cto=60&PRIORITY=min&tags=hen"
    address, _, query = dress(url, 4, 8.0).partition("?")
    assert address == "ntfy://host:8080/larch-lane"
    assert query.split("&") == [
        "token=a%2Fb",
        "tags=hen",
        "cto=5",
        "rto=8",
        "retry=0",
        "priority=max",
        "image=no",
        "redirect=no",
    ]


def test_other_schemes_keep_their_own_priority_and_a_wished_redirect() -> None:
    query = dress("json://host/x?priority=7&redirect=yes", 4, 2.0).partition("?")[2]
    assert query == "priority=7&redirect=yes&cto=2&rto=2&retry=0"
