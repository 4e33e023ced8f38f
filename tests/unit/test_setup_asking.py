"""Promise: setup takes no bad answer from a person or a file, tells what is allowed within 80 columns, shows
no secret, and where it cannot write, every file is as it was.
"""

import os
from collections.abc import Callable, Iterable
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from coldbrood.cli.main import main
from coldbrood.settings.load import load
from coldbrood.settings.records import ConfigProblems
from coldbrood.setup import flow, read, save
from coldbrood.setup.ask import KEEP, Person, Question, SetupFault, Written
from coldbrood.setup.document import difference

ANSWERS = {
    "site": "larch-lane",
    "time_zone": "Etc/UTC",
    "place": "50, 0",
    "broker": "none",
    "boxes": "a",
    "chicks_a": "16",
    "inside_a": "75 x 55 x 40",
    "insulation_a": "50 eps",
    "jugs_a": "2 x 3.8",
    "arrival": "2026-04-11",
    "coldest_c": "5",
    "probe_a": "28-0316a2795cff",
    "probe_outdoor": "28-0316a2795caa",
    "phone_url": "none",
}
BAD = {
    "site": "a/b",
    "time_zone": "Mars/Base",
    "place": "north",
    "bedtime": "25:00",
    "rising": "soon",
    "broker": "host:99999",
    "boxes": "a a",
    "chicks_a": "-1",
    "inside_a": "75",
    "insulation_a": "30 straw",
    "jugs_a": "none",
    "fill_c_a": "100",
    "wrapped_a": "perhaps",
    "arrival": "11.4.2026",
    "hatched": "yesterday",
    "coldest_c": "99",
    "probe_a": "a probe",
    "probe_outdoor": "28-0316a2795cff",
    "write": "maybe",
}


@pytest.fixture
def board(tmp_path: Path) -> flow.Board:
    """A board with two sensors on its wires."""
    for name in ("28-0316a2795cff", "28-0316a2795caa"):
        (tmp_path / "wires" / name).mkdir(parents=True)
    return flow.Board({}, date(2026, 4, 11), wires=tmp_path / "wires", etc=tmp_path / "none")


@pytest.fixture
def config(tmp_path: Path) -> Path:
    """A place for the file, with nothing in it."""
    (tmp_path / "site").mkdir()
    return tmp_path / "site" / "coldbrood.toml"


@pytest.fixture
def types(monkeypatch: pytest.MonkeyPatch) -> Callable[[Iterable[str]], list[str]]:
    """What the keeper types, line by line, then the end of the input; gives the prompts that were shown."""

    def typed(lines: Iterable[str]) -> list[str]:
        left, prompts = iter(lines), list[str]()

        def line(prompt: str = "") -> str:
            prompts.append(prompt)
            for text in left:
                return text
            raise EOFError

        monkeypatch.setattr("builtins.input", line)
        monkeypatch.setattr("getpass.getpass", line)
        return prompts

    return typed


