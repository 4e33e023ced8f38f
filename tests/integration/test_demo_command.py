"""`coldbrood demo` plays its night for real: the messages come in order and in time, and nothing is lost."""

import math
import os
import re
import signal
import subprocess
import sys
import time
import tomllib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import pytest

from coldbrood.codec import unpack
from coldbrood.journal.reader import HistoryLine, JournalReader
from coldbrood.watch.outbox import Message

NIGHT_REAL_S = 105.0
COMMAND = [sys.executable, "-m", "coldbrood.cli.main", "demo"]
# At 06:30 the jug lasts 90 min more, give or take a few: whether a fill is asked for is touch and go.
MORNING = ("Fill now, first thing: box A", "Morning: woken once")
BEDTIME = re.compile(r"(One fill now|No fill now|Sleep through|Tonight)")
REFILL = re.compile(r"Refill now: box A (?P<box_c>[\d.]+) C, floor (?P<floor_c>[\d.]+)")
AGAIN = " (again?)"  # a send whose outcome was not known in time is repeated with this mark


@dataclass(frozen=True)
class Played:
    """One demo that ran to its end."""

    code: int
    out: str
    err: str
    journal: Path
    overheard: int

    @property
    def phone(self) -> list[str]:
        """Titles as they reached the phone, repeats left out."""
        lines = self.out.splitlines()
        starts = [line for line in lines if re.match(r"\d\d:\d\d  phone: ", line)]
        return [line[14:] for line in starts if not line.endswith(AGAIN)]


@pytest.fixture(scope="module")
def night(tmp_path_factory: pytest.TempPathFactory) -> Played:
    home = tmp_path_factory.mktemp("demo") / "night"
    command = [*COMMAND, "--seconds", f"{NIGHT_REAL_S}", "--dir", str(home)]
    heard = home.with_name("overheard.txt")
    with started(command, columns=100) as demo, overheard(broker_port(home / "coldbrood.toml"), heard):
        out, err = demo.communicate(timeout=3 * NIGHT_REAL_S)
    return Played(demo.returncode, out, err, home / "journal.db", heard.read_text().count('"u":'))


def started(command: list[str], columns: int) -> "subprocess.Popen[str]":
    environ = os.environ | {"COLUMNS": str(columns), "PYTHONUNBUFFERED": "1"}
    return subprocess.Popen(
        command,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env=environ,
        start_new_session=True,
    )


def broker_port(config: Path) -> int:
    until = time.monotonic() + 30.0
    while time.monotonic() < until:
        if config.exists() and (text := config.read_text()).rstrip().endswith('"journal.db"'):
            return int(tomllib.loads(text)["broker"]["port"])
        time.sleep(0.02)
    raise AssertionError(f"{config}: no config was written")


@contextmanager
def overheard(port: int, into: Path) -> Iterator[None]:
    """Debian's own client listens on the demo's broker: a count of what the probes sent that is not ours."""
    topic = "coldbrood/demo/+/reading"
    command = ["mosquitto_sub", "-V", "mqttv311", "-h", "127.0.0.1", "-p", str(port), "-q", "1", "-t", topic]
    with into.open("w") as file, subprocess.Popen(command, stdout=file, stderr=subprocess.DEVNULL) as ear:
        try:
            yield
        finally:
            ear.terminate()


@pytest.fixture
def reader(night: Played) -> Iterator[JournalReader]:
    with JournalReader.open(night.journal) as opened:
        yield opened


def alarm_lines(reader: JournalReader, key: str) -> list[HistoryLine]:
    return [entry for entry in reader.history(-math.inf, math.inf, "alarm") if entry.line.subject == key]


def event_times(reader: JournalReader, key: str, event: str) -> list[float]:
    return [entry.wall_s for entry in alarm_lines(reader, key) if entry.line.detail.startswith(event)]


pytestmark = pytest.mark.timeout(5 * NIGHT_REAL_S)


def test_it_ends_well_and_complains_of_nothing(night: Played) -> None:
    assert night.code == 0, night.err
    assert night.err == ""
    assert "error" not in (night.journal.parent / "daemon.log").read_text().lower()


def test_the_phone_is_told_what_the_story_holds_in_order_and_nothing_else(night: Played) -> None:
    kinds = ["bedtime" if BEDTIME.match(title) else title.partition(":")[0] for title in night.phone]
    assert kinds[:3] == ["Cannot see box A", "bedtime", "Refill now"]
    assert night.phone[3] in MORNING
    assert kinds[4:] == ["Too hot"]


def test_the_nudge_comes_with_its_reason_while_the_box_is_still_warm(
    night: Played, reader: JournalReader
) -> None:
    title = next(found for title in night.phone if (found := REFILL.match(title)))
    assert float(title["box_c"]) >= float(title["floor_c"])
    raised = [line for line in alarm_lines(reader, "refill-now/a") if line.line.detail.startswith("raise")]
    assert [line.line.reason for line in raised] == ["forecast"]
    before = [
        r.value for r in reader.readings(raised[0].wall_s - 300.0, raised[0].wall_s) if r.probe == "box-a"
    ]
    assert min(before[-1:]) >= float(title["floor_c"])


