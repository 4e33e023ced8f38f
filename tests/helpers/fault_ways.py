"""The receiver fails in every way under the whole daemon process: nothing is lost, a repeat is marked."""

import tempfile
import time
from collections.abc import Callable
from contextlib import ExitStack
from pathlib import Path

from bench import Bench
from fault_kills import ALARM, COLD_C, same_alarms, site
from fault_rows import MARK, Row, check
from fault_sends import WAYS, Ground, ground
from receiver import Receiver

from coldbrood.codec import unpack
from coldbrood.journal.reader import JournalReader
from coldbrood.watch.outbox import Message

SPEED = 60.0
CLOCK = f"{SPEED:g}@2026-04-11T12:00:00+00:00"
SHORT = ("answer 500", "die in mid-answer")
PATIENCE_S = 90.0


def through_the_daemon(long: bool) -> Row:
    """Each way, on the first phone of two; the second joins, and the first hears of it once well."""
    row = Row("the receiver fails in every way, under the whole daemon")
    with ground() as made:
        for way in WAYS if long else SHORT:
            with tempfile.TemporaryDirectory() as name, ExitStack() as stack:
                _one(row, made, way, Path(name), stack)
            row.places += 1
    return row


def _one(row: Row, made: Ground, way: str, folder: Path, stack: ExitStack) -> None:
    with site(folder, channels=("phone", "second"), clock=CLOCK, arrival="2026-04-10") as bench:
        bench.env = {"REQUESTS_CA_BUNDLE": str(made.authority)}
        phone, second = bench.receivers["phone"], bench.receivers["second"]
        bad = made.one_that_dies(stack) if way == "die in mid-answer" else None
        _point(bench, made.address(way) if bad is None else f"json://{bad.address}/")
        bench.start()
        sent: list[float] = []
        _feed(bench, sent, lambda: _told(second), f"{way}: the second phone", bad)
        bench.stop()
        _point(bench, f"json://{phone.address}/")
        bench.start()
        _feed(bench, sent, lambda: _told(phone), f"{way}: the first phone, once it is well")
        bench.flush()
        bench.stop()
        check(row, bench, sent, [ALARM], way)
        same_alarms(row, bench, way)
        _marks(row, bench, way)


def _point(bench: Bench, address: str) -> None:
    """Give the first phone's channel another address; the daemon reads it when it starts."""
    (bench.folder / "phone-url").write_text(f"{address}\n")


def _told(receiver: Receiver) -> bool:
    return any(str(r.json()["title"]).startswith(ALARM) for r in receiver.received)


def _feed(
    bench: Bench, sent: list[float], reached: Callable[[], bool], what: str, dying: Receiver | None = None
) -> None:
    """Readings of a cold box until something holds; a receiver that dies is gone after its first request."""
    until_s = time.monotonic() + PATIENCE_S
    while not reached() or len(sent) < 3:
        assert time.monotonic() < until_s, f"waited for {what}: {bench.log_text()[-1500:]}"
        sent.append(COLD_C + len(sent) / 1024)
        bench.send_c("box-a", sent[-1])
        if dying is not None and dying.received:
            dying.stop()
            dying = None
        time.sleep(0.1)


def _marks(row: Row, bench: Bench, way: str) -> None:
    """Marked is what may have been taken before, and nothing else."""
    with JournalReader.open(bench.journal_path) as reader:
        lines = [line.line for line in reader.history(float("-inf"), float("inf"), "send")]
        messages = [unpack(body, Message) for body in reader.messages().values()]
    mine = [message for message in messages if message.channel == "phone"]
    doubtful = {line.subject for line in lines if line.state == "unknown"}
    if (WAYS[way] == "unknown") != any(message.may_repeat for message in mine):
        row.wrong.append(f"{way}: in doubt, or not, as it should not be: {mine}")
    marked = sum(message.may_repeat and message.state == "accepted" for message in mine)
    told = sum(title.endswith(MARK) for title in bench.titles())
    if marked != told or any(message.key in doubtful and not message.may_repeat for message in mine):
        row.wrong.append(f"{way}: {told} marked, {marked} were in doubt: {bench.titles()}")
    if WAYS[way] == "try-again" and told:
        row.wrong.append(f"{way}: marked as repeats, though none was taken: {bench.titles()}")
