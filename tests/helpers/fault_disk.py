"""The disk refuses: the n-th operation fails once or for good, at the start and while it runs."""

import errno
import subprocess
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from bench import PATIENCE_S, Bench
from broker import Broker
from fault_kills import ALARM, AS_DEPLOYED, COLD_C, OwnBroker, finish, same_alarms, site
from fault_rows import Row, check, wait_told
from shim import FILES, Kind, Shim

CLOCK = (
    "20@2026-04-11T12:00:00+00:00"  # a minute, after which a failed commit is tried again, is three seconds
)
ARRIVAL = "2026-04-10"
ERRORS = (errno.EIO, errno.ENOSPC, errno.EROFS)
KINDS = (Kind.WRITE, Kind.SYNC, FILES)
PRIMED = 2  # readings that raise the alarm


@contextmanager
def _shimmed(*, clock: str | None = None, arrival: str | None = None) -> Iterator[tuple[Bench, Shim]]:
    given = {"clock": clock, "arrival": arrival}
    options = {name: value for name, value in given.items() if value is not None}
    with tempfile.TemporaryDirectory() as name, site(Path(name), **options) as bench:
        shim = Shim(bench.folder, bench.journal_path)
        bench.env = shim.env
        yield bench, shim


def once_while_running(long: bool) -> Row:
    """The n-th write, sync or any other operation fails once, for every n, one daemon for all."""
    row = Row("the n-th disk operation fails once while running")
    places = [(kind, nth) for kind in KINDS for nth in range(1, 31 if long else 5)]
    with _shimmed(clock=CLOCK, arrival=ARRIVAL) as (bench, shim):
        sent: list[float] = []
        bench.start()
        for number, (kind, nth) in enumerate(places):
            shim.arm(kind, nth, error=ERRORS[number % len(ERRORS)])
            _feed(bench, sent, lambda nth=nth: shim.passed >= nth)  # type: ignore[misc] # a default binds the number of this turn
            row.places += 1
        shim.disarm()
        bench.stop()
        finish(row, bench, sent, [ALARM], "once while running")
    return row


def for_good_while_running(long: bool) -> Row:
    """From the n-th operation on everything fails: the alarm comes from memory, and nothing is lost after."""
    row = Row("all disk operations fail from the n-th on, while running")
    places = [(kind, nth) for kind in KINDS for nth in range(1, 11)]
    for number, (kind, nth) in enumerate(places if long else places[1::10]):
        with _shimmed(clock=CLOCK, arrival=ARRIVAL) as (bench, shim):
            _from_the_nth_on(row, bench, shim, kind, nth, ERRORS[number % len(ERRORS)])
            row.places += 1
    return row


def _from_the_nth_on(row: Row, bench: Bench, shim: Shim, kind: Kind, nth: int, error: int) -> None:
    sent: list[float] = []
    place = f"{kind!r} from {nth} on, {errno.errorcode[error]}"
    bench.start()
    shim.arm(kind, nth, for_good=True, error=error)
    _feed(bench, sent, lambda: shim.passed >= nth + 2)
    bench.wait_for(lambda: any(t.startswith(ALARM) for t in bench.titles()), f"{place}: the alarm", 60.0)
    bench.wait_for(lambda: "ERROR journal" in bench.log_text(), f"{place}: the fault to be said")
    shim.disarm()
    bench.wait_for(lambda: "can be written again" in bench.log_text(), f"{place}: recovery", 60.0)
    bench.stop()
    finish(row, bench, sent, [ALARM], place)


def at_the_start(long: bool) -> Row:
    """The n-th disk operation since the start fails, once and for good: it comes up, or says why not."""
    row = Row("the n-th disk operation fails at the start, once and for good")
    with _shimmed() as (bench, shim):
        sent: list[float] = []
        bench.start()
        _feed(bench, sent, lambda: any(t.startswith(ALARM) for t in bench.titles()))
        bench.stop()
        shim.arm(FILES, 0)
        bench.start()
        most = shim.passed
        bench.stop()
        places = [(nth, good) for nth in range(1, most + 1) for good in (False, True)]
        for number, (nth, good) in enumerate(places if long else places[::23]):
            shim.arm(FILES, nth, for_good=good, error=ERRORS[number % len(ERRORS)])
            _start_hurt(row, bench, f"start, operation {nth} of {most}")
            row.places += 1
        shim.disarm()
        finish(row, bench, sent, [ALARM], "at the start")
    return row


