"""The systemd unit as shipped: systemd finds no fault in it, it is well shut in, and never gives up."""

import configparser
import subprocess
import sys
from pathlib import Path

import pytest

from coldbrood.service import BEAT_S
from coldbrood.settings.secrets import resolve

ROOT = Path(__file__).parents[2]
UNIT = ROOT / "deploy" / "coldbrood.service"
PROGRAM = "/opt/coldbrood/.venv/bin/coldbrood"

# What MemoryDenyWriteExecute forbids, looked for in the kernel's own list of the process's memory.
SHUT_IN = """
import importlib, mmap, os, pkgutil, re, sys
def open_wide():
    return re.findall(r"^\\S+ .wx. .*$", open("/proc/self/maps").read(), re.MULTILINE)
os.environ["W1THERMSENSOR_NO_KERNEL_MODULE"] = "1"
import coldbrood
found = pkgutil.walk_packages(coldbrood.__path__, "coldbrood.")
names = [m.name for m in found if ".demo" not in m.name and not m.name.endswith("__main__")]
for name in names:
    importlib.import_module(name)
import apprise, numpy, paho.mqtt.client, w1thermsensor
numpy.linalg.inv(numpy.eye(20))
assert open_wide() == [], open_wide()
planted = mmap.mmap(-1, 4096, prot=mmap.PROT_READ | mmap.PROT_WRITE | mmap.PROT_EXEC)
assert len(open_wide()) == 1, "a planted page was not seen"
print(len(names))
"""


@pytest.fixture
def unit(tmp_path: Path) -> Path:
    """The shipped unit with a program that exists here."""
    text = UNIT.read_text(encoding="utf-8")
    assert text.count(PROGRAM) == 1
    copy = tmp_path / UNIT.name
    copy.write_text(text.replace(PROGRAM, "/bin/true"), encoding="utf-8")
    return copy


def analyze(*arguments: str) -> subprocess.CompletedProcess[str]:
    """systemd-analyze, both streams."""
    return subprocess.run(["systemd-analyze", *arguments], capture_output=True, text=True, timeout=60)


def test_verify_prints_nothing(unit: Path) -> None:
    """Its exit code is 0 even for keys it does not know."""
    done = analyze("verify", str(unit))
    assert (done.returncode, done.stdout, done.stderr) == (0, "", "")


def test_verify_speaks_up_for_an_unknown_key(unit: Path) -> None:
    unit.write_text(unit.read_text(encoding="utf-8").replace("Restart=always", "Restrat=always"), "utf-8")
    assert "Restrat" in analyze("verify", str(unit)).stderr


def test_exposure_is_low(unit: Path) -> None:
    """STACK.md: a hardened unit scores 1.0 to 1.4; the scale is systemd's own, 0 to 10."""
    done = analyze("security", "--offline=true", "--threshold=14", "--no-pager", str(unit))
    print(done.stdout.splitlines()[-1])
    assert done.returncode == 0, done.stdout


def settings() -> configparser.ConfigParser:
    """The unit as INI; repeated keys keep the last."""
    parser = configparser.ConfigParser(strict=False, interpolation=None)
    parser.optionxform = str  # type: ignore[assignment, method-assign]  # systemd keys keep their case
    parser.read_string(UNIT.read_text(encoding="utf-8"))
    return parser


def test_it_never_gives_up_but_on_a_bad_config() -> None:
    unit = settings()
    assert unit["Unit"]["StartLimitIntervalSec"] == "0"
    assert unit["Service"]["Restart"] == "always"
    assert float(unit["Service"]["RestartSec"]) <= 1.0, (
        "back on watch in 5 s after a kill, its start included"
    )
    assert unit["Service"]["RestartPreventExitStatus"] == "78"


def test_the_watchdog_waits_for_some_beats_of_the_loop_that_feeds_it() -> None:
    unit = settings()["Service"]
    assert (unit["Type"], unit["NotifyAccess"]) == ("notify", "main")
    assert int(unit["WatchdogSec"]) >= 4 * BEAT_S


def test_secrets_come_as_credentials_under_the_names_that_the_config_gives_them(tmp_path: Path) -> None:
    """systemd.exec(5): "The ID for each credential will be the provided ID suffixed with _$FILENAME"."""
    name, _, folder = settings()["Service"]["LoadCredential"].partition(":")
    assert folder == "/etc/coldbrood/secrets"
    handed = tmp_path / "handed"
    handed.mkdir()
    (handed / f"{name}_phone-url").write_text("json://127.0.0.1:9/\n")
    (handed / f"{name}_phone-url").chmod(0o400)
    (tmp_path / "etc" / "secrets").mkdir(parents=True)
    found = resolve(None, "secrets/phone-url", {"CREDENTIALS_DIRECTORY": str(handed)}, tmp_path / "etc")
    assert found is not None
    assert found.secret.reveal() == "json://127.0.0.1:9/"
    (tmp_path / "etc" / "secrets" / "phone-url").write_text("json://127.0.0.1:10/\n")
    beside = resolve(None, "secrets/phone-url", {}, tmp_path / "etc")
    assert beside is not None
    assert beside.secret.reveal() == "json://127.0.0.1:10/"


def test_it_starts_without_a_network_or_a_set_clock() -> None:
    """Waiting for either would leave the chicks unwatched on the night the link is down."""
    text = UNIT.read_text(encoding="utf-8")
    assert "network-online.target" not in text
    assert "time-sync.target" not in text


def test_what_it_runs_holds_no_executable_and_writable_memory() -> None:
    done = subprocess.run([sys.executable, "-c", SHUT_IN], capture_output=True, text=True, timeout=60)
    assert done.returncode == 0, done.stderr
    assert int(done.stdout) > 10
