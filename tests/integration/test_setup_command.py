"""Promise: setup in a real terminal, with a real broker and receiver, makes a file that works in 25 answers
or fewer; Ctrl-C at any question leaves the old one whole; a second run changes nothing and keeps edits.
"""

import os
import stat
import threading
import time
from collections.abc import Callable, Iterator
from datetime import date
from pathlib import Path

import pytest
from broker import PATIENCE_S, Broker
from receiver import Answer, Receiver
from terminal import Terminal, word_in

from coldbrood.cli.main import main
from coldbrood.settings.load import load
from coldbrood.setup import flow, found, trial
from coldbrood.setup.ask import Asker, Question, Written
from coldbrood.setup.ask import T as Answered
from coldbrood.setup.ear import Ear

PASSWORD = "a pass phrase"
ANSWERS_MOST = 25
BOX = {
    "chicks_a": "16",
    "inside_a": "75 x 55 x 40",
    "insulation_a": "50 eps",
    "jugs_a": "2 x 3.8",
    "fill_c_a": "60",
    "wrapped_a": "no",
}


@pytest.fixture
def receiver() -> Iterator[Receiver]:
    with Receiver() as made:
        yield made


@pytest.fixture
def guarded(new_broker: Callable[..., Broker]) -> Broker:
    """A broker that asks for a password."""
    return new_broker(user="coldbrood", password=PASSWORD)


def speak(broker: Broker) -> None:
    """Two probes tell their temperatures, and setup has heard both: TCP may keep them for 40 ms."""
    for probe, celsius in (("box-a", 24.5), ("outdoor", 4.5)):
        body = f'[{{"n": "temperature", "u": "Cel", "v": {celsius}}}]'.encode()
        broker.publish(f"coldbrood/larch-lane/{probe}/reading", body)
    until = time.monotonic() + PATIENCE_S
    while broker.log().count("Received PUBACK from coldbrood-ear") < 2:
        assert time.monotonic() < until, broker.log()
        time.sleep(0.02)


def first_run(config: Path, broker: Broker, receiver: Receiver) -> Terminal:
    """A whole first run, as a keeper would do it; ends at the last question."""
    terminal = Terminal("setup", "--config", str(config), environ={"TZ": "Etc/UTC"})
    for prompt, text in (
        ("name of the site", "larch-lane"),
        ("time zone", ""),
        ("latitude, longitude", "50.1, -3.5"),
        ("bedtime", ""),
        ("time you rise", "6:30"),
        ("time you rise", "06:45"),
        ("broker, or none", f"127.0.0.1:{broker.port}"),
        ("user name", ""),
        ("its password", PASSWORD),
        ("names of the hen boxes", ""),
        ("chicks in box a", "16"),
        ("length x width x height", "75 x 55 x 40"),
        ("millimetres", "50 eps"),
        ("litres", "2 x 3.8"),
        ("degrees C of the water", ""),
        ("towel", ""),
        ("arrival", "2026-04-11"),
        ("day of hatch", "2026-04-10"),
    ):
        terminal.answer(prompt, text)
    speak(broker)
    terminal.answer("coldest night", "8")
    terminal.answer("probe in box a [box-a]")
    terminal.answer("probe outside, or none [outdoor]")
    terminal.answer("address, or none", f"json://{receiver.address}/phone")
    terminal.wait_for("the word (or")
    terminal.answer(": ", word_in(receiver.wait_for(1)[0].json()["message"]))
    terminal.answer("you type) [none]: ")
    terminal.wait_for("write this [yes]")
    return terminal


