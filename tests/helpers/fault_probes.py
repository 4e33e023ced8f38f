"""Probes that go wrong, each in its own way, through the real broker and daemon at once."""

import json
import tempfile
import time
from pathlib import Path

from bench import Bench, senml
from fault_kills import site
from fault_rows import Row
from path_lag import more_boxes

from coldbrood.codec import unpack
from coldbrood.journal.reader import JournalReader
from coldbrood.watch.alarms import Alarm

SPEED = 120.0
CLOCK = f"{SPEED:g}@2026-04-11T10:00:00+00:00"
BOXES = "bcdefghi"
ROUNDS = 13
FULL = {"n": "t", "u": "Cel"}

# What each box's probe does, and the alarm it must end in: condition, reason, detail.
EXPECTED = {
    "probe-silent/box-a": ("silent", ""),
    "probe-wrong/box-b": ("stuck", ""),
    "probe-wrong/box-c": ("refused", "power-on-value"),
    "probe-wrong/box-d": ("refused", "disconnected-value"),
    "probe-wrong/box-e": ("refused", "bad-payload"),
    "probe-wrong/box-f": ("leaps", "leaps"),
    "probe-wrong/box-g": ("refused", "from-the-future"),
    "probe-silent/box-h": ("silent", ""),
}


def row(long: bool) -> Row:
    """Silent, stuck, 85.0, -127, 0 bytes, two senders, the future, flapping; and one that is well."""
    made = Row("a probe silent, stuck, at 85.0, -127 or 0 bytes, doubled, from the future, flapping")
    for _ in range(5 if long else 1):
        with tempfile.TemporaryDirectory() as name:
            _one_day(made, Path(name))
    return made


def _one_day(made: Row, folder: Path) -> None:
    with site(folder, arrival="2026-04-10", clock=CLOCK, probes=more_boxes(list(BOXES))) as bench:
        bench.start()
        bench.send_c("box-a", 30.0)  # and nothing more
        bench.publish("box-b", json.dumps([{**FULL, "t": -600 * n, "v": 30.0} for n in range(40)]))
        bench.send_c("box-h", 30.0)
        for n in range(ROUNDS):
            _round(bench, n)
        bench.wait_for(lambda: _found(bench) == EXPECTED, "the alarms of the probes", 60.0)
        bench.flush()
        bench.stop()
        made.places += len(EXPECTED) + 1
        _judge(made, bench)


def _round(bench: Bench, n: int) -> None:
    """Some minutes of watch time: box-i is well, box-f is two clients, box-h goes and comes."""
    bench.send_c("box-b", 30.0)
    bench.send_c("box-c", 85.0)
    bench.send_c("box-d", -127.0)
    bench.publish("box-e", "")
    bench.send_c("box-f", 30.0 + n / 16)
    bench.send_c("box-f", 8.0 + n / 16)
    bench.publish("box-g", json.dumps([{**FULL, "bt": time.time() + 10 * 365 * 86_400.0, "v": 30.0}]))
    bench.send_c("box-i", 30.0 + n / 16)
    bench.publish("outdoor", senml(9.0 + n / 16))
    if n in (4, 5):
        bench.send_c("box-h", 30.0 + n / 16)


def _alarms(bench: Bench) -> dict[str, Alarm]:
    with JournalReader.open(bench.journal_path) as reader:
        rows = reader.restore().alarms
    return {key: unpack(body, Alarm) for key, body in rows.items()}


def _found(bench: Bench) -> dict[str, tuple[str, str]]:
    return {
        key: (alarm.reason, alarm.detail)
        for key, alarm in _alarms(bench).items()
        if alarm.active and alarm.condition in ("probe-silent", "probe-wrong") and key in EXPECTED
    }


def _judge(made: Row, bench: Bench) -> None:
    """The well one has no alarm, the two tales of one name are not one, and nothing impossible was kept."""
    alarms = _alarms(bench)
    for key in ("probe-wrong/box-i", "probe-silent/box-i"):
        if key in alarms and alarms[key].raises:
            made.wrong.append(f"{key}: raised for a probe that is well")
    kept = {(r.probe, r.value) for r in bench.readings()}
    for probe, value in (("box-c", 85.0), ("box-d", -127.0)):
        if (probe, value) in kept:
            made.wrong.append(f"{probe}: {value} was kept as a reading")
    if any(probe in ("box-e", "box-g") for probe, _ in kept):
        made.wrong.append("a reading out of nothing, or from the future, was kept")
    told = bench.titles()
    for probe in "bcdefg":
        if f"Probe box-{probe} reads wrong" not in told:
            made.lost += 1
            made.wrong.append(f"box-{probe}: not told: {told}")
    if not any(title.startswith("Cannot see box A") for title in told):
        made.lost += 1
        made.wrong.append(f"box-a: silence not told: {told}")
