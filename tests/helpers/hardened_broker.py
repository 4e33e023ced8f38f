"""A real mosquitto run from the drop-in and the ACL of deploy/broker, with only paths and port put in."""

import os
import signal
import subprocess
import time
from pathlib import Path

from broker import answers, free_port

BROKER_FILES = Path(__file__).parents[2] / "deploy" / "broker"
PASSWORDS = {
    "coldbrood": "pw-daemon",
    "keeper": "pw-keeper",
    "probe-a": "pw-a",
    "probe-b": "pw-b",
    "auditor": "pw-auditor",
}
AUDITOR_RIGHTS = "\nuser auditor\ntopic read #\n"
PATIENCE_S = 20


class HardenedBroker:
    """Owns one broker process and its files under one folder."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.port = free_port()
        self.process: subprocess.Popen[bytes] | None = None
        (folder / "conf.d").mkdir()
        (folder / "data").mkdir()
        acl = (BROKER_FILES / "coldbrood.acl").read_text(encoding="utf-8")
        _write(folder / "coldbrood.acl", acl + AUDITOR_RIGHTS)
        _write(folder / "coldbrood.passwd", "")
        for name, password in PASSWORDS.items():
            _run("mosquitto_passwd", "-b", str(folder / "coldbrood.passwd"), name, password)
        _write(folder / "conf.d" / "coldbrood.conf", self._drop_in())
        _write(folder / "mosquitto.conf", self._main_file())

    def _drop_in(self) -> str:
        text = (BROKER_FILES / "coldbrood.conf").read_text(encoding="utf-8")
        for shipped, here in (
            ("\nlistener 1883\n", f"\nlistener {self.port} 127.0.0.1\n"),
            ("\nacl_file /etc/mosquitto/", f"\nacl_file {self.folder}/"),
            ("\npassword_file /etc/mosquitto/", f"\npassword_file {self.folder}/"),
        ):
            assert text.count(shipped) == 1, f"deploy/broker/coldbrood.conf has no single {shipped!r}"
            text = text.replace(shipped, here)
        return text

    def _main_file(self) -> str:
        """As Debian 12 ships it, /etc/mosquitto/mosquitto.conf; `user` because a test may run as root."""
        return (
            f"user root\npersistence true\npersistence_location {self.folder}/data/\n"
            f"log_dest file {self.folder}/mosquitto.log\ninclude_dir {self.folder}/conf.d\n"
        )

    def start(self) -> None:
        """Returns once the broker's main loop answers."""
        conf = str(self.folder / "mosquitto.conf")
        self.process = subprocess.Popen(["/usr/sbin/mosquitto", "-c", conf], stderr=subprocess.PIPE)
        until = time.monotonic() + PATIENCE_S
        while self.process.poll() is None and time.monotonic() < until:
            if answers(self.port):
                return
            time.sleep(0.05)
        raise AssertionError(f"mosquitto did not start: {self._last_words()}")

    def stop(self, sig: signal.Signals = signal.SIGTERM) -> None:
        """End the broker; SIGKILL stands for a power cut."""
        if self.process is not None:
            self.process.send_signal(sig)
            self.process.communicate(timeout=PATIENCE_S)
            self.process = None

    def publish(self, user: str, topic: str, payload: str) -> int:
        """One QoS 1 message by Debian's own client; its exit code. 0 proves nothing about who sees it."""
        command = ["mosquitto_pub", *self.as_user(user), "-q", "1", "-t", topic, "-m", payload]
        return subprocess.run(command, capture_output=True, timeout=PATIENCE_S).returncode

    def publish_lines(self, user: str, topic: str, lines: list[str]) -> None:
        """Many QoS 1 messages over one connection."""
        command = ["mosquitto_pub", *self.as_user(user), "-q", "1", "-t", topic, "-l"]
        subprocess.run(command, input="\n".join(lines), text=True, check=True, timeout=60)

    def as_user(self, user: str) -> list[str]:
        """Client options that log in."""
        return ["-h", "127.0.0.1", "-p", str(self.port), "-u", user, "-P", PASSWORDS[user]]

    def _last_words(self) -> str:
        log = self.folder / "mosquitto.log"
        told = log.read_text(encoding="utf-8") if log.exists() else ""
        if self.process is None or self.process.poll() is None or self.process.stderr is None:
            return told
        return told + self.process.stderr.read().decode()


class Listener:
    """A subscriber by Debian's own client; knows what it received as `topic payload`."""

    def __init__(self, broker: HardenedBroker, user: str, *options: str) -> None:
        command = ["stdbuf", "-oL", "mosquitto_sub", *broker.as_user(user), "-q", "1", "-d", *options]
        self.process = subprocess.Popen(
            [*command, "-F", "GOT %t %p"], stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True
        )
        self.heard: list[str] = []
        self.wait_for("Subscribed")

    def wait_for(self, words: str) -> list[str]:
        """All that was heard, once a line holds these words; a kept session speaks before its SUBACK."""
        assert self.process.stdout is not None
        for line in self.process.stdout:
            if line.startswith("GOT "):
                self.heard.append(line.removeprefix("GOT ").rstrip("\n"))
            if words in line:
                return self.heard
        raise AssertionError(f"the listener ended without {words!r}; it had heard {self.heard[-5:]}")

    def close(self) -> None:
        """End the client."""
        self.process.terminate()
        self.process.communicate(timeout=PATIENCE_S)


def _write(path: Path, text: str) -> None:
    path.write_text(text, encoding="utf-8")
    os.chmod(path, 0o600)


def _run(*command: str) -> None:
    subprocess.run(command, check=True, capture_output=True, timeout=PATIENCE_S)
