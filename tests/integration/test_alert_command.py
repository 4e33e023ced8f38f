"""Promise: `alert --test` sends one message through every hop of the real chain and says where it broke.

Exit 0 only if every channel took it; without a daemon the channels are tried from here and it exits 69.
"""

import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from bench import Bench
from broker import Broker
from receiver import Answer

SIX_TIMES = "6@2026-04-11T10:00:00+00:00"  # the daemon looks for notes each 15 s of its clock
NOISE = """
[sounder]
command = ["/bin/sh", "-c", "echo noise >> {file}; exec sleep 60"]
"""


@pytest.fixture
def bench(tmp_path: Path, broker: Broker) -> Iterator[Bench]:
    with Bench(tmp_path, broker, channels=("phone", "second"), clock=SIX_TIMES) as made:
        yield made


def alert(bench: Bench) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "coldbrood", "alert", "--test", "--config", str(bench.config_path)]
    return subprocess.run(command, capture_output=True, text=True, timeout=110, check=False)


def states(done: subprocess.CompletedProcess[str]) -> dict[str, str]:
    lines = [line.split("  ", 1) for line in done.stdout.splitlines() if ": " in line and "chain" not in line]
    return {what.strip().split(": ")[0]: state for state, what in lines}


def add(bench: Bench, table: str) -> None:
    bench.config_path.write_text(bench.config_path.read_text() + table)


def test_every_hop_is_tried_and_told(bench: Bench, tmp_path: Path) -> None:
    add(bench, NOISE.format(file=tmp_path / "noise"))
    bench.start()
    done = alert(bench)
    assert done.returncode == 0, done.stdout + done.stderr
    hops = ("broker", "daemon", "channel phone", "channel second", "sounder")
    assert states(done) == dict.fromkeys(hops, "well")
    for name in ("phone", "second"):
        assert [title.split(" at ")[0] for title in bench.titles(name)] == ["Test"]
    assert (tmp_path / "noise").read_text() == "noise\n"
    bench.stop()
    assert bench.titles("phone") == bench.titles("phone")[:1]


def test_the_channel_that_refuses_is_named(bench: Bench) -> None:
    bench.receivers["second"].answer = Answer(status=403)
    bench.start()
    done = alert(bench)
    assert done.returncode == 69
    told = states(done)
    assert (told["channel phone"], told["channel second"], told["daemon"]) == ("well", "fault", "well")
    assert "HTTP 403" in done.stdout


def test_without_a_daemon_the_channels_are_tried_from_here(bench: Bench) -> None:
    done = alert(bench)
    assert done.returncode == 69
    told = states(done)
    assert (told["broker"], told["daemon"], told["channel phone"]) == ("well", "fault", "well")
    assert bench.titles("phone") == ["Test: nothing to do"]


def test_a_broker_that_is_gone_is_the_first_line(bench: Bench) -> None:
    bench.broker.stop()
    done = alert(bench)
    assert done.returncode == 69
    first = done.stdout.splitlines()[0]
    assert first.startswith("fault")
    assert "nothing answers at 127.0.0.1" in first


def test_test_must_be_said(bench: Bench) -> None:
    command = [sys.executable, "-m", "coldbrood", "alert", "--config", str(bench.config_path)]
    done = subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)
    assert done.returncode == 2
    assert "--test" in done.stderr
