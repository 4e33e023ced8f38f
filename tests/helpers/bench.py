"""The test bench: the real `coldbrood run` as a child, real mosquitto, a journal on disk, a real receiver."""

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from contextlib import AbstractContextManager
from pathlib import Path
from types import TracebackType

from broker import Broker
from receiver import Receiver

from coldbrood.codec import unpack
from coldbrood.journal.errors import JournalError
from coldbrood.journal.reader import JournalReader
from coldbrood.settings.load import load
from coldbrood.settings.records import Config
from coldbrood.watch.events import Reading
from coldbrood.watch.outbox import Message

PATIENCE_S = 20.0
START_S = 90.0  # it loads its libraries first, and the machine may be busy
SITE = "larch-lane"

CONFIG = """
[site]
name = "larch-lane"
time_zone = "Etc/UTC"
latitude_deg = 50.0
longitude_deg = 0.0
[keeper]
bedtime = "22:00"
rising = "06:30"
[batch]
arrival = {arrival}
[[box]]
name = "a"
chicks = 16
length_m = 0.60
width_m = 0.45
height_m = 0.35
insulation_mm = 40
jug_litres = 3.8
fill_c = 70
[[probe]]
name = "box-a"
role = "box"
box = "a"
[[probe]]
name = "outdoor"
role = "outdoor"
{probes}
[broker]
host = "127.0.0.1"
port = {port}
{channels}
[page]
{page}
[journal]
path = "journal.db"
"""
NO_PAGE = "enabled = false"
CHANNEL = """
[[channel]]
name = "{name}"
url_file = "{name}-url"
"""


