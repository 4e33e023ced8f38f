"""What the tests import under tests/run is the built wheel: in site-packages, typed, and free of tests."""

import importlib.metadata
import os
from pathlib import Path

import coldbrood

ROOT = Path(__file__).parents[2]
SOURCE = ROOT / "daemon"


def source_files() -> set[str]:
    """Every file of the package in the checkout, relative to the source root."""
    files = (path for path in (SOURCE / "coldbrood").rglob("*") if path.is_file())
    return {path.relative_to(SOURCE).as_posix() for path in files if "__pycache__" not in path.parts}


def test_the_package_under_test_is_the_one_meant() -> None:
    """Under tests/run the wheel; under a bare pytest the developer's own checkout."""
    where = Path(coldbrood.__file__).resolve()
    if os.environ.get("COLDBROOD_WHEEL") == "1":
        assert "site-packages" in where.parts
    else:
        assert where.is_relative_to(SOURCE)


def test_the_installed_distribution_has_no_tests_and_says_its_version() -> None:
    files = importlib.metadata.files("coldbrood") or []
    assert files
    assert [str(path) for path in files if path.parts[0] in {"tests", "fixtures", "daemon"}] == []
    assert importlib.metadata.version("coldbrood") == coldbrood.__version__


def test_the_installed_package_is_the_checkout_file_for_file() -> None:
    package = Path(coldbrood.__file__).resolve().parent
    assert (package / "py.typed").is_file()
    for name in source_files():
        assert (package.parent / name).read_bytes() == (SOURCE / name).read_bytes(), name
