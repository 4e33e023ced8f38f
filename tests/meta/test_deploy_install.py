"""The installer on a root of our own: all is put in place once, a second run changes nothing, a run cut off
at any file can be done again, what is taken away leaves the journal. Long form: `tests/clean_root/run`."""

import os
import re
import shutil
import stat
import subprocess
import sys
from pathlib import Path

import pytest
from hardened_broker import HardenedBroker

ROOT = Path(__file__).parents[2]
DEPLOY = ROOT / "deploy"
INSTALL = DEPLOY / "install.sh"
SCRIPTS = sorted({*DEPLOY.glob("*.sh"), DEPLOY / "try", ROOT / "tests" / "run", ROOT / ".ci" / "run"})
LONG_FORM = ROOT / "tests" / "clean_root" / "inside.sh"

PLACES = {
    "etc/mosquitto/coldbrood.acl": ("broker/coldbrood.acl", 0o600, "mosquitto:mosquitto"),
    "etc/mosquitto/conf.d/coldbrood.conf": ("broker/coldbrood.conf", 0o644, "root:root"),
    "etc/systemd/system/mosquitto.service.d/coldbrood.conf": ("broker/restart.conf", 0o644, "root:root"),
    "etc/systemd/journald.conf.d/coldbrood.conf": ("log-limits.conf", 0o644, "root:root"),
    "etc/systemd/system.conf.d/coldbrood.conf": ("board-watchdog.conf", 0o644, "root:root"),
    "etc/sysctl.d/60-coldbrood.conf": ("card.conf", 0o644, "root:root"),
    "etc/systemd/system/coldbrood.service": ("coldbrood.service", 0o644, "root:root"),
}
KEPT = (
    "etc/coldbrood/coldbrood.toml",
    "etc/coldbrood/secrets/broker-password",
    "var/lib/coldbrood/journal.db",
)

# The functions of the script on a root of our own. Owners are written down, since their users are not here.
FAKE = r"""
set -euo pipefail
. "$INSTALL"
at=$FAKE_ROOT
chown() { printf '%s %s\n' "${2%.new}" "$1" >>"$at.owners"; }
owner_of() { awk -v path="$1" '$1 == path { owner = $2 } END { print owner }' "$at.owners"; }
mv() {
    moves=$((${moves:-0} + 1))
    [ "$moves" != "${CUT_AT:-0}" ] || exit 9
    command mv "$@"
}
files() { install_folders; install_broker; install_system; enable_unit; }
"""


@pytest.fixture
def root(tmp_path: Path) -> Path:
    """A root with the folders that Debian's packages bring, and our own venv as the installed program."""
    made = tmp_path / "root"
    for folder in ("etc/mosquitto/conf.d", "etc/systemd/system", "usr/local/bin", "opt/coldbrood"):
        (made / folder).mkdir(parents=True)
    (tmp_path / "root.owners").touch()
    (made / "opt/coldbrood/.venv").symlink_to(sys.prefix)
    return made


def bash(root: Path, script: str, **environ: str) -> subprocess.CompletedProcess[str]:
    """Run lines after the script's functions were read."""
    environ = {**os.environ, "INSTALL": str(INSTALL), "FAKE_ROOT": str(root), **environ}
    return subprocess.run(
        ["/bin/bash", "-c", FAKE + script], env=environ, capture_output=True, text=True, timeout=60
    )


def listing(root: Path) -> dict[str, tuple[int, bytes]]:
    """Mode and content of each file and folder; of a link where it leads."""
    found: dict[str, tuple[int, bytes]] = {}
    for path in root.rglob("*"):
        if path.is_symlink():
            found[str(path)] = (0, os.readlink(path).encode())
        else:
            mode = stat.S_IMODE(path.stat().st_mode)
            found[str(path)] = (mode, path.read_bytes() if path.is_file() else b"")
    return found


def owners(root: Path) -> dict[str, str]:
    lines = Path(f"{root}.owners").read_text().splitlines()
    return {str(Path(path).relative_to(root)): owner for path, owner in (line.split() for line in lines)}


@pytest.mark.parametrize("script", [*SCRIPTS, LONG_FORM], ids=lambda path: path.name)
def test_shellcheck_finds_nothing(script: Path) -> None:
    program = Path(sys.executable).with_name("shellcheck")
    command = [str(program), "--external-sources", "--source-path=SCRIPTDIR", str(script)]
    done = subprocess.run(command, capture_output=True, text=True, timeout=60)
    assert (done.returncode, done.stdout + done.stderr) == (0, "")


