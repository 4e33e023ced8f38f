"""Promise: killed at any point of keep, acknowledge, send, the daemon loses no reading and no alarm.

At most one message comes twice, and then its title says so.
"""

import signal
from collections.abc import Iterator
from pathlib import Path

import pytest
from bench import Bench
from broker import Broker

# A wrapper that kills the daemon at one named point, at its nth passing. Nothing of it is in the product.
WRAPPER = """
import os, signal, sys
from coldbrood import links, service
from coldbrood.deliver import worker
from coldbrood.journal import store
from coldbrood.cli.main import main

point, passing = {point!r}, {passing}
count = 0

def dying(whole, before):
    def call(*args, **kwargs):
        global count
        hot = point != "before-commit" or args[1].readings
        count += bool(hot)
        if hot and count >= passing and before:
            os.kill(os.getpid(), signal.SIGKILL)
        result = whole(*args, **kwargs)
        if hot and count >= passing:
            os.kill(os.getpid(), signal.SIGKILL)
        return result
    return call

def outcome(whole):
    def call(self, item):
        if type(item).__name__ == "SendDone":
            os.kill(os.getpid(), signal.SIGKILL)
        whole(self, item)
    return call

if point == "before-commit":
    store.Journal.commit = dying(store.Journal.commit, True)
elif point == "before-acknowledge":
    links.Links.acknowledge = dying(links.Links.acknowledge, True)
elif point == "after-acknowledge":
    links.Links.acknowledge = dying(links.Links.acknowledge, False)
elif point == "before-send":
    worker.Worker.submit = dying(worker.Worker.submit, True)
elif point == "after-send":
    service.Service.post = outcome(service.Service.post)
sys.exit(main(["run", *sys.argv[1:]]))
"""
CASES = [
    ("before-commit", 1),
    ("before-commit", 2),
    ("before-acknowledge", 1),
    ("before-acknowledge", 2),
    ("after-acknowledge", 1),
    ("after-acknowledge", 2),
    ("before-send", 1),
    ("after-send", 1),
]
HOT = (34.5, 34.75, 35.0)


@pytest.fixture
def bench(tmp_path: Path, broker: Broker) -> Iterator[Bench]:
    with Bench(tmp_path, broker) as made:
        yield made


@pytest.mark.parametrize(("point", "passing"), CASES)
def test_a_kill_at_a_named_point_loses_nothing(bench: Bench, point: str, passing: int) -> None:
    bench.start()
    bench.stop()
    bench.start(["-c", WRAPPER.format(point=point, passing=passing)])
    bench.send_c("box-a", *HOT)
    assert bench.daemon is not None
    assert bench.daemon.wait(90) == -signal.SIGKILL
    bench.start()
    bench.receivers["phone"].wait_for(1, 60.0)
    bench.flush()
    bench.stop()
    assert sorted(reading.value for reading in bench.readings()) == list(HOT)
    told = [title for title in bench.titles() if title.startswith("Too hot")]
    assert 1 <= len(told) <= 2
    assert all(title.endswith("(again?)") for title in told[1:])


def test_a_restart_with_nothing_new_tells_nothing_new(bench: Bench) -> None:
    bench.start()
    bench.send_c("box-a", *HOT)
    bench.receivers["phone"].wait_for(1)
    bench.flush()
    for _ in range(3):
        bench.stop(signal.SIGKILL)
        bench.start()
        bench.flush()
    bench.stop()
    assert len(bench.titles()) == 1
    assert sorted(reading.value for reading in bench.readings()) == list(HOT)


def test_an_alarm_that_becomes_true_while_down_is_told_once_after_the_start(bench: Bench) -> None:
    bench.start()
    bench.send_c("box-a", 30.0)
    bench.flush()
    bench.stop(signal.SIGKILL)
    bench.send_c("box-a", *HOT)
    bench.start()
    bench.receivers["phone"].wait_for(1, 60.0)
    bench.flush()
    bench.stop()
    assert len(bench.titles()) == 1
