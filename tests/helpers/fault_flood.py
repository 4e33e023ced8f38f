"""Everything breaks at once, at nine boxes: people get no flood, and nothing critical waits for it."""

import tempfile
import time
from pathlib import Path

from bench import SITE, Bench, senml
from fault_kills import site
from fault_rows import Row
from path_lag import Sender, more_boxes, sender
from receiver import Answer, Received

from coldbrood.codec import unpack
from coldbrood.journal.reader import JournalReader
from coldbrood.watch.outbox import CRITICAL_URGENCY, FLOOD_MOST, FLOOD_WINDOW_S, Message

SPEED = 20.0
START = "2026-04-11T10:00:00+00:00"
BOXES = "bcdefghi"
CRITICAL_BAR_S = 5.0
LATE = "i"  # well until the window is full, and then far too cold
ANSWERS = (Answer(), Answer(status=500), Answer("drop"), Answer(), Answer(status=429))


def row(long: bool) -> Row:
    """Cold, heat, rubbish, silence and phones that fail: minutes or hours, then at true speed."""
    made = Row("everything breaks at once, at nine boxes and three phones")
    with tempfile.TemporaryDirectory() as name:
        _play(made, Path(name), SPEED, 2 * 3600.0 if long else 1500.0)
    with tempfile.TemporaryDirectory() as name:  # a look ahead takes its time: a scaled clock asks for many
        _play(made, Path(name), 1.0, 40.0)
    return made


def _play(made: Row, folder: Path, speed: float, seconds: float) -> None:
    options = {} if speed == 1.0 else {"clock": f"{speed:g}@{START}", "arrival": "2026-04-10"}
    probes = more_boxes(list(BOXES))
    with site(folder, channels=("phone", "second", "third"), probes=probes, **options) as bench:
        bench.start()
        sent_at: dict[str, tuple[float, ...]] = {}
        took_s, begun_s, n = 0.0, time.monotonic(), 0
        with sender(bench.broker.port) as out:
            while (gone_s := (time.monotonic() - begun_s) * speed) < seconds:
                _round(bench, out, n, cold=took_s > 0.0)
                if not took_s and gone_s > seconds / 2:
                    took_s = _strike_late(bench, out)
                _sample(bench, sent_at)
                n += 1
                time.sleep(0.5)
        bench.flush()
        _sample(bench, sent_at)
        bench.stop()
        made.places += n
        if speed == 1.0:
            made.measure(
                "critical alarm in a flood of alarms, from packet to a phone, s", took_s, CRITICAL_BAR_S
            )
        _judge(made, bench, sent_at)


def _strike_late(bench: Bench, out: Sender) -> float:
    """The last box is far too cold, while phones are full of all the rest: seconds until one says so."""
    for phone in bench.receivers.values():
        phone.answer = Answer()
    begun_s = time.monotonic()
    for celsius in (12.0, 12.125, 12.25):  # held as a jump, then two looks
        _send(out, f"box-{LATE}", senml(celsius))
    bench.wait_for(lambda: bool(_told(bench)), "the alarm of the last box", 60.0)
    return min(request.at_s for request in _told(bench)) - begun_s


def _told(bench: Bench) -> list[Received]:
    return [r for phone in bench.receivers.values() for r in phone.received if _is_late_box(r)]


def _round(bench: Bench, out: Sender, n: int, *, cold: bool) -> None:
    """Two boxes too cold, two too hot, two probes that talk rubbish, one that fell silent, one still well."""
    values = {"a": 12.0, "b": 12.0, "c": 34.5, "d": 35.0, LATE: 12.0 if cold else 30.0}
    for box, celsius in values.items():
        _send(out, f"box-{box}", senml(celsius + n % 8 / 16))
    for box in "ef":
        _send(out, f"box-{box}", ("{", "", senml(85.0), senml(-127.0))[n % 4])
    if n == 0:
        _send(out, "box-g", senml(30.0))
    if n < 12:
        bench.publish_to(f"coldbrood/{SITE}/note", f'{{"kind": "test", "key": "t{n}"}}')
    for number, phone in enumerate(bench.receivers.values()):
        phone.answer = ANSWERS[(n // 20 + number) % len(ANSWERS)]


def _send(out: Sender, probe: str, payload: str) -> None:
    out.send(f"coldbrood/{SITE}/{probe}/reading", payload)


def _sample(bench: Bench, sent_at: dict[str, tuple[float, ...]]) -> None:
    """When each message may have reached someone, in watch time: the outbox forgets what is past."""
    with JournalReader.open(bench.journal_path) as reader:
        messages = [unpack(body, Message) for body in reader.messages().values()]
    for message in messages:
        times_s = message.reached_t_s[:-1] if message.state == "sending" else message.reached_t_s
        known_s = [at_s for at_s in sent_at.get(message.key, ()) if not times_s or at_s < times_s[0]]
        sent_at[message.key] = (*known_s, *times_s)


def _judge(made: Row, bench: Bench, sent_at: dict[str, tuple[float, ...]]) -> None:
    """The bar of EEMUA 191 for all that is not critical; what is critical comes at once."""
    with JournalReader.open(bench.journal_path) as reader:
        messages = {key: unpack(body, Message) for key, body in reader.messages().items()}
    times_s = sorted(at_s for times in sent_at.values() for at_s in times)
    most = 0
    for key, times in sent_at.items():
        if messages[key].urgency < CRITICAL_URGENCY:
            most = max([most, *(_within(times_s, at_s) for at_s in times)])
    made.measure("messages in any 10 minutes when one that is not critical leaves", float(most), FLOOD_MOST)
    held = [
        m.key for m in messages.values() if m.urgency >= CRITICAL_URGENCY and "held back" in m.last_detail
    ]
    made.wrong += [f"held back, though critical: {key}" for key in held]
    count = sum(len(phone.received) for phone in bench.receivers.values())
    kept = sum("held back" in m.last_detail for m in messages.values())
    made.note = (
        f"{len(times_s)} may have reached someone, {count} requests; {kept} still held back at the end"
    )


def _within(times_s: list[float], at_s: float) -> int:
    return sum(0.0 <= at_s - other_s < FLOOD_WINDOW_S for other_s in times_s)


def _is_late_box(request: Received) -> bool:
    said = request.json()
    return said["type"] == "failure" and f"box {LATE.upper()}" in said["title"]
