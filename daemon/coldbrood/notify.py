"""What systemd is told: ready, alive, stopping. One datagram each to $NOTIFY_SOCKET (sd_notify(3) [V]).

Own code: the protocol is one line to a socket, and a library of fifty kilobytes does no more.
"""

import logging
import socket
from collections.abc import Mapping

log = logging.getLogger("coldbrood")


class Supervisor:
    """Speaks to systemd, or to nobody if the environment names no socket. Never raises."""

    def __init__(self, environ: Mapping[str, str]) -> None:
        path = environ.get("NOTIFY_SOCKET", "")
        self._address = f"\0{path[1:]}" if path.startswith("@") else path
        self._failed = False

    def ready(self, status: str) -> None:
        """The start is over: readings are taken and messages can go out."""
        self._tell(f"READY=1\nSTATUS={status}")

    def alive(self) -> None:
        """The loop that does the work came round. If it does not for WatchdogSec, systemd starts it anew."""
        self._tell("WATCHDOG=1")

    def stopping(self) -> None:
        """It ends as asked."""
        self._tell("STOPPING=1")

    def _tell(self, text: str) -> None:
        if not self._address:
            return
        try:
            with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_CLOEXEC) as line:
                line.settimeout(1.0)
                line.sendto(text.encode(), self._address)
        except OSError as error:
            if not self._failed:
                log.warning("systemd cannot be told: %s", error)
            self._failed = True
