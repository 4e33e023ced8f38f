"""The real daemon tells a real notify socket that it is ready, alive and stopping, and says nothing while its
loop is stuck."""

import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from bench import Bench
from broker import Broker

from coldbrood.notify import Supervisor

PATIENCE_S = 20.0
BEATS_S = 0.25  # 15 s of the watch at sixty times the speed

# The daemon with one fault put in: its step waits for as long as a file is there.
STUCK = """
import sys, time, pathlib
import coldbrood.service as service
from coldbrood.cli.main import main
real, brake = service.step, pathlib.Path(sys.argv.pop(1))
def step(*arguments):
    while brake.exists():
        time.sleep(0.02)
    return real(*arguments)
service.step = step
sys.exit(main())
"""


class NotifySocket:
    """A datagram socket as systemd has it; an @ begins an abstract address."""

    def __init__(self, address: str) -> None:
        self.address = address
        self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self._socket.bind(f"\0{address[1:]}" if address.startswith("@") else address)

    def hear(self, limit_s: float = PATIENCE_S) -> str:
        """The next message, or nothing."""
        self._socket.settimeout(limit_s)
        try:
            return self._socket.recv(4096).decode()
        except TimeoutError:
            return ""

    def drain(self) -> list[str]:
        """All that has come so far."""
        heard = []
        while text := self.hear(0.01):
            heard.append(text)
        return heard

    def close(self) -> None:
        self._socket.close()


@pytest.fixture(params=["file", "abstract"])
def notify(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[NotifySocket]:
    address = str(tmp_path / "notify") if request.param == "file" else f"@coldbrood-test-{os.getpid()}"
    held = NotifySocket(address)
    yield held
    held.close()


@pytest.fixture
def bench(
    tmp_path: Path, notify: NotifySocket, monkeypatch: pytest.MonkeyPatch
) -> Iterator[tuple[Bench, Path]]:
    """A running daemon whose loop can be stuck by making a file."""
    broker = Broker(tmp_path)
    broker.start()
    monkeypatch.setenv("NOTIFY_SOCKET", notify.address)  # after the broker, which would speak to it as well
    script, brake = tmp_path / "stuck.py", tmp_path / "brake"
    script.write_text(STUCK)
    with Bench(tmp_path, broker, clock="60@2026-04-11T10:00:00+00:00") as bench:
        bench.launch((str(script), str(brake), "run"))
        yield bench, brake
    broker.stop()


def test_ready_then_alive_at_each_beat_none_while_stuck_then_stopping(
    bench: tuple[Bench, Path], notify: NotifySocket
) -> None:
    running, brake = bench
    assert notify.hear() == "READY=1\nSTATUS=watching larch-lane"
    assert [notify.hear() for _ in range(5)] == ["WATCHDOG=1"] * 5
    brake.touch()
    time.sleep(4 * BEATS_S)  # the beat under way when the brake was put on may still end
    notify.drain()
    time.sleep(8 * BEATS_S)
    assert notify.drain() == []
    brake.unlink()
    assert [notify.hear() for _ in range(3)] == ["WATCHDOG=1"] * 3
    assert running.stop(signal.SIGTERM) == 0
    assert notify.drain()[-1] == "STOPPING=1"


def test_a_config_that_cannot_be_used_is_never_ready(tmp_path: Path, notify: NotifySocket) -> None:
    config = tmp_path / "coldbrood.toml"
    config.write_text("[site]\n")
    command = [sys.executable, "-m", "coldbrood", "run", "--config", str(config)]
    environ = {**os.environ, "NOTIFY_SOCKET": notify.address}
    assert subprocess.run(command, env=environ, capture_output=True, timeout=PATIENCE_S).returncode == 78
    assert notify.drain() == []


def test_without_a_socket_or_with_a_dead_one_it_goes_on(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    Supervisor({}).alive()
    assert caplog.text == ""
    dead = Supervisor({"NOTIFY_SOCKET": str(tmp_path / "nobody")})
    dead.ready("x")
    dead.alive()
    assert caplog.text.count("systemd cannot be told") == 1
