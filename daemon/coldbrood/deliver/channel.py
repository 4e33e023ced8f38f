"""One attempt to send one message through one channel, by apprise.

A fresh object for each send: a second send on the same object waits seconds (STACK.md). The
library is imported where it is first needed, for the memory's sake. Its log, and that of
the HTTP library under it, would carry addresses with secrets; both are kept in here.
"""

import logging
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

from coldbrood.deliver import plugin
from coldbrood.deliver.outcome import SendResult, of_failure

if TYPE_CHECKING:
    from apprise import Apprise
    from apprise.result import AppriseResult

CONNECT_MOST_S: Final = 5.0

# ntfy's own scale, max high default low min; what asks for no act comes without a sound.
_NTFY_PRIORITY: Final = {1: "low", 2: "default", 3: "high", 4: "max"}


@dataclass(frozen=True, slots=True)
class ChannelUrl:
    """A channel's name and its apprise URL, which is a secret."""

    name: str
    url: str = field(repr=False)


def send(channel: ChannelUrl, title: str, body: str, urgency: int, timeout_s: float) -> SendResult:
    """Send once and tell what became of it. Urgency 1 digest .. 4 critical.

    `timeout_s` bounds the wait for each answer; a service that drips bytes can take longer.
    Raises nothing the network or the service can cause.
    """
    _silence()
    service = _service(dress(channel.url, urgency, timeout_s))
    if service is None:
        return SendResult("refused", "not a channel address that can be used")
    from apprise import NotifyFormat, NotifyType

    kind = {3: NotifyType.WARNING, 4: NotifyType.FAILURE}.get(urgency, NotifyType.INFO)
    with service.notify(
        body=body, title=title, notify_type=kind, body_format=NotifyFormat.TEXT, log_level=logging.DEBUG
    ) as result:
        return _read(result)


def usable(channel: ChannelUrl) -> bool:
    """Whether the library knows the address. Sends nothing; the first call loads the library (seconds)."""
    _silence()
    return _service(channel.url) is not None


def url_fault(url: str) -> str | None:
    """What is allowed, if the library cannot send to this address; None if it can. Sends nothing."""
    if usable(ChannelUrl("", url)):
        return None
    return "the address of a service that the apprise library can send to, complete with its parts"


def dress(url: str, urgency: int, timeout_s: float) -> str:
    """The URL with time-outs, without the library's own retries and redirects, with the service's priority.

    A redirect followed is how a network's login page passes for the service; who needs one
    writes `redirect=yes` in the URL.
    """
    scheme = url.partition("://")[0].lower()
    forced = {"cto": f"{min(timeout_s, CONNECT_MOST_S):g}", "rto": f"{timeout_s:g}", "retry": "0"}
    if scheme in ("ntfy", "ntfys"):
        forced |= {"priority": _NTFY_PRIORITY[urgency], "image": "no"}
    address, _, query = url.partition("?")
    pairs = [pair for pair in query.split("&") if pair and _name(pair) not in forced]
    if not any(_name(pair) == "redirect" for pair in pairs):
        forced["redirect"] = "no"
    return f"{address}?{'&'.join((*pairs, *(f'{name}={value}' for name, value in forced.items())))}"


def _name(pair: str) -> str:
    return pair.partition("=")[0].lower()


def _service(url: str) -> "Apprise | None":
    """A fresh service that keeps nothing on disk and points at no picture on the internet."""
    from apprise import Apprise, AppriseAsset, PersistentStoreMode

    asset = AppriseAsset(
        app_id="coldbrood",
        app_desc="coldbrood",
        app_url="",
        image_url_mask="",
        image_url_logo="",
        storage_mode=PersistentStoreMode.MEMORY,
        secure_logging=True,
        service_timeout=0,  # 0: run in this thread, not in a pool that stuck sends would fill
    )
    service = Apprise(asset=asset)
    return service if plugin.add(service, url, asset) else None


def _silence() -> None:
    """Let the library's log reach its result and nothing else: it carries addresses and texts."""
    library = logging.getLogger("apprise")
    library.setLevel(logging.DEBUG)
    library.propagate = False
    if not library.handlers:
        library.addHandler(logging.NullHandler())
    logging.getLogger("urllib3").setLevel(logging.CRITICAL)


def _read(result: "AppriseResult") -> SendResult:
    if result:
        return SendResult("accepted", "accepted")
    entries = tuple(result.logs())
    warnings = (entry.message for entry in entries if entry.level in ("WARNING", "ERROR"))
    errors = (entry.message for entry in entries if entry.message.startswith("Socket Exception"))
    return of_failure(warnings, errors)