class Bench(AbstractContextManager["Bench"]):
    """One site on one machine. Files lie under `folder`; `daemon` is the child when it runs."""

    def __init__(
        self,
        folder: Path,
        broker: Broker,
        channels: Sequence[str] = ("phone",),
        arrival: str = "2026-04-10",
        probes: str = "",
        clock: str | None = None,
        page: str = NO_PAGE,
    ) -> None:
        self.folder = folder
        self.broker = broker
        self.clock = clock
        self.receivers = {name: Receiver() for name in channels}
        self.config_path = folder / "coldbrood.toml"
        tables = "".join(CHANNEL.format(name=name) for name in channels)
        text = CONFIG.format(port=broker.port, channels=tables, arrival=arrival, probes=probes, page=page)
        self.config_path.write_text(text)
        for name, receiver in self.receivers.items():
            secret = folder / f"{name}-url"
            secret.touch(mode=0o600)
            secret.write_text(f"json://{receiver.address}/\n")
        self.daemon: subprocess.Popen[str] | None = None
        self.log = folder / "daemon.log"
        self.env: dict[str, str] = {}
        self._flushes = 0

    def __exit__(
        self, kind: type[BaseException] | None, fault: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self.daemon is not None and self.daemon.poll() is None:
            self.daemon.kill()
            self.daemon.wait(PATIENCE_S)
        for receiver in self.receivers.values():
            receiver.stop()

    @property
    def config(self) -> Config:
        """The config as the daemon reads it."""
        return load(self.config_path, os.environ)

    @property
    def journal_path(self) -> Path:
        """Where the journal lies."""
        return self.folder / "journal.db"

    def start(self, command: Sequence[str] = ("-m", "coldbrood", "run")) -> None:
        """Start the daemon and wait until it is connected; another `command` wraps it for a fault."""
        self.launch(command)
        self.wait_for(lambda: "link=larch-lane state=up" in self.log_text(), "the daemon to connect", START_S)

    def launch(self, command: Sequence[str] = ("-m", "coldbrood", "run")) -> None:
        """Start the daemon and wait for nothing."""
        rehearse = [] if self.clock is None else ["--rehearse", self.clock]
        self.log.write_text("")
        with self.log.open("a") as log:
            self.daemon = subprocess.Popen(
                [sys.executable, *command, "--config", str(self.config_path), *rehearse],
                stderr=log,
                text=True,
                env={**os.environ, **self.env},
            )

    def wait_online(self) -> None:
        """Wait until a daemon, in whatever process, has said on its topic that it listens."""
        command = ["mosquitto_sub", "-h", "127.0.0.1", "-p", str(self.broker.port), "-W", "20", "-C", "1"]
        topic = f"coldbrood/{SITE}/daemon"
        birth = subprocess.run([*command, "-t", topic], capture_output=True, check=True, timeout=30)
        assert json.loads(birth.stdout)["status"] == "online"

    def stop(self, number: signal.Signals = signal.SIGTERM, patience_s: float = PATIENCE_S) -> int:
        """End the daemon by a signal; its exit code."""
        assert self.daemon is not None
        self.daemon.send_signal(number)
        return self.daemon.wait(patience_s)

    def log_text(self) -> str:
        """What the daemon said since its last start."""
        return self.log.read_text() if self.log.exists() else ""

    def publish(self, probe: str, payload: str, *options: str) -> None:
        """Send one payload by Debian's own client."""
        topic = f"coldbrood/{SITE}/{probe}/reading"
        self.publish_to(topic, payload, *options)

    def publish_to(self, topic: str, payload: str, *options: str) -> None:
        """Send to any topic by Debian's own client."""
        command = ["mosquitto_pub", "-h", "127.0.0.1", "-p", str(self.broker.port), "-q", "1", "-t", topic]
        subprocess.run([*command, *options, "-m", payload], check=True, timeout=PATIENCE_S)

    def send_c(self, probe: str, *celsius: float) -> None:
        """Send SenML packs with one temperature each."""
        for value in celsius:
            self.publish(probe, senml(value))

    def flush(self, *options: str) -> None:
        """Wait until all that was published so far is on the disk: a note comes last and cannot wait."""
        self._flushes += 1
        mark = f"flush-{self._flushes}"
        note = json.dumps({"kind": "text", "text": mark, "key": mark})
        self.publish_to(f"coldbrood/{SITE}/note", note, *options)
        self.wait_for(lambda: f"detail={mark}" in self.log_text(), "what was published to be taken")
        self.wait_for(lambda: self._kept_note(mark), "what was published to be kept")

    def _kept_note(self, key: str) -> bool:
        with JournalReader.open(self.journal_path) as reader:
            return any(note.key == key for note in reader.notes(float("-inf"), float("inf")))

    def wait_sent(self) -> None:
        """Wait until no message is on its way: one that a stop cuts off comes again, with the mark."""
        self.wait_for(lambda: not self._on_their_way(), "what was being sent to be taken")

    def _on_their_way(self) -> list[str]:
        with JournalReader.open(self.journal_path) as reader:
            return [k for k, body in reader.messages().items() if unpack(body, Message).state == "sending"]

    def readings(self) -> list[Reading]:
        """Every reading in the journal, in its order."""
        try:
            with JournalReader.open(self.journal_path) as reader:
                return list(reader.readings(float("-inf"), float("inf")))
        except JournalError:
            return []

    def titles(self, channel: str = "phone") -> list[str]:
        """Titles of the messages that came to a channel, in order."""
        return [str(request.json()["title"]) for request in self.receivers[channel].received]

    def wait_for(self, reached: Callable[[], bool], what: str, patience_s: float = PATIENCE_S) -> None:
        """Wait until it is so, or fail saying what was waited for and what the daemon said last."""
        until = time.monotonic() + patience_s
        while not reached():
            ended = self.daemon is not None and self.daemon.poll() is not None
            assert time.monotonic() < until, f"waited for {what}; the daemon said: {self.log_text()[-2000:]}"
            assert not ended or reached(), (
                f"the daemon ended while waiting for {what}: {self.log_text()[-2000:]}"
            )
            time.sleep(0.05)


def senml(celsius: float) -> str:
    """A SenML pack of one temperature taken just now."""
    return json.dumps([{"n": "temperature", "u": "Cel", "v": celsius}])
