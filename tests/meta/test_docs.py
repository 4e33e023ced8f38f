"""The docs tell the truth: each command parses, each config key and path exists, each verb has an example."""

import argparse
import ast
import re
import shlex
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest

from coldbrood.cli.main import build_parser
from coldbrood.settings.schema import sections

ROOT = Path(__file__).parents[2]
PACKAGE = ROOT / "daemon" / "coldbrood"
DOCS = [ROOT / "README.md", ROOT / "DEVELOPERS.md", ROOT / "deploy" / "guide.md"]
SAMPLES = sorted((ROOT / "config").glob("*.toml"))
VERBS = {
    "run",
    "setup",
    "check",
    "status",
    "note",
    "batch",
    "page",
    "probe",
    "calibrate",
    "hold",
    "alert",
    "doctor",
    "export",
    "import",
    "report",
    "backup",
    "restore",
    "demo",
}

KEYS = {name: set(keys) for name, _, keys in sections()}
KEYS[""] = {name for name in KEYS if "." not in name}

# A command runs to the end of its code span or line; a comment or a wide gap ends it too.
COMMAND = re.compile(r"(?:^|[\s`/])coldbrood (?P<rest>[a-z-][^`#\n]*?)(?=`|\s*#|\s{2,}|\s*$)", re.MULTILINE)
PATH = re.compile(r"(?<![\w/.])(?:daemon|config|deploy|tests|fixtures|\.ci)/[\w./-]*[\w/]")
MODULE = re.compile(
    r"`((?:cli|demo|report|probes|journal|deliver|settings|watch|brooder)/[\w.]*|[a-z]+\.py|step\.py)`"
)


def code_spans(text: str) -> Iterator[str]:
    """What stands in backquotes or in an indented block."""
    yield from re.findall(r"`([^`\n]+)`", text)
    yield from re.findall(r"^ {4}(\S.*)$", text, re.MULTILINE)


def commands(text: str) -> list[str]:
    """Each `coldbrood ...` command in code, or after `ExecStart=`, without the program's name."""
    return [match["rest"] for span in code_spans(text) for match in COMMAND.finditer(span)]


def parses(rest: str) -> bool:
    """Whether the real parser takes this command line; help, and a verb alone as its name, are taken."""
    if rest in VERBS:
        return True
    try:
        build_parser().parse_args(shlex.split(rest))
    except SystemExit as end:
        return end.code == 0
    return True


def verbs() -> dict[str, argparse.ArgumentParser]:
    """The parser of each verb."""
    actions = build_parser()._actions
    choices = [action.choices for action in actions if isinstance(action, argparse._SubParsersAction)]
    assert len(choices) == 1
    return dict(choices[0])


@pytest.mark.parametrize("path", DOCS, ids=lambda path: path.name)
def test_each_command_in_the_docs_parses(path: Path) -> None:
    found = commands(path.read_text(encoding="utf-8"))
    assert found
    assert [rest for rest in found if not parses(rest)] == []


def test_commands_in_samples_and_unit_parse() -> None:
    unit = (ROOT / "deploy" / "coldbrood.service").read_text(encoding="utf-8")
    started = re.findall(r"^ExecStart=\S+/coldbrood (.+)$", unit, re.MULTILINE)
    told = [
        match["rest"]
        for path in SAMPLES
        for match in COMMAND.finditer(path.read_text("utf-8"))
        if "#" in match.string
    ]
    assert len(started) == 1
    assert [
        rest for rest in started + [rest for rest in told if rest.split()[0] in VERBS] if not parses(rest)
    ] == []


def test_readme_names_every_verb() -> None:
    named = {rest.split()[0] for rest in commands((ROOT / "README.md").read_text(encoding="utf-8"))}
    assert set(verbs()) == VERBS
    assert named >= VERBS


@pytest.mark.parametrize("verb", sorted(VERBS))
def test_each_verb_has_help_with_an_example_that_parses(verb: str) -> None:
    told = verbs()[verb].format_help()
    examples = re.findall(rf"^\s+coldbrood ({verb}\b.*?)(?:\s{{2,}}.*)?$", told, re.MULTILINE)
    assert examples, f"coldbrood {verb} --help shows no example"
    assert [rest for rest in examples if not parses(rest)] == []


def is_toml(line: str) -> bool:
    """Whether a line is TOML, and not a line of Python."""
    try:
        tomllib.loads(line)
    except tomllib.TOMLDecodeError:
        return False
    return True


@pytest.mark.parametrize("path", DOCS, ids=lambda path: path.name)
def test_each_config_key_in_the_docs_exists(path: Path) -> None:
    """A key is written as TOML, `key = value`, or with its table, `[[channel]]` or `channel.name`."""
    for span in code_spans(path.read_text(encoding="utf-8")):
        if match := re.fullmatch(r"\[{1,2}([a-z_.]+)\]{1,2}", span):
            assert match[1] in KEYS, span
        elif (match := re.fullmatch(r"([a-z_]+) = .+", span)) and is_toml(span):
            assert any(match[1] in keys for keys in KEYS.values()), span
        elif (match := re.fullmatch(r"([a-z]+)\.([a-z_]+)", span)) and match[1] in KEYS and match[2] != "py":
            assert match[2] in KEYS[match[1]], span


@pytest.mark.parametrize("path", SAMPLES, ids=lambda path: path.name)
def test_each_config_key_in_a_sample_exists_even_if_commented_out(path: Path) -> None:
    table = ""
    for line in path.read_text(encoding="utf-8").splitlines():
        if match := re.fullmatch(r"#? ?\[{1,2}([a-z_.]+)\]{1,2}", line):
            table = match[1]
            assert table in KEYS, line
        elif match := re.fullmatch(r"#? ?([a-z_]+) = .+", line):
            assert match[1] in KEYS[table], f"[{table}] {line}"
    assert tomllib.loads(path.read_text(encoding="utf-8"))


@pytest.mark.parametrize("path", DOCS, ids=lambda path: path.name)
def test_each_path_in_the_docs_exists(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    named = PATH.findall(text)
    assert named
    assert [name for name in named if not (ROOT / name).exists()] == []
    assert [name for name in MODULE.findall(text) if not _is_in_package(name)] == []


def _is_in_package(name: str) -> bool:
    return (PACKAGE / name).exists() or any(PACKAGE.rglob(name))


def test_readme_names_both_commands_and_they_exist() -> None:
    blocks = re.findall(r"^ {4}(\S.*)$", (ROOT / "README.md").read_text(encoding="utf-8"), re.MULTILINE)
    assert blocks[:2] == ["deploy/try", "tests/run"]


def test_every_test_module_states_its_promise() -> None:
    modules = sorted((ROOT / "tests").rglob("test_*.py"))
    assert len({path.name for path in modules}) == len(modules), "two test modules share a name"
    silent = []
    for path in modules:
        promise = ast.get_docstring(ast.parse(path.read_text(encoding="utf-8")))
        if not promise or not 1 <= len(promise.splitlines()) <= 4:
            silent.append(path.name)
    assert silent == []


def test_a_false_command_is_caught() -> None:
    assert not parses("chek --config F")
    assert not parses("check --confg F")
    assert commands("see `coldbrood check --config F`, or\n\n    coldbrood demo  # a night\n") == [
        "check --config F",
        "demo",
    ]
