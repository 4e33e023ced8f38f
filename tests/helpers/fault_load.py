"""Five hundred messages a second, with an alarm inside: what the daemon's memory and its alarm make of it."""

import tempfile
import threading
import time
from dataclasses import dataclass, field
from pathlib import Path
from types import TracebackType

import paho.mqtt.client as paho
import psutil
from bench import SITE, Bench, senml
from broker import Broker
from fault_kills import OwnBroker
from fault_rows import Row
from paho.mqtt.enums import CallbackAPIVersion
from path_lag import more_boxes, today
from receiver import Received

from coldbrood.inlet import BURST
from coldbrood.journal.reader import JournalReader

RATE_PER_S = 500
LATENCY_BAR_S = 5.0
GROWTH_MIB = 24.0
AS_SHIPPED = "max_inflight_messages 1000\nmax_queued_messages 40000\n"  # deploy/broker/coldbrood.conf
CRITICAL = "failure"  # the sort of message that a critical alarm is sent as
# Under the hard floor: the first is held as a jump, the third is the second look.
COLD_C = (12.0, 12.125, 12.25)


class Flood:
    """A probe gone mad: publishes readings of one topic at a rate, from a thread of its own."""

    def __init__(self, port: int, probe: str, per_s: int, qos: int) -> None:
        self.sent = 0
        self._topic, self._per_s, self._qos = f"coldbrood/{SITE}/{probe}/reading", per_s, qos
        self._client = paho.Client(CallbackAPIVersion.VERSION2, f"mad-{probe}")
        self._client.max_inflight_messages_set(1000)
        self._client.max_queued_messages_set(0)
        self._client.connect("127.0.0.1", port)
        self._client.loop_start()
        self._ending = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)

    def __enter__(self) -> "Flood":
        self._thread.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, fault: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._ending.set()
        self._thread.join(10.0)
        self._client.disconnect()
        self._client.loop_stop()

    def _run(self) -> None:
        began_s = time.monotonic()
        while not self._ending.is_set():
            owed = int((time.monotonic() - began_s) * self._per_s) - self.sent
            for _ in range(min(owed, self._per_s)):
                self.sent += 1
                value = 28.0 + self.sent % 16 / 16  # a true probe's noise: no two the same
                self._client.publish(self._topic, senml(value), qos=self._qos)
            self._ending.wait(0.01)


@dataclass
class Load:
    """What one flood did."""

    sent: int = 0
    resident_mib: list[float] = field(default_factory=list)
    latency_s: list[float] = field(default_factory=list)
    kept: int = 0
    dropped: int = 0
    core_pct: float = 0.0

    @property
    def grown_mib(self) -> float:
        """The most it grew over what it was a quarter of the way in."""
        start = self.resident_mib[len(self.resident_mib) // 4]
        return max(self.resident_mib[len(self.resident_mib) // 4 :]) - start


def under_flood(folder: Path, seconds: float, qos: int) -> Load:
    """One probe of box a floods; in the middle of it box b is far too cold."""
    found = Load()
    (folder / "broker").mkdir()
    broker = Broker(folder / "broker", more=AS_SHIPPED)
    broker.start()
    with OwnBroker(folder, broker, arrival=today(), probes=more_boxes(["b"])) as bench:
        bench.start()
        assert bench.daemon is not None
        process = psutil.Process(bench.daemon.pid)
        bench.send_c("box-a", 28.0)
        bench.send_c("box-b", 33.0)
        began_s, busy_s = time.monotonic(), _busy_s(process)
        with Flood(bench.broker.port, "box-a", RATE_PER_S, qos) as flood:
            _watch(found, process, seconds / 2)
            found.latency_s.append(_alarm(bench))
            _watch(found, process, seconds / 2)
        found.core_pct = 100.0 * (_busy_s(process) - busy_s) / (time.monotonic() - began_s)
        found.sent = flood.sent
        bench.flush()
        bench.stop()
        found.kept = sum(1 for r in bench.readings() if r.probe == "box-a")
        with JournalReader.open(bench.journal_path) as reader:
            counts = reader.db.execute("SELECT detail FROM refused WHERE reason = 'too-often'").fetchall()
        found.dropped = sum(int(detail.split()[0]) for (detail,) in counts)
    return found


def row(long: bool) -> Row:
    """Messages sure to arrive and others; the long form is ten minutes of each."""
    made = Row(f"{RATE_PER_S} messages a second, an alarm inside")
    notes = []
    for qos in (0, 1):
        with tempfile.TemporaryDirectory() as name:
            found = under_flood(Path(name), 600.0 if long else 6.0, qos)
        made.places += 1
        judge(made, found, f"QoS {qos}")
        made.measure(
            "critical alarm under load, from packet to receiver, s", max(found.latency_s), LATENCY_BAR_S
        )
        made.measure("memory grown under load, MiB", found.grown_mib, GROWTH_MIB)
        notes.append(
            f"QoS {qos}: {found.sent} sent, {found.kept} kept, alarm after {max(found.latency_s):.1f} s, "
            f"grown by {found.grown_mib:.1f} MiB, {found.core_pct:.0f} % of a core"
        )
    made.note = "; ".join(notes)
    return made


def judge(made: Row, found: Load, place: str) -> None:
    """Memory holds, what was dropped is counted, and the mad probe's newest went on coming in."""
    if found.grown_mib > GROWTH_MIB:
        made.wrong.append(f"{place}: memory grew by {found.grown_mib:.1f} MiB")
    if not 0 < found.dropped <= found.sent - found.kept:
        made.wrong.append(f"{place}: {found.sent} sent, {found.kept} kept, {found.dropped} counted")
    if found.kept < BURST:
        made.wrong.append(f"{place}: only {found.kept} kept")


def _busy_s(process: psutil.Process) -> float:
    used = process.cpu_times()
    return float(used.user + used.system)


def _watch(found: Load, process: psutil.Process, seconds: float) -> None:
    end_s = time.monotonic() + seconds
    while time.monotonic() < end_s:
        found.resident_mib.append(process.memory_info().rss / 2**20)
        time.sleep(0.25)


def _alarm(bench: Bench) -> float:
    """From the first packet of a critical cold of box b to its message at the receiver, in seconds."""
    began_s = time.monotonic()
    bench.send_c("box-b", *COLD_C)
    bench.wait_for(lambda: bool(_critical(bench)), "the alarm under load", 120.0)
    return _critical(bench)[0].at_s - began_s


def _critical(bench: Bench) -> list[Received]:
    return [r for r in bench.receivers["phone"].received if r.json()["type"] == CRITICAL]
