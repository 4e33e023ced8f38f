"""The top level of the checkout holds what the design allows and nothing else, and no rubbish is tracked."""

import subprocess
from pathlib import Path

ROOT = Path(__file__).parents[2]
ALLOWED = {"README.md", "DEVELOPERS.md", "pyproject.toml", "daemon", "config", "deploy", "tests", "fixtures"}
RUBBISH = {".pyc", ".db", ".sqlite", ".sqlite3", ".log", ".whl", ".orig", ".rej", ".swp"}


def tracked() -> list[Path]:
    """What git tracks; the checkout may belong to another user than the one who tests."""
    listing = subprocess.run(
        ["git", "-c", "safe.directory=*", "ls-files", "-z"], cwd=ROOT, capture_output=True, check=True
    )
    return [Path(name) for name in listing.stdout.decode().split("\0") if name]


def test_top_level_is_exactly_the_allowed_one() -> None:
    top = {path.parts[0] for path in tracked()}
    assert {name for name in top if not name.startswith(".")} == ALLOWED


def test_nothing_made_by_a_run_is_tracked() -> None:
    kept = [path for path in tracked() if path.parts[0] != "fixtures"]
    assert [str(path) for path in kept if path.suffix in RUBBISH] == []


def test_what_is_run_by_hand_is_executable() -> None:
    for name in ("deploy/try", "tests/run", ".ci/run"):
        mode = (ROOT / name).stat().st_mode
        assert mode & 0o111, f"{name} is not executable"
