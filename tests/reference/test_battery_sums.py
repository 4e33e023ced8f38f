"""The battery sums give the figures of the sheet they are from; a stated cell lasts 90 days at 5 minutes."""

import dataclasses
import re
from pathlib import Path

import pytest

from coldbrood.cli.main import main
from coldbrood.probes.battery import CELLS, Cell, Habit, days, mean_ma, radio_share

GUIDE = Path(__file__).parents[2] / "deploy" / "guide.md"

# standards.md section 7 [C]: sleep uA, wake s, wake mA, T, mAh, share; I_avg mA, days at 100 %, days usable.
ROWS = [
    (10, 2, 80, 300, 2000, 0.80, 0.547, 152, 122),
    (50, 4, 120, 300, 2000, 0.80, 1.653, 50, 40),
    (30, 3, 100, 300, 2600, 0.85, 1.033, 105, 89),
    (30, 10, 100, 300, 2600, 0.85, 3.366, 32, 27),
    (30, 3, 100, 900, 2600, 0.85, 0.3645, 297, 253),
    (30, 3, 100, 60, 2600, 0.85, 5.047, 21, 18),
]


@pytest.mark.parametrize("row", ROWS)
def test_the_rows_of_the_sheet(row: tuple[float, ...]) -> None:
    """Three decimals and whole days there, so half a unit. It prints 0.365 where its formula gives 0.3645."""
    sleep_ua, wake_s, wake_ma, span_s, mah, share, wanted_ma, whole, usable = row
    habit = Habit(span_s, wake_s, wake_ma, sleep_ua)
    assert mean_ma(habit) == pytest.approx(wanted_ma, abs=0.00051)
    assert days(Cell(mah, 1.0, 0, 0, ""), habit) == pytest.approx(whole, abs=0.51)
    assert days(Cell(mah, share, 0, 0, ""), habit) == pytest.approx(usable, abs=0.51)


def test_check_value_14_and_the_shares_of_case_c() -> None:
    """standards.md section 12 no. 14: 1.0334 mA, 89.1 days within 0.1 %; radio 96.8 %."""
    assert mean_ma(Habit()) == pytest.approx(1.0334, rel=0.001)
    assert days(CELLS["li-18650"], Habit()) == pytest.approx(89.1, rel=0.001)
    assert radio_share(Habit()) == pytest.approx(0.968, abs=0.0005)


def test_a_stated_cell_lasts_ninety_days_at_five_minutes() -> None:
    assert Habit().interval_s == 300
    assert days(CELLS["li-2x18650"], Habit()) >= 90
    good_board = Habit(wake_s=2, wake_ma=80, sleep_ua=10)
    assert days(CELLS["nimh-2aa"], good_board) >= 90
    assert days(CELLS["li-18650"], Habit()) < 90, "one cell with a middling board does not, and we say so"


def test_the_guide_names_that_cell_with_the_days_that_the_command_prints(
    capsys: pytest.CaptureFixture[str],
) -> None:
    said = re.search(
        r"At a reading each five minutes .*?`(\S+)`, (\d+) mAh.*?(\d+) days.*?one gives (\d+),",
        GUIDE.read_text("utf-8"),
        re.DOTALL,
    )
    assert said is not None
    cell, mah, many, one = said.groups()
    assert main(["probe", "battery"]) == 0
    rows = {line.split(",")[0]: line for line in capsys.readouterr().out.splitlines()}
    at_five_min = {name: rows[name].split()[-6] for name in (cell, "li-18650")}
    assert at_five_min == {cell: many, "li-18650": one}
    assert f" {mah} mAh " in rows[cell]
    assert int(many) >= 90, "the bar"


def test_each_sensor_adds_its_conversion_and_longer_sleep_always_helps() -> None:
    one, four = Habit(), Habit(sensors=4)
    assert mean_ma(four) - mean_ma(one) == pytest.approx(3 * 1.5 * 0.75 / 300)
    spans = [
        days(CELLS["li-18650"], dataclasses.replace(one, interval_s=s)) for s in (10, 60, 300, 3600, 86_400)
    ]
    assert spans == sorted(spans)
    ceiling = CELLS["li-18650"].capacity_mah * 0.85 / (0.030 * 24)
    assert spans[-1] < ceiling


@pytest.mark.parametrize("wake_s", [0, -1, 300, 301])
def test_awake_for_longer_than_the_interval_is_refused(wake_s: float) -> None:
    with pytest.raises(ValueError, match="wake_s: "):
        mean_ma(Habit(wake_s=wake_s))


def test_the_command_prints_the_sums_with_their_formula(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["probe", "battery"]) == 0
    said = capsys.readouterr().out
    (line,) = (line for line in said.splitlines() if line.startswith("li-18650"))
    assert line.split()[-8:] == ["18", "days", "89", "days", "173", "days", "253", "days"]
    assert "I_sleep (T - t_wake) / T" in said
    assert "DS18B20" in said
    assert max(len(line) for line in said.splitlines()) <= 100
    own = ["--wake-s", "2", "--wake-ma", "80", "--sleep-ua", "10", "--mah", "2000", "--interval-s", "300"]
    assert main(["probe", "battery", *own]) == 0
    assert "122 days" in capsys.readouterr().out


def test_the_command_refuses_what_cannot_be(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["probe", "battery", "--wake-s", "90"]) == 65
    assert "wake_s: 90: above 0 and under the interval, 60 s" in capsys.readouterr().err
    with pytest.raises(SystemExit):
        main(["probe", "battery", "--sleep-ua", "-3"])
