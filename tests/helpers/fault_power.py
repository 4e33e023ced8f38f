"""The power goes: ends asked for and not, while writing, and the last word of a board that shuts down."""

import random
import signal
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from bench import PATIENCE_S, Bench
from fault_kills import ALARM, COLD_C, finish, same_alarms, site
from fault_rows import Row, wait_told
from receiver import Answer

from coldbrood.inbox import inbox_dir
from coldbrood.journal.reader import JournalReader

LAST_WORD = "Nobody watches from"
BACK = "Watching again"
STOP_MOST_S = 30.0  # the unit's TimeoutStopSec: the end may not hang on a dead channel
ASK = Callable[[Bench], None]


def ends(long: bool) -> Row:
    """SIGTERM and SIGKILL in turn, at random moments of a stream of readings."""
    row = Row("SIGTERM and SIGKILL while readings stream in")
    rng = random.Random(11)
    with tempfile.TemporaryDirectory() as name, site(Path(name)) as bench:
        sent: list[float] = []
        for number in range(40 if long else 4):
            bench.start()
            until_s = time.monotonic() + rng.uniform(0.0, 0.8)
            while not sent or time.monotonic() < until_s:
                sent.append(COLD_C + len(sent) / 1024)
                bench.send_c("box-a", sent[-1])
            bench.stop((signal.SIGTERM, signal.SIGKILL)[number % 2])
            row.places += 1
        finish(row, bench, sent, [ALARM], "ends")
    return row


def last_words(long: bool) -> Row:
    """A last word by signal or file, on a channel that is well, slow, broken or dead, then the end."""
    row = Row("the board's battery is low: a last word, then the end")
    channels = (Answer(), Answer(delay_s=1.0), Answer(status=500), Answer("stall"))
    for ask in (_by_signal, _by_file, _just_before_the_end):
        for answer in channels if long else channels[:1]:
            with tempfile.TemporaryDirectory() as name, site(Path(name)) as bench:
                _last_word(row, bench, ask, answer)
            row.places += 1
    return row


def _by_signal(bench: Bench) -> None:
    assert bench.daemon is not None
    bench.daemon.send_signal(signal.SIGPWR)


def _by_file(bench: Bench) -> None:
    """As a script of the power supply does; it would cut the power when the file is gone."""
    folder = inbox_dir(bench.journal_path)
    folder.mkdir(exist_ok=True)
    (folder / "going-down").write_text("cell at 3.1 V\n")
    bench.wait_for(lambda: "state=going-down" in bench.log_text(), "the file to be seen", 40.0)


def _just_before_the_end(bench: Bench) -> None:
    """As `_by_file`, but the daemon is told to end before it has looked."""
    folder = inbox_dir(bench.journal_path)
    folder.mkdir(exist_ok=True)
    (folder / "going-down").write_text("cell at 3.1 V\n")


def _last_word(row: Row, bench: Bench, ask: ASK, answer: Answer) -> None:
    """Said before the exit where it can be, journalled always; and taken back by the next start, once.

    An alarm stands meanwhile, told before the channel fails, and outlives the end unchanged.
    """
    place = f"{ask.__name__}, {answer.manner} {answer.status}"
    bench.start()
    bench.send_c("box-a", COLD_C, COLD_C + 0.0625)
    wait_told(bench, ALARM, place)
    bench.receivers["phone"].answer = answer
    ask(bench)
    if bench.stop(patience_s=STOP_MOST_S) != 0:
        row.wrong.append(f"{place}: did not end in order")
    well = answer.manner == "status" and answer.status == 200
    said = [title for title in bench.titles() if title.startswith(LAST_WORD)]
    if well and len(said) != 1:
        row.lost += not said
        row.wrong.append(f"{place}: last word {len(said)} times")
    if (inbox_dir(bench.journal_path) / "going-down").exists():
        row.wrong.append(f"{place}: the file is still there after the end, so the power is never cut")
    if not _in_history(bench):
        row.wrong.append(f"{place}: not in the journal")
    bench.receivers["phone"].answer = Answer()
    bench.start()
    bench.wait_for(
        lambda: any(t.startswith(BACK) for t in bench.titles()), f"{place}: to be back", PATIENCE_S
    )
    bench.stop()
    again = [title for title in bench.titles() if title.startswith(LAST_WORD)]
    if again[len(said) :]:
        row.wrong.append(f"{place}: a stale last word after the start")
    if sum(title.startswith(BACK) for title in bench.titles()) != 1:
        row.wrong.append(f"{place}: back said more than once")
    same_alarms(row, bench, place)
    if (inbox_dir(bench.journal_path) / "going-down").exists():
        row.wrong.append(f"{place}: the file is still there")


def _in_history(bench: Bench) -> bool:
    with JournalReader.open(bench.journal_path) as reader:
        lines = reader.history(float("-inf"), float("inf"), "power")
    return any(line.line.state == "going-down" for line in lines)
