"""Stand-in for a board's `network`: a Wi-Fi that joins after some looks, never, or fails outright."""

from probe_board.scene import SCENE, log

STA_IF = 0


class WLAN:
    """The station. The scene's `wifi`: looks until it has joined, None for never, -1 for a broken radio."""

    def __init__(self, interface: int) -> None:
        self.looks = 0

    def active(self, on: bool) -> None:
        """Radio on or off."""
        log("radio", on)
        if on and SCENE["wifi"] == -1:
            raise OSError("radio does not start")

    def ifconfig(self, address: tuple[str, str, str, str]) -> None:
        """A fixed address."""
        log("address", *address)

    def connect(self, name: str, password: str) -> None:
        """Begin to join."""
        log("join", name, password)

    def isconnected(self) -> bool:
        """Whether it has joined by now."""
        self.looks += 1
        return SCENE["wifi"] is not None and self.looks > SCENE["wifi"]

    def status(self, what: str) -> int:
        """Signal in dBm; some ports do not tell."""
        if SCENE["rssi"] is None:
            raise ValueError("unknown status param")
        return int(SCENE["rssi"])