def snapshot(folder: Path) -> dict[str, tuple[int, bytes]]:
    return {
        str(path.relative_to(folder)): (path.stat().st_mode, path.read_bytes())
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


NUMBER = Question("n", "how many", "Some words on why. " * 12, read.number(1, 9, "C"))


def test_a_person_is_asked_until_the_answer_can_be_taken(
    types: Callable[[Iterable[str]], list[str]], capsys: pytest.CaptureFixture[str]
) -> None:
    prompts = types(["", "ten", "10", " 3,5 "])
    person = Person()
    assert person.ask(NUMBER) == 3.5
    assert person.asked == 4
    assert prompts == ["> how many: "] * 4
    said = capsys.readouterr().out
    assert said.count("That does not do: 1 to 9 C") == 2
    assert said.count("it has no default") == 1
    assert said.count("Some words on why.") == 12, "why is told once, not at each try"
    assert max(map(len, said.splitlines())) <= 80


def test_enter_takes_the_default_and_the_end_of_the_input_is_ctrl_c(
    types: Callable[[Iterable[str]], list[str]],
) -> None:
    prompts = types([""])
    person = Person()
    assert person.ask(Question("n", "how many", "", read.number(1, 9, "C"), "7")) == 7.0
    assert prompts == ["> how many [7]: "]
    with pytest.raises(KeyboardInterrupt):
        person.ask(NUMBER)


def test_a_bad_secret_is_refused_without_showing_it(capsys: pytest.CaptureFixture[str]) -> None:
    secret = Question("n", "a secret", "", read.number(1, 9, "C"), secret=True)
    with pytest.raises(SetupFault) as fault:
        Written({"n": "my pass phrase"}, 78).ask(secret)
    assert str(fault.value) == "answers: n: ***: 1 to 9 C"
    assert capsys.readouterr().out == ""


class Stubborn(Person):
    """A keeper who gives a bad answer first, at every question for which there is one."""

    def __init__(self, answers: dict[str, str]) -> None:
        super().__init__()
        self.told: list[str] = []
        self.key = ""
        self._answers = answers
        self._bad = dict(BAD)

    def ask(self, question: Question[Any]) -> Any:
        self.key = question.key
        return super().ask(question)

    def _line(self, question: Question[Any]) -> str:
        return self._bad.pop(question.key, self._answers.get(question.key, ""))

    def say(self, *lines: str) -> None:
        self.told += lines


def test_a_bad_answer_at_each_question_is_told_and_asked_again(config: Path, board: flow.Board) -> None:
    keeper = Stubborn(ANSWERS)
    assert flow.run(config, keeper, board)
    refusals = [line for line in keeper.told if line.startswith("That does not do: ")]
    assert len(refusals) == len(BAD)
    assert max(len(line.replace(str(config), "/c")) for line in keeper.told) <= 80
    made = load(config, {})
    assert made.site.boxes["a"].jugs == 2
    assert (made.site.keeper.bedtime_s, made.broker) == (22 * 3600, None)


@pytest.mark.parametrize("key", sorted(BAD))
def test_a_bad_answer_in_a_file_ends_it_with_nothing_written(
    key: str, config: Path, board: flow.Board
) -> None:
    with pytest.raises(SetupFault) as fault:
        flow.run(config, Written({**ANSWERS, key: BAD[key]}, 78), board)
    assert str(fault.value).startswith(f"answers: {key}: {BAD[key]}: ")
    assert fault.value.code == os.EX_CONFIG
    assert list(config.parent.iterdir()) == []


def test_no_at_the_end_writes_nothing(config: Path, board: flow.Board) -> None:
    assert not flow.run(config, Written({**ANSWERS, "write": "no"}, 78), board)
    assert list(config.parent.iterdir()) == []


def test_two_boxes_the_second_like_the_first_or_of_its_own(config: Path, board: flow.Board) -> None:
    second = {"boxes": "a b", "chicks_b": "12", "probe_b": "box-b", "probe_outdoor": "none"}
    broker = {"broker": "127.0.0.1:1", "broker_user": "none"}
    assert flow.run(config, Written({**ANSWERS, **second, **broker}, 78), board)
    boxes = load(config, {}).site.boxes
    assert (boxes["b"].length_m, boxes["b"].jug_litres, boxes["b"].jugs) == (0.75, 3.8, 2)
    assert load(config, {}).site.batch.chicks == {"a": 16, "b": 12}
    config.unlink()
    own = {"alike_b": "no", "inside_b": "60 x 45 x 35", "insulation_b": "30 wool", "jugs_b": "5"}
    assert flow.run(config, Written({**ANSWERS, **second, **broker, **own}, 78), board)
    boxes = load(config, {}).site.boxes
    assert (boxes["b"].length_m, boxes["b"].jug_litres, boxes["b"].jugs) == (0.6, 5.0, 1)
    assert boxes["a"].length_m == 0.75


def test_a_second_run_of_the_command_changes_no_byte_and_touches_no_file(
    config: Path, board: flow.Board, capsys: pytest.CaptureFixture[str]
) -> None:
    assert flow.run(config, Written(ANSWERS, 78), board)
    before, at = snapshot(config.parent), config.stat().st_mtime_ns
    again = config.parent.parent / "answers.toml"
    again.write_text('coldest_c = "5"\nbroker_password = "keep"\n')
    again.chmod(0o600)
    capsys.readouterr()
    assert main(["setup", "--config", str(config), "--answers", str(again)]) == 0
    told = capsys.readouterr()
    assert f"{config}: nothing to change." in told.out
    assert told.err == "answers not asked for: broker_password\n"
    assert max(map(len, told.out.replace(str(config), "").splitlines())) <= 80
    assert (snapshot(config.parent), config.stat().st_mtime_ns) == (before, at)


@pytest.mark.parametrize(
    ("text", "mode", "said"),
    [
        ("site = ", 0o600, "Invalid value"),
        ("[site]\nname = 'a'\n", 0o600, "site: one line, as typed at the question"),
        ("boxes = ['a', 'b']\n", 0o600, "boxes: one line, as typed at the question"),
        ("broker_password = 'x'\n", 0o640, "others may read it: chmod 600 it"),
        ("phone_url = 'x'\n", 0o604, "others may read it: chmod 600 it"),
        ("wrapped_a = true\nsite = 'a b c'\n", 0o644, "answers: site: a b c: "),
        (None, 0o600, "No such file"),
    ],
)
def test_a_file_of_answers_that_cannot_be_used(
    text: str | None, mode: int, said: str, config: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    answers = tmp_path / "answers.toml"
    if text is not None:
        answers.write_text(text)
        answers.chmod(mode)
    assert main(["setup", "--config", str(config), "--answers", str(answers)]) == os.EX_CONFIG
    err = capsys.readouterr().err
    assert said in err
    assert err.endswith("; nothing was written\n")
    assert list(config.parent.iterdir()) == []


def test_a_folder_that_is_none_is_told_in_one_line(
    config: Path, board: flow.Board, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    config.parent.rmdir()
    config.parent.write_text("a file in the way")
    answers = tmp_path / "answers.toml"
    answers.write_text("".join(f'{key} = "{value}"\n' for key, value in ANSWERS.items()))
    answers.chmod(0o600)
    code = main(["setup", "--config", str(config), "--answers", str(answers)])
    err = capsys.readouterr().err
    assert (code, len(err.splitlines())) == (os.EX_CONFIG, 1)
    assert "Not a directory" in err


@pytest.fixture
def held(config: Path, board: flow.Board) -> tuple[Path, str]:
    """A site that works, with a secret; and its text with a fault in it that only the load finds."""
    assert flow.run(config, Written(ANSWERS, 78), board)
    save.write_secret(config, "secrets/phone-url", "json://127.0.0.1:9/old")
    return config, config.read_text().replace('box = "a"', 'box = "z"')


def test_a_config_that_cannot_be_used_puts_every_secret_back(held: tuple[Path, str]) -> None:
    config, broken = held
    before = snapshot(config.parent)
    fresh = {"secrets/phone-url": "json://127.0.0.1:9/new", "secrets/second-url": "json://127.0.0.1:9/"}
    with pytest.raises(ConfigProblems):
        save.write_all(config, broken, fresh, {})
    assert snapshot(config.parent) == before


def test_a_disk_that_fails_at_the_config_puts_every_secret_back(
    held: tuple[Path, str], monkeypatch: pytest.MonkeyPatch
) -> None:
    config, _ = held
    before = snapshot(config.parent)

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device", str(config))

    monkeypatch.setattr("coldbrood.enrol.write_like", full)
    with pytest.raises(OSError, match="No space left"):
        save.write_all(config, config.read_text(), {"secrets/phone-url": "json://127.0.0.1:9/new"}, {})
    assert snapshot(config.parent) == before


def test_a_secret_is_for_its_owner_alone_whatever_the_umask(held: tuple[Path, str]) -> None:
    config, _ = held
    old = os.umask(0)
    try:
        save.write_secret(config, "secrets/second-url", "json://127.0.0.1:9/")
    finally:
        os.umask(old)
    assert (config.parent / "secrets/second-url").stat().st_mode & 0o777 == 0o600
    assert (config.parent / "secrets").stat().st_mode & 0o777 == 0o700


def test_the_difference_shows_what_changes_and_no_more(tmp_path: Path) -> None:
    path = tmp_path / "c.toml"
    shown = difference("a = 1\nb = 2\n", "a = 1\nb = 3\n", path)
    assert [line for line in shown if not line.startswith(("---", "+++"))] == ["-b = 2", "+b = 3"]
    assert KEEP not in "".join(shown)
    new = difference("", "# why\na = 1\n\n", path)
    assert new[-1] == "a = 1"
    assert "is new, 3 lines" in new[0]
