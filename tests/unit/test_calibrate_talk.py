"""Promise: calibrate writes a correction only after a yes, from raw values and not on top of the old one;
Ctrl-C at any question, a no, or a correction that cannot be leave the config as it was.
"""

import argparse
import os
import tomllib
from pathlib import Path
from typing import Any

import pytest
from bench import CHANNEL, CONFIG, NO_PAGE

from coldbrood.cli import calibrate
from coldbrood.probes.correction import NoCorrection
from coldbrood.settings.load import load
from coldbrood.setup.ask import Question, Written

ICE = [3.0, 0.5, 0.4375, 0.5, 0.5, 0.4375, 0.5]
BATH = [35.4375, 35.5, 35.5, 35.4375, 35.5, 35.5]
BOILING = [100.1875, 100.25, 100.25, 100.1875, 100.25, 100.25]
THERMOMETER = {"second": "thermometer", "shown": "35.0", "sure": "0.2"}
BOIL = {"second": "boil", "height": "0 m"}


class Cup:
    """A probe that reads the given values, one a call, and knows whether it was let go."""

    def __init__(self, *celsius: float, fault: str = "") -> None:
        self._left, self._fault = list(celsius), fault
        self.closed = False

    def open(self) -> str:
        return self._fault

    def close(self) -> None:
        self.closed = True

    def next_c(self, limit_s: float) -> list[float]:
        return [self._left.pop(0)] if self._left else []


class Keeper(Written):
    """Answers by key; stops at the question of a given number, as Ctrl-C does."""

    attended = True

    def __init__(self, answers: dict[str, str], stop_at: int = 0) -> None:
        super().__init__(answers, 78)
        self.keys: list[str] = []
        self.lines: list[str] = []
        self._stop_at = stop_at

    def ask(self, question: Question[Any]) -> Any:
        self.keys.append(question.key)
        if len(self.keys) == self._stop_at:
            raise KeyboardInterrupt
        return super().ask(question)

    def say(self, *lines: str) -> None:
        self.lines += lines


@pytest.fixture
def config(tmp_path: Path) -> Path:
    """A site whose box probe has been corrected before."""
    text = CONFIG.format(
        port=1,
        channels=CHANNEL.format(name="phone"),
        arrival="2026-04-10",
        probes="",
        page=NO_PAGE,
    )
    (tmp_path / "phone-url").touch(mode=0o600)
    (tmp_path / "phone-url").write_text("json://127.0.0.1:9/\n")
    path = tmp_path / "coldbrood.toml"
    path.write_text(text.replace('box = "a"\n', 'box = "a"\noffset_c = 1.25 # of last year\n', 1))
    return path


def compare(
    config: Path, monkeypatch: pytest.MonkeyPatch, cup: Cup, keeper: Keeper, minutes: float = 1.0
) -> int:
    monkeypatch.setattr(calibrate, "source_of", lambda *_: cup)
    args = argparse.Namespace(probe="box-a", config=config, minutes=minutes)
    return calibrate._calibrate(args, load(config, {}), keeper)


def probe(config: Path) -> dict[str, Any]:
    row = tomllib.loads(config.read_text())["probe"][0]
    assert isinstance(row, dict)
    return row


