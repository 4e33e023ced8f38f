"""Every command of deploy/guide.md is run: here against the real daemon, broker and receiver, or by the test
that is named for it; its drawing is what its script draws, and each caution of the trade is in it."""

import re
import shlex
import subprocess
import sys
import time
import tomllib
import xml.etree.ElementTree as ET
from collections.abc import Iterator
from datetime import date
from pathlib import Path

import pytest
from bench import Bench, senml
from broker import Broker

from coldbrood.cli.main import main
from coldbrood.journal.reader import JournalReader
from coldbrood.settings.edit import add_table, set_key
from coldbrood.settings.load import load
from coldbrood.setup import flow
from coldbrood.setup.ask import Written

ROOT = Path(__file__).parents[2]
DEPLOY = ROOT / "deploy"
GUIDE = (DEPLOY / "guide.md").read_text(encoding="utf-8")
CONFIG = "/etc/coldbrood/coldbrood.toml"

# What cannot be run on a machine in use, or asks a person: the test that runs it, and the words there.
ELSEWHERE = {
    "sudo deploy/install.sh": ("tests/clean_root/run", 'f"{INSIDE}/deploy/install.sh"'),
    "deploy/wheelhouse.sh /media/stick/wheels": ("tests/clean_root/run", '"wheelhouse.sh"'),
    "sudo deploy/install.sh --wheelhouse /media/stick/wheels": ("tests/clean_root/run", '"--wheelhouse"'),
    "sudo deploy/install.sh uninstall": ("tests/clean_root/inside.sh", 'deploy/install.sh" uninstall'),
    f"sudo coldbrood setup --config {CONFIG}": ("tests/clean_root/inside.sh", '" setup --config "$config"'),
    "sudo systemctl start coldbrood": ("tests/clean_root/inside.sh", "systemctl start coldbrood"),
    "sudo systemctl reload mosquitto": ("tests/clean_root/inside.sh", "systemctl reload mosquitto"),
    "sudo systemctl restart coldbrood": ("tests/clean_root/inside.sh", "systemctl restart coldbrood"),
    "journalctl -u coldbrood": ("tests/clean_root/inside.sh", "journalctl -u coldbrood"),
    f"sudo coldbrood calibrate box-a --config {CONFIG}": (
        "tests/integration/test_calibrate_command.py",
        '"calibrate"',
    ),
}


def commands() -> list[str]:
    """Each indented line of the guide, in order."""
    return re.findall(r"^(?: {4}){1,2}(\S.*)$", GUIDE, re.MULTILINE)


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    """A site of the guide's names with its daemon running and both probes heard."""
    broker = Broker(tmp_path)
    broker.start()
    try:
        with Bench(tmp_path, broker) as made:
            made.start()
            made.publish("box-a", senml(24.5))
            made.publish("outdoor", senml(4.5))
            made.flush()
            yield made
    finally:
        broker.stop()


def here(command: str, bench: Bench) -> list[str]:
    """The command's words, with the bench's files in place of the board's."""
    text = command.removeprefix("sudo ").replace(CONFIG, str(bench.config_path))
    words = shlex.split(text.replace("/media/stick", str(bench.folder)))
    assert words[0] == "coldbrood", command
    if words[1:3] in (["probe", "add"], ["probe", "swap"]):
        words += ["--passwords", str(bench.folder / "passwords"), "--out", str(bench.folder)]
    return words[1:]


def refills(bench: Bench) -> list[float | None]:
    """Fill temperatures of the refills that the journal holds."""
    with JournalReader.open(bench.journal_path) as reader:
        return [note.fill_c for note in reader.notes(0.0, time.time() + 60) if note.kind == "refill"]


def test_each_command_runs_as_it_stands(bench: Bench, capsys: pytest.CaptureFixture[str]) -> None:
    """In its order. The doctor may find fault with a bench; `probe list` does: box-b is just added."""
    ran = []
    for command in commands():
        if command in ELSEWHERE or command.startswith("deploy/"):
            continue
        code = main(here(command, bench))
        said = "".join(capsys.readouterr())
        if "doctor" in command:
            assert "well     daemon: runs" in said
        elif "probe list" in command:
            assert (code, re.findall(r"^(\S+) .* never", said, re.MULTILINE)) == (69, ["box-b"])
        else:
            assert code == 0, f"{command}: {code}: {said}"
        ran.append(command)
    assert len(ran) >= 12
    assert len(bench.titles()) == 1  # the test alert
    bench.wait_for(lambda: refills(bench) == [60.0], "the refill", patience_s=60.0)
    assert (bench.folder / "chicks.zip").stat().st_size > 0


