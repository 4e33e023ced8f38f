"""A real mosquitto whose own log, stamped as it is written, tells how long each packet was on its way.

The broker logs a packet when it comes in and when the subscriber's PUBACK for it comes in. Both the daemon
and the bare logger acknowledge only what is committed, so the time between is packet in to row on disk, plus
the way there and back. Nothing else looks on: no reader on the file, no hop in the wire, no probe in a child.
"""

import os
import re
import subprocess
import threading
import time
from dataclasses import dataclass
from pathlib import Path
from typing import IO

from broker import MOSQUITTO, PATIENCE_S, Broker, answers

_CAME = re.compile(r"Received PUBLISH from ")
_WENT = re.compile(r"Sending PUBLISH to (\S+) \(d\d, q1, r\d, m(\d+), '([^']+)'")
_ACKED = re.compile(r"Received PUBACK from (\S+) \(Mid: (\d+),")


@dataclass(slots=True)
class Crossing:
    """One packet on its way to one subscriber: when the broker had it, and when it had the PUBACK."""

    topic: str
    came_s: float
    acked_s: float | None = None

    @property
    def took_ms(self) -> float:
        """Raises AssertionError while the PUBACK is out."""
        assert self.acked_s is not None, f"{self.topic}: not acknowledged"
        return 1000.0 * (self.acked_s - self.came_s)


class LoggedBroker(Broker):
    """`crossings` are kept by subscriber. It writes nothing to the disk, so that its writes hide nobody's."""

    def __init__(self, folder: Path) -> None:
        super().__init__(folder)
        self.news = threading.Condition()
        self.crossings: dict[str, list[Crossing]] = {}
        self._out: dict[tuple[str, str], Crossing] = {}
        self._came_s = 0.0
        self._running = threading.Event()

    def _settings(self, acl: str) -> str:
        lines = [
            f"listener {self.port} 127.0.0.1",
            "user root",
            "persistence false",
            "allow_anonymous true",
            "log_dest stderr",
            "log_type all",
            "log_timestamp false",
            "max_inflight_messages 1000",  # as deployed: what the broker holds back would be stamped wrongly
            acl,
        ]
        return "\n".join(lines) + "\n"

    def start(self) -> None:
        """Returns once the broker's main loop answers."""
        self._process = subprocess.Popen([MOSQUITTO, "-c", str(self._conf)], stderr=subprocess.PIPE)
        assert self._process.stderr is not None
        threading.Thread(target=self._read, args=(self._process.stderr,), daemon=True).start()
        assert self._running.wait(PATIENCE_S), "mosquitto did not start"
        assert answers(self.port), "mosquitto did not stay"

    def wait_for_ack(self, client: str, topic: str, patience_s: float = PATIENCE_S) -> Crossing:
        """The newest crossing of a topic once it is acknowledged; AssertionError if it never is."""
        with self.news:
            done = self.news.wait_for(lambda: self._newest_acked(client, topic), patience_s)
            newest = self._newest(client, topic)
            assert done, f"{client}: {topic}: {newest}: no PUBACK in {patience_s} s"
            assert newest is not None
            return newest

    def wait_for_all(self, client: str, count: int, patience_s: float) -> None:
        """Until `count` packets have gone to a subscriber and all are acknowledged."""

        def done() -> bool:
            mine = self.crossings.get(client, [])
            return len(mine) >= count and all(crossing.acked_s is not None for crossing in mine)

        until_s = time.monotonic() + patience_s
        while not done():
            assert time.monotonic() < until_s, f"{client}: not all of {count} acknowledged in {patience_s} s"
            time.sleep(0.05)

    def _newest(self, client: str, topic: str) -> Crossing | None:
        mine = reversed(self.crossings.get(client, []))
        return next((crossing for crossing in mine if crossing.topic == topic), None)

    def _newest_acked(self, client: str, topic: str) -> bool:
        newest = self._newest(client, topic)
        return newest is not None and newest.acked_s is not None

    def _read(self, pipe: IO[bytes]) -> None:
        rest = b""
        while chunk := os.read(pipe.fileno(), 65536):
            now_s = time.monotonic()
            *lines, rest = (rest + chunk).split(b"\n")
            with self.news:
                for line in lines:
                    self._take(line.decode(errors="replace"), now_s)
                self.news.notify_all()

    def _take(self, line: str, now_s: float) -> None:
        if _CAME.match(line):
            self._came_s = now_s
        elif went := _WENT.match(line):
            crossing = Crossing(went[3], self._came_s)
            self.crossings.setdefault(went[1], []).append(crossing)
            self._out[went[1], went[2]] = crossing
        elif (acked := _ACKED.match(line)) and (acked[1], acked[2]) in self._out:
            self._out.pop((acked[1], acked[2])).acked_s = now_s
        elif line.endswith(" running"):
            self._running.set()