def test_shellcheck_would_find_something(tmp_path: Path) -> None:
    (tmp_path / "bad.sh").write_text("#!/bin/bash\nrm -rf $1\n")
    program = Path(sys.executable).with_name("shellcheck")
    done = subprocess.run(
        [str(program), str(tmp_path / "bad.sh")], capture_output=True, text=True, timeout=60
    )
    assert "SC2086" in done.stdout


def test_a_dry_run_says_each_act_and_does_none() -> None:
    looked_at = [Path("/") / place for place in (*PLACES, *KEPT, "opt/coldbrood", "usr/local/bin/coldbrood")]
    before = [path.exists() for path in looked_at]
    done = subprocess.run([str(INSTALL), "--dry-run"], capture_output=True, text=True, timeout=60)
    assert (done.returncode, done.stderr) == (0, "")
    lines = done.stdout.splitlines()
    odd = [line for line in lines if not re.match(r"(would|remains): \S|nothing to do: ", line)]
    assert odd == []
    if not any(before):
        named = [place for place in PLACES if any(line.startswith(f"would: /{place},") for line in lines)]
        assert named == list(PLACES)
    assert [path.exists() for path in looked_at] == before


def test_each_file_is_in_its_place_with_its_mode_and_owner(root: Path) -> None:
    done = bash(root, "files")
    assert (done.returncode, done.stderr) == (0, "")
    told = owners(root)
    for place, (source, mode, owner) in PLACES.items():
        path = root / place
        assert path.read_bytes() == (DEPLOY / source).read_bytes(), place
        assert (stat.S_IMODE(path.stat().st_mode), told[place]) == (mode, owner), place
    assert stat.S_IMODE((root / "etc/coldbrood/secrets").stat().st_mode) == 0o700
    assert told["var/lib/coldbrood"] == "coldbrood:coldbrood"
    assert (root / "etc/systemd/system/multi-user.target.wants/coldbrood.service").is_symlink()


def test_a_second_run_changes_nothing(root: Path) -> None:
    bash(root, "files")
    first = listing(root)
    done = bash(root, "files; echo changed=$changed")
    assert done.stdout.splitlines() == ["changed=0"]
    assert listing(root) == first


def test_a_changed_file_is_put_right(root: Path) -> None:
    bash(root, "files")
    (root / "etc/mosquitto/coldbrood.acl").write_text("topic readwrite #\n")
    (root / "etc/systemd/system/coldbrood.service").chmod(0o666)
    done = bash(root, "files; echo changed=$changed")
    assert "did: /etc/mosquitto/coldbrood.acl, 600 mosquitto:mosquitto" in done.stdout
    assert done.stdout.splitlines()[-1] == "changed=2"


def test_cut_off_at_any_file_it_can_be_done_again(root: Path, tmp_path: Path) -> None:
    """Each file is whole or not there; the next run ends where an undisturbed one does."""
    for cut_at in range(1, len(PLACES) + 1):
        fresh = tmp_path / f"cut-{cut_at}"
        shutil.copytree(root, fresh, symlinks=True)
        Path(f"{fresh}.owners").touch()
        cut = bash(fresh, "files", CUT_AT=str(cut_at))
        assert cut.returncode == 9, f"{cut_at}: {cut.stderr}"
        there = [place for place in PLACES if (fresh / place).exists()]
        assert len(there) == cut_at - 1
        again = bash(fresh, "files; echo changed=$changed")
        assert again.returncode == 0, again.stderr
        whole = [p for p in PLACES if (fresh / p).read_bytes() == (DEPLOY / PLACES[p][0]).read_bytes()]
        assert whole == list(PLACES)
        assert list(fresh.rglob("*.new")) == []
        assert bash(fresh, "files; echo changed=$changed").stdout.splitlines() == ["changed=0"]


def test_the_daemons_password_opens_the_real_broker(root: Path, tmp_path: Path) -> None:
    assert bash(root, "files").returncode == 0
    secret = root / "etc/coldbrood/secrets/broker-password"
    assert stat.S_IMODE(secret.stat().st_mode) == 0o600
    folder = tmp_path / "broker"
    folder.mkdir()
    broker = HardenedBroker(folder)
    shutil.copy(root / "etc/mosquitto/coldbrood.passwd", folder / "coldbrood.passwd")
    broker.start()
    try:
        topic = ["-t", "coldbrood/larch-lane/daemon", "-m", "x"]
        login = ["-h", "127.0.0.1", "-p", str(broker.port), "-u", "coldbrood", "-P"]
        for password, code in ((secret.read_text().strip(), 0), ("pw-daemon", 5)):
            done = subprocess.run(
                ["mosquitto_pub", *login, password, *topic], capture_output=True, timeout=20
            )
            assert done.returncode == code, done.stderr
    finally:
        broker.stop()