def with_snippets(text: str) -> str:
    """The config file with all that the guide says may be added: tables, and keys of the first of each."""
    for snippet in map(tomllib.loads, re.findall(r"^```toml\n(.*?)^```", GUIDE, re.MULTILINE | re.DOTALL)):
        for table, rows in snippet.items():
            many = isinstance(rows, list)
            row = rows[0] if many else rows
            if table not in tomllib.loads(text):
                text = add_table(text, table, row, many)
            else:
                for key, value in row.items():
                    text = set_key(text, table, 0 if many else None, key, value)
    return text


def test_what_setup_does_not_ask_is_taken_as_the_guide_has_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Into a file as setup makes it; `coldbrood check` finds no fault in it."""
    config = tmp_path / "coldbrood.toml"
    answers = {
        "site": "larch-lane",
        "time_zone": "Etc/UTC",
        "place": "50 0",
        "broker": "127.0.0.1:1",
        "broker_user": "none",
        "chicks_a": "16",
        "inside_a": "75 x 55 x 40",
        "insulation_a": "50 eps",
        "jugs_a": "2 x 3.8",
        "coldest_c": "5",
        "probe_a": "box-a",
        "probe_outdoor": "outdoor",
        "phone_url": "none",
    }
    board = flow.Board({}, date(2026, 4, 11), wires=tmp_path / "none")
    assert flow.run(config, Written(answers, 78), board)
    assert "sounder" in capsys.readouterr().out, "what is not asked is named at the end"
    before = load(config, {})
    assert (before.sounder, before.heartbeat) == (None, None)
    config.write_text(with_snippets(config.read_text("utf-8")), "utf-8")
    secret = tmp_path / "secrets" / "heartbeat-url"
    secret.parent.mkdir(mode=0o700)
    secret.touch(mode=0o600)
    secret.write_text("http://127.0.0.1:9/beat\n")
    assert main(["check", "--config", str(config)]) == 0, capsys.readouterr().err
    made = load(config, {})
    assert made.sounder is not None
    assert made.heartbeat is not None
    assert made.site.batch.kind == "broiler"
    assert made.site.boxes["a"].air_changes_per_h == 15
    probe = made.site.probes["box-a"]
    assert (probe.format, probe.unit, probe.battery_low_v) == ("plain", "F", 3.3)


def test_the_dry_run_of_the_guide_runs() -> None:
    assert "deploy/install.sh --dry-run" in commands()
    done = subprocess.run([str(DEPLOY / "install.sh"), "--dry-run"], capture_output=True, timeout=60)
    assert done.returncode == 0


def test_every_other_command_is_run_by_the_test_named_for_it() -> None:
    known = {*ELSEWHERE, "deploy/install.sh --dry-run"}
    others = [line for line in commands() if not re.match(r"(sudo )?coldbrood ", line)]
    assert [line for line in others if line not in known] == []
    assert [line for line in ELSEWHERE if line not in commands()] == []
    for command, (name, words) in ELSEWHERE.items():
        assert words in (ROOT / name).read_text(encoding="utf-8"), f"{command}: not in {name}"


def test_the_drawing_is_what_its_script_draws_and_fits() -> None:
    assert "](wiring.svg)" in GUIDE
    drawn = subprocess.run(
        [sys.executable, str(DEPLOY / "wiring.py")], capture_output=True, timeout=30
    ).stdout
    assert drawn == (DEPLOY / "wiring.svg").read_bytes()
    root = ET.fromstring(drawn)
    wide, high = (float(value) for value in root.attrib["viewBox"].split()[2:])
    texts = [element for element in root.iter() if element.tag.endswith("}text")]
    assert len(texts) > 30
    for element in texts:
        size = float(element.attrib["font-size"])
        long = 0.56 * size * len(element.text or "")  # a sans-serif letter is some 0.56 of its size wide
        x = float(element.attrib["x"])
        left = {"start": x, "middle": x - long / 2, "end": x - long}[element.attrib["text-anchor"]]
        assert 0 <= left < left + long <= wide, element.text
        assert size <= float(element.attrib["y"]) <= high, element.text


@pytest.mark.parametrize(
    "words",
    [
        "hot water",
        "carbon monoxide",
        "charged below 0 C",
        "peck",
        "disinfect",
        "a vet",
        "local codes",
        "dry",
        "alarm clock",
    ],
)
def test_each_caution_is_there(words: str) -> None:
    assert words in GUIDE.lower().replace("\n", " ") or words in GUIDE.replace("\n", " ")


def test_what_only_hardware_can_show_is_a_list_to_tick() -> None:
    listed = GUIDE.partition("What only your hardware can show")[2]
    assert len(re.findall(r"^- \[ \] \S", listed, re.MULTILINE)) >= 8
