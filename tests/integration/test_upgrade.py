"""A site of the version before goes on under this one: its config as it stands, its journal with every row,
its estimate and its open alarms, and so even if the first starts are pulled away half way."""

import os
import re
import signal
import sqlite3
import subprocess
import sys
import time
import tomllib
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest
from bench import Bench, senml
from broker import Broker
from journal_records import dump
from old_journals import build

from coldbrood.clock import Clock, up_s
from coldbrood.journal import schema
from coldbrood.peek import look
from coldbrood.settings.load import load

FOLDER = Path(__file__).parents[2] / "fixtures" / "upgrades"
LATER = "2026-04-11T17:35:00+00:00"  # the last entry of the old daemon is of 17:25
KEPT = ("probe", "reading", "note", "history", "refused", "refused_count")
PULLS_S = (0.4, 0.8, 1.2)
SECRETS = {"broker-password": "pw", "phone-url": "json://127.0.0.1:9/"}


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    """The old site, minutes after its daemon ended."""
    broker = Broker(tmp_path)
    broker.start()
    try:
        with Bench(tmp_path, broker, clock=f"1@{LATER}@{up_s():.3f}") as made:
            yield made
    finally:
        broker.stop()


def restore(path: Path) -> dict[str, list[tuple[object, ...]]]:
    """Build the journal of the version before; its rows."""
    with closing(sqlite3.connect(path)) as db:
        db.executescript((FOLDER / "main-job.sql").read_text(encoding="utf-8"))
        db.execute("PRAGMA journal_mode = WAL")
    path.chmod(0o600)
    return dump(path)


def kept(
    before: dict[str, list[tuple[object, ...]]], after: dict[str, list[tuple[object, ...]]]
) -> list[str]:
    """Tables of which a row is gone or changed; there may be more rows than before."""
    return [name for name in KEPT if after[name][: len(before[name])] != before[name]]


def test_the_journal_of_the_version_before_goes_on(bench: Bench) -> None:
    before = restore(bench.journal_path)
    assert (len(before["reading"]), len(before["alarm"]), len(before["message"])) == (120, 2, 9)
    bench._flushes = 100  # the old journal holds the marks of the bench that made it
    bench.start()
    seen = look(bench.config, Clock(1.0, Clock().wall_s()))
    bench.publish("box-a", senml(17.75))
    bench.publish("outdoor", senml(2.0))
    bench.flush()
    log = bench.log_text()
    assert bench.stop() == os.EX_OK
    after = dump(bench.journal_path)
    assert kept(before, after) == []
    assert len(after["reading"]) == 122
    assert re.search(r'state=up reason="down \d+ (s|min)"', log)
    assert "cannot be read" not in log
    assert {str(key) for key, *_ in before["alarm"]} <= {str(key) for key, *_ in after["alarm"]}
    assert {str(key) for key, *_ in before["message"]} <= {str(key) for key, *_ in after["message"]}
    box = seen.state.sight.boxes["a"]
    assert [found.kind for found in box.look_ins] == ["spread"]
    assert box.newest is not None
    assert box.newest[1] == pytest.approx(18.0, abs=0.2)


def test_pulled_away_at_its_first_starts_it_loses_nothing(bench: Bench) -> None:
    before = restore(bench.journal_path)
    for pull_s in PULLS_S:
        bench.launch()
        assert bench.daemon is not None
        time.sleep(pull_s)
        bench.daemon.send_signal(signal.SIGKILL)
        assert bench.daemon.wait(20) == -signal.SIGKILL
        assert kept(before, dump(bench.journal_path)) == []
    bench.start()
    assert bench.stop() == os.EX_OK
    assert kept(before, dump(bench.journal_path)) == []


# Opens the journal in one fork after the other, each killed one step later: a step is a statement, or a file
# or folder that was brought to the disk. Prints the schema that each kill left.
DYING = """
import os, signal, sqlite3, sys
from pathlib import Path
from coldbrood.journal import migrate, store
path, left = Path(sys.argv[1]), 0
def counted(work):
    def run(*args):
        global left
        done = work(*args)
        left -= 1
        if left == 0:
            os.kill(os.getpid(), signal.SIGKILL)
        return done
    return run
class Db:
    def __init__(self, db):
        self.execute = counted(db.execute)
        self.db = db
    def __getattr__(self, name):
        return getattr(self.db, name)
migrate.sync_file = counted(migrate.sync_file)
migrate.sync_directory = counted(migrate.sync_directory)
step = migrate._step
migrate._step = lambda db, version: step(Db(db), version)
for at in range(1, 200):
    child = os.fork()
    if child == 0:
        left = at
        store.Journal.open(path, now_label="20260411T173500Z").close()
        os._exit(0)
    if os.waitpid(child, 0)[1] != signal.SIGKILL:
        break
    db = sqlite3.connect(f"file:{path}?mode=ro", uri=True)
    print(db.execute("PRAGMA user_version").fetchone()[0])
    db.close()
"""


def test_the_oldest_schema_pulled_away_at_each_step_is_whole_in_the_end(tmp_path: Path) -> None:
    """By the real opening of the journal."""
    path = build(1, tmp_path / "j.sqlite")
    before = dump(path)
    command = [sys.executable, "-c", DYING, str(path)]
    done = subprocess.run(command, capture_output=True, text=True, timeout=100)
    assert done.returncode == 0, done.stderr
    left = [int(version) for version in done.stdout.split()]
    assert len(left) > 10
    assert left == sorted(left)
    assert {left[0], left[-1]} <= {1, schema.VERSION}
    after = dump(path)
    for table in ("probe", "quantity", "note", "alarm", "message", "state", "reading"):
        assert after[table] == before[table], table
    assert [row[:6] + row[7:] for row in after["history"]] == before["history"]
    assert _version(path) == schema.VERSION


def _version(path: Path) -> int:
    with closing(schema.connect_reader(path)) as db:
        return int(db.execute("PRAGMA user_version").fetchone()[0])


@pytest.mark.parametrize("name", ["one-box", "wired"])
def test_the_config_of_the_version_before_is_taken_as_it_stands(name: str, tmp_path: Path) -> None:
    text = (FOLDER / f"{name}.toml").read_text(encoding="utf-8")
    path = tmp_path / "coldbrood.toml"
    path.write_text(text, encoding="utf-8")
    for secret, value in SECRETS.items():
        (tmp_path / secret).touch(mode=0o600)
        (tmp_path / secret).write_text(f"{value}\n")
    environ = {"COLDBROOD_PHONE_URL": SECRETS["phone-url"], "COLDBROOD_NEIGHBOUR_URL": SECRETS["phone-url"]}
    config, told = load(path, environ), tomllib.loads(text)
    assert set(config.site.boxes) == {table["name"] for table in told["box"]}
    for table in told["box"]:
        spec = config.site.boxes[table["name"]]
        assert (spec.length_m, spec.insulation_mm) == (table["length_m"], table["insulation_mm"])
        assert (spec.jug_litres, spec.height_m) == (table["jug_litres"], table["height_m"])
        assert config.site.batch.chicks[table["name"]] == table["chicks"]
    assert {name: probe.role for name, probe in config.site.probes.items()} == {
        table["name"]: table["role"] for table in told["probe"]
    }
    assert config.site.batch.arrival == told["batch"]["arrival"]
    assert [channel.name for channel in config.channels] == [table["name"] for table in told["channel"]]
    assert config.journal_path == tmp_path / told["journal"].get("path", "journal.db")