def test_one_point_replaces_the_old_offset_and_is_not_added_to_it(
    config: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """C: it read 0.479 in the mean at 0.00 C, raw; 1.25 of before is gone."""
    cup, keeper = Cup(*ICE), Keeper({})
    assert compare(config, monkeypatch, cup, keeper) == 0
    assert probe(config)["offset_c"] == pytest.approx(-sum(ICE[1:]) / 6, abs=0.001)
    assert "gain" not in probe(config)
    assert "So far: offset +1.250 C, gain 1.0000." in keeper.lines
    assert "# of last year" in config.read_text()
    assert cup.closed
    (note,) = (config.parent / "journal.db.notes").iterdir()
    assert "was +1.250 C 1.0000" in note.read_text()


def test_a_thermometer_gives_the_slope_too(config: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """C: from means 0.479 at 0 and 35.479 at 35: gain 35 / 35.0 = 1."""
    keeper = Keeper(THERMOMETER)
    assert compare(config, monkeypatch, Cup(*ICE, *BATH), keeper) == 0
    assert probe(config)["offset_c"] == pytest.approx(-0.479, abs=0.001)
    assert keeper.keys == ["ready_ice", "second", "ready_bath", "shown", "sure", "write"]


def test_boiling_water_at_the_sea_with_its_cautions(config: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """At 101,325 Pa water boils at 99.97 C: IAPWS-IF97, as in tests/reference/test_correction_sums.py."""
    keeper = Keeper(BOIL)
    assert compare(config, monkeypatch, Cup(*ICE, *BOILING), keeper) == 0
    assert "There it boils at 99.97 C." in keeper.lines
    assert keeper.keys == ["ready_ice", "second", "height", "ready_boil", "write"]
    assert "SCALDS AT ONCE" in calibrate.BOIL_WHY


@pytest.mark.parametrize(("second", "values"), [({}, ()), (THERMOMETER, BATH), (BOIL, BOILING)])
def test_ctrl_c_at_any_question_lets_the_probe_go_and_changes_no_byte(
    second: dict[str, str], values: tuple[float, ...], config: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = config.read_bytes()
    asked = 0
    while True:
        asked += 1
        cup = Cup(*ICE, *values)
        try:
            code = compare(config, monkeypatch, cup, Keeper(second, stop_at=asked))
        except KeyboardInterrupt:
            assert config.read_bytes() == before
            assert cup.closed
            assert not (config.parent / "journal.db.notes").exists()
            continue
        break
    assert code == 0
    assert asked > 3


def test_a_no_writes_nothing(config: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    before = config.read_bytes()
    keeper = Keeper({"write": "no"})
    assert compare(config, monkeypatch, Cup(*ICE), keeper) == 1
    assert keeper.lines[-1] == "Nothing was written."
    assert config.read_bytes() == before


@pytest.mark.parametrize(
    ("cup", "answers", "said"),
    [
        (Cup(*[9.0] * 6), {}, "reads 9.0 C at 0.0 C: too far off"),
        (Cup(*ICE, *ICE[1:]), {**THERMOMETER, "shown": "10"}, "reads 0.5 C at 10.0 C: too far off"),
        (Cup(1.0, 2.0), {}, "2 readings came, the last 2.00 C"),
        (Cup(), {}, "none came"),
    ],
)
def test_what_gives_no_correction_is_told_and_changes_nothing(
    cup: Cup, answers: dict[str, str], said: str, config: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = config.read_bytes()
    with pytest.raises(NoCorrection, match=said):
        compare(config, monkeypatch, cup, Keeper(answers), minutes=0.001)
    assert config.read_bytes() == before
    assert cup.closed


def test_each_error_has_its_exit_code_and_one_line(
    config: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def ended(cup: Cup, *faults: BaseException) -> tuple[int, str]:
        def asker() -> Keeper:
            for fault in faults:
                raise fault
            return Keeper({})

        monkeypatch.setattr(calibrate, "source_of", lambda *_: cup)
        monkeypatch.setattr(calibrate, "Person", asker)
        args = argparse.Namespace(probe="box-a", config=config, minutes=0.001)
        return calibrate.run(args), "".join(capsys.readouterr())

    assert ended(Cup(fault="no such sensor")) == (
        os.EX_UNAVAILABLE,
        "probe box-a cannot be heard: no such sensor\n",
    )
    code, said = ended(Cup(*[9.0] * 6))
    assert (code, said.startswith("no correction: ")) == (os.EX_DATAERR, True)
    assert ended(Cup(), KeyboardInterrupt()) == (130, "\nStopped. Nothing was written.\n")
    denied = PermissionError(13, "Permission denied", str(config))
    assert ended(Cup(), denied) == (
        os.EX_NOPERM,
        f"calibrate: {config}: Permission denied: run it as root\n",
    )
