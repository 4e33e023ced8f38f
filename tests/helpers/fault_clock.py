"""The wall clock steps, or the board boots in 1970 and is set later, under the real daemon."""

import tempfile
import time
from functools import cache
from itertools import pairwise
from pathlib import Path

from bench import Bench
from fault_kills import ALARM, COLD_C, same_alarms, site
from fault_rows import Row, States, alarm_states, check
from shim import Shim

from coldbrood.clock import DOUBT_MOST_S
from coldbrood.journal.reader import JournalReader
from coldbrood.keep import SIGHT
from coldbrood.watch.events import History

SPEED = 40.0
NIGHT_SPEED = 900
NIGHTS = (
    ("2026-03-28T17:30:00+00:00", "2026-03-27", 11.3),
    ("2026-10-24T16:30:00+00:00", "2026-10-23", 13.3),
)
YEAR_S = 365 * 86_400.0
STEPS = (
    ("+1 h", 3600.0, True),
    ("-1 h", -3600.0, True),
    ("+1 h by hand", 3600.0, False),
    ("-1 h by hand", -3600.0, False),
    ("+10 y by a fault", 10 * YEAR_S, False),
    ("back to 1970 by a fault", -56 * YEAR_S, False),
)


def steps(long: bool) -> Row:
    """All the steps in turn."""
    row = Row("the wall clock steps under an alarm")
    for name, step_s, synced in STEPS if long else STEPS[::3]:
        with tempfile.TemporaryDirectory() as folder:
            row.add(step_of_the_clock(Path(folder), name, step_s, synced=synced))
    return row


def boots(long: bool) -> Row:
    """Boots in 1970 after gaps of several lengths."""
    row = Row("boot in 1970, the clock is set later")
    for gap_s in (1800.0, 7200.0, 86_400.0) if long else (7200.0,):
        with tempfile.TemporaryDirectory() as folder:
            row.add(boot_in_1970(Path(folder), gap_s))
    with tempfile.TemporaryDirectory() as folder:
        row.add(never_set(Path(folder)))
    return row


def summer_time(long: bool) -> Row:
    """A night in which the clocks go forward, and one in which they go back: one bedtime, one morning."""
    row = Row("a night with the change to or from summer time")
    for start, arrival, hours in NIGHTS if long else NIGHTS[:1]:
        with tempfile.TemporaryDirectory() as folder:
            place = f"night of {arrival}"
            with site(Path(folder), clock=f"{NIGHT_SPEED}@{start}", arrival=arrival) as bench:
                text = bench.config_path.read_text()
                bench.config_path.write_text(text.replace('"Etc/UTC"', '"Europe/Berlin"'))
                _night(row, bench, hours, place)
        row.places += 1
    return row


def _night(row: Row, bench: Bench, hours: float, place: str) -> None:
    """Comfort all night: the two digests are all there is to say, each at its hour by the changed clock."""
    bench.start()
    until_s = time.monotonic() + hours * 3600.0 / NIGHT_SPEED
    sent: list[float] = []
    while time.monotonic() < until_s:
        sent.append(33.0 + len(sent) % 8 / 16 + len(sent) / 4096)
        bench.send_c("box-a", sent[-1])
        time.sleep(0.15)
    bench.flush()
    bench.stop()
    check(row, bench, sent, [], place)
    same_alarms(row, bench, place, {})  # comfort raises none, in a night of any length
    with JournalReader.open(bench.journal_path) as reader:
        keys = {key.split("/")[0] for key in reader.messages()}
        digests = [key for key in reader.messages() if key.startswith(("bedtime/", "morning/"))]
    if len(digests) != 2 or not {"bedtime", "morning"} <= keys:
        row.wrong.append(f"{place}: digests {digests}")


def step_of_the_clock(folder: Path, name: str, step_s: float, *, synced: bool) -> Row:
    """An alarm stands while the clock steps: it is told once more at its own pace, no sooner and no later."""
    row = Row("the wall clock steps under an alarm", places=1)
    with site(folder) as bench:
        sent = _alarm_over_a_step(bench, step_s, synced=synced)
        check(row, bench, sent, [ALARM], name)
        same_alarms(row, bench, name, _without_a_step())
        _pace(row, bench, name)
    return row


def _alarm_over_a_step(bench: Bench, step_s: float, *, synced: bool) -> list[float]:
    """A cold box is told, the clock steps, and it is told again; what was sent."""
    shim = Shim(bench.folder, bench.journal_path)
    bench.env = shim.env
    speed = (SPEED, time.time(), time.clock_gettime(time.CLOCK_BOOTTIME))
    shim.set_clocks(synced=True, speed=speed)
    bench.start()
    sent = [COLD_C, COLD_C + 0.0625]
    bench.send_c("box-a", *sent)
    bench.receivers["phone"].wait_for(1, 60.0)
    shim.set_clocks(synced=synced, speed=speed, wall_less_s=step_s)
    sent += _feed_until_nudged(bench, 2)
    bench.flush()
    bench.stop()
    return sent


@cache
def _without_a_step() -> States:
    """The alarms of the same script when the clock runs on."""
    with tempfile.TemporaryDirectory() as name, site(Path(name)) as bench:
        _alarm_over_a_step(bench, 0.0, synced=True)
        return alarm_states(bench)


