"""The journal is hurt: each page flipped or cut; the file damaged, deleted or of another schema."""

import random
import shutil
import signal
import sqlite3
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import cache
from pathlib import Path

from bench import Bench
from fault_kills import ALARM, COLD_C, same_alarms, site
from fault_rows import Row, States, alarm_states, wait_told
from journal_records import everything, open_journal
from old_journals import build
from sites import make_site

from coldbrood import keep
from coldbrood.codec import pack
from coldbrood.journal.errors import JournalError
from coldbrood.journal.holder import Holder
from coldbrood.journal.schema import PAGE_BYTES
from coldbrood.watch.alarms import Alarm

WARMER_C = COLD_C + 2.0
COMMITS = 48
CLOCK = "20@2026-04-11T12:00:00+00:00"
ARRIVAL = "2026-04-10"
ASIDE = "The old journal was damaged"
NEWER = "The old journal is of a newer coldbrood"
Hurt = Callable[[Path], None]


def flips(long: bool) -> Row:
    """Random bytes over each page in turn, and the file cut at each: it opens, revives, and keeps."""
    row = Row("each page of the journal flipped, or the file cut there")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        content = _filled(folder / "sound.sqlite", COMMITS)
        for place, hurt in _hurts(content, long):
            path = folder / "hurt" / "j.sqlite"
            path.parent.mkdir()
            path.write_bytes(hurt)
            try:
                _start(path)
            except (Exception, AssertionError) as fault:  # noqa: BLE001 - whatever it is, it ended a start
                row.wrong.append(f"{place}: {type(fault).__name__}: {fault}")
            row.places += 1
            shutil.rmtree(path.parent)
    return row


