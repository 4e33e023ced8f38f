"""Promise: a typed low is in the journal and in tonight's curve, and there after a kill; nonsense is not."""

import signal
from collections.abc import Iterator
from pathlib import Path

import pytest
from bench import Bench
from broker import Broker

from coldbrood.cli.run import stated_clock
from coldbrood.journal.reader import JournalReader
from coldbrood.peek import look
from coldbrood.watch.assess import outdoor_ahead

CLOCK = "1@2026-04-11T19:00:00+00:00"


@pytest.fixture
def bench(tmp_path: Path, broker: Broker) -> Iterator[Bench]:
    with Bench(tmp_path, broker, clock=CLOCK) as made:
        yield made


def lowest_c(bench: Bench) -> float:
    seen = look(bench.config, stated_clock(CLOCK))
    return float(outdoor_ahead(seen.site, seen.state.sight, seen.now).mean_c.min())


def typed(bench: Bench) -> list[str]:
    with JournalReader.open(bench.journal_path) as reader:
        return [note.text for note in reader.notes(float("-inf"), float("inf")) if note.kind == "low"]


def test_a_typed_low_goes_all_the_way_and_outlives_a_kill(bench: Bench) -> None:
    bench.start()
    bench.send_c("outdoor", 9.0)
    bench.send_c("box-a", 26.0)
    bench.flush()
    own_c = lowest_c(bench)
    bench.publish_to("coldbrood/larch-lane/note", '{"kind": "low", "text": "-4"}')
    bench.publish_to("coldbrood/larch-lane/note", '{"kind": "low", "text": "cold"}')
    bench.wait_for(lambda: typed(bench) == ["-4"], "the low to be in the journal")
    bench.wait_for(
        lambda: "low: cold: a number, -40 to 35 C" in bench.log_text(), "the nonsense to be refused"
    )
    assert lowest_c(bench) < own_c - 1.0
    assert bench.stop(signal.SIGKILL) != 0
    bench.start()
    bench.flush()
    assert typed(bench) == ["-4"]
    assert lowest_c(bench) < own_c - 1.0
