"""A real mosquitto on a free port of loopback, for tests that speak to a broker."""

import signal
import socket
import subprocess
import time
from pathlib import Path

MOSQUITTO = "/usr/sbin/mosquitto"
PATIENCE_S = 20.0
PINGREQ = b"\xc0\x00"  # MQTT 3.1.1, 3.12; three of them are also no TLS record


class Broker:
    """One broker process. It keeps its sessions over `stop` and `start`, on the same port.

    `acl` is the text of an access list, `more` are further lines for its own settings.
    """

    def __init__(
        self, folder: Path, *, user: str = "", password: str = "", acl: str = "", more: str = ""
    ) -> None:
        self.folder = folder
        self.port = free_port()
        self.user, self.password = user, password
        self._process: subprocess.Popen[bytes] | None = None
        self._conf = folder / "mosquitto.conf"
        self._conf.write_text(self._settings(acl) + more, encoding="utf-8")
        if user:
            passwords = str(folder / "passwords")
            subprocess.run(
                ["mosquitto_passwd", "-c", "-b", passwords, user, password], check=True, timeout=20
            )

    def start(self) -> None:
        """Returns once the broker's main loop answers; before that it may lose a SIGTERM (2.0.11)."""
        with (self.folder / "mosquitto.log").open("ab") as log:
            self._process = subprocess.Popen([MOSQUITTO, "-c", str(self._conf)], stdout=log, stderr=log)
        until = time.monotonic() + PATIENCE_S
        while self._process.poll() is None and time.monotonic() < until:
            if answers(self.port):
                return
            time.sleep(0.02)
        raise AssertionError(f"mosquitto did not start: {self.log()}")

    def stop(self, how: signal.Signals = signal.SIGTERM) -> None:
        """End the broker; SIGKILL stands for a power cut."""
        if self._process is not None:
            self._process.send_signal(how)
            self._process.wait(PATIENCE_S)
            self._process = None

    def signal(self, what: signal.Signals) -> None:
        """Stop the broker in its tracks (SIGSTOP) or let it go on (SIGCONT)."""
        assert self._process is not None
        self._process.send_signal(what)

    def publish(self, topic: str, payload: bytes | Path, *options: str) -> None:
        """One message by Debian's own client, QoS 1: bytes as the message, or the bytes of a file."""
        source = ["-f", str(payload)] if isinstance(payload, Path) else ["-s"]
        command = ["mosquitto_pub", *self.client_options(), "-q", "1", "-t", topic, *source, *options]
        given = payload if isinstance(payload, bytes) else None
        subprocess.run(command, input=given, check=True, capture_output=True, timeout=PATIENCE_S)

    def client_options(self) -> list[str]:
        """What Debian's clients need to reach this broker."""
        login = ["-u", self.user, "-P", self.password] if self.user else []
        return ["-h", "127.0.0.1", "-p", str(self.port), *login]

    def log(self) -> str:
        """What the broker itself said."""
        return (self.folder / "mosquitto.log").read_text(encoding="utf-8", errors="replace")

    def _settings(self, acl: str) -> str:
        lines = [
            f"listener {self.port} 127.0.0.1",
            "user root",  # as a test may run as root, and the folder is then root's
            "persistence true",
            f"persistence_location {self.folder}/",
            "autosave_on_changes true",
            "autosave_interval 1",
            "log_type all",
            f"allow_anonymous {'false' if self.user else 'true'}",
        ]
        if self.user:
            lines.append(f"password_file {self.folder}/passwords")
        if acl:
            (self.folder / "acl").write_text(acl, encoding="utf-8")
            lines.append(f"acl_file {self.folder}/acl")
        return "\n".join(lines) + "\n"


def answers(port: int) -> bool:
    """True if a broker's loop turns there: it closes on a ping before any CONNECT (MQTT 3.1.1, 3.1-1)."""
    with socket.socket() as knock:
        knock.settimeout(PATIENCE_S)
        if knock.connect_ex(("127.0.0.1", port)) != 0:
            return False
        try:
            knock.sendall(3 * PINGREQ)
            return knock.recv(1) == b""
        except ConnectionResetError:
            return True


def free_port() -> int:
    """A port nobody listens on just now."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port