def _hurts(content: bytes, long: bool) -> Iterator[tuple[str, bytes]]:
    rng = random.Random(3)
    for page in range(len(content) // PAGE_BYTES):
        for turn in range(8 if long else 1):
            at = page * PAGE_BYTES + rng.randrange(PAGE_BYTES - 8)
            yield f"page {page}.{turn} flipped", content[:at] + rng.randbytes(8) + content[at + 8 :]
        yield f"cut in page {page}", content[:at]


def _filled(path: Path, commits: int) -> bytes:
    journal = open_journal(path)
    for number in range(commits):
        journal.commit(replace(everything(number), alarms={a.key: pack(a) for a in _alarms(number)}))
    journal.close()
    return path.read_bytes()


def _alarms(number: int) -> tuple[Alarm, Alarm]:
    """One that stays as it was, and one that changes with each commit."""
    stays = Alarm("too-hot", f"box-{number}", "unacknowledged", "high", active=True, told=number)
    return stays, Alarm("refill-now", "a", "acknowledged", "high", active=True, raises=number)


def _start(hurt: Path) -> None:
    """It starts and keeps, and an alarm is as it was written or gone: no damage alters one, or makes one."""
    written = {one for number in range(COMMITS) for one in _alarms(number)}
    held = Holder(hurt, "now")
    try:
        restored = held.restore()
        last_t_s = restored.last_t_s or 0.0
        state = keep.revive(make_site(), restored, held.since(keep.first_seq(restored)), last_t_s)
        assert set(state.alarms.values()) <= written, "an alarm was altered"
        assert state.sight.boxes
        assert abs(last_t_s) <= 1e10
        try:
            held.commit(everything(1000))
        except JournalError:  # damage that only a write meets: the file goes aside, and the same is kept
            held.commit(everything(1000))
    finally:
        held.close()


def at_the_start(long: bool) -> Row:
    """The real daemon starts on a journal that was hurt, or of another schema: it is up, warns, says so."""
    row = Row("journal damaged, empty, older, newer, write-protected or not there at the start")
    cases = CASES if long else CASES[:4:3]
    for name, hurt, said in cases:
        with tempfile.TemporaryDirectory() as folder, site(Path(folder)) as bench:
            _start_on(row, bench, name, hurt, said)
        row.places += 1
    return row


def _start_on(row: Row, bench: Bench, name: str, hurt: Hurt, said: str) -> None:
    bench.start()
    bench.send_c("box-a", WARMER_C)
    bench.flush()
    bench.stop()
    hurt(bench.journal_path)
    bench.start()
    before = len(bench.readings())
    bench.send_c("box-a", COLD_C, COLD_C + 0.0625)
    for title in (ALARM, *([said] if said else [])):
        wait_told(bench, title, name)
    bench.flush()
    bench.stop()
    if len(bench.readings()) != before + 2:
        row.lost += 1
        row.wrong.append(f"{name}: {len(bench.readings())} readings, {before} before")
    if hurt is not _sound:
        same_alarms(row, bench, name, _on_a_sound_journal())


@cache
def _on_a_sound_journal() -> States:
    """The alarms of the same script when nothing hurts the file: what was lost raised none by itself."""
    row = Row("")
    with tempfile.TemporaryDirectory() as folder, site(Path(folder)) as bench:
        _start_on(row, bench, "sound", _sound, "")
        assert not row.wrong, row.wrong
        return alarm_states(bench)


def _sound(_path: Path) -> None:
    """Leave it as it is."""


def _flip(path: Path) -> None:
    size = path.stat().st_size
    with path.open("r+b") as file:
        file.seek(size // 2)
        file.write(b"\xa5" * (size - size // 2))


def _cut(path: Path) -> None:
    with path.open("r+b") as file:
        file.truncate(path.stat().st_size // 3)


def _rubbish(path: Path) -> None:
    path.write_bytes(bytes(range(256)) * 40)


def _empty(path: Path) -> None:
    path.write_bytes(b"")


def _older(path: Path) -> None:
    path.unlink()
    build(1, path)


def _newer(path: Path) -> None:
    db = sqlite3.connect(path)
    db.executescript("PRAGMA user_version = 3; CREATE TABLE newer (x)")
    db.close()


CASES: tuple[tuple[str, Hurt, str], ...] = (
    ("second half overwritten", _flip, ASIDE),
    ("cut to a third", _cut, ASIDE),
    ("deleted", Path.unlink, ""),
    ("of a newer schema", _newer, NEWER),
    ("rubbish", _rubbish, ASIDE),
    ("emptied", _empty, ""),
    ("of an older schema", _older, ""),
)


def under_the_daemon(long: bool) -> Row:
    """The file goes while the daemon runs: a new one is made, and all since is in it."""
    row = Row("journal deleted, moved or overwritten under the running daemon")
    cases: tuple[tuple[str, Hurt], ...] = (
        ("deleted", _delete_all),
        ("moved", _move),
        ("overwritten", _flip),
    )
    for name, hurt in cases if long else cases[:1]:
        with (
            tempfile.TemporaryDirectory() as folder,
            site(Path(folder), clock=CLOCK, arrival=ARRIVAL) as bench,
        ):
            _hurt_under(row, bench, name, hurt)
        row.places += 1
    return row


def _hurt_under(row: Row, bench: Bench, name: str, hurt: Hurt) -> None:
    bench.start()
    bench.send_c("box-a", WARMER_C)
    bench.flush()
    hurt(bench.journal_path)
    sent = [COLD_C, COLD_C + 0.0625]
    bench.send_c("box-a", *sent)
    bench.wait_for(lambda: any(t.startswith(ALARM) for t in bench.titles()), f"{name}: the alarm")
    if name != "overwritten":  # what the cache holds is still written, and the damage found at the next start
        bench.wait_for(lambda: "can be written again" in bench.log_text(), f"{name}: a new journal", 60.0)
    bench.stop(signal.SIGKILL)
    bench.start()
    bench.flush()
    bench.stop()
    kept = [reading for reading in bench.readings() if reading.value != WARMER_C]
    bench_values = [reading.value for reading in kept if reading.probe == "box-a"]
    if name == "overwritten":
        row.note = "what the disk itself overwrote is gone"
    elif bench_values != sent:
        row.lost += 1
        row.wrong.append(f"{name}: kept {bench_values} of {sent}")
    told = [title for title in bench.titles() if title.startswith(ALARM)]
    if len(told) > 2 or any(not title.endswith("(again?)") for title in told[1:]):
        row.wrong.append(f"{name}: told {told}")
    if name == "overwritten":  # the alarm went with its file: two more cold looks raise it, as new
        bench.start()
        bench.send_c("box-a", COLD_C + 0.125, COLD_C + 0.1875)
        bench.flush()
        bench.stop()
    same_alarms(row, bench, name)


def _move(path: Path) -> None:
    path.rename(path.with_name("moved"))


def _delete_all(path: Path) -> None:
    for end in ("", "-wal", "-shm"):
        Path(f"{path}{end}").unlink()
