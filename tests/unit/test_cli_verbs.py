"""Promise: a verb is run with its own module alone, so that the daemon does not carry the others."""

import json
import subprocess
import sys
from pathlib import Path

import pytest

from coldbrood.cli.main import VERBS, build_parser, main

LOADED = """
import json, sys
from coldbrood.cli.main import main
try:
    main(sys.argv[1:])
finally:
    print(json.dumps([name for name in sys.modules if name.startswith("coldbrood.")]))
"""


def loaded(*words: str) -> set[str]:
    done = subprocess.run([sys.executable, "-c", LOADED, *words], capture_output=True, text=True, timeout=60)
    return set(json.loads(done.stdout.splitlines()[-1]))


def test_the_daemon_loads_neither_another_verb_nor_what_only_another_needs(tmp_path: Path) -> None:
    modules = loaded("run", "--config", str(tmp_path / "none.toml"))
    assert {name for name in modules if name.startswith("coldbrood.cli.")} == {
        "coldbrood.cli.main",
        "coldbrood.cli.run",
    }
    rooms = {name.split(".")[1] for name in modules}
    assert rooms.isdisjoint({"setup", "report", "upkeep", "demo"})
    assert "service" in rooms, "what the daemon needs"


def test_each_verb_parses_by_itself_as_among_all() -> None:
    for verb in VERBS:
        for only in ((verb,), VERBS):
            with pytest.raises(SystemExit) as ended:
                build_parser(only).parse_args([verb, "--help"])
            assert ended.value.code == 0


def test_a_word_that_is_no_verb_is_told_all_of_them(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        main(["brood"])
    assert ended.value.code == 2
    said = capsys.readouterr().err
    assert all(f"'{verb}'" in said for verb in VERBS), said
