"""A probe taken in by the command speaks for itself on the real, hardened broker and for nobody else; the
config keeps every other byte; a swap shuts out the old board and keeps its history; faults change nothing."""

import json
import os
import re
import signal
import stat
import subprocess
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from bench import Bench
from broker import Broker
from hardened_broker import HardenedBroker, Listener
from probe_run import ProbeBoard, rom

from coldbrood.cli.main import main
from coldbrood.journal.reader import JournalReader
from coldbrood.settings.load import load

ROOT = Path(__file__).parents[2]
SAMPLE = (ROOT / "config" / "one-box.toml").read_text(encoding="utf-8")
NEW_BOARD = json.dumps(  # as deploy/probe/bundle.py sends it: -97 dBW is -67 dBm
    [
        {"n": "box-a", "u": "Cel", "v": 24.5},
        {"n": "box-a:battery", "u": "V", "v": 3.9},
        {"n": "box-a:signal", "u": "dBW", "v": -97},
    ]
)
SECRETS = {"broker-password": "pw-daemon", "phone-url": "json://127.0.0.1:9/"}


@pytest.fixture(scope="module")
def broker(tmp_path_factory: pytest.TempPathFactory) -> Iterator[HardenedBroker]:
    broker = HardenedBroker(tmp_path_factory.mktemp("hardened"))
    broker.start()
    yield broker
    broker.stop()


@pytest.fixture
def config(tmp_path: Path) -> Path:
    """The commented sample with its secrets, and with one more box."""
    for name, secret in SECRETS.items():
        (tmp_path / name).touch(mode=0o600)
        (tmp_path / name).write_text(secret + "\n")
    path = tmp_path / "coldbrood.toml"
    path.write_text(SAMPLE, encoding="utf-8")
    path.chmod(0o640)
    return path


def probe(config: Path, broker: HardenedBroker | None, *words: str) -> int:
    """Run the command; files go beside the config, passwords to the broker's file."""
    passwords = config.parent / "passwords" if broker is None else broker.folder / "coldbrood.passwd"
    options = ["--config", str(config), "--passwords", str(passwords), "--out", str(config.parent)]
    code = main(["probe", *words, *options])
    if broker is not None and broker.process is not None:
        broker.process.send_signal(signal.SIGHUP)
        time.sleep(0.3)
    return code


def own(config: Path, name: str) -> dict[str, object]:
    told: dict[str, object] = json.loads((config.parent / f"{name}.probe.json").read_text())
    return told


def publishes(broker: HardenedBroker, user: str, password: str, topic: str, text: str) -> int:
    login = ["-h", "127.0.0.1", "-p", str(broker.port), "-u", user, "-P", password]
    command = ["mosquitto_pub", *login, "-q", "1", "-t", topic, "-m", text]
    return subprocess.run(command, capture_output=True, timeout=20).returncode


def test_a_new_probe_speaks_for_itself_and_for_nobody_else(config: Path, broker: HardenedBroker) -> None:
    assert probe(config, broker, "add", "attic", "--box", "a", "--cell", "li-18650") == 0
    password = str(own(config, "attic")["password"])
    listener = Listener(broker, "coldbrood", "-t", "coldbrood/+/+/reading")
    base = "coldbrood/larch-lane"
    assert publishes(broker, "attic", password, f"{base}/attic/reading", "own") == 0
    assert publishes(broker, "attic", password, f"{base}/box-a/reading", "other's") == 0  # vanishes
    assert publishes(broker, "attic", "guess", f"{base}/attic/reading", "guessed") != 0
    assert publishes(broker, "probe-a", "pw-a", f"{base}/probe-a/reading", "the last") == 0
    heard = listener.wait_for("GOT coldbrood/larch-lane/probe-a")
    listener.close()
    assert heard == [f"{base}/attic/reading own", f"{base}/probe-a/reading the last"]


