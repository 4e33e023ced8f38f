"""Promise: `coldbrood batch` takes chicks by box or for the only box, refuses a slip by name before anything
is handed over, and lists each batch with the readings that fell into it.
"""

import json
import os
from collections.abc import Callable
from pathlib import Path

import pytest
from bench import CONFIG, NO_PAGE
from journal_records import open_journal, reading

from coldbrood.cli.batch import counts
from coldbrood.cli.main import main
from coldbrood.journal.rows import Batch
from coldbrood.notes import BadNote
from coldbrood.settings.load import load
from coldbrood.watch.events import Note

SECOND = """
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


@pytest.fixture
def write(tmp_path: Path) -> Callable[[str], Path]:
    """A config file with the bench's box, and what else is given."""

    def written(probes: str) -> Path:
        path = tmp_path / "coldbrood.toml"
        path.write_text(CONFIG.format(port=1, channels="", arrival="2026-04-10", probes=probes, page=NO_PAGE))
        return path

    return written


@pytest.mark.parametrize(
    ("probes", "words", "found"),
    [
        ("", ["15"], {"a": 15}),
        ("", ["a=0"], {"a": 0}),
        (SECOND, ["b=3", "a=150"], {"b": 3, "a": 150}),
        (SECOND, ["b=3"], {"b": 3}),
    ],
)
def test_chicks_by_box(
    probes: str, words: list[str], found: dict[str, int], write: Callable[[str], Path]
) -> None:
    assert counts(load(write(probes), {}).site, words) == found


@pytest.mark.parametrize(
    ("probes", "words", "said"),
    [
        (SECOND, ["15"], "box: missing: each once of a, b, as a=16 b=16"),
        (SECOND, ["z=3"], "box: z: each once of a, b"),
        (SECOND, ["a=3", "a=4"], "box: a: each once of a, b"),
        ("", ["15", "16"], "box: a: each once of a"),
        ("", ["a=many"], "chicks: many: a whole number, 0 to 150"),
        ("", ["a=151"], "chicks: 151: a whole number, 0 to 150"),
        ("", ["-1"], "chicks: -1: a whole number"),
        ("", ["a="], "chicks: : a whole number"),
        ("", ["3.5"], "chicks: 3.5: a whole number"),
    ],
)
def test_a_slip_is_named(probes: str, words: list[str], said: str, write: Callable[[str], Path]) -> None:
    with pytest.raises(BadNote) as refusal:
        counts(load(write(probes), {}).site, words)
    assert str(refusal.value).startswith(said)


@pytest.mark.parametrize(
    "words",
    [
        ["start", "a=3", "z=4"],
        ["start", "a=16", "--hatched", "2026-05-19", "--arrival", "2026-05-10"],
        ["start", "a=16", "--arrival", "2020-01-01"],
        ["count", "a=3", "b=999"],
    ],
)
def test_one_bad_word_hands_nothing_over(
    words: list[str], write: Callable[[str], Path], capsys: pytest.CaptureFixture[str]
) -> None:
    config = write(SECOND)
    assert main(["batch", words[0], "--config", str(config), *words[1:]]) == os.EX_DATAERR
    assert len(capsys.readouterr().err.splitlines()) == 1
    assert not (config.parent / "journal.db.notes").exists()


def test_without_a_daemon_each_count_waits_beside_the_journal(
    write: Callable[[str], Path], capsys: pytest.CaptureFixture[str]
) -> None:
    config = write(SECOND)
    assert main(["batch", "count", "--config", str(config), "a=15", "b=13"]) == os.EX_UNAVAILABLE
    assert "counts from its next start" in capsys.readouterr().err
    notes = [json.loads(path.read_text()) for path in (config.parent / "journal.db.notes").iterdir()]
    assert {(note["box"], note["count"]) for note in notes} == {("a", 15), ("b", 13)}
    assert all("at" in note for note in notes), "its time is that of the command, not of the next start"


def test_a_close_that_nobody_took_promises_nothing(
    write: Callable[[str], Path], capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["batch", "close", "--config", str(write(""))]) == os.EX_UNAVAILABLE
    assert "Wash and dry" not in capsys.readouterr().out


def test_a_folder_without_rights_is_told_in_one_line(
    write: Callable[[str], Path], capsys: pytest.CaptureFixture[str]
) -> None:
    config = write("")
    (config.parent / "journal.db.notes").write_text("a file in the way")
    assert main(["batch", "count", "--config", str(config), "15"]) == os.EX_NOPERM
    err = capsys.readouterr().err
    assert err.startswith("batch: ")
    assert err.endswith("run it as the daemon's user\n")


def test_the_list_parts_the_readings_by_batch_over_two_boxes(
    write: Callable[[str], Path], capsys: pytest.CaptureFixture[str]
) -> None:
    """Three readings before the close, one between that belongs to none, two after the start."""
    config = write(SECOND)
    journal = open_journal(config.parent / "journal.db")
    walls = [reading(minute).wall_s for minute in range(8)]

    def note(kind: str, minute: int, text: str = "") -> Note:
        return Note(f"{kind}-{minute}", kind, None, 60.0 * minute, walls[minute], text=text)  # type: ignore[arg-type] # by name

    start = "arrival=2026-05-20 kind=layer hatched=2026-05-19 chicks.a=9 chicks.b=8"
    journal.commit(
        Batch(
            taken=[
                *(reading(minute, "box-a") for minute in (0, 1, 2)),
                note("batch-close", 3),
                reading(4, "box-a"),
                note("batch-start", 5, start),
                reading(6, "box-a"),
                reading(7, "box-b"),
            ]
        )
    )
    journal.close()
    assert main(["batch", "list", "--config", str(config)]) == 0
    first, second = capsys.readouterr().out.splitlines()
    assert first.startswith("batch of 2026-04-10: day 0 2026-04-10, closed ")
    assert first.endswith("a 16, b 14; 3 readings")
    assert second == "batch of 2026-05-20: day 0 2026-05-19, open; a 9, b 8; 2 readings"