def test_a_first_run_by_hand_and_a_second_that_changes_nothing(
    tmp_path: Path, guarded: Broker, receiver: Receiver
) -> None:
    config = tmp_path / "coldbrood.toml"
    terminal = first_run(config, guarded, receiver)
    assert not config.exists()
    assert not (tmp_path / "secrets").exists()
    terminal.answer(": ", "yes")
    assert terminal.end() == 0, terminal.screen
    assert terminal.answers - 1 <= ANSWERS_MOST  # one answer was wrong on purpose
    assert terminal.too_wide(tmp_path) == []
    for said in (
        "That does not do: a time in quotes",
        "Heard on the broker: box-a (24.5 C), outdoor (4.5 C).",
        "one fill holds it for about",
        "That is the word",
    ):
        assert said in terminal.screen.replace("\r\n", " "), said
    assert PASSWORD not in terminal.screen + config.read_text()
    assert receiver.address not in terminal.screen + config.read_text()

    made = load(config, os.environ)
    box = made.site.boxes["a"]
    assert (box.length_m, box.width_m, box.height_m, box.jugs, box.jug_litres) == (0.75, 0.55, 0.4, 2, 3.8)
    assert (made.site.batch.arrival, made.site.batch.hatched) == (date(2026, 4, 11), date(2026, 4, 10))
    assert made.site.keeper.rising_s == 6 * 3600 + 45 * 60
    assert made.broker is not None
    assert made.broker.password is not None
    assert made.broker.password.reveal() == PASSWORD
    assert made.channels[0].url.reveal() == f"json://{receiver.address}/phone"
    for name in ("broker-password", "phone-url"):
        assert stat.S_IMODE((tmp_path / "secrets" / name).stat().st_mode) == 0o600
    again_changes_nothing_and_keeps_edits(config, guarded)


def again_changes_nothing_and_keeps_edits(config: Path, guarded: Broker) -> None:
    text = config.read_text().replace("bedtime = ", "# mine: I am an owl\nbedtime = ")
    config.write_text(text + '\n[[channel]]\nname = "third"\nurl_env = "THIRD_URL"\n')
    before = config.read_bytes()
    answers = {"broker_password": "keep", "coldest_c": "8"}
    asker = Written(answers, 78)
    os.environ["THIRD_URL"] = "json://127.0.0.1:9/"
    try:
        assert flow.run(config, asker, flow.Board(os.environ, date(2026, 5, 1)))
        assert config.read_bytes() == before
        changed = Written({**answers, "chicks_a": "14", "bedtime": "23:00"}, 78)
        assert flow.run(config, changed, flow.Board(os.environ, date(2026, 5, 1)))
    finally:
        del os.environ["THIRD_URL"]
    was, now = before.decode().splitlines(), config.read_text().splitlines()
    assert [line for line in now if line not in was] == ['bedtime = "23:00"', "chicks = 14"]
    assert "# mine: I am an owl" in now
    assert len(now) == len(was)
    assert guarded.password == PASSWORD


def test_ctrl_c_in_the_terminal_leaves_the_old_file_whole(tmp_path: Path, guarded: Broker) -> None:
    config = tmp_path / "coldbrood.toml"
    config.write_text("# mine\n")
    for prompt, answers in (
        ("name of the site", ()),
        ("its password", ("site", "zone", "1, 1", "", "", "", "")),
    ):
        terminal = Terminal("setup", "--config", str(config), environ={"TZ": "Etc/UTC"})
        prompts = ("name of", "time zone", "latitude", "bedtime", "rise", "broker, or", "user name")
        for asked, text in zip(prompts, answers, strict=False):
            text = {"zone": "Etc/UTC"}.get(text, text)
            terminal.answer(asked, f"127.0.0.1:{guarded.port}" if asked == "broker, or" else text)
        terminal.interrupt(prompt)
        assert terminal.end() == 130
        assert "Nothing was written" in terminal.screen
        assert config.read_text() == "# mine\n"
        assert [path.name for path in tmp_path.iterdir() if "broker" not in path.name] == ["coldbrood.toml"]


class Quitter:
    """Answers as given, and stops at the question of a given number."""

    attended = True

    def __init__(self, inner: Written, at: int) -> None:
        self._inner, self._at = inner, at
        self.asked = 0

    def ask(self, question: Question[Answered]) -> Answered:
        self.asked += 1
        if self.asked == self._at:
            raise KeyboardInterrupt
        return self._inner.ask(question)

    def say(self, *lines: str) -> None:
        """Keep quiet."""


def answers_for(broker: Broker, receiver: Receiver) -> dict[str, str]:
    return {
        "site": "larch-lane",
        "time_zone": "Etc/UTC",
        "place": "50.1, -3.5",
        "broker": f"127.0.0.1:{broker.port}",
        "broker_user": "coldbrood",
        "broker_password": PASSWORD,
        **BOX,
        "arrival": "2026-04-11",
        "coldest_c": "8",
        "probe_a": "box-a",
        "probe_outdoor": "outdoor",
        "phone_url": f"json://{receiver.address}/phone",
        "word": "skip",
    }


