"""Bytes the daemon writes to the disk in a day of six probes, each read once a minute, against a bare logger.

The daemon is the real child under a fast clock (`--rehearse`), as on a board: what the test tools brought is
hidden from it. The day is one of simulated boxes that are refilled by the age timetable, so that nights,
digests and now and then an alarm are in it. The bare logger takes the same packets as fast as it can: it
commits each by itself, so its bytes do not hang on the clock.
"""

import json
import math
import os
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import as_on_board
from bench import NO_PAGE, SITE, Bench
from children import cpu_s, logger, resident_mib, written_mb
from figures import say
from logged_broker import Crossing, LoggedBroker
from path_lag import DAEMON, Sender, box_names, logged_broker, more_boxes, sender, topic_of
from plain_logger import CLIENT_ID as LOGGER
from write_back import board_s, write_back

from coldbrood.brooder.specs import BoxSpec
from coldbrood.clock import Clock, up_s
from coldbrood.probes.simulated import Chicks, Probe, TrueBox, Truth, Weather, start

ARRIVAL = "2026-04-10"
BEGINS = datetime(2026, 4, 11, 12, 0, tzinfo=UTC)  # at noon of day 1: the night lies in the middle
DAY_MIN = 1440
REFILL_EVERY_MIN = 240  # the age timetable of the first days, by night too
BATTERY_EVERY_MIN = 15
SAME_COMMIT_S = 0.06  # by the fast clock commits are an eighth of a second apart or more
IN_FLIGHT = 200
SETTLE_S = 0.3  # for the last commit; longer would be hours by the fast clock, and the probes silent

FILL_C = 60.0
SPEC = BoxSpec("a", 0.60, 0.45, 0.35, 40.0, 0.038, 8.0, 1, 3.8, 70.0, False)
CHICKS = 16


@dataclass(frozen=True, slots=True)
class Writes:
    """What was written to the disk, in 10**6 bytes, in `minutes` played; commits as told by the PUBACKs.

    What the daemon holds in memory, and what it took of the processor, are those at the end of the play.
    """

    minutes: int
    packets: int
    scale: float
    daemon_mb: float
    logger_mb: float
    commits: int
    readings: int
    messages: int
    resident_mib: float = 0.0
    highest_mib: float = 0.0
    cpu_s: float = 0.0

    @property
    def cpu_s_a_day(self) -> float:
        """Processor time of the daemon, carried on to a day where less was played."""
        return self.cpu_s * DAY_MIN / self.minutes

    @property
    def daemon_mb_a_day(self) -> float:
        """Carried on to a day where less was played."""
        return self.daemon_mb * DAY_MIN / self.minutes

    @property
    def logger_mb_a_day(self) -> float:
        """Carried on to a day where less was played."""
        return self.logger_mb * DAY_MIN / self.minutes

    @property
    def commits_a_day(self) -> float:
        """Carried on to a day where less was played."""
        return self.commits * DAY_MIN / self.minutes


@dataclass(frozen=True, slots=True)
class Packet:
    """One message of one probe, so many seconds after the start."""

    at_s: float
    topic: str
    payload: str


@dataclass(frozen=True, slots=True)
class _Day:
    """What the daemon did in the day, and how it stood at its end."""

    written_mb: float
    readings: int
    messages: int
    resident_mib: float
    highest_mib: float
    cpu_s: float


def measure(folder: Path, probes: int, minutes: int, scale: float, page: str = NO_PAGE) -> Writes:
    """Play `minutes` of the day to the daemon at `scale`, then the same packets to the bare logger.

    `page` is the daemon's [page] table. What is not synced is written back as `deploy/card.conf` says.
    """
    packets = list(day(probes, minutes))
    with logged_broker(folder / "broker") as broker, sender(broker.port) as out:
        say(f"  writes: {minutes} min of {probes} probes at {scale:g} times the speed")
        day_of = _daemon(folder, probes, page, broker, out, packets, scale, board_s())
        commits = count_commits(broker.crossings[DAEMON])
        say(f"  writes: the same {len(packets)} packets to the bare logger")
        logger_mb = _logger(folder / "plain.db", broker, out, packets)
    return Writes(
        minutes,
        len(packets),
        scale,
        day_of.written_mb,
        logger_mb,
        commits,
        day_of.readings,
        day_of.messages,
        day_of.resident_mib,
        day_of.highest_mib,
        day_of.cpu_s,
    )


def daemon_mb_a_day(folder: Path, probes: int, minutes: int, scale: float, unsynced_s: float) -> float:
    """What the daemon alone writes a day where the kernel writes back after `unsynced_s`, 10**6 bytes."""
    packets = list(day(probes, minutes))
    with logged_broker(folder / "broker") as broker, sender(broker.port) as out:
        played = _daemon(folder, probes, NO_PAGE, broker, out, packets, scale, unsynced_s)
    return played.written_mb * DAY_MIN / minutes


