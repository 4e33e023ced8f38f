"""Promise: of equal readings around a kill or a broken link each is kept, and none twice."""

import signal
from collections.abc import Iterator
from pathlib import Path

import pytest
from bench import Bench, senml
from broker import Broker

STEADY_C = 23.5


@pytest.fixture
def bench(tmp_path: Path, broker: Broker) -> Iterator[Bench]:
    with Bench(tmp_path, broker) as made:
        yield made


FIRST = senml(STEADY_C).replace("}", ', "t": -600}')  # ten minutes old, so that the next is no quick repeat


def kept(bench: Bench) -> list[float]:
    return [reading.value for reading in bench.readings()]


def test_a_kill_between_taking_and_keeping_loses_no_equal_reading(bench: Bench) -> None:
    """One is kept and acknowledged, one waits for its commit when the daemon dies, two come after."""
    bench.start()
    bench.publish("box-a", FIRST)
    bench.flush()
    bench.send_c("box-a", STEADY_C)
    bench.stop(signal.SIGKILL)
    bench.send_c("box-a", STEADY_C, STEADY_C)
    bench.start()
    bench.flush()
    bench.stop()
    assert kept(bench) == [STEADY_C] * 4


def test_a_broker_that_restarts_makes_no_reading_twice_and_loses_none(bench: Bench) -> None:
    """The daemon lives on: what it holds without a commit comes again, under its old number."""
    bench.start()
    bench.publish("box-a", FIRST)
    bench.flush()
    bench.send_c("box-a", STEADY_C)
    bench.broker.stop()
    bench.wait_for(lambda: "state=down" in bench.log_text(), "the lost broker to be said")
    bench.broker.start()
    bench.wait_for(lambda: bench.log_text().count("state=up") == 2, "the link to come back", 60.0)
    bench.send_c("box-a", STEADY_C + 0.0625)
    bench.flush()
    bench.stop()
    assert kept(bench) == [STEADY_C, STEADY_C, STEADY_C + 0.0625]
