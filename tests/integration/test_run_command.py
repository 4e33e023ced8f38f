"""Promise: the real daemon keeps what strangers' clients send, warns by HTTP, says plainly what is wrong."""

import json
import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from bench import SITE, Bench, senml
from broker import Broker

FOREIGN = """
[[probe]]
name = "shed"
role = "outdoor"
format = "pointers"
[probe.pointers]
temperature_c = "/sensors/0/temp"
battery_v = "/power/volts"
[[probe]]
name = "bare"
role = "box"
box = "a"
format = "plain"
unit = "F"
"""


@pytest.fixture
def bench(tmp_path: Path, broker: Broker) -> Iterator[Bench]:
    with Bench(tmp_path, broker, probes=FOREIGN) as made:
        yield made


def command(bench: Bench, verb: str, *options: str) -> subprocess.CompletedProcess[str]:
    """Run one verb as the keeper would."""
    whole = [sys.executable, "-m", "coldbrood", verb, "--config", str(bench.config_path), *options]
    return subprocess.run(whole, capture_output=True, text=True, timeout=60)


def test_three_kinds_of_payload_by_debians_own_client_are_kept(bench: Bench) -> None:
    bench.start()
    bench.publish("box-a", senml(24.5))
    bench.publish("shed", '{"sensors": [{"temp": 6.25}], "power": {"volts": 3.71}}')
    bench.publish("bare", "75.2")
    bundle = [
        {"bu": "Cel", "n": "t", "t": -600, "v": 6.0},
        {"n": "t", "t": -300, "v": 5.5},
        {"n": "t", "v": 5.0},
    ]
    bench.publish("outdoor", json.dumps(bundle))
    bench.flush()
    kept = {(r.probe, r.quantity, round(r.value, 6)) for r in bench.readings()}
    assert kept == {
        ("box-a", "temperature_c", 24.5),
        ("shed", "temperature_c", 6.25),
        ("shed", "battery_v", 3.71),
        ("bare", "temperature_c", 24.0),
        ("outdoor", "temperature_c", 6.0),
        ("outdoor", "temperature_c", 5.5),
        ("outdoor", "temperature_c", 5.0),
    }
    slept = [r.t_s for r in bench.readings() if r.probe == "outdoor"]
    assert [round(t - slept[-1]) for t in slept] == [-600, -300, 0]


def test_too_hot_comes_to_the_phone_at_the_second_reading_and_once(bench: Bench) -> None:
    bench.start()
    bench.send_c("box-a", 33.0, 34.5, 34.75)
    (request,) = bench.receivers["phone"].wait_for(1)
    said = request.json()
    assert said["title"].startswith("Too hot: box A")
    assert "Lift the lid a little" in said["message"]
    bench.send_c("box-a", 34.8, 34.9)
    bench.flush()
    assert len(bench.titles()) == 1


def test_what_cannot_be_true_is_refused_counted_and_kept(bench: Bench) -> None:
    bench.start()
    for payload in ("", "nonsense", "[]", '[{"n":"t","u":"Cel","v":85.0}]', '[{"n":"t","u":"Cel","v":-127}]'):
        bench.publish("box-a", payload)
    bench.publish("stranger", senml(20.0))
    bench.send_c("box-a", 21.0)
    bench.flush()
    bench.stop()
    assert [r.value for r in bench.readings()] == [21.0]
    shown = command(bench, "status", "--json")
    assert shown.returncode == os.EX_UNAVAILABLE, "the daemon is stopped, and status says so"
    probe = next(p for p in json.loads(shown.stdout)["probes"] if p["probe"] == "box-a")
    assert (
        probe["refused"] == {"bad-payload": 2, "no-temperature": 1, "out-of-range": 0}
        or sum(probe["refused"].values()) == 5
    )


def test_a_note_by_mqtt_and_one_by_the_command_are_both_taken(bench: Bench) -> None:
    bench.start()
    bench.send_c("box-a", 22.0)
    bench.publish_to(f"coldbrood/{SITE}/note", '{"kind": "count", "count": 15, "key": "n-1"}')
    bench.publish_to(f"coldbrood/{SITE}/note", '{"kind": "count", "count": 15, "key": "n-1"}')
    done = command(bench, "note", "look-in", "huddled")
    assert (done.returncode, done.stdout) == (0, "noted: look-in\n")
    bench.wait_for(lambda: "look-in" in bench.log_text(), "the note to be taken", 40.0)
    bench.stop()
    shown = command(bench, "status")
    assert "chicks       15" in shown.stdout
    assert "seen huddled" in shown.stdout
    assert bench.log_text().count("state=count") == 1


def test_the_boxs_state_is_published_and_stays(bench: Bench) -> None:
    bench.start()
    bench.send_c("box-a", 23.5)
    listen = ["mosquitto_sub", "-h", "127.0.0.1", "-p", str(bench.broker.port), "-C", "1", "-W", "20"]
    state = subprocess.run(
        [*listen, "-t", f"coldbrood/{SITE}/a/state"], capture_output=True, text=True, timeout=30, check=True
    )
    shown = json.loads(state.stdout)
    assert shown["box"] == "a"
    assert shown["box_c"] == 23.5
    birth = subprocess.run(
        [*listen, "-t", f"coldbrood/{SITE}/daemon"], capture_output=True, text=True, timeout=30, check=True
    )
    assert json.loads(birth.stdout)["status"] == "online"


def test_the_daemon_ends_on_a_signal_with_nothing_lost(bench: Bench) -> None:
    for number in (signal.SIGTERM, signal.SIGINT):
        bench.start()
        before = len(bench.readings())
        bench.send_c("box-a", 20.0 + number / 10)
        bench.flush()
        assert bench.stop(number) == 0
        assert len(bench.readings()) == before + 1


def test_a_bad_config_is_exit_78_with_every_fault(tmp_path: Path) -> None:
    bad = tmp_path / "bad.toml"
    bad.write_text('[site]\nname = "x y"\n[keeper]\nlead_min = 0\n')
    whole = [sys.executable, "-m", "coldbrood", "run", "--config", str(bad)]
    done = subprocess.run(whole, capture_output=True, text=True, timeout=60)
    assert done.returncode == 78
    assert "site.name: " in done.stderr
    assert "keeper.lead_min: 0: " in done.stderr


def test_a_journal_that_cannot_be_had_is_one_line_that_says_what_to_do(bench: Bench) -> None:
    bench.journal_path.mkdir()
    bench.launch()
    assert bench.daemon is not None
    assert bench.daemon.wait(20) == os.EX_IOERR
    (line,) = [line for line in bench.log_text().splitlines() if not line.startswith("caution: ")]
    assert "journal.db: it is a directory: name a file" in line


def test_a_second_daemon_on_the_same_journal_is_turned_away(bench: Bench) -> None:
    bench.start()
    second = command(bench, "run")
    assert second.returncode == os.EX_IOERR
    assert "another coldbrood is writing it: stop the other one first" in second.stderr


def test_no_broker_is_said_and_the_daemon_goes_on_trying(bench: Bench) -> None:
    bench.broker.stop()
    bench.launch()
    bench.wait_for(lambda: "link=larch-lane state=down" in bench.log_text(), "the lost broker to be said")
    bench.broker.start()
    bench.wait_for(lambda: "link=larch-lane state=up" in bench.log_text(), "the link to come back", 60.0)
    bench.send_c("box-a", 19.0)
    bench.flush()
    assert bench.stop() == 0
    assert [r.value for r in bench.readings()] == [19.0]
