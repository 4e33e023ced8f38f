"""Each way a broker can be out of reach is told apart, with the setting to look at."""

import socket
import ssl

import pytest

from coldbrood.probes import trouble


@pytest.mark.parametrize(
    ("fault", "says"),
    [
        (socket.gaierror(-2, "Name or service not known"), "check broker.host"),
        (ConnectionRefusedError(111, "Connection refused"), "start the broker"),
        (TimeoutError("timed out"), "no answer in time"),
        (ssl.SSLCertVerificationError(1, "self-signed certificate"), "check broker.tls_ca"),
        (OSError(113, "No route to host"), "No route to host"),
    ],
)
def test_a_failure_names_what_to_look_at(fault: OSError, says: str) -> None:
    text = trouble.failure(fault, "board", 1883)
    assert says in text
    assert "board" in text


@pytest.mark.parametrize("reason", ["Not authorized", "Bad user name or password"])
def test_a_refused_login_names_the_settings(reason: str) -> None:
    # Names of the MQTT 3.1.1 return codes 5 and 4 as the client library gives them.
    assert "broker.username" in trouble.refusal(reason, "board", 1883)


def test_another_refusal_keeps_its_name() -> None:
    assert trouble.refusal("Server unavailable", "board", 1883).endswith("server unavailable")


def test_refused_topics_are_named() -> None:
    assert "a/b, c/d" in trouble.topics_refused(["a/b", "c/d"])
