"""How long from a packet at the broker to its intent on the disk, by the daemon and by a bare logger.

An intent is the second reading too hot of a box: it raises an alarm, whose message goes into the outbox in
one commit with the reading. Each box raises once in a daemon's life, so a small site lives several times.
"""

import os
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import paho.mqtt.client as paho
from bench import SITE, Bench, senml
from children import logger, wait_until_idle
from figures import say
from logged_broker import LoggedBroker
from paho.mqtt.enums import CallbackAPIVersion
from plain_logger import CLIENT_ID as LOGGER

from coldbrood.journal.reader import JournalReader

DAEMON = f"coldbrood-{SITE}"
WARM_C = (32.0, 33.0)  # under the ceiling
# Both over the hard ceiling: what is less may rest while the keeper of the bench is asleep by the real clock.
HOT_C, HOTTER_C = 36.5, 37.5
GAP_S = 0.03
IDLE_PATIENCE_S = 60.0


@dataclass(frozen=True, slots=True)
class Played:
    """What one play gave."""

    took_ms: list[float]
    look_ms: float


@dataclass(frozen=True, slots=True)
class Lag:
    """Milliseconds from packet to PUBACK, one for each intent: by the daemon, and by the bare logger.

    `look_ms` is the daemon's processor time for one look ahead at one box: looks that fall due together hold
    up a packet, and a play of seconds does not see those of every five minutes.
    """

    probes: int
    daemon_ms: tuple[float, ...]
    logger_ms: tuple[float, ...]
    look_ms: float


class Sender:
    """A client of the broker for the probes; each packet is in the broker's hands when `send` returns."""

    def __init__(self, port: int) -> None:
        self._client = paho.Client(CallbackAPIVersion.VERSION2, "probes")
        self._client.connect("127.0.0.1", port)
        self._client.loop_start()

    def send(self, topic: str, payload: str) -> None:
        """QoS 1. Raises AssertionError if the broker does not take it."""
        info = self._client.publish(topic, payload, qos=1)
        info.wait_for_publish(20.0)
        assert info.is_published(), f"{topic}: not taken"

    def stop(self) -> None:
        """Leave."""
        self._client.disconnect()
        self._client.loop_stop()


@contextmanager
def sender(port: int) -> Iterator[Sender]:
    """A sender that leaves at the end."""
    made = Sender(port)
    try:
        yield made
    finally:
        made.stop()


@contextmanager
def logged_broker(folder: Path) -> Iterator[LoggedBroker]:
    """A broker of one's own in a new folder."""
    folder.mkdir(parents=True)
    made = LoggedBroker(folder)
    made.start()
    try:
        yield made
    finally:
        made.stop()


def box_names(probes: int) -> list[str]:
    """One box a probe, but for the outdoor one; the bench itself brings the first box."""
    return ["a", *(f"b{n}" for n in range(2, probes))]


def more_boxes(names: Sequence[str]) -> str:
    """Tables for the config file: boxes like the bench's own, each with its probe."""
    return "".join(BOX.format(name=name) for name in names)


def today() -> str:
    """The date, for a batch that has just arrived."""
    return f"{datetime.now(UTC):%Y-%m-%d}"


def topic_of(box: str) -> str:
    """Where a box's probe speaks."""
    return f"coldbrood/{SITE}/box-{box}/reading"


def measure(folder: Path, probes: int, lives: int) -> Lag:
    """Play the same packets to both, life for life in turn on one broker and one disk, so that what else the
    machine does falls on both."""
    daemon_ms: list[float] = []
    logger_ms: list[float] = []
    look_ms: list[float] = []
    for life in range(lives):
        say(f"  lag at {probes} probes: round {life + 1} of {lives}")
        place = folder / f"life-{life}"
        with logged_broker(place / "broker") as broker, sender(broker.port) as out:
            daemon = _daemon_life(place, broker, out, probes)
            daemon_ms += daemon.took_ms
            look_ms.append(daemon.look_ms)
            logger_ms += _logger_life(place, broker, out, probes).took_ms
    return Lag(probes, tuple(daemon_ms), tuple(logger_ms), sum(look_ms) / lives)


def _daemon_life(folder: Path, broker: LoggedBroker, out: Sender, probes: int) -> Played:
    boxes = more_boxes(box_names(probes)[1:])
    with Bench(folder, broker, arrival=today(), probes=boxes) as bench:
        bench.start()
        assert bench.daemon is not None
        pid = bench.daemon.pid
        played = _play(broker, out, DAEMON, probes, lambda: wait_until_idle(pid, IDLE_PATIENCE_S))
        assert bench.stop() == os.EX_OK
        _check_intents(bench.journal_path, probes - 1)
    return played


def _logger_life(folder: Path, broker: LoggedBroker, out: Sender, probes: int) -> Played:
    with logger(broker.port, folder / "plain.db") as child:
        return _play(broker, out, LOGGER, probes, lambda: wait_until_idle(child.pid, IDLE_PATIENCE_S))


def _play(broker: LoggedBroker, out: Sender, client: str, probes: int, rest: Callable[[], float]) -> Played:
    """Warm every box, heat every box once, then raise one alarm after the other.

    `rest` waits and gives processor time. Only the first reading of a box makes the daemon look ahead at
    once: what it costs over the second is the look.
    """
    names = box_names(probes)
    out.send(f"coldbrood/{SITE}/outdoor/reading", senml(8.0))
    rested_s = [rest()]
    for celsius in (*WARM_C, HOT_C):
        for name in names:
            out.send(topic_of(name), senml(celsius))
        rested_s.append(rest())
    took_ms = []
    for name in names:
        out.send(topic_of(name), senml(HOTTER_C))
        took_ms.append(broker.wait_for_ack(client, topic_of(name)).took_ms)
        time.sleep(GAP_S)
    look_s = (rested_s[1] - rested_s[0]) - (rested_s[2] - rested_s[1])
    return Played(took_ms, 1000.0 * look_s / len(names))


def _check_intents(journal: Path, count: int) -> None:
    """The measured packets did what they were sent for: one message about each box is in the outbox."""
    with JournalReader.open(journal) as reader:
        kept = {key for (key,) in reader.db.execute("SELECT key FROM message")}
    intents = {key for key in kept if key.startswith("too-hot/")}
    assert len(intents) == count, f"{len(intents)} intents in the journal, {count} expected: {sorted(kept)}"


BOX = """
[[box]]
name = "{name}"
chicks = 16
length_m = 0.60
width_m = 0.45
height_m = 0.35
insulation_mm = 40
jug_litres = 3.8
fill_c = 70
[[probe]]
name = "box-{name}"
role = "box"
box = "{name}"
"""
