"""What is wrong with the broker and what to do about it, in plain words and without a secret."""

import socket
import ssl
from collections.abc import Sequence


def refusal(reason: str, host: str, port: int) -> str:
    """The broker answered and said no; `reason` is the standard's name of its return code."""
    name = reason.lower()
    if "authori" in name or "password" in name:
        return (
            f"the broker at {host}:{port} refuses the user name or password: "
            "check broker.username and the broker's password file"
        )
    return f"the broker at {host}:{port} refuses the connection: {name}"


def failure(fault: BaseException | None, host: str, port: int) -> str:
    """No broker answered."""
    if isinstance(fault, socket.gaierror):
        return f"no host is known by the name {host}: check broker.host and the network"
    if isinstance(fault, ConnectionRefusedError):
        return f"nothing answers at {host}:{port}: start the broker, or check broker.host and broker.port"
    if isinstance(fault, ssl.SSLCertVerificationError):
        return f"the certificate of the broker at {host}:{port} is not trusted: check broker.tls_ca"
    if isinstance(fault, TimeoutError):
        return f"no answer in time from {host}:{port}: check broker.host and the network"
    return f"cannot reach the broker at {host}:{port}: {fault}"


def broken(host: str, port: int) -> str:
    """The connection stood and is gone."""
    return f"the connection to the broker at {host}:{port} broke; trying again"


def topics_refused(topics: Sequence[str]) -> str:
    """The connection stands, a subscription was refused."""
    return f"the broker refuses the topic {', '.join(topics)}: allow it in its access list"