def test_ctrl_c_at_every_single_question_changes_no_byte(
    tmp_path: Path, guarded: Broker, receiver: Receiver
) -> None:
    config = tmp_path / "site" / "coldbrood.toml"
    config.parent.mkdir()
    config.write_text("# mine, of before\n")
    board = flow.Board({}, date(2026, 4, 11), wires=tmp_path / "none")
    asked = 0
    while True:
        asked += 1
        quitter = Quitter(Written(answers_for(guarded, receiver), 78), asked)
        try:
            asker: Asker = quitter
            done = flow.run(config, asker, board)
        except KeyboardInterrupt:
            assert config.read_text() == "# mine, of before\n"
            assert [path.name for path in config.parent.iterdir()] == ["coldbrood.toml"]
            continue
        break
    assert done
    assert 20 <= asked - 1 <= ANSWERS_MOST
    assert "# mine, of before" in config.read_text()
    assert load(config, {}).site.name == "larch-lane"


def test_answers_from_a_file(
    tmp_path: Path, guarded: Broker, receiver: Receiver, capsys: pytest.CaptureFixture[str]
) -> None:
    config, file = tmp_path / "coldbrood.toml", tmp_path / "answers.toml"
    given = answers_for(guarded, receiver)
    del given["word"]

    def setup(answers: dict[str, str], mode: int = 0o600) -> tuple[int, str]:
        file.write_text("".join(f"{key} = '{value}'\n" for key, value in answers.items()))
        file.chmod(mode)
        code = main(["setup", "--config", str(config), "--answers", str(file)])
        return code, "".join(capsys.readouterr())

    for broken, code, said in (
        ({**given, "chicks_a": "400"}, 78, "answers: chicks_a: 400: a whole number, 0 to 150"),
        ({key: value for key, value in given.items() if key != "jugs_a"}, 78, "answers: jugs_a: missing"),
        ({**given, "phone_url": "no such thing"}, 78, "answers: phone_url: ***: "),
    ):
        got, told = setup(broken)
        assert (got, said in told) == (code, True), told
        assert "nothing was written" in told
        assert not config.exists()
    assert setup(given, 0o644)[0] == 78
    receiver.answer = Answer(status=403)
    code, told = setup(given)
    assert (code, config.exists()) == (69, False)
    assert "channel phone: its service did not take the test" in told
    receiver.answer = Answer()
    code, told = setup({**given, "chiks_a": "3"})
    assert code == 0
    assert "answers not asked for: chiks_a" in told
    assert PASSWORD not in told
    assert main(["check", "--config", str(config)]) == 0


def test_a_wired_site_needs_no_broker_and_names_its_wires(tmp_path: Path, receiver: Receiver) -> None:
    wires = tmp_path / "devices"
    for name in ("28-0316a2795cff", "28-0316a2795caa", "w1_bus_master1", "10-000000000001"):
        (wires / name).mkdir(parents=True)
    given = {
        **BOX,
        "site": "larch-lane",
        "time_zone": "Etc/UTC",
        "place": "50 N 3.5 W",
        "broker": "none",
        "probe_a": "28-0316a2795cff",
        "phone_url": f"json://{receiver.address}/",
    }
    config = tmp_path / "coldbrood.toml"
    assert flow.run(config, Written(given, 78), flow.Board({}, date(2026, 4, 11), wires=wires))
    site = load(config, {}).site
    assert {name: spec.sensor_id for name, spec in site.probes.items()} == {
        "box-a": "28-0316a2795cff",
        "outdoor": "28-0316a2795caa",
    }
    assert (site.latitude_deg, site.longitude_deg) == (50.0, -3.5)
    assert load(config, {}).broker is None


def test_the_login_that_the_installer_left_is_found(
    tmp_path: Path, guarded: Broker, receiver: Receiver
) -> None:
    config = tmp_path / "coldbrood.toml"
    (tmp_path / "secrets").mkdir(mode=0o700)
    (tmp_path / "secrets" / "broker-password").write_text(f"{PASSWORD}\n")
    given = answers_for(guarded, receiver)
    del given["broker_password"], given["broker_user"]
    said = Hearing(given)
    assert flow.run(config, said, flow.Board({}, date(2026, 4, 11), wires=tmp_path / "none"))
    assert "The broker lets coldbrood in. Listening for probes from now on." in said.lines
    made = load(config, {})
    assert made.broker is not None
    assert (made.broker.username, made.broker.password is not None) == ("coldbrood", True)