def test_the_config_keeps_every_other_byte_and_takes_the_probe(config: Path) -> None:
    assert (
        probe(config, None, "add", "attic", "--box", "a", "--cell", "li-18650", "--interval-min", "10") == 0
    )
    block = '[[probe]]\nname = "attic"\nrole = "box"\nbox = "a"\ninterval_min = 10.0\nbattery_low_v = 3.5\n\n'
    text = config.read_text(encoding="utf-8")
    assert text.replace(block, "", 1) == SAMPLE
    assert text.index('name = "outdoor"') < text.index(block) < text.index("# The MQTT broker. Not needed")
    spec = load(config, os.environ).site.probes["attic"]
    assert (spec.box, spec.interval_s, spec.battery_low_v) == ("a", 600.0, 3.5)
    assert stat.S_IMODE(config.stat().st_mode) == 0o640
    assert sorted(p.name for p in config.parent.iterdir() if p.name.startswith(".")) == []


def test_the_files_with_passwords_are_for_their_owner_alone(config: Path) -> None:
    assert probe(config, None, "add", "yard", "--outdoor") == 0
    for name in ("yard.probe.json", "passwords"):
        assert stat.S_IMODE((config.parent / name).stat().st_mode) == 0o600
    password = str(own(config, "yard")["password"])
    assert len(password) == 20
    assert password not in (config.parent / "passwords").read_text()
    assert "battery" not in own(config, "yard")


def test_the_made_file_is_what_the_firmware_takes(
    config: Path, broker: HardenedBroker, tmp_path: Path
) -> None:
    """From `probe add` to a reading heard by the daemon's user, through the board's own firmware."""
    wifi = tmp_path / "wifi"
    wifi.write_text("pw-barn\n")
    words = ["--outdoor", "--broker", "127.0.0.1", "--wifi-name", "barn", "--wifi-password-file", str(wifi)]
    assert probe(config, broker, "add", "yard", "--cell", "nimh-2aa", *words) == 0
    board = ProbeBoard(tmp_path / "board", broker.port)
    board.conf = own(config, "yard") | {"port": broker.port}
    assert board.conf["broker"] == "127.0.0.1"
    listener = Listener(broker, "coldbrood", "-t", "coldbrood/+/+/reading")
    wake = board.wake(3.5, microvolts=1_300_000)
    assert wake.console == ""
    assert ["join", "barn", "pw-barn"] in wake.events
    heard = listener.wait_for("GOT coldbrood/larch-lane/yard")
    listener.close()
    topic, text = heard[-1].split(" ", 1)
    assert topic == "coldbrood/larch-lane/yard/reading"
    assert [record["v"] for record in json.loads(text) if record["u"] in ("Cel", "V")] == [3.5, 2.6]


def test_one_more_sensor_on_a_board_shares_its_topic_and_file(config: Path) -> None:
    assert probe(config, None, "add", "shed", "--outdoor", "--rom", rom(1)) == 0
    assert probe(config, None, "add", "attic", "--box", "a", "--board", "shed", "--rom", rom(2)) == 0
    probes = load(config, os.environ).site.probes
    assert probes["attic"].topic == probes["shed"].topic == "coldbrood/larch-lane/shed/reading"
    sensors = [{"probe": "shed", "rom": rom(1)}, {"probe": "attic", "rom": rom(2)}]
    assert own(config, "shed")["sensors"] == sensors
    assert [line.split(":")[0] for line in (config.parent / "passwords").read_text().splitlines()] == ["shed"]


# ---- a swap


def test_a_swap_shuts_out_the_old_board(config: Path, broker: HardenedBroker) -> None:
    assert probe(config, broker, "add", "attic", "--box", "a") == 0
    old = str(own(config, "attic")["password"])
    assert probe(config, broker, "swap", "attic") == 0
    new = str(own(config, "attic")["password"])
    topic = "coldbrood/larch-lane/attic/reading"
    assert new != old
    assert publishes(broker, "attic", old, topic, "ghost") != 0
    assert publishes(broker, "attic", new, topic, "alive") == 0
    assert publishes(broker, "probe-a", "pw-a", "coldbrood/larch-lane/probe-a/reading", "kept") == 0


