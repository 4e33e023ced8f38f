"""Days in a row with six probes and small faults mixed in: does the daemon grow, the journal as foreseen?"""

import random
import tempfile
import time
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import psutil
from bench import SITE, Bench, senml
from fault_kills import site
from fault_rows import Row
from path_lag import Sender, more_boxes, sender
from receiver import Answer

DAYS_LONG, DAYS_SHORT = 14.0, 0.25
SPEED_LONG, SPEED_SHORT = 720.0, 360.0
EVERY_S = 300.0
SLOPE_MOST_MIB_A_DAY = 0.5  # a leak of a reading's worth each would be more
HANDLES_MORE = 4
BYTES_A_READING = 64.0  # a row of the journal, measured: 35 to 50
BYTES_A_DAY = 400_000.0  # history, messages and the sight


ANSWERS = (Answer(), Answer(), Answer(status=500), Answer("drop"), Answer(status=429))


@dataclass
class Soaked:
    """Samples over watch time: days, resident MiB, open file descriptors, bytes of the journal."""

    days: list[float] = field(default_factory=list)
    resident_mib: list[float] = field(default_factory=list)
    handles: list[int] = field(default_factory=list)
    journal_bytes: list[int] = field(default_factory=list)
    sent: int = 0

    def slope_mib_a_day(self) -> float:
        """Straight line through the second half: the first warms up caches and the day's track."""
        half = len(self.days) // 2
        if len(set(self.days[half:])) < 2:
            return 0.0
        return float(np.polyfit(self.days[half:], self.resident_mib[half:], 1)[0])


def row(long: bool) -> Row:
    """Fourteen scaled days in the long form (half an hour and more), six hours in the short."""
    days, speed = (DAYS_LONG, SPEED_LONG) if long else (DAYS_SHORT, SPEED_SHORT)
    with tempfile.TemporaryDirectory() as name:
        found = soak(Path(name), days, speed)
    made = Row("days with six probes and small faults", places=len(found.days))
    judge(made, found, days)
    return made


def judge(made: Row, found: Soaked, days: float) -> None:
    """Flat memory, steady handles, a journal of the size foreseen."""
    slope, more = found.slope_mib_a_day(), max(found.handles) - found.handles[len(found.handles) // 4]
    foreseen = found.sent * BYTES_A_READING + (days + 1.0) * BYTES_A_DAY
    if days >= 3.0 and slope > SLOPE_MOST_MIB_A_DAY:
        made.wrong.append(f"memory grows by {slope:.2f} MiB a day")
    if more > HANDLES_MORE:
        made.wrong.append(f"{more} more file descriptors than a quarter of the way in")
    if found.journal_bytes[-1] > foreseen:
        made.wrong.append(f"journal {found.journal_bytes[-1]} bytes, foreseen at most {foreseen:.0f}")
    made.note = "; ".join(
        (
            f"{days:g} days, {found.sent} readings",
            f"memory {found.resident_mib[0]:.1f} to {found.resident_mib[-1]:.1f} MiB",
            f"slope of the second half {slope:.2f} MiB a day",
            f"handles {min(found.handles)} to {max(found.handles)}",
            f"journal {found.journal_bytes[-1] / 1e6:.2f} MB, foreseen at most {foreseen / 1e6:.2f}",
        )
    )


def soak(folder: Path, days: float, speed: float) -> Soaked:
    """Play so many days of watch time."""
    clock = f"{speed:g}@2026-04-11T10:00:00+00:00"
    found, rng = Soaked(), random.Random(14)
    with site(folder, arrival="2026-04-10", clock=clock, probes=more_boxes(list("bcde"))) as bench:
        bench.start()
        assert bench.daemon is not None
        process = psutil.Process(bench.daemon.pid)
        began_s = time.monotonic()
        with sender(bench.broker.port) as out:
            while (day := (time.monotonic() - began_s) * speed / 86_400.0) < days:
                _round(bench, out, found, rng, day)
                _sample(bench, process, found, day)
                time.sleep(EVERY_S / speed)
        bench.stop()
        found.journal_bytes[-1] = bench.journal_path.stat().st_size
    return found


def _round(bench: Bench, out: Sender, found: Soaked, rng: random.Random, day: float) -> None:
    """A reading of each probe, and now and then rubbish, silence, a bad receiver, a broken link."""
    for number, name in enumerate("abcde"):
        if rng.random() < 0.97:
            celsius = 26.0 - 4.0 * ((day * 24.0 + number) % 5.0) / 5.0 + rng.gauss(0.0, 0.05)
            _send(out, f"box-{name}", senml(round(celsius, 4)))
            found.sent += 1
    _send(out, "outdoor", senml(round(9.0 + 3.0 * np.sin(6.28 * day), 4)))
    found.sent += 1
    strange = rng.random()
    if strange < 0.05:
        _send(out, "box-b", rng.choice(("", "{", senml(85.0), senml(-127.0))))
    elif strange < 0.07:
        bench.receivers["phone"].answer = rng.choice(ANSWERS)
    elif strange < 0.075:
        bench.broker.stop()
        bench.broker.start()
        _send(out, "outdoor", senml(9.0))


def _send(out: Sender, probe: str, payload: str) -> None:
    """As a probe does: again until the broker has it."""
    until_s = time.monotonic() + 30.0
    while True:
        try:
            return out.send(f"coldbrood/{SITE}/{probe}/reading", payload)
        except RuntimeError:  # paho's word for a link that is down
            assert time.monotonic() < until_s, "the broker did not come back"
            time.sleep(0.1)


def _sample(bench: Bench, process: psutil.Process, found: Soaked, day: float) -> None:
    found.days.append(day)
    found.resident_mib.append(process.memory_info().rss / 2**20)
    found.handles.append(process.num_fds())
    found.journal_bytes.append(bench.journal_path.stat().st_size)
