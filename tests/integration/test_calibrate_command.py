"""Promise: calibrate leads through ice water in a real terminal beside the running daemon, says how sure it
is, and corrects from the next start on: what was kept before stays, raw values too, and the journal tells.
"""

import json
import os
import tomllib
from datetime import UTC, datetime
from pathlib import Path

import pytest
from bench import Bench
from broker import Broker
from terminal import Terminal

from coldbrood.cli import calibrate
from coldbrood.cli.calibrate_source import Wire, source_of
from coldbrood.cli.main import main
from coldbrood.clock import up_s
from coldbrood.journal.reader import JournalReader
from coldbrood.probes.correction import NoCorrection
from coldbrood.setup.ask import BadAnswer
from coldbrood.watch.events import History, Reading
from coldbrood.watch.site import ProbeSpec

W1 = Path(__file__).parents[2] / "fixtures" / "w1"
EVER = (float("-inf"), float("inf"))


@pytest.fixture
def bench(tmp_path: Path, broker: Broker) -> Bench:
    clock = f"60@{datetime.now(UTC).isoformat()}@{up_s()}"  # a beat takes a quarter of a second
    return Bench(tmp_path, broker, clock=clock)


def history(bench: Bench, kind: str) -> list[History]:
    with JournalReader.open(bench.journal_path) as reader:
        return [line.line for line in reader.history(*EVER, kind)]


def feed(bench: Bench, terminal: Terminal, *celsius: float) -> None:
    """One reading after the other, each seen on the screen before the next is sent."""
    for value in celsius:
        bench.send_c("box-a", value)
        terminal.wait_for(f"{value:.3f} C")


def test_ice_water_and_a_thermometer_beside_the_running_daemon(bench: Bench) -> None:
    config = ["--config", str(bench.config_path)]
    with bench:
        bench.start()
        bench.send_c("box-a", 24.0)
        bench.flush()
        terminal = Terminal("calibrate", "box-a", *config)
        terminal.wait_for("set aside until this is over")
        terminal.answer("ready [yes]: ")
        feed(bench, terminal, 3.0, 0.8, 0.3125, 0.375, 0.3125, 0.3125, 0.25)
        assert "thermometer" not in terminal.screen
        feed(bench, terminal, 0.3125)
        terminal.answer("thermometer, boil or none [none]: ", "thermometer")
        terminal.answer("ready [yes]: ")
        feed(bench, terminal, 34.9375, 35.0, 35.0, 34.9375, 35.0, 35.0)
        terminal.answer("the thermometer shows, C: ", "34.5")
        terminal.answer("it may be off by, C [0.5]: ", "0.2")
        terminal.answer("write this into the config file [yes]: ")
        assert terminal.end() == 0, terminal.screen
        assert terminal.too_wide(bench.folder) == []
        said = " ".join(terminal.screen.split())
        for told in (
            "At 0.00 C it read 0.312 C: 6 readings, spread 0.125 C.",
            "At 34.50 C it read 34.979 C: 6 readings, spread 0.062 C.",
            "Correction: offset -0.311 C, gain 0.9952.",
            "Sure to +-0.24 C at 34 C, to +-0.21 C at 30 C",
            "BOILING WATER AND STEAM SCALD AT ONCE",
        ):
            assert told in said, (told, said)
        kept = tomllib.loads(bench.config_path.read_text())["probe"][0]
        assert (kept["offset_c"], kept["gain"]) == (-0.311, 0.99519)
        assert [line.state for line in history(bench, "probe")] == ["aside", "in-use"]
        before = bench.readings()
        assert {reading.raw for reading in before} >= {24.0, 0.3125, 35.0}
        assert all(reading.raw == reading.value for reading in before)
        assert bench.stop() == 0
        nothing_of_the_past_changed(bench, before)


def nothing_of_the_past_changed(bench: Bench, before: list[Reading]) -> None:
    """After the next start."""
    bench.start()
    bench.send_c("box-a", 25.0)
    bench.flush()
    after = bench.readings()
    assert after[: len(before)] == before
    new = after[len(before) :]
    assert [(reading.raw, round(reading.value, 3)) for reading in new] == [(25.0, 24.569)]
    (changed,) = history(bench, "calibration")
    assert (changed.subject, changed.state) == ("box-a", "changed")
    assert changed.detail == "was offset +0.000 C gain 1.0000, is offset -0.311 C gain 0.9952"
    with JournalReader.open(bench.journal_path) as reader:
        texts = [note.text for note in reader.notes(*EVER) if note.kind == "text"]
    assert any(
        "box-a compared (0.00 C: mean 0.312 of 6; 34.50 C: mean 34.979 of 6)" in text for text in texts
    )
    assert bench.stop() == 0
    bench.start()
    assert len(history(bench, "calibration")) == 1, "said once, not at each start"
    assert bench.stop() == 0


