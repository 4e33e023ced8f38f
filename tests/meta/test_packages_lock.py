"""Promise: each package that the daemon asks for is locked within its bounds, and in a bill of materials.

The bill is CycloneDX, made from the lock by the project of that name; what it must hold, pyproject says.
"""

import json
import re
import subprocess
import sys
import tomllib
from pathlib import Path

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).parents[2]
LOCK = ROOT / "deploy" / "packages.lock"


def locked() -> dict[str, str]:
    lines = [line for line in LOCK.read_text(encoding="utf-8").splitlines() if not line.startswith("#")]
    found = [re.fullmatch(r"([a-z0-9-]+)==([0-9][\w.]*)", line) for line in lines]
    assert all(found), "one package a line, each at one version"
    return {match[1]: match[2] for match in found if match is not None}


def asked_for() -> list[Requirement]:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    return [
        Requirement(line) for line in (*project["dependencies"], *project["optional-dependencies"]["mirror"])
    ]


def test_each_package_asked_for_is_locked_within_its_bounds() -> None:
    lock = locked()
    for wanted in asked_for():
        name = canonicalize_name(wanted.name)
        assert name in lock, f"{name}: not in deploy/packages.lock"
        assert wanted.specifier.contains(lock[name]), f"{name} {lock[name]}: outside {wanted.specifier}"


def test_the_bill_of_materials_lists_every_locked_package_and_no_other() -> None:
    options = ["--output-format", "JSON", "--no-validate"]  # its check against the schema takes minutes
    command = [sys.executable, "-m", "cyclonedx_py", "requirements", str(LOCK), *options]
    done = subprocess.run(command, capture_output=True, text=True, timeout=100, check=True)
    bill = json.loads(done.stdout)
    assert bill["bomFormat"] == "CycloneDX"
    assert {part["name"]: part["version"] for part in bill["components"]} == locked()