def test_a_swap_takes_back_the_old_sensors_offset_and_keeps_comments(
    config: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = SAMPLE.replace("# offset_c = 0\n", "offset_c = -0.5 # ice water, in March\n", 1)
    config.write_text(text)
    assert probe(config, None, "swap", "box-a") == 0
    assert config.read_text() == text.replace("offset_c = -0.5 #", "offset_c = 0.0 #")
    assert "offset of -0.5 C is not the new one's" in capsys.readouterr().out


def test_a_wired_probe_is_swapped_by_its_number(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "wired.toml"
    text = (ROOT / "config" / "wired.toml").read_text(encoding="utf-8")
    path.write_text(text)
    for variable in re.findall(r'^url_env = "(\w+)"', text, re.MULTILINE):
        monkeypatch.setenv(variable, "json://127.0.0.1:9/")
    first = next(spec for spec in load(path, os.environ).site.probes.values() if spec.source == "onewire")
    assert probe(path, None, "swap", first.name) == 73
    assert "--sensor-id: missing: number of the new sensor" in capsys.readouterr().err
    assert probe(path, None, "swap", first.name, "--sensor-id", "28-00000000abcd") == 0
    assert path.read_text() == text.replace(str(first.sensor_id), "28-00000000abcd")
    assert not (tmp_path / "passwords").exists()


def test_the_history_of_a_swapped_probe_stays_and_tells_of_the_swap(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """With the real daemon: what the old board told, what the new one tells, and the note between."""
    broker = Broker(tmp_path)
    broker.start()
    with Bench(tmp_path, broker) as bench:
        bench.start()
        bench.send_c("box-a", 24.0)
        bench.flush()
        assert probe(bench.config_path, None, "swap", "box-a") == 0
        bench.publish("box-a", NEW_BOARD)
        bench.wait_for(lambda: "probe box-a: swapped for a new one" in _notes(bench), "the note")
        bench.flush()
        assert _rows(bench) == [24.0, 24.5]
        capsys.readouterr()
        assert main(["probe", "list", "--config", str(bench.config_path)]) == 69
        said = capsys.readouterr().out.splitlines()
        assert [line.split() for line in said[1:]] == [
            ["box-a", "a", "0", "min", "ago", "3.90", "V", "-67", "dBm", "-"],
            ["outdoor", "outdoor", "never", "-", "-", "-"],
        ]
        assert bench.stop() == 0
    broker.stop()


def _rows(bench: Bench) -> list[float]:
    found = [reading for reading in bench.readings() if reading.probe == "box-a"]
    return [reading.raw for reading in found if reading.quantity == "temperature_c"]


def _notes(bench: Bench) -> list[str]:
    with JournalReader.open(bench.journal_path) as reader:
        return [note.text for note in reader.notes(0.0, time.time() + 60)]


# ---- what fails changes nothing


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (["add", "box-a", "--box", "a"], 78, "probe[2].name"),
        (["add", "a b", "--box", "a"], 78, "probe[2].name"),
        (["add", "attic", "--box", "z"], 78, "probe[2].box"),
        (["add", "attic", "--box", "a", "--interval-min", "500"], 78, "probe[2].interval_min"),
        (["add", "attic", "--box", "a", "--board", "box-a"], 73, "--rom: missing"),
        (["add", "attic", "--box", "a", "--board", "nobody", "--rom", "28"], 73, "--board: nobody"),
        (["add", "attic", "--box", "a", "--board", "box-a", "--rom", "28"], 73, "box-a.probe.json"),
        (["swap", "nobody"], 73, "probe: nobody: the config file knows box-a, outdoor"),
        (["swap", "box-a", "--sensor-id", "28-00000000abcd"], 73, "only for a wired probe"),
    ],
)
def test_a_fault_is_named_and_leaves_everything_as_it_was(
    config: Path, capsys: pytest.CaptureFixture[str], words: list[str], code: int, said: str
) -> None:
    before = {path.name: path.read_bytes() for path in config.parent.iterdir()}
    assert probe(config, None, *words) == code
    assert said in capsys.readouterr().err
    assert {path.name: path.read_bytes() for path in config.parent.iterdir()} == before


def test_without_the_brokers_tool_the_config_stays_and_the_package_is_named(
    config: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("coldbrood.enrol.HASHER", "mosquitto_passwd_that_is_not_here")
    assert probe(config, None, "add", "attic", "--box", "a") == 73
    assert "install the package mosquitto" in capsys.readouterr().err
    assert config.read_text(encoding="utf-8") == SAMPLE