def day(probes: int, minutes: int) -> Iterator[Packet]:
    """Each probe speaks once a minute, one after the other; a battery value comes along each quarter."""
    names = box_names(probes)
    truths = [start(TrueBox(SPEC, 1.0 + 0.05 * n), 8.0, 24.0, FILL_C) for n in range(len(names))]
    readers = [Probe(seed, at_c=24.0) for seed in range(len(names))]
    outdoor = Probe(len(names), at_c=8.0, wander_sd_c=0.05)
    for minute in range(minutes):
        weather = Weather(outdoor_c(minute), wind_m_s=1.0)
        _pass_minute(minute, truths, readers, weather)
        outdoor.follow(60.0, weather.outdoor_c)
        celsius = [*(reader.read_c() for reader in readers), outdoor.read_c()]
        topics = [*(topic_of(name) for name in names), f"coldbrood/{SITE}/outdoor/reading"]
        for n, (topic, value) in enumerate(zip(topics, celsius, strict=True)):
            yield Packet(60.0 * (minute + n / probes), topic, _payload(value, minute))


def outdoor_c(minute: int) -> float:
    """A cold spring day from noon on: 8 C at three, 0 C before dawn."""
    return 4.0 + 4.0 * math.cos(2.0 * math.pi * (minute - 180) / DAY_MIN)


def count_commits(crossings: Sequence[Crossing]) -> int:
    """PUBACKs that came together are those of one commit: the daemon sends them in one go."""
    acked = sorted(crossing.acked_s for crossing in crossings if crossing.acked_s is not None)
    return sum(1 for n, at in enumerate(acked) if n == 0 or at - acked[n - 1] > SAME_COMMIT_S)


def _pass_minute(minute: int, truths: Sequence[Truth], readers: Sequence[Probe], weather: Weather) -> None:
    for n, (truth, reader) in enumerate(zip(truths, readers, strict=True)):
        if (minute + 40 * n) % REFILL_EVERY_MIN == 0:
            truth.refill(FILL_C, wrapped=False)
        truth.step(60.0, weather, Chicks(CHICKS, 1.5 + minute / DAY_MIN))
        reader.follow(60.0, truth.air_c)


def _payload(celsius: float, minute: int) -> str:
    pack: list[dict[str, object]] = [{"n": "temperature", "u": "Cel", "v": celsius}]
    if minute % BATTERY_EVERY_MIN == 0:
        pack.append({"n": "battery", "u": "%EL", "v": round(100.0 - minute / 300.0)})
    return json.dumps(pack)


def _daemon(
    folder: Path,
    probes: int,
    page: str,
    broker: LoggedBroker,
    out: Sender,
    packets: Sequence[Packet],
    scale: float,
    unsynced_s: float,
) -> _Day:
    """From its link to its end."""
    stated = f"{scale:g}@{BEGINS.isoformat()}@{up_s():.3f}"
    boxes = more_boxes(box_names(probes)[1:])
    with Bench(folder, broker, arrival=ARRIVAL, probes=boxes, clock=stated, page=page) as bench:
        bench.start(as_on_board.command())
        assert bench.daemon is not None
        pid = bench.daemon.pid
        before_mb, before_s = written_mb(pid), cpu_s(pid)
        with write_back(Path(f"{bench.journal_path}-shm"), unsynced_s / scale):
            send_in_time(out, packets, scale)
            time.sleep(SETTLE_S)
        written, spent_s = written_mb(pid) - before_mb, cpu_s(pid) - before_s
        resident, highest = resident_mib(pid), resident_mib(pid, "VmHWM")
        assert bench.stop() == os.EX_OK
        return _Day(written, len(bench.readings()), len(bench.titles()), resident, highest, spent_s)


def send_in_time(out: Sender, packets: Sequence[Packet], scale: float) -> None:
    """Each packet at its time by a clock that runs `scale` times faster."""
    clock = Clock(scale, BEGINS.timestamp())
    began_s = clock.mono_s()
    for packet in packets:
        clock.sleep(began_s + packet.at_s - clock.mono_s())
        out.send(packet.topic, packet.payload)


def _logger(path: Path, broker: LoggedBroker, out: Sender, packets: Sequence[Packet]) -> float:
    with logger(broker.port, path) as child:
        before_mb = written_mb(child.pid)
        for n, packet in enumerate(packets, 1):
            out.send(packet.topic, packet.payload)
            if n % IN_FLIGHT == 0 or n == len(packets):  # a broker drops what a slow logger lets pile up
                broker.wait_for_all(LOGGER, n, 60.0)
        return written_mb(child.pid) - before_mb
