"""Promise: the doctor finds what is wrong with each part; what to do first comes first.

Each line has its state, what it means and what to do; exit 0 without a fault, 69 with one, 78 for the config.
"""

import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from bench import Bench
from broker import Broker
from receiver import Answer

USER, PASSWORD = "coldbrood", "pw-of-the-daemon"
ACL = f"user {USER}\ntopic read coldbrood/+/+/reading\ntopic read coldbrood/+/note\n"
STATES = ("fault", "caution", "well")


def doctor(bench: Bench) -> tuple[int, dict[str, tuple[str, str]], list[str]]:
    """Exit code, state and text by what was looked at, the lines as they came."""
    command = [sys.executable, "-m", "coldbrood", "doctor", "--config", str(bench.config_path)]
    done = subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)
    assert "Traceback" not in done.stderr, done.stderr
    found: dict[str, tuple[str, str]] = {}
    lines = done.stdout.splitlines()
    for line in lines:
        state, rest = line.split(maxsplit=1)
        what, text = rest.split(": ", 1)
        assert state in STATES
        assert state == "well" or " To do: " in text, line
        found.setdefault(what, (state, text))
    order = [STATES.index(line.split(maxsplit=1)[0]) for line in lines]
    assert order == sorted(order), "what to do first does not come first"
    return done.returncode, found, lines


@pytest.fixture
def bench(tmp_path: Path, broker: Broker) -> Iterator[Bench]:
    with Bench(tmp_path, broker) as made:
        yield made


def hear(bench: Bench, *probes: str) -> None:
    for probe in probes:
        bench.send_c(probe, 25.0)
    bench.flush()


def test_a_site_in_order_has_no_fault(bench: Bench) -> None:
    bench.start()
    hear(bench, "box-a", "outdoor")
    code, found, _ = doctor(bench)
    assert code == 0, found
    well = {what for what, (state, _) in found.items() if state == "well"}
    assert well >= {"disk", "journal", "daemon", "broker", "access list", "probe box-a", "probe outdoor"}
    assert found["channel phone"] == ("caution", "nothing was sent on it yet. To do: coldbrood alert --test.")
    assert "clock" in found
    bench.stop()


def test_a_dead_daemon_and_a_dead_broker_come_first(bench: Bench) -> None:
    bench.start()
    hear(bench, "box-a")
    bench.stop(signal.SIGKILL)
    bench.broker.stop()
    code, found, lines = doctor(bench)
    assert code == 69
    assert [line.split(": ")[0].split(maxsplit=1)[1] for line in lines[:3]] == [
        "daemon",
        "broker",
        "probe outdoor",
    ]
    assert found["daemon"][1].startswith("does not run, so nothing is watched. To do: systemctl start")
    assert "nothing answers at 127.0.0.1" in found["broker"][1]
    assert "start the broker" in found["broker"][1]
    assert found["probe outdoor"][1].startswith("never heard")


def test_a_wrong_password_is_named(tmp_path: Path, new_broker: object) -> None:
    assert callable(new_broker)
    broker = new_broker(user=USER, password=PASSWORD)
    with secured(tmp_path, broker, "wrong") as bench:
        code, found, _ = doctor(bench)
        assert code == 69
        assert found["broker"][0] == "fault"
        assert "refuses the user name or password" in found["broker"][1]
        assert "password file" in found["broker"][1]
        secret(bench, PASSWORD)
        _, found, _ = doctor(bench)
        assert (found["broker"][0], found["access list"][0]) == ("well", "well")


def test_an_access_list_that_shuts_the_daemon_out_is_named(tmp_path: Path, new_broker: object) -> None:
    assert callable(new_broker)
    broker = new_broker(user=USER, password=PASSWORD, acl=ACL)
    with secured(tmp_path, broker, PASSWORD) as bench:
        _, found, _ = doctor(bench)
        assert found["broker"][0] == "well"
        assert found["access list"][0] == "fault"
        assert "let the daemon's user read and write coldbrood/larch-lane/daemon" in found["access list"][1]


def secured(folder: Path, broker: Broker, password: str) -> Bench:
    bench = Bench(folder, broker)
    text = bench.config_path.read_text()
    login = f'port = {broker.port}\nusername = "{USER}"\npassword_file = "broker-password"'
    bench.config_path.write_text(text.replace(f"port = {broker.port}", login))
    secret(bench, password)
    return bench


def secret(bench: Bench, password: str) -> None:
    path = bench.folder / "broker-password"
    path.touch(mode=0o600)
    path.write_text(password)


def test_channel_rights_probe_and_damage_are_named_in_one_go(bench: Bench) -> None:
    bench.receivers["phone"].answer = Answer(status=403)
    bench.start()
    bench.send_c("box-a", 34.5, 34.75, 35.0)
    for _ in range(3):
        bench.publish("outdoor", "no SenML")
    bench.receivers["phone"].wait_for(1)
    bench.flush()
    bench.wait_for(lambda: "state=refused" in bench.log_text(), "the outcome")
    bench.flush()
    bench.stop()
    (bench.folder / "phone-url").chmod(0o644)
    code, found, _ = doctor(bench)
    assert code == 69
    assert found["channel phone"][0] == "fault"
    assert "HTTP 403" in found["channel phone"][1]
    assert found["probe outdoor"][1].startswith(
        "never heard; refused: bad-payload 3. To do: look at the format"
    )
    assert found["rights"][0] == "caution"
    assert "channel[0].url_file" in found["rights"][1]
    body = bytearray(bench.journal_path.read_bytes())
    body[4096:-1024:7] = b"\xff" * len(body[4096:-1024:7])
    bench.journal_path.write_bytes(body)
    code, found, lines = doctor(bench)
    assert code == 69
    assert found["journal"][0] == "fault", lines
    assert "it is set aside, and a new one made" in found["journal"][1]


def test_a_config_at_fault_is_all_that_is_told(bench: Bench) -> None:
    bench.config_path.write_text(bench.config_path.read_text().replace("chicks = 16", "chicks = -3"))
    code, found, lines = doctor(bench)
    assert (code, len(lines)) == (78, 1)
    assert found["config box[0].chicks"][0] == "fault"
    assert "allowed is: a whole number, 0 to 150" in found["config box[0].chicks"][1]