def test_the_refill_is_seen_by_itself_and_ends_the_alarm(night: Played, reader: JournalReader) -> None:
    (raised,) = event_times(reader, "refill-now/a", "raise")
    seen = [e.wall_s for e in reader.history(raised, math.inf, "refill") if e.line.state == "seen"]
    assert 15 * 60.0 < seen[0] - raised < 60 * 60.0  # the keeper comes 20 minutes after the nudge
    assert event_times(reader, "refill-now/a", "acknowledge")[0] == pytest.approx(seen[0], abs=1.0)
    (over,) = event_times(reader, "refill-now/a", "clear")
    assert seen[0] <= over < seen[0] + 45 * 60.0


def test_a_silent_probe_is_said_and_its_return_ends_it(reader: JournalReader) -> None:
    (silent,) = event_times(reader, "probe-silent/box-a", "raise")
    (back,) = event_times(reader, "probe-silent/box-a", "clear")
    assert silent < back < silent + 2 * 3600.0
    hush = [r for r in reader.readings(silent - 600.0, silent) if r.probe == "box-a"]
    assert hush == []


def test_too_hot_is_raised_by_the_sun_and_the_hot_fill_and_ends_when_aired(reader: JournalReader) -> None:
    (hot,) = event_times(reader, "too-hot/a", "raise")
    (over,) = event_times(reader, "too-hot/a", "clear")
    assert hot < over < hot + 3600.0


def test_every_value_the_probes_sent_is_in_the_journal_or_refused_as_a_copy(
    night: Played, reader: JournalReader
) -> None:
    kept = sum(1 for _ in reader.readings(-math.inf, math.inf))
    refused = reader.refused_counts()
    assert {reason for _, reason in refused} <= {
        "older-than-taken"
    }  # a burst on a busy machine looks like one
    said = re.search(
        r"Values sent by the probes: (\d+), in the journal: (\d+)(?:, refused: (\d+))?", night.out
    )
    assert said is not None
    assert int(said[2]) == kept
    assert int(said[3] or 0) == sum(refused.values())
    assert int(said[1]) == kept + sum(refused.values())
    assert kept > 1000
    assert 0 < night.overheard <= int(said[1])
    assert night.overheard > 0.95 * int(said[1])  # it began to listen a moment late


def test_every_message_the_phone_got_was_accepted_in_the_journal(
    night: Played, reader: JournalReader
) -> None:
    messages = [unpack(body, Message) for body in reader.messages().values()]
    accepted = {message.title for message in messages if message.state == "accepted"}
    assert set(night.phone) <= accepted


def test_the_account_at_the_end_is_the_journals(night: Played) -> None:
    account = night.out.partition("What was asked for, when and why:")[2]
    assert all(title in account for title in night.phone)
    assert "why: forecast. " in account
    assert f"The log of the night: {night.journal}" in account
    assert re.search(r"Woken once\. By the age timetable, .* got up twice\.", " ".join(account.split()))


def test_the_box_is_shown_each_half_hour(night: Played) -> None:
    shown = re.findall(r"^(\d\d):\d\d  box A ", night.out, re.MULTILINE)
    assert len(shown) >= 28
    assert shown[0] == "18"
    assert {"22", "02", "06", "08"} <= set(shown)


@pytest.mark.parametrize("columns", [40])
def test_ctrl_c_ends_it_cleanly_on_a_narrow_screen(tmp_path: Path, columns: int) -> None:
    with started([*COMMAND, "--dir", str(tmp_path / "night")], columns) as demo:
        assert demo.stdout is not None
        assert demo.stderr is not None
        lines = []
        for line in demo.stdout:
            lines.append(line.rstrip("\n"))
            if re.match(r"18:[345]|19:", line):  # a busy machine may miss the first of these
                break
        demo.send_signal(signal.SIGINT)
        lines += demo.stdout.read().splitlines()
        err = demo.stderr.read()
    assert (demo.returncode, err) == (130, "")
    assert any("The log of the night" in line for line in lines)
    assert all(len(line) <= columns for line in lines if "/" not in line)
    with JournalReader.open(tmp_path / "night" / "journal.db") as reader:
        assert reader.history(-math.inf, math.inf)[-1].line.kind == "stop"


def test_a_directory_with_other_files_is_refused_and_left_alone(tmp_path: Path) -> None:
    (tmp_path / "precious.txt").write_text("mine")
    done = subprocess.run([*COMMAND, "--dir", str(tmp_path)], capture_output=True, text=True, timeout=60)
    assert done.returncode == os.EX_CANTCREAT
    assert done.stderr.count("\n") == 1
    assert "--dir" in done.stderr
    assert [path.name for path in tmp_path.iterdir()] == ["precious.txt"]


@pytest.mark.parametrize("seconds", ["0", "-5", "nan", "soon", "1e9"])
def test_a_time_that_cannot_be_is_refused_with_what_is_allowed(seconds: str) -> None:
    done = subprocess.run([*COMMAND, "--seconds", seconds], capture_output=True, text=True, timeout=60)
    assert done.returncode == 2
    assert "45 to 3600" in done.stderr


def test_without_its_broker_it_says_what_to_install(tmp_path: Path) -> None:
    """The daemon itself does without the demo's extra, so the demo must say in one line what is missing."""
    home = str(tmp_path / "night")
    script = (
        "import sys; sys.modules['amqtt'] = None\n"
        f"from coldbrood.cli.main import main; sys.exit(main(['demo', '--dir', {home!r}]))"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, timeout=60)
    assert done.returncode == os.EX_SOFTWARE
    assert done.stderr == "the demo needs its broker: pip install 'coldbrood[demo]'\n"
