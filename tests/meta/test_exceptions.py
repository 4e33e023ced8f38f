"""Each exception from the strict tools says which rule and why on its line, and no test is skipped."""

import io
import re
import tokenize
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
PYTHON_FILES = sorted([*(ROOT / "daemon").rglob("*.py"), *(ROOT / "tests").rglob("*.py")])

MARK = re.compile(r"#\s*(noqa|type:\s*ignore|ruff:|mypy:|fmt:|pragma:|isort:)", re.IGNORECASE)
RULE = re.compile(
    r"#\s*(noqa:\s*[A-Z]+\d+(,\s*[A-Z]+\d+)*|type:\s*ignore\[[a-z-]+(,\s*[a-z-]+)*\]|fmt:\s*skip\b)"
)
SKIPS = re.compile(r"pytest\.(skip|importorskip|xfail)\b|pytest\.mark\.(skip|skipif|xfail)\b|unittest\.skip")


def faults(source: str) -> list[str]:
    """Comments that switch a tool off without a rule, or without a reason of at least two words."""
    found = []
    for token in tokenize.generate_tokens(io.StringIO(source).readline):
        if token.type == tokenize.COMMENT and MARK.search(token.string):
            reason, ruled = RULE.subn("", token.string)
            if not ruled or MARK.search(reason) or len(re.findall(r"[A-Za-z]{2,}", reason)) < 2:
                found.append(f"line {token.start[0]}: {token.string}")
    return found


def skips(source: str) -> list[str]:
    """Lines that would let a test pass without running; a text in quotes is no such line."""
    tokens = tokenize.generate_tokens(io.StringIO(source).readline)
    code = "".join(token.string for token in tokens if token.type not in (tokenize.STRING, tokenize.COMMENT))
    return [match[0] for match in SKIPS.finditer(code)]


@pytest.mark.parametrize("path", PYTHON_FILES, ids=lambda path: path.relative_to(ROOT).as_posix())
def test_exceptions_carry_their_reason(path: Path) -> None:
    source = path.read_text(encoding="utf-8")
    assert faults(source) == []
    assert skips(source) == []


# Split in two, so that this file's own comments stay clean for the tools that read it.
@pytest.mark.parametrize(
    "comment",
    [
        "no" + "qa",
        "no" + "qa: E501",
        "type:" + " ignore",
        "type:" + " ignore[arg-type]",
        "fmt:" + " off",
        "fmt:" + " skip",
    ],
)
def test_a_bare_exception_is_caught(comment: str) -> None:
    assert faults(f"x = 1  # {comment}\n")


def test_an_exception_with_rule_and_reason_passes() -> None:
    told = "no" + "qa: BLE001 - the network thread must live"
    typed = "type:" + " ignore[arg-type]  # the stub lags behind"
    drawn = "a table as printed # " + "fmt:" + " skip"
    assert faults(f"x = 1  # {told}\ny = 2  # {typed}\nz = 3  # {drawn}\n") == []


def test_a_skip_is_caught() -> None:
    assert skips("import pytest\n@pytest.mark.skipif(True)\ndef test_x() -> None: ...\n")
    assert skips("import pytest\ndef test_x() -> None:\n    pytest.skip('no broker')\n")
    assert skips("x = 'pytest.skip'\n") == []


def test_each_rule_ignored_for_all_files_has_its_reason() -> None:
    text = (ROOT / "pyproject.toml").read_text(encoding="utf-8")
    listed = re.findall(r'^    "(?:D|ARG|[A-Z]+)\d*",.*$', text, re.MULTILINE)
    relaxed = re.findall(
        r"^(?:ignore_\w+|disable_error_code|warn_\w+|disallow_\w+) = .*$", text, re.MULTILINE
    )
    assert listed
    assert relaxed
    assert [line for line in listed + relaxed if "#" not in line] == []