VERSIONS = """
build_now() { mkdir -p "$1/bin"; [ -z "${PULLED:-}" ] || exit 9; touch "$1/complete"; }
version_mark() { echo "$MARK"; }
rm -f "$at$opt/.venv"
[ -z "${OLD:-}" ] || ln -s "$OLD" "$at$opt/.venv"
install_program
"""


def test_a_new_version_takes_its_place_in_one_step_and_the_old_one_goes_last(root: Path) -> None:
    opt = root / "opt/coldbrood"
    assert bash(root, VERSIONS, MARK="one").returncode == 0
    assert os.readlink(opt / ".venv") == "version-one"
    assert os.readlink(root / "usr/local/bin/coldbrood") == "/opt/coldbrood/.venv/bin/coldbrood"
    pulled = bash(root, VERSIONS, MARK="two", OLD="version-one", PULLED="1")
    assert pulled.returncode == 9
    assert os.readlink(opt / ".venv") == "version-one"
    assert not (opt / "version-two" / "complete").exists()
    again = bash(root, VERSIONS, MARK="two", OLD="version-one")
    assert os.readlink(opt / ".venv") == "version-two", again.stderr
    assert (opt / "version-one").is_dir()
    assert bash(root, "remove_old_versions").returncode == 0
    assert sorted(path.name for path in opt.iterdir()) == [".venv", "version-two"]


def test_taken_away_it_leaves_journal_config_and_secrets(root: Path) -> None:
    bash(root, "files")
    for place in KEPT:
        (root / place).parent.mkdir(parents=True, exist_ok=True)
        (root / place).write_text("the keeper's")
    (root / "usr/local/bin/coldbrood").symlink_to("/opt/coldbrood/.venv/bin/coldbrood")
    uninstall = "id() { echo 0; }; run_uninstall; echo changed=$changed"
    done = bash(root, uninstall)
    assert done.returncode == 0, done.stderr
    assert [place for place in PLACES if (root / place).exists()] == []
    assert not (root / "opt/coldbrood").exists()
    assert not (root / "usr/local/bin/coldbrood").is_symlink()
    assert [place for place in KEPT if (root / place).read_text() != "the keeper's"] == []
    assert (root / "etc/mosquitto/coldbrood.passwd").exists()
    assert bash(root, uninstall).stdout.splitlines()[-1] == "changed=0"


@pytest.mark.parametrize(
    ("script", "words"),
    [
        ("uname() { echo armv7l; }; check_machine", "armv7l: a 64-bit system is needed"),
        ("id() { echo 1000; }; check_machine", "run it as root: sudo deploy/install.sh"),
        ("id() { echo 0; }; disk_mb_least=99999999; check_machine", "MB left, 99999999 are needed"),
        (
            "id() { echo 0; }; wheelhouse=/nowhere; check_machine",
            "--wheelhouse: /nowhere: holds no coldbrood",
        ),
        ("parse --wheelhouse", "--wheelhouse: missing: a folder"),
        ("parse --fast", "--fast: not known; --help shows what is"),
    ],
)
def test_what_is_missing_is_said_in_one_line_before_anything_is_done(
    root: Path, script: str, words: str
) -> None:
    before = listing(root)
    done = bash(root, script)
    assert done.returncode == 1
    assert words in done.stderr
    assert len(done.stderr.splitlines()) == 1
    assert listing(root) == before


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--machine", "armv7l", "d"], "--machine: armv7l: aarch64 or x86_64"),
        ([], "DIR: missing"),
        (["a", "b"], "b: one folder is enough"),
        (["--python"], "--python: missing: its value"),
    ],
)
def test_the_wheelhouse_says_what_it_cannot_do(options: list[str], words: str, tmp_path: Path) -> None:
    command = [str(DEPLOY / "wheelhouse.sh"), *options]
    done = subprocess.run(command, capture_output=True, text=True, timeout=60, cwd=tmp_path)
    assert done.returncode == 1
    assert words in done.stderr
    assert list(tmp_path.iterdir()) == []