def test_ctrl_c_in_the_ice_gives_the_probe_back_and_changes_nothing(bench: Bench) -> None:
    with bench:
        text = bench.config_path.read_text()
        bench.start()
        terminal = Terminal("calibrate", "box-a", "--config", str(bench.config_path))
        terminal.answer("ready [yes]: ")
        bench.send_c("box-a", 3.0)
        terminal.interrupt("3.000 C")
        assert terminal.end() == 130
        assert bench.config_path.read_text() == text
        bench.wait_for(
            lambda: [line.state for line in history(bench, "probe")] == ["aside", "in-use"], "give back"
        )


def test_without_a_daemon_and_with_what_cannot_be(bench: Bench, capsys: pytest.CaptureFixture[str]) -> None:
    with bench:
        config = ["--config", str(bench.config_path)]
        assert main(["calibrate", "nobody", *config]) == os.EX_DATAERR
        assert "probe: nobody: one of box-a, outdoor" in capsys.readouterr().err
        terminal = Terminal("calibrate", "box-a", "--minutes", "0.01", *config)
        terminal.answer("ready [yes]: ")
        assert terminal.end() == os.EX_DATAERR
        assert "it did not come to rest: none came" in " ".join(terminal.screen.split())
        assert not (bench.folder / "journal.db.notes").exists(), "no daemon, so nothing to set aside"
        bench.broker.stop()
        assert main(["calibrate", "box-a", *config]) == os.EX_UNAVAILABLE
        assert "probe box-a cannot be heard: nothing answers" in capsys.readouterr().err
        bench.broker.start()


def test_old_values_of_a_bundle_and_impossible_ones_are_left_out(bench: Bench) -> None:
    with bench:
        source = source_of(bench.config, bench.config.site.probes["box-a"])
        assert source.open() == ""
        try:
            old = [{"n": "t", "u": "Cel", "v": 20.0, "t": -600}, {"n": "t", "u": "Cel", "v": 0.25}]
            bench.publish("box-a", json.dumps(old))
            bench.send_c("box-a", 85.0)
            bench.send_c("box-a", -127.0)
            bench.publish("box-a", "no reading at all")
            bench.send_c("box-a", 0.5)
            found: list[float] = []
            while found[-1:] != [0.5]:
                found += source.next_c(20.0)
            assert found == [0.25, 0.5]
        finally:
            source.close()


def test_a_sensor_on_a_wire(tmp_path: Path) -> None:
    sensor = tmp_path / "28-0316a2795bff"
    spec = ProbeSpec("wire", "box", "a", "onewire", 10.0, sensor_id=sensor.name)
    wire = Wire(spec, 0.01, tmp_path)
    assert "not on the wire" in wire.open()
    sensor.mkdir()
    (sensor / "w1_slave").write_text((W1 / "good_20_3125.txt").read_text())
    assert wire.open() == ""
    assert [wire.next_c(1.0), wire.next_c(1.0)] == [[20.3125], [20.3125]]
    wire.close()


@pytest.mark.parametrize(("text", "pascal"), [("0 m", 101325.0), ("985 hPa", 98500.0), ("1000", 89874.56)])
def test_a_height_or_a_barometer(text: str, pascal: float) -> None:
    assert calibrate._pressure(text)[0] == pytest.approx(pascal, abs=0.01)


@pytest.mark.parametrize("text", ["high", "9000 m", "2 hPa"])
def test_no_height_and_no_barometer(text: str) -> None:
    with pytest.raises(BadAnswer):
        calibrate._pressure(text)


def test_a_point_never_reached_says_what_came() -> None:
    class Cooling:
        def __init__(self) -> None:
            self.at_c = 20.0

        def open(self) -> str:
            return ""

        def close(self) -> None:
            """Nothing."""

        def next_c(self, limit_s: float) -> list[float]:
            self.at_c -= 1.0
            return [self.at_c]

    class Quiet:
        asked = 0
        attended = True

        def ask(self, question: object) -> object:
            raise AssertionError("nothing is asked here")

        def say(self, *lines: str) -> None:
            """Keep quiet."""

    with pytest.raises(NoCorrection, match=r"did not come to rest: \d+ readings came"):
        calibrate._steady(Quiet(), Cooling(), 0.05)  # type: ignore[arg-type] # asks nothing, so needs no generic
