"""Promise: the running daemon writes into a real file whether the board may sleep, runs the real program with
the time it names, and says what is wrong with either.
"""

import os
import stat
import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

from bench import Bench
from broker import Broker

from coldbrood.cli.main import main
from coldbrood.clock import up_s
from coldbrood.deliver.rester import Rester

UNTIL_S = 1_775_905_237.0  # 2026-04-11 11:00:37 UTC


def script(path: Path, text: str) -> str:
    path.write_text(f"#!/bin/sh\n{text}\n")
    path.chmod(path.stat().st_mode | stat.S_IXUSR)
    return str(path)


def wait_for(reached: Callable[[], bool], what: str) -> None:
    until = time.monotonic() + 30.0
    while not reached():
        assert time.monotonic() < until, what
        time.sleep(0.05)


def tell_until(rester: Rester, reached: Callable[[], bool]) -> None:
    """Tell it again and again, as the daemon's beat does."""

    def told() -> bool:
        rester.tell(UNTIL_S, "refill of box a")
        return reached()

    wait_for(told, "the program to be seen to end")


def test_the_file_says_time_or_awake_and_is_left_awake(tmp_path: Path) -> None:
    file, news = tmp_path / "sleep", list[str]()
    rester = Rester(file, (), news.append)
    rester.tell(None, "box a not known")
    assert file.read_text() == "awake\nbox a not known\n"
    rester.tell(UNTIL_S, "refill of box a")
    assert file.read_text() == "2026-04-11T11:00:00Z\nrefill of box a\n", "whole minutes, and never later"
    rester.tell(UNTIL_S + 90.0, "refill of box a")
    assert file.read_text().startswith("2026-04-11T11:00:00Z"), "a later time can wait"
    rester.tell(None, "alarm refill-now/a")
    assert file.read_text() == "awake\nalarm refill-now/a\n", "awake cannot"
    rester.stop()
    assert file.read_text() == "awake\ncoldbrood stopped\n"
    assert news == [""]
    assert [path.name for path in tmp_path.iterdir()] == ["sleep"]


def test_an_earlier_time_does_not_wait(tmp_path: Path) -> None:
    file = tmp_path / "sleep"
    rester = Rester(file, (), print)
    rester.tell(UNTIL_S, "refill of box a")
    rester.tell(UNTIL_S - 600.0, "refill of box a")
    assert file.read_text().startswith("2026-04-11T10:50:00Z")


def test_the_program_gets_the_time_once_and_what_fails_is_told(tmp_path: Path) -> None:
    told = tmp_path / "told"
    news: list[str] = []
    rester = Rester(None, (script(tmp_path / "sleeper", f'echo "$@" >> {told}'), "mem"), news.append)
    rester.tell(None, "learning")
    for _ in range(3):
        rester.tell(UNTIL_S, "refill of box a")
    wait_for(told.exists, "the program to run")
    tell_until(rester, lambda: news == [""])
    assert told.read_text() == "mem 2026-04-11T11:00:00Z\n"

    for command, said in (
        ((script(tmp_path / "broken", "exit 3"),), f"{tmp_path}/broken failed with code 3"),
        ((str(tmp_path / "none"),), f"cannot start {tmp_path}/none: No such file or directory"),
    ):
        news.clear()
        failing = Rester(None, command, news.append)
        tell_until(failing, lambda: bool(news))
        assert news == [said]


def test_a_file_that_cannot_be_written_is_told_once(tmp_path: Path) -> None:
    news: list[str] = []
    rester = Rester(tmp_path / "no" / "sleep", (), news.append)
    rester.tell(None, "a")
    rester.tell(None, "b")
    assert news == [f"cannot write {tmp_path}/no/sleep: No such file or directory"]


def test_the_daemon_tells(tmp_path: Path, broker: Broker) -> None:
    clock = f"60@{datetime.now(UTC).isoformat()}@{up_s()}"
    file = tmp_path / "sleep"
    with Bench(tmp_path, broker, probes='[sleep]\nfile = "sleep"\n', clock=clock) as bench:
        bench.start()
        bench.wait_for(file.exists, "the first word on sleep")
        assert file.read_text() == "awake\nprobe box-a not heard just now\n"
        bench.send_c("box-a", 25.0)
        bench.send_c("outdoor", 5.0)
        bench.flush()
        assert file.read_text().startswith("awake\n"), "a box just met is not known"
        assert main(["batch", "close", "--config", str(bench.config_path)]) == os.EX_OK
        bench.wait_for(lambda: not file.read_text().startswith("awake"), "a time to sleep until")
        first, reason, _ = file.read_text().split("\n")
        assert datetime.fromisoformat(first).tzinfo is not None
        assert reason == "longest sleep"
        assert bench.stop() == 0
        assert file.read_text() == "awake\ncoldbrood stopped\n"
