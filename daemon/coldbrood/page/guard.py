"""Who is answered: local peers, known names of this board, forms of our own, and nobody who guesses."""

import ipaddress
import socket
import threading
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass

ADDRESSES_KEPT = 512
FREE_TRIES = 5
FIRST_WAIT_S = 2.0
LONGEST_WAIT_S = 900.0

HEADERS = {
    "Content-Security-Policy": (
        "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self'; connect-src 'self'; "
        "manifest-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
    ),
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), microphone=(), geolocation=(), payment=(), usb=()",
}
"""Names and meanings: Content Security Policy Level 3 and Fetch (W3C, WHATWG), from memory. A stricter
Referrer-Policy would make browsers send `Origin: null` with our own forms."""


def is_local(peer: str) -> bool:
    """Whether an address is of a local network: private, link-local or this board itself (RFC 1918, 4193)."""
    try:
        address = ipaddress.ip_address(peer.partition("%")[0])
    except ValueError:
        return False
    if isinstance(address, ipaddress.IPv6Address) and address.ipv4_mapped is not None:
        address = address.ipv4_mapped
    return address.is_private or address.is_link_local or address.is_loopback


def host_of(header: str) -> str:
    """The name in a Host header, without its port, in small letters."""
    name = header.strip().lower()
    if name.startswith("["):
        return name[1:].partition("]")[0]
    return name.partition(":")[0] if name.count(":") < 2 else name


def is_ours(header: str, extra: str | None, own_name: str | None = None) -> bool:
    """Whether a Host header names this board: an address, its own name, or the one in the config.

    A page of someone else's that points its own name at this board (DNS rebinding) is not answered.
    """
    name = host_of(header)
    own = (own_name or socket.gethostname()).lower().partition(".")[0]
    if not name:
        return False
    if _is_address(name) or name == "localhost":
        return True
    known = {own, *(f"{own}.{zone}" for zone in ("local", "lan", "home.arpa", "internal"))}
    return name in known or (extra is not None and name == extra.lower())


def _is_address(name: str) -> bool:
    try:
        ipaddress.ip_address(name)
    except ValueError:
        return False
    return True


def same_origin(origin: str | None, fetch_site: str | None, host_header: str) -> bool:
    """Whether a request that acts came from a page of this very host; a client that says neither is taken,
    since its form must carry the session's proof all the same."""
    if origin is not None:
        return origin.lower() in (f"http://{host_header.lower()}", f"https://{host_header.lower()}")
    return fetch_site in (None, "same-origin", "none")


@dataclass
class _Tries:
    wrong: int = 0
    until_s: float = 0.0


class Slow:
    """Each wrong token makes its address wait longer. No thread waits: the answer says when to come back."""

    def __init__(self, mono_s: Callable[[], float]) -> None:
        self._mono_s = mono_s
        self._lock = threading.Lock()
        self._tries: OrderedDict[str, _Tries] = OrderedDict()

    def wait_s(self, peer: str) -> float:
        """How long this address must wait before its next try is looked at."""
        with self._lock:
            tries = self._tries.get(peer)
            return 0.0 if tries is None else max(0.0, tries.until_s - self._mono_s())

    def wrong(self, peer: str) -> None:
        """It was a wrong one."""
        with self._lock:
            tries = self._tries.pop(peer, None) or _Tries()
            tries.wrong += 1
            if tries.wrong >= FREE_TRIES:
                longer_s = FIRST_WAIT_S * 2.0 ** min(tries.wrong - FREE_TRIES, 16)
                tries.until_s = self._mono_s() + min(LONGEST_WAIT_S, longer_s)
            self._tries[peer] = tries
            while len(self._tries) > ADDRESSES_KEPT:
                self._tries.popitem(last=False)

    def right(self, peer: str) -> None:
        """It was the right one: begin anew."""
        with self._lock:
            self._tries.pop(peer, None)
