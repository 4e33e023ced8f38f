"""Promise: the README's own way to encryption works end to end, and no secret comes out of the daemon.

A stranger can neither silence an alarm nor write a note: tests/meta/test_deploy_broker.py sees to that.
"""

import os
import re
import shlex
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from bench import SITE, Bench, senml
from broker import Broker
from receiver import Answer

ROOT = Path(__file__).parents[2]
PASSWORD, TOKEN = "pw-hush-hush", "tk-hush-hush"
HOT = (33.0, 34.5, 34.75)


def guide(folder: Path) -> None:
    """Carry out the README's commands as they stand there, with this machine's address for the board's."""
    section = (ROOT / "README.md").read_text(encoding="utf-8").split("### Encrypt the way to the broker")[1]
    block = re.findall(r"^ {4}(?:openssl|printf) .*$", section.split("\n### ")[0], re.MULTILINE)
    assert len(block) == 4
    script = "\n".join(line.strip().replace("192.0.2.10", "127.0.0.1") for line in block)
    done = subprocess.run(["sh", "-ec", script], cwd=folder, capture_output=True, text=True, timeout=60)
    assert done.returncode == 0, done.stderr


def tell_config(bench: Bench, *lines: str) -> None:
    """More keys in the config's [broker]."""
    text = bench.config_path.read_text(encoding="utf-8")
    bench.config_path.write_text(text.replace("[broker]\n", "[broker]\n" + "\n".join(lines) + "\n"), "utf-8")


def publish(bench: Bench, celsius: float, *options: str) -> int:
    command = ["mosquitto_pub", "-h", "127.0.0.1", "-p", str(bench.broker.port), "-q", "1", *options]
    topic = f"coldbrood/{SITE}/box-a/reading"
    return subprocess.run([*command, "-t", topic, "-m", senml(celsius)], timeout=20, check=False).returncode


def test_the_guides_certificate_carries_a_reading_and_an_alarm(
    tmp_path: Path, new_broker: Callable[..., Broker]
) -> None:
    guide(tmp_path)
    secured = new_broker(more=f"certfile {tmp_path}/board.pem\nkeyfile {tmp_path}/board.key\n")
    with Bench(tmp_path, secured) as bench:
        tell_config(bench, 'tls_ca = "ca.pem"')
        bench.start()
        for celsius in HOT:
            assert publish(bench, celsius, "--cafile", str(tmp_path / "ca.pem")) == 0
        bench.receivers["phone"].wait_for(1, 60.0)
        assert publish(bench, 30.0) != 0, "without encryption there is no way in"
        bench.flush("--cafile", str(tmp_path / "ca.pem"))
        bench.stop()
        assert [reading.value for reading in bench.readings()] == list(HOT)


def test_a_broker_of_another_authority_is_not_spoken_to(
    tmp_path: Path, new_broker: Callable[..., Broker]
) -> None:
    other = tmp_path / "other"
    other.mkdir()
    guide(tmp_path)
    guide(other)
    secured = new_broker(more=f"certfile {other}/board.pem\nkeyfile {other}/board.key\n")
    with Bench(tmp_path, secured) as bench:
        tell_config(bench, 'tls_ca = "ca.pem"')
        bench.launch()
        bench.wait_for(
            lambda: "not trusted: check broker.tls_ca" in bench.log_text(), "the distrust to be said"
        )
        assert f"link={SITE} state=up" not in bench.log_text()
        bench.stop()


@pytest.fixture
def guarded(tmp_path: Path, new_broker: Callable[..., Broker]) -> Bench:
    """A site with a password at the broker and a token in the phone's address."""
    bench = Bench(tmp_path, new_broker(user="coldbrood", password=PASSWORD))
    for name, text in (
        ("broker-password", PASSWORD),
        ("phone-url", f"json://keeper:{TOKEN}@{bench.receivers['phone'].address}/{TOKEN}?auth={TOKEN}\n"),
    ):
        (tmp_path / name).touch(mode=0o600)
        (tmp_path / name).write_text(text)
    tell_config(bench, 'username = "coldbrood"', 'password_file = "broker-password"')
    return bench


@pytest.mark.parametrize("status", [200, 403, 500])
def test_no_secret_is_in_log_journal_export_status_or_process_list(guarded: Bench, status: int) -> None:
    with guarded as bench:
        bench.receivers["phone"].answer = Answer(status=status, body=f"no: {TOKEN}".encode())
        bench.start()
        assert bench.daemon is not None
        login = ("-u", "coldbrood", "-P", PASSWORD)
        assert [publish(bench, celsius, *login) for celsius in HOT] == [0, 0, 0]
        bench.receivers["phone"].wait_for(1, 60.0)
        process = Path(f"/proc/{bench.daemon.pid}")
        seen = {name: (process / name).read_bytes() for name in ("cmdline", "environ")}
        bench.stop()
        seen["log"] = bench.log_text().encode()
        for verb in ("status", "export"):
            seen[verb] = _said(bench, verb)
        for path in (bench.journal_path, *(bench.folder / "tables").rglob("*")):
            if path.is_file():
                seen[path.name] = path.read_bytes()
        assert len(seen) > 8, "an export of several tables was looked at"
        for where, data in seen.items():
            for secret in (PASSWORD, TOKEN):
                assert secret.encode() not in data, where


def _said(bench: Bench, verb: str) -> bytes:
    more = [str(bench.folder / "tables")] if verb == "export" else []
    command = shlex.join([sys.executable, "-m", "coldbrood", verb, "--config", str(bench.config_path), *more])
    done = subprocess.run(["sh", "-c", f"{command} 2>&1"], capture_output=True, timeout=60, check=False)
    assert done.returncode in (0, os.EX_UNAVAILABLE), done.stdout
    return done.stdout
