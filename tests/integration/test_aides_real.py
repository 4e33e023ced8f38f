"""Promise: the noise is a real program, begun and ended in time; the signal goes only if all is well.

Both under the real daemon with a real broker and real HTTP, the noise with no network and no channel at all.
"""

import os
import signal
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from bench import Bench
from broker import Broker, free_port
from receiver import Answer, Receiver

from coldbrood.deliver import sounder as sounder_module
from coldbrood.deliver.heartbeat import Heartbeat, ask
from coldbrood.deliver.sounder import Sounder

FAST = "20@2026-04-11T10:00:00+00:00"
SOUNDER = '\n[sounder]\ncommand = ["/bin/sh", "-c", "echo $$ >> {file}; exec sleep 300"]\n'
HEARTBEAT = '\n[heartbeat]\nurl_file = "beat-url"\nmethod = "{method}"\nevery_min = 1\n'


def wait_for(reached: object, what: str, patience_s: float = 20.0) -> None:
    until = time.monotonic() + patience_s
    assert callable(reached)
    while not reached():
        assert time.monotonic() < until, what
        time.sleep(0.02)


def is_alive(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    return Path(f"/proc/{pid}/stat").read_text().split()[2] != "Z"


def pids(file: Path) -> list[int]:
    return [int(line) for line in file.read_text().split()] if file.exists() else []


# The sounder by itself.


@pytest.fixture
def told() -> list[str]:
    return []


def test_the_program_runs_while_wanted_and_everything_it_started_ends_with_it(
    tmp_path: Path, told: list[str]
) -> None:
    file = tmp_path / "pids"
    script = f"echo $$ >> {file}; sleep 300 & echo $! >> {file}; wait"
    sounder = Sounder(["/bin/sh", "-c", script], told.append)
    time.sleep(0.3)
    assert pids(file) == []
    sounder.want(True)
    wait_for(lambda: len(pids(file)) == 2, "the noise to begin")
    wait_for(lambda: told == [""], "the news that it runs")
    assert all(map(is_alive, pids(file)))
    sounder.want(False)
    wait_for(lambda: not any(map(is_alive, pids(file))), "the noise to end")
    sounder.stop(5.0)
    assert told == [""]


def test_a_short_noise_is_made_again_and_again(
    tmp_path: Path, told: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sounder_module, "PAUSE_S", 0.05)
    file = tmp_path / "pids"
    sounder = Sounder(["/bin/sh", "-c", f"echo $$ >> {file}"], told.append)
    sounder.want(True)
    wait_for(lambda: len(pids(file)) >= 3, "three noises")
    sounder.stop(5.0)
    assert told == [""]


def test_a_program_that_ignores_the_end_is_made_to(tmp_path: Path, told: list[str]) -> None:
    file = tmp_path / "pids"
    script = f"trap '' TERM; echo $$ >> {file}; while :; do sleep 0.1; done"
    sounder = Sounder(["/bin/sh", "-c", script], told.append)
    sounder.want(True)
    wait_for(lambda: len(pids(file)) == 1, "the noise to begin")
    sounder.stop(10.0)
    assert not is_alive(pids(file)[0])


@pytest.mark.parametrize(
    ("command", "said"),
    [
        (["/no/such/horn"], "cannot start /no/such/horn: No such file or directory"),
        (["/etc/passwd"], "cannot start /etc/passwd: Permission denied"),
        (["/bin/false"], "/bin/false failed with code 1"),
    ],
)
def test_a_program_that_fails_is_told_once_each_time_it_is_wanted(
    command: list[str], said: str, told: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sounder_module, "AGAIN_AFTER_FAULT_S", 0.05)
    sounder = Sounder(command, told.append)
    sounder.want(True)
    wait_for(lambda: said in told, "the fault to be told")
    time.sleep(0.3)
    assert told.count(said) == 1
    sounder.stop(5.0)


# The all-well signal by itself.


@pytest.mark.parametrize(("method", "body"), [("GET", b""), ("POST", b"all well\n")])
def test_the_signal_is_one_request(method: str, body: bytes) -> None:
    with Receiver() as far:
        assert ask(f"http://{far.address}/s3cret", method, 5.0) == ""
        (request,) = far.received
        assert (request.method, request.path, request.body) == (method, "/s3cret", body)


@pytest.mark.parametrize(
    ("answer", "said"),
    [
        (Answer(status=500), "answered with HTTP 500"),
        (Answer(status=404), "answered with HTTP 404"),
        (Answer(status=302, headers={"Location": "http://127.0.0.1:9/login"}), "answered with HTTP 302"),
        (Answer(manner="stall"), "no answer in time"),
        (Answer(manner="drop"), "no answer that makes sense (RemoteDisconnected)"),
        (Answer(manner="garbage"), "no answer that makes sense (BadStatusLine)"),
    ],
    ids=["500", "404", "login page", "stall", "drop", "garbage"],
)
def test_what_is_no_success_is_told_without_the_url(answer: Answer, said: str) -> None:
    with Receiver() as far:
        far.answer = answer
        assert ask(f"http://{far.address}/s3cret", "GET", 0.5) == said


def test_nobody_there_is_told() -> None:
    assert ask(f"http://127.0.0.1:{free_port()}/s3cret", "GET", 2.0) == "not reached (Connection refused)"
    assert "s3cret" not in ask("http://no-such-host.invalid/s3cret", "GET", 2.0)


def test_a_far_side_that_hangs_holds_up_nobody() -> None:
    told: list[str] = []
    with Receiver() as far:
        far.answer = Answer(manner="stall")
        heartbeat = Heartbeat(f"http://{far.address}/", "GET", told.append, timeout_s=0.5)
        before = threading.active_count()
        assert [heartbeat.tell() for _ in range(50)] == [True] + [False] * 49
        assert threading.active_count() <= before + 3
        wait_for(lambda: told == ["no answer in time"], "the fault to be told")
        far.answer = Answer()
        wait_for(heartbeat.tell, "the next to be sent")
        wait_for(lambda: told == ["no answer in time", ""], "the good news to be told")


# Under the real daemon.


def made(folder: Path, broker: Broker, more: str, channels: tuple[str, ...] = ("phone",)) -> Bench:
    bench = Bench(folder, broker, channels=channels, clock=FAST)
    text = bench.config_path.read_text()
    bench.config_path.write_text(text + more)
    return bench


@pytest.fixture
def far() -> Iterator[Receiver]:
    with Receiver() as receiver:
        yield receiver


def test_the_noise_comes_with_no_network_and_ends_with_an_answer(tmp_path: Path, broker: Broker) -> None:
    """Neither a channel nor, from the alarm on, a broker: the board alone."""
    file = tmp_path / "pids"
    with made(tmp_path, broker, SOUNDER.format(file=file), channels=()) as bench:
        bench.start()
        bench.send_c("box-a", 24.0)
        for celsius in (10.0, 9.9, 9.8):
            time.sleep(1.0)  # a minute of its time: faster would be a jump no box can make
            bench.send_c("box-a", celsius)
        bench.wait_for(lambda: len(pids(file)) == 1, "the noise")
        broker.stop(signal.SIGKILL)
        (pid,) = pids(file)
        assert is_alive(pid)
        note = '{"kind": "acknowledge", "alarm": "under-hard-floor/a", "key": "k1"}'
        inbox = tmp_path / "journal.db.notes"
        inbox.mkdir(exist_ok=True)
        (inbox / "k1.json").write_text(note)
        bench.wait_for(lambda: not is_alive(pid), "the noise to end")
        bench.wait_for(lambda: "sounder=larch-lane state=silent" in bench.log_text(), "that it is told")
        assert bench.stop() == 0


def test_a_stop_ends_the_noise_and_a_start_takes_it_up_again(tmp_path: Path, broker: Broker) -> None:
    file = tmp_path / "pids"
    with made(tmp_path, broker, SOUNDER.format(file=file)) as bench:
        bench.start()
        bench.send_c("box-a", 24.0)
        for celsius in (10.0, 9.9, 9.8):
            time.sleep(1.0)
            bench.send_c("box-a", celsius)
        bench.wait_for(lambda: len(pids(file)) == 1, "the noise")
        bench.stop()
        assert not is_alive(pids(file)[0])
        bench.start()
        bench.wait_for(lambda: len(pids(file)) == 2, "the noise again")
        bench.stop()
        assert not any(map(is_alive, pids(file)))


def test_the_signal_stops_with_whatever_is_not_well(tmp_path: Path, broker: Broker, far: Receiver) -> None:
    with made(tmp_path, broker, HEARTBEAT.format(method="POST")) as bench:
        secret = tmp_path / "beat-url"
        secret.touch(mode=0o600)
        secret.write_text(f"http://{far.address}/s3cret")
        bench.start()
        bench.send_c("box-a", 28.0)
        time.sleep(1.5)  # a minute and a half of its time
        assert far.received == (), "outdoor was not heard yet"
        bench.send_c("outdoor", 8.0)
        first = far.wait_for(1)[0]
        assert (first.method, first.path) == ("POST", "/s3cret")
        broker.stop()
        bench.wait_for(lambda: "link=larch-lane state=down" in bench.log_text(), "the link to be gone")
        time.sleep(0.5)
        count = len(far.received)
        time.sleep(7.0)  # two minutes of its time
        assert len(far.received) == count, "no link, no signal"
        broker.start()
        bench.wait_for(lambda: bench.log_text().count("link=larch-lane state=up") == 2, "the link", 60.0)
        bench.send_c("box-a", 28.0)
        bench.send_c("outdoor", 8.0)
        far.wait_for(count + 1)
        bench.stop()
        assert "s3cret" not in bench.log_text()
