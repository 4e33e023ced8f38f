"""From one TOML file to a config, or to every problem at once."""

import json
import re
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Final

from coldbrood.settings.build import site_of
from coldbrood.settings.cautions import cautions
from coldbrood.settings.fetch import Fetch, UrlFault, no_scheme
from coldbrood.settings.records import Broker, Caution, Channel, Config, ConfigProblems, Problem
from coldbrood.settings.rules import check
from coldbrood.settings.secrets import Secret, read_regular
from coldbrood.settings.walk import Walk

__all__ = ["Broker", "Caution", "Channel", "Config", "ConfigProblems", "Problem", "Secret", "load"]

FILE_BYTES_MAX: Final = 256 * 1024
"""A file with 250 probes and all comments is a third of it; more is a wrong path."""


def load(path: Path, environ: Mapping[str, str], url_fault: UrlFault = no_scheme) -> Config:
    """Load the config file at `path`; secrets may come from `environ`.

    Raises:
        ConfigProblems: every fault of the file, or the one that keeps it from being read.
    """
    stated = _table(_text(path))
    walk = Walk(stated)
    fetch = Fetch(walk, environ, path.absolute().parent, url_fault)
    problems = (*walk.problems, *check(walk), *fetch.problems)
    if problems:
        raise ConfigProblems(problems)
    return Config(
        site=site_of(walk.file),
        broker=fetch.broker,
        channels=fetch.channels,
        journal_path=fetch.journal_path(),
        sounder=fetch.sounder,
        heartbeat=fetch.heartbeat,
        mirror=fetch.mirror,
        sleep=fetch.sleep,
        page=fetch.page,
        stated=stated,
        cautions=(*cautions(walk.file), *fetch.cautions),
    )


def _text(path: Path) -> str:
    named = json.dumps(str(path))
    try:
        raw, _ = read_regular(path, FILE_BYTES_MAX + 1)
    except FileNotFoundError:
        raise _unusable(named, "missing", "a file that exists") from None
    except (OSError, ValueError) as error:  # a path with a NUL in it is a ValueError
        reason = error.strerror if isinstance(error, OSError) else "impossible path"
        raise _unusable(named, "unreadable", f"a file this user may read ({reason})") from None
    if len(raw) > FILE_BYTES_MAX:
        raise _unusable(named, "too large", f"{FILE_BYTES_MAX} bytes at most")
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        raise _unusable(f"line {line}", "not UTF-8", "UTF-8 text") from None


def _table(text: str) -> dict[str, object]:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise _unusable(*_where(str(error), text), "valid TOML 1.0") from None
    except ValueError:  # Python reads whole numbers of 4300 digits at most
        raise _unusable("a number", "of thousands of digits", "numbers a sensor could tell") from None
    except RecursionError:
        raise _unusable("a list or table", "nested too deep", "at most three levels") from None


def _where(message: str, text: str) -> tuple[str, str]:
    """The place a TOML error names, as line and column, and the error itself."""
    found = re.search(r" \(at (?:line (\d+), column (\d+)|end of document)\)\Z", message)
    if found is None:
        return "the file", message
    end = text.rstrip("\n")
    line = found[1] or end.count("\n") + 1
    column = found[2] or len(end) - end.rfind("\n")
    return f"line {line}, column {column}", message[: found.start()]


def _unusable(field: str, value: str, allowed: str) -> ConfigProblems:
    return ConfigProblems((Problem(field, value, allowed),))