def _start_hurt(row: Row, bench: Bench, place: str) -> None:
    """It comes up all the same."""
    bench.launch()
    assert bench.daemon is not None
    until_s = time.monotonic() + PATIENCE_S
    while bench.daemon.poll() is None and "state=up" not in bench.log_text() and time.monotonic() < until_s:
        time.sleep(0.05)
    if bench.daemon.poll() is None and "state=up" in bench.log_text():
        bench.stop()
    else:
        row.wrong.append(f"{place}: exit {bench.daemon.poll()}: {bench.log_text()[-300:]}")
        bench.daemon.kill()
        bench.daemon.wait(PATIENCE_S)


class OnOwnDisk(OwnBroker):
    """A bench whose journal lies on a small disk: a memory file system, which only root may mount."""

    @property
    def disk(self) -> Path:
        """Where the small disk is mounted."""
        return self.folder / "disk"

    @property
    def journal_path(self) -> Path:
        """Where the journal lies."""
        return self.disk / "journal.db"

    def __enter__(self) -> "OnOwnDisk":
        self.disk.mkdir()
        self.mount("-t", "tmpfs", "-o", "size=1m", "tmpfs")
        text = self.config_path.read_text()
        self.config_path.write_text(text.replace('path = "journal.db"', 'path = "disk/journal.db"'))
        return self

    def __exit__(self, *problem: object) -> None:
        super().__exit__(None, None, None)
        subprocess.run(["umount", "-l", str(self.disk)], check=True)

    def mount(self, *options: str) -> None:
        """Mount, or mount otherwise, what lies under the journal."""
        subprocess.run(["mount", *options, str(self.disk)], check=True)


def unwritable_at_the_start(long: bool) -> Row:
    """The disk takes no write when the daemon starts: it watches, warns, says so, and catches up."""
    row = Row("disk write-protected or full at the start, well later")
    for full in (False, True) if long else (False,):
        with tempfile.TemporaryDirectory() as name:
            folder = Path(name)
            (folder / "broker").mkdir()
            broker = Broker(folder / "broker", more=AS_DEPLOYED)
            broker.start()
            with OnOwnDisk(folder, broker, clock=CLOCK, arrival=ARRIVAL) as bench:
                _start_unwritable(row, bench, full)
            row.places += 1
    return row


def _start_unwritable(row: Row, bench: OnOwnDisk, full: bool) -> None:
    place = "full" if full else "write-protected"
    ballast = bench.disk / "ballast"
    if full:
        with suppress(OSError), ballast.open("wb", buffering=0) as file:
            while True:
                file.write(bytes(4096))
    else:
        bench.mount("-o", "remount,ro")
    bench.start()
    sent = [COLD_C, COLD_C + 0.0625]
    bench.send_c("box-a", *sent)
    for title in (ALARM, "The journal cannot be written"):
        wait_told(bench, title, place)
    if full:
        ballast.unlink()
    else:
        bench.mount("-o", "remount,rw")
    bench.wait_for(lambda: "can be written again" in bench.log_text(), f"{place}: recovery", 60.0)
    bench.flush()
    bench.stop()
    check(row, bench, sent, [ALARM], place)
    same_alarms(row, bench, place)


def _feed(bench: Bench, sent: list[float], reached: Callable[[], bool]) -> None:
    """Readings, and notes that make it commit, until a place is reached."""
    until_s = time.monotonic() + PATIENCE_S
    while not reached() or len(sent) < PRIMED:
        assert time.monotonic() < until_s, f"a place was not reached: {bench.log_text()[-1000:]}"
        sent.append(COLD_C + len(sent) / 1024)
        bench.send_c("box-a", sent[-1])
        bench.publish_to("coldbrood/larch-lane/note", '{"kind": "text", "text": "x"}')
        time.sleep(0.1)
