"""Kills: at the n-th file operation or send, and at random; each start recovers while the next kill waits."""

import random
import signal
import tempfile
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from datetime import UTC, datetime
from functools import cache
from itertools import cycle, islice
from pathlib import Path

from bench import PATIENCE_S, SITE, Bench
from broker import Broker
from fault_rows import Row, States, alarm_states, check, wait_told
from shim import FILES, Deed, Kind, Shim

BACK_S = 5.0
RESTART_S = 1.0  # the unit's RestartSec: systemd waits so long after a kill
PER_SITE = 8  # kills of one journal before it is held to its promises
COLD_C = 12.0
ALARM = "Too cold: box A"
AS_DEPLOYED = (
    "max_inflight_messages 1000\n"  # with fewer, mosquitto 2.0.11 lets new messages overtake old ones
)
PLACES = range(1, 171)  # a start passes some 60, the rest are commits, acknowledgements and sends
RANDOM_KILLS = 140
DEEDS = (Deed.KILL_BEFORE, Deed.KILL_AFTER, Deed.KILL_HALFWAY)

Strike = Callable[[Row, Bench, Shim, Iterator[float]], bool]


def by_place(long: bool) -> Row:
    """Kill at the n-th operation since the start, for every n; each start recovers from the last kill."""
    places = PLACES if long else PLACES[2::21]
    return _in_sites("kill -9 at the n-th file operation or send", map(_at_place, places))


def at_random(long: bool) -> Row:
    """Kill after a random time since the start of the process; every other one is timed until the recovery.

    The rest are followed by the next kill at once, so that it strikes a journal not yet recovered too.
    """
    rng = random.Random(9)
    waits = [rng.uniform(0.0, 2.5) for _ in range(RANDOM_KILLS if long else 5)]
    return _in_sites("kill -9 at a random moment", map(_after, waits, cycle((True, False))))


def named_row(results: Iterable[Row]) -> Row:
    """One row of many."""
    whole = Row("")
    for result in results:
        whole.fault = result.fault
        whole.add(result)
    return whole


def _in_sites(fault: str, strikes: Iterator[Strike]) -> Row:
    row = Row(fault)
    while some := list(islice(strikes, PER_SITE)):
        with tempfile.TemporaryDirectory() as name:
            try:
                _one_site(row, Path(name), some)
            except AssertionError as fault:  # the other sites still count
                row.wrong.append(str(fault)[:300])
    return row


def _one_site(row: Row, folder: Path, strikes: list[Strike]) -> None:
    with site(folder) as bench:
        shim = Shim(folder, bench.journal_path)
        bench.env = shim.env
        values = (COLD_C + n / 1024 for n in range(4_000))
        sent: list[float] = []
        bench.start()
        bench.stop()
        for strike in strikes:
            killed = strike(row, bench, shim, _kept(values, sent))
            row.places += killed
            if not killed:
                row.wrong.append("a place was not reached")
        shim.disarm()
        finish(row, bench, sent, [ALARM], f"site of {len(strikes)} kills")


def finish(row: Row, bench: Bench, sent: list[float], alarms: list[str], place: str) -> None:
    """Start once more undisturbed, wait until all is told and kept, and hold the site to its promises."""
    begun_s = time.monotonic()
    bench.start()
    row.measure(
        "back on watch after an end, from the start of the process, s",
        time.monotonic() - begun_s,
        BACK_S - RESTART_S,
    )
    for title in alarms:
        wait_told(bench, title)
    bench.flush()
    bench.stop()
    check(row, bench, sent, alarms, place)
    same_alarms(row, bench, place)


def same_alarms(row: Row, bench: Bench, place: str, reference: States | None = None) -> None:
    """The alarms that readings decide are those of a run that nothing disturbed: cold all along, or given."""
    found, expected = alarm_states(bench), undisturbed() if reference is None else reference
    if found != expected:
        row.wrong.append(f"{place}: alarms {found}, undisturbed {expected}")


@cache
def undisturbed() -> States:
    """The alarm states after cold readings that nothing disturbs."""
    with tempfile.TemporaryDirectory() as name, site(Path(name)) as bench:
        bench.start()
        bench.send_c("box-a", *(COLD_C + n / 16 for n in range(4)))
        bench.receivers["phone"].wait_for(1)
        bench.flush()
        bench.stop()
        return alarm_states(bench)


def site(folder: Path, channels: Sequence[str] = ("phone",), **options: str) -> Bench:
    """A bench with a broker of its own, whose chicks came today; the broker ends with the bench."""
    (folder / "broker").mkdir()
    broker = Broker(folder / "broker", more=AS_DEPLOYED)
    broker.start()
    today = datetime.now(UTC).date().isoformat()
    return OwnBroker(folder, broker, channels, **{"arrival": today, **options})


class OwnBroker(Bench):
    """A bench that ends its broker too."""

    def __exit__(self, *problem: object) -> None:
        super().__exit__(None, None, None)
        self.broker.stop(signal.SIGKILL)


def _kept(values: Iterator[float], sent: list[float]) -> Iterator[float]:
    for value in values:
        sent.append(value)
        yield value


def _at_place(nth: int) -> Strike:
    def strike(_row: Row, bench: Bench, shim: Shim, values: Iterator[float]) -> bool:
        shim.arm(FILES | Kind.SEND, nth, DEEDS[nth % len(DEEDS)])
        bench.launch()
        return _feed_until_dead(bench, values)

    return strike


def _after(wait_s: float, timed: bool) -> Strike:
    def strike(row: Row, bench: Bench, shim: Shim, values: Iterator[float]) -> bool:
        shim.disarm()
        bench.launch()
        until_s = time.monotonic() + wait_s
        bench.send_c("box-a", next(values))
        time.sleep(max(0.0, until_s - time.monotonic()))
        assert bench.daemon is not None
        killed_s = time.monotonic()
        bench.daemon.kill()
        died = bench.daemon.wait(PATIENCE_S) == -signal.SIGKILL
        if timed:
            _recover(bench, killed_s, next(values))
            row.measure(
                "back on watch, from the kill until a new reading is judged and kept, s",
                time.monotonic() - killed_s,
                BACK_S,
            )
            bench.stop(signal.SIGKILL)
        return died

    return strike


def _recover(bench: Bench, killed_s: float, celsius: float) -> None:
    """Start again as systemd does, until a reading sent since the kill is kept, behind all that waited.

    A note makes it commit at once: by readings alone it does so each minute.
    """
    time.sleep(max(0.0, killed_s + RESTART_S - time.monotonic()))
    bench.launch()
    bench.send_c("box-a", celsius)
    bench.publish_to(f"coldbrood/{SITE}/note", '{"kind": "text", "text": "x"}')
    bench.wait_for(lambda: f"link={SITE} state=up" in bench.log_text(), "the daemon to be back")
    bench.wait_for(lambda: any(r.value == celsius for r in bench.readings()), "a reading after the kill")


def _feed_until_dead(bench: Bench, values: Iterator[float]) -> bool:
    """Readings, and notes that make it commit, until the daemon has died at its place."""
    assert bench.daemon is not None
    until_s = time.monotonic() + PATIENCE_S
    while bench.daemon.poll() is None and time.monotonic() < until_s:
        bench.send_c("box-a", next(values))
        bench.publish_to("coldbrood/larch-lane/note", '{"kind": "text", "text": "x"}')
        time.sleep(0.3)
    if bench.daemon.poll() is None:
        bench.stop()
        return False
    return bench.daemon.returncode == -signal.SIGKILL
