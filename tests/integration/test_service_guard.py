"""Promise: one fault of our own ends neither the watch nor the keeping; a fault at every event does."""

import threading
from pathlib import Path

import pytest
from bench import Bench
from broker import Broker

from coldbrood import service as service_module
from coldbrood.guard import FAULTS_MOST, Guard
from coldbrood.service import Service
from coldbrood.watch.events import Reading
from coldbrood.watch.step import step


def test_one_poisoned_reading_is_kept_and_the_watch_goes_on(
    tmp_path: Path, broker: Broker, monkeypatch: pytest.MonkeyPatch
) -> None:
    def poisoned(site, state, event, now):  # type: ignore[no-untyped-def] # stands in for step
        if isinstance(event, Reading) and event.value == 19.0:
            raise RuntimeError("planted")
        return step(site, state, event, now)

    monkeypatch.setattr(service_module, "step", poisoned)
    with Bench(tmp_path, broker) as bench:
        watch = Service(bench.config)
        thread = threading.Thread(target=watch.run)
        thread.start()
        bench.wait_online()
        bench.send_c("box-a", 20.0, 19.0, 21.0)
        bench.publish_to("coldbrood/larch-lane/note", '{"kind": "text", "key": "last"}')
        bench.wait_for(lambda: len(bench.readings()) == 3, "all three to be kept")
        watch.stop()
        thread.join(20)
    assert [reading.value for reading in bench.readings()] == [20.0, 19.0, 21.0]
    assert watch._state.sight.boxes["a"].newest is not None
    assert watch._state.sight.boxes["a"].newest[1] == 21.0


def test_when_nothing_works_any_more_it_ends() -> None:
    def broken() -> None:
        raise RuntimeError("planted")

    guarded = Guard()
    for _ in range(FAULTS_MOST - 1):
        guarded(broken)
    guarded(lambda: None)
    for _ in range(FAULTS_MOST - 1):
        guarded(broken)
    with pytest.raises(RuntimeError, match="planted"):
        guarded(broken)