def test_a_broker_that_refuses_is_told_and_the_rest_goes_on(
    tmp_path: Path, guarded: Broker, receiver: Receiver
) -> None:
    given = answers_for(guarded, receiver) | {"broker_password": "another"}
    said = Hearing(given)
    assert flow.run(tmp_path / "c.toml", said, flow.Board({}, date(2026, 4, 11), wires=tmp_path / "none"))
    text = " ".join(said.lines)
    assert "Not reached: the broker at 127.0.0.1" in text
    assert "refuses the user name or password" in text
    assert "another" not in text
    assert "not heard yet, so its own password and file" in text


class Hearing(Written):
    """Answers from a dict, and keeps what was said."""

    def __init__(self, answers: dict[str, str]) -> None:
        super().__init__(answers, 78)
        self.lines: list[str] = []

    def say(self, *lines: str) -> None:
        self.lines += lines


class Changer(Hearing):
    """A keeper who, told that the box is weak, changes its jugs."""

    attended = True

    def ask(self, question: Question[Answered]) -> Answered:
        if question.key == "change_a":
            self._answers["jugs_a"] = "3 x 6"
            return question.read("yes")
        return super().ask(question)


def test_a_weak_box_may_be_changed_at_once(tmp_path: Path, receiver: Receiver) -> None:
    given = {
        **BOX,
        "jugs_a": "0.5",
        "site": "larch-lane",
        "time_zone": "Etc/UTC",
        "place": "50, 0",
        "broker": "none",
        "probe_a": "28-0316a2795cff",
        "probe_outdoor": "none",
        "phone_url": "none",
        "coldest_c": "8",
    }
    (tmp_path / "w" / "28-0316a2795cff").mkdir(parents=True)
    said = Changer(given)
    config = tmp_path / "coldbrood.toml"
    assert flow.run(config, said, flow.Board({}, date(2026, 4, 11), wires=tmp_path / "w"))
    text = " ".join(said.lines)
    assert text.count("TOO WEAK") == 1
    assert "WITHOUT A CHANNEL NOTHING CAN REACH YOU" in text
    assert load(config, {}).site.boxes["a"].jugs == 3
    assert receiver.received == ()


class Typist:
    """Types given lines at the question about the word; `None` types the word that came."""

    attended = True
    asked = 0

    def __init__(self, receiver: Receiver, *typed: str | None) -> None:
        self._receiver, self._typed = receiver, list(typed)

    def ask(self, question: Question[Answered]) -> Answered:
        text = self._typed.pop(0)
        return question.read(word_in(self._receiver.received[-1].json()["message"]) if text is None else text)

    def say(self, *lines: str) -> None:
        """Keep quiet."""


@pytest.mark.parametrize(
    ("typed", "proof", "sent"),
    [
        ([None], "yes", 1),
        (["wrong", None], "yes", 2),
        (["again", None], "yes", 2),
        (["a", "b", "c"], "no", 3),
        (["skip"], "sent", 1),
        (["change"], "no", 1),
    ],
)
def test_the_word_proves_the_channel(
    receiver: Receiver, typed: list[str | None], proof: str, sent: int
) -> None:
    asker = Typist(receiver, *typed)
    assert trial.by_hand(asker, "phone", f"json://{receiver.address}/") == proof
    words = [word_in(request.json()["message"]) for request in receiver.received]
    assert len(words) == sent
    assert len(set(words)) == sent or sent > 1


def test_a_probe_that_speaks_late_is_waited_for(broker: Broker) -> None:
    ear = Ear([found.TOPIC], "127.0.0.1", broker.port)
    assert ear.open() == ""
    try:
        assert found.heard(ear.packets()) == []
        speaker = threading.Timer(0.3, speak, [broker])
        speaker.start()
        assert ear.wait(20.0)
        speaker.join()
        assert [str(one) for one in found.heard(ear.packets())][:1] == ["box-a (24.5 C)"]
    finally:
        ear.close()
    assert "nothing answers" in Ear([found.TOPIC], "127.0.0.1", 1).open()
