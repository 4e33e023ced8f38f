"""Promise: with the real daemon, broker and journal, two batches told by `coldbrood batch` follow each other:
the second starts with the learned box, survives a kill, and the journal keeps both apart.
"""

import json
import os
import signal
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from bench import Bench
from broker import Broker

from coldbrood import keep
from coldbrood.brooder.bank import draw
from coldbrood.cli.main import main
from coldbrood.cli.run import stated_clock
from coldbrood.clock import up_s
from coldbrood.journal.reader import JournalReader
from coldbrood.peek import peek
from coldbrood.watch.batches import spans
from coldbrood.watch.sight import Sight

SECOND_BOX = """
[[box]]
name = "b"
chicks = 14
length_m = 0.60
width_m = 0.45
height_m = 0.35
insulation_mm = 40
jug_litres = 3.8
[[probe]]
name = "box-b"
role = "box"
box = "b"
"""
SCALE = 60


def bundle(celsius: list[float]) -> str:
    """One reading each five minutes up to now, as a probe that slept sends them; 64 at most are taken."""
    last = len(celsius) - 1
    return json.dumps(
        [{"n": "t", "u": "Cel", "v": value, "t": -300 * (last - n)} for n, value in enumerate(celsius)]
    )


def send_hours(bench: Bench, hours: float, from_c: float) -> None:
    """A box that cools towards 5 C, the same for each box, ending now."""
    n = round(hours * 12)
    bench.publish("outdoor", bundle([5.0 + 0.1 * (k % 3) for k in range(n)]))
    curve = [5.0 + (from_c - 5.0) * 0.990**k for k in range(n)]
    for probe in ("box-a", "box-b"):
        bench.publish(probe, bundle([round(value, 2) for value in curve]))


def send_now(bench: Bench, celsius: float) -> None:
    """One reading of each probe."""
    for probe in ("box-a", "box-b", "outdoor"):
        bench.send_c(probe, celsius if probe != "outdoor" else 5.0 + celsius / 100.0)


def kept_sight(bench: Bench) -> Sight:
    with JournalReader.open(bench.journal_path) as reader:
        restored = reader.restore()
        site = bench.config.site
        state = keep.revive(site, restored, reader.since(keep.first_seq(restored)), restored.last_t_s or 0.0)
    return state.sight


@pytest.fixture
def bench(tmp_path: Path, new_broker: Callable[..., Broker]) -> Bench:
    begin = datetime.now(UTC) - timedelta(hours=1)  # near now, as the commands take their day from the clock
    arrival = (begin - timedelta(days=20)).date().isoformat()
    clock = f"{SCALE}@{begin.isoformat()}@{up_s()}"  # a restart goes on in the same time
    return Bench(tmp_path, new_broker(), arrival=arrival, probes=SECOND_BOX, clock=clock)


def test_two_batches_through_the_real_daemon(bench: Bench, capsys: pytest.CaptureFixture[str]) -> None:
    today = datetime.now(UTC).date()
    config = ["--config", str(bench.config_path)]

    def batch(*words: str) -> tuple[int, str]:
        code = main(["batch", words[0], *config, *words[1:]])
        return code, "".join(capsys.readouterr())

    with bench:
        bench.start()
        send_hours(bench, 5.0, 30.0)
        bench.flush()
        assert batch("start", "a=16") == (
            65,
            f"not done: the batch of {bench.config.site.batch.arrival} is open: close it first\n",
        )
        assert batch("count", "a=15", "b=13") == (0, "box a: 15 chicks\nbox b: 13 chicks\n")
        code, said = batch("close")
        assert code == 0, said
        assert "box a: jug " in said
        assert "coldbrood export" in said
        learned = kept_sight(bench).resting["a"].estimate.bank
        titles = len(bench.titles())
        send_now(bench, 21.0)  # a box open in the shed: nobody is woken, nothing is learned
        bench.flush()

        code, said = batch("start", "a=18", "--hatched", (today - timedelta(days=1)).isoformat())
        assert (code, f"batch of {today} started" in said) == (0, True), said
        begun = kept_sight(bench)
        assert (list(begun.boxes), list(begun.resting)) == (["a"], ["b"])
        assert begun.boxes["a"].chicks == 18
        since = bench.titles()[titles:]
        assert [
            title for title in since if not title.startswith("Too weak for tonight")
        ] == []  # said at dusk
        second_starts_from_the_learned_box(bench, begun, learned.theta)

        bench.stop(signal.SIGKILL)
        bench.start()
        for celsius in (24.0, 23.9, 23.8):
            send_now(bench, celsius)
        bench.flush()
        bench.wait_for(lambda: status(bench)["a"]["chicks"] == 18, "the second batch to go on")
        assert list(status(bench)) == ["a"]
        assert bench.stop() == 0
        code, said = batch("close")
        assert code == 69
        assert "daemon does not run" in said.replace("\n", " ")
        both_are_apart(bench, said=batch("list")[1])


def second_starts_from_the_learned_box(
    bench: Bench, begun: Sight, theta: "np.ndarray[tuple[int, ...], np.dtype[np.float64]]"
) -> None:
    paper = draw(bench.config.site.boxes["a"], begun.boxes["a"].estimate.bank.seed).theta
    now = begun.boxes["a"].estimate.bank.theta
    assert begun.boxes["a"].estimate.first_s is None
    off_paper = abs(theta[1].mean() - paper[1].mean())
    assert off_paper > 0.1, "the readings taught nothing: this test would prove nothing"
    assert abs(now[1].mean() - theta[1].mean()) < 0.5 * off_paper
    assert now[1].std() < paper[1].std()


def status(bench: Bench) -> dict[str, dict[str, object]]:
    clock = stated_clock(str(bench.clock))
    return {str(box["box"]): dict(box) for box in peek(bench.config, clock).boxes}


def both_are_apart(bench: Bench, said: str) -> None:
    site = bench.config.site
    with JournalReader.open(bench.journal_path) as reader:
        first, second = spans(site, reader.notes(float("-inf"), float("inf")))
        lines = [line.line.state for line in reader.history(float("-inf"), float("inf"), "batch")]
        assert first.to_wall_s is not None
        assert second.from_wall_s is not None
        assert first.to_wall_s < second.from_wall_s
        counts = [
            reader.count(float("-inf"), first.to_wall_s),
            reader.count(second.from_wall_s, float("inf")),
        ]
    assert lines == ["not-done", "closed", "started"]
    assert counts[0] == 3 * 60
    assert counts[1] == 3 * 3
    assert [f"{n} readings" in said for n in counts] == [True, True], said
    assert f"batch of {second.batch.arrival}: day 0 {second.batch.day0}, open; a 18" in said
    assert os.listdir(bench.folder / "journal.db.notes") != []  # the close waits for the next start
