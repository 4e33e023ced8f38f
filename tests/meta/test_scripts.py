"""The two commands tell in one clear line what is missing, and know when nothing is left to do."""

import os
import subprocess
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
SCRIPTS = [ROOT / "deploy" / "try", ROOT / "deploy" / "venv.sh", ROOT / "tests" / "run", ROOT / ".ci" / "run"]


@pytest.fixture
def checkout(tmp_path: Path) -> Path:
    """Just enough of a checkout for the shared script, in a folder with a space in its name."""
    root = tmp_path / "a checkout"
    (root / "deploy").mkdir(parents=True)
    (root / "daemon" / "coldbrood").mkdir(parents=True)
    (root / "deploy" / "venv.sh").write_text((ROOT / "deploy" / "venv.sh").read_text("utf-8"), "utf-8")
    for name in ("pyproject.toml", "README.md", "daemon/coldbrood/__init__.py"):
        (root / name).write_text("first\n", encoding="utf-8")
    return root


def bash(checkout: Path, script: str, path: str | None = None) -> subprocess.CompletedProcess[str]:
    """Run bash lines after sourcing the shared script."""
    lines = f"set -euo pipefail\n. deploy/venv.sh\n{script}"
    environ = {**os.environ, "PATH": path or os.environ["PATH"]}
    return subprocess.run(
        ["/bin/bash", "-c", lines], cwd=checkout, env=environ, capture_output=True, text=True, timeout=60
    )


@pytest.mark.parametrize("script", SCRIPTS, ids=lambda path: path.name)
def test_scripts_are_sound_bash(script: Path) -> None:
    done = subprocess.run(["/bin/bash", "-n", str(script)], capture_output=True, text=True, timeout=60)
    assert (done.returncode, done.stderr) == (0, "")


def pretend_python(folder: Path, body: str) -> str:
    """A PATH on which python3 is a script of ours, before the usual tools."""
    folder.mkdir()
    program = folder / "python3"
    program.write_text(f"#!/bin/sh\n{body}\n", encoding="utf-8")
    program.chmod(0o755)
    return f"{folder}:/usr/bin:/bin"


@pytest.mark.parametrize(
    ("body", "words"),
    [
        ("[ $1 = --version ] && echo Python 3.9.2; exit 1", "Python 3.9.2 is too old; Python 3.11"),
        ("case $2 in *ensurepip*) exit 1;; esac; exit 0", "sudo apt install python3-venv"),
    ],
)
def test_what_is_missing_is_said_in_one_line(checkout: Path, tmp_path: Path, body: str, words: str) -> None:
    path = pretend_python(tmp_path / "bin", body)
    done = bash(checkout, "find_python() { return 1; }; make_venv", path)
    assert done.returncode == 1
    assert words in done.stderr
    assert len(done.stderr.splitlines()) == 1


def test_a_python_too_old_or_without_venv_is_passed_over(checkout: Path, tmp_path: Path) -> None:
    path = pretend_python(tmp_path / "bin", "exit 1")
    found = bash(checkout, "find_python", path).stdout.strip()
    assert found
    assert not found.startswith(str(tmp_path))


INSTALL = """
make_venv() { :; }
is_editable() { %s; }
python=fake_python
fake_python() { echo "python $*"; [ "$3" != wheel ] || touch "${*: -2:1}/coldbrood-1-py3-none-any.whl"; }
mkdir -p .venv
"""


def test_second_run_does_nothing_and_a_changed_source_asks_no_network(checkout: Path) -> None:
    """Only the wheel is made again for the source; a changed pyproject.toml asks pip for everything."""
    install = INSTALL % "false" + "install_wheel demo,test"
    first = bash(checkout, install).stdout
    assert "pip install --quiet hatchling" in first
    assert "whl[demo,test]" in first
    assert bash(checkout, install).stdout == ""
    assert bash(checkout, install.replace("demo,test", "demo")).stdout == ""
    (checkout / "daemon" / "coldbrood" / "__init__.py").write_text("second\n", encoding="utf-8")
    again = bash(checkout, install).stdout
    assert "--no-deps --force-reinstall" in again
    assert "hatchling" not in again
    assert "whl[demo,test]" not in again
    (checkout / "pyproject.toml").write_text("second\n", encoding="utf-8")
    assert "whl[demo,test]" in bash(checkout, install).stdout


def test_the_demo_alone_is_not_enough_for_the_tests(checkout: Path) -> None:
    assert "whl[demo]" in bash(checkout, INSTALL % "false" + "install_wheel demo").stdout
    assert "whl[demo,test]" in bash(checkout, INSTALL % "false" + "install_wheel demo,test").stdout


def test_an_editable_install_is_replaced_and_this_is_said(checkout: Path) -> None:
    bash(checkout, INSTALL % "false" + "install_wheel demo,test")
    done = bash(checkout, INSTALL % "true" + "install_wheel demo,test")
    assert "replacing the editable install" in done.stderr
    assert "--force-reinstall" in done.stdout


def test_a_failed_install_leaves_no_stamp(checkout: Path) -> None:
    failing = INSTALL % "false" + "sleep() { :; }\nfake_python() { return 1; }\ninstall_wheel demo"
    done = bash(checkout, failing)
    assert done.returncode == 1
    assert "pip could not install" in done.stderr
    assert not (checkout / ".venv" / "coldbrood-stamp").exists()


def test_a_venv_that_was_moved_is_made_anew(checkout: Path) -> None:
    (checkout / ".venv" / "bin").mkdir(parents=True)
    (checkout / ".venv" / "bin" / "python").symlink_to("/usr/bin/python3")
    (checkout / ".venv" / "coldbrood-home").write_text("/elsewhere\n", encoding="utf-8")
    sound = "venv_is_sound && echo sound || echo unsound"
    assert bash(checkout, sound).stdout.strip() == "unsound"
    (checkout / ".venv" / "coldbrood-home").write_text(f"{checkout.resolve()}\n", encoding="utf-8")
    assert bash(checkout, "python=python3; " + sound).stdout.strip() == "sound"