def _feed_until_nudged(bench: Bench, count: int) -> list[float]:
    """Readings that keep the loop awake at this speed, until the phone has been called so often."""
    sent: list[float] = []
    until_s = time.monotonic() + 60.0
    while len(_cold(bench)) < count:
        assert time.monotonic() < until_s, f"no nudge: {bench.log_text()[-1000:]}"
        sent.append(COLD_C + 1.0 + len(sent) / 64)
        bench.send_c("box-a", sent[-1])
        time.sleep(0.3)
    return sent


def _cold(bench: Bench) -> list[float]:
    received = bench.receivers["phone"].received
    return [r.at_s for r in received if str(r.json()["title"]).startswith(ALARM)]


def _pace(row: Row, bench: Bench, name: str) -> None:
    """The second nudge comes four minutes after the first: no sooner, whatever the wall says."""
    first_s, second_s = _cold(bench)[:2]
    apart_s = (second_s - first_s) * SPEED
    if not 200.0 < apart_s < 600.0:
        row.wrong.append(f"{name}: nudges {apart_s:.0f} s apart")


def boot_in_1970(folder: Path, gap_s: float) -> Row:
    """Down for `gap_s`, up in 1970 with a cold box, set after a while: said, told once, in order."""
    row = Row("boot in 1970, the clock is set later", places=1)
    place = f"gap of {gap_s:.0f} s"
    with site(folder) as bench:
        shim = Shim(folder, bench.journal_path, boot_id="11111111-1111-4111-8111-111111111111")
        bench.env = shim.env
        shim.set_clocks(synced=True)
        bench.start()
        sent = [COLD_C + 4.0, COLD_C + 4.0625]
        bench.send_c("box-a", *sent)
        bench.flush()
        bench.wait_sent()
        bench.stop()
        shim.boot_id.write_text("22222222-2222-4222-8222-222222222222")
        shim.set_clocks(wall_less_s=-time.time(), boot_less_s=-1e6, synced=False)
        bench.start()
        sent += [COLD_C, COLD_C + 0.0625]
        bench.send_c("box-a", *sent[2:])
        bench.flush()
        shim.set_clocks(wall_less_s=gap_s, boot_less_s=-1e6, synced=True)
        bench.wait_for(lambda: "gap-known" in bench.log_text(), f"{place}: the gap to be known", 60.0)
        sent.append(COLD_C + 0.125)
        bench.send_c("box-a", sent[-1])
        bench.flush()
        bench.stop()
        check(row, bench, sent, [ALARM], place)
        same_alarms(row, bench, place, _off_for_a_moment())
        _gap_is_kept(row, bench, gap_s, place)
    return row


def never_set(folder: Path) -> Row:
    """Off the grid no clock is ever set: the doubt ends by itself, and the sight is kept from then on."""
    row = Row("boot in 1970, the clock is never set", places=1)
    with site(folder) as bench:
        shim = Shim(folder, bench.journal_path, boot_id="11111111-1111-4111-8111-111111111111")
        bench.env = shim.env
        shim.set_clocks(synced=True)
        bench.start()
        sent = [COLD_C + 4.0, COLD_C + 4.0625]
        bench.send_c("box-a", *sent)
        bench.flush()
        bench.wait_sent()
        bench.stop()
        before = _sight_covers(bench)
        shim.boot_id.write_text("22222222-2222-4222-8222-222222222222")
        wall_less_s, boot_less_s = -time.time(), -1e6
        shim.set_clocks(wall_less_s=wall_less_s, boot_less_s=boot_less_s, synced=False)
        bench.start()
        sent += [COLD_C, COLD_C + 0.0625]
        bench.send_c("box-a", *sent[2:])
        bench.flush()
        bench.wait_sent()
        bench.stop()
        if _sight_covers(bench) != before:
            row.wrong.append("never set: the sight was kept while in doubt")
        bench.start()
        later_s = DOUBT_MOST_S + 1.0
        shim.set_clocks(wall_less_s=wall_less_s + later_s, boot_less_s=boot_less_s + later_s, synced=False)
        bench.wait_for(lambda: _sight_covers(bench) > before, "the sight to be kept", 60.0)
        bench.stop()
        check(row, bench, sent, [ALARM], "never set")
        same_alarms(row, bench, "never set", _off_for_a_moment())
    return row


@cache
def _off_for_a_moment() -> States:
    """The alarms of the same readings when the daemon starts again at once, on a clock that is right."""
    with tempfile.TemporaryDirectory() as name, site(Path(name)) as bench:
        for warmer_c in (4.0, 0.0):
            bench.start()
            bench.send_c("box-a", COLD_C + warmer_c, COLD_C + warmer_c + 0.0625)
            bench.flush()
            bench.wait_sent()
            bench.stop()
        return alarm_states(bench)


def _sight_covers(bench: Bench) -> int:
    with JournalReader.open(bench.journal_path) as reader:
        return reader.restore().covers.get(SIGHT, 0)


def _gap_is_kept(row: Row, bench: Bench, gap_s: float, place: str) -> None:
    readings = bench.readings()
    apart_s = readings[-1].t_s - readings[1].t_s
    if abs(apart_s - gap_s) > 120.0:
        row.wrong.append(f"{place}: {apart_s:.0f} s apart in watch time")
    if any(after.t_s < before.t_s for before, after in pairwise(readings)):
        row.wrong.append(f"{place}: watch time ran back")
    with JournalReader.open(bench.journal_path) as reader:
        lines = [line.line for line in reader.history(float("-inf"), float("inf"), "clock")]
    if not any(isinstance(line, History) and line.state == "gap-known" for line in lines):
        row.wrong.append(f"{place}: not in the history")
