"""The house keeps its floors: import-linter passes, and fails for each planted import the design forbids."""

import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
LINTER = Path(sys.executable).with_name("lint-imports")


def lint(checkout: Path) -> subprocess.CompletedProcess[str]:
    """Run the linter on a checkout's own source, whatever is installed."""
    command = [sys.executable, str(LINTER), "--no-cache"]
    environ = {"PYTHONPATH": str(checkout / "daemon"), "PATH": "/usr/bin:/bin"}
    return subprocess.run(command, cwd=checkout, env=environ, capture_output=True, text=True, timeout=60)


@pytest.fixture
def copy(tmp_path: Path) -> Path:
    """A copy of the source and the contracts to plant offences in."""
    shutil.copytree(ROOT / "daemon", tmp_path / "daemon", ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copy(ROOT / "pyproject.toml", tmp_path)
    return tmp_path


def test_the_house_as_it_stands(copy: Path) -> None:
    done = lint(copy)
    assert done.returncode == 0, done.stdout + done.stderr


# What is planted where: into each room's __init__ an import of what it may not know.
FORBIDDEN = [
    ("brooder/__init__.py", "import coldbrood.watch.events"),
    ("brooder/__init__.py", "import coldbrood.clock"),
    ("watch/__init__.py", "import coldbrood.journal"),
    ("watch/__init__.py", "import coldbrood.settings"),
    ("probes/__init__.py", "import coldbrood.journal"),
    ("journal/__init__.py", "import coldbrood.deliver"),
    ("deliver/__init__.py", "import coldbrood.settings"),
    ("settings/__init__.py", "import coldbrood.probes"),
    ("probes/__init__.py", "import coldbrood.clock"),
    ("journal/__init__.py", "import coldbrood.report"),
    ("report/__init__.py", "import coldbrood.upkeep"),
    ("keep.py", "import coldbrood.links"),
    ("journal/__init__.py", "import coldbrood.service"),
    ("settings/__init__.py", "import coldbrood.cli"),
    ("service.py", "import coldbrood.cli"),
    ("service.py", "import coldbrood.demo"),
    ("demo/__init__.py", "import coldbrood.cli"),
]


@pytest.mark.parametrize(
    ("where", "line"), FORBIDDEN, ids=lambda text: text.removeprefix("import coldbrood.")
)
def test_a_forbidden_import_is_caught(copy: Path, where: str, line: str) -> None:
    offender = copy / "daemon" / "coldbrood" / where
    offender.write_text(offender.read_text(encoding="utf-8") + f"\n{line}  # planted\n", encoding="utf-8")
    done = lint(copy)
    assert done.returncode == 1
    assert line.removeprefix("import ") in done.stdout


def test_a_room_without_a_floor_is_caught(copy: Path) -> None:
    (copy / "daemon" / "coldbrood" / "attic.py").write_text('"""A room nobody placed."""\n', encoding="utf-8")
    done = lint(copy)
    assert done.returncode == 1
    assert "attic" in done.stdout
