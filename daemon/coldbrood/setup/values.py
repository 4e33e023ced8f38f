"""What the old config file says, as defaults for the questions. A part that is not there gives none."""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from coldbrood.setup.ask import SetupFault


@dataclass(frozen=True, slots=True)
class Old:
    """The file as it stands; empty text where there is none."""

    text: str
    raw: Mapping[str, Any]

    def table(self, name: str) -> Mapping[str, Any]:
        """A single table, empty if missing."""
        found = self.raw.get(name)
        return found if isinstance(found, dict) else {}

    def rows(self, name: str) -> list[Mapping[str, Any]]:
        """The tables of a list."""
        found = self.raw.get(name)
        return [row for row in found if isinstance(row, dict)] if isinstance(found, list) else []

    def row(self, name: str, called: str) -> Mapping[str, Any]:
        """The table of this name in a list, empty if missing."""
        return next((row for row in self.rows(name) if row.get("name") == called), {})


def read_old(path: Path, code: int) -> Old:
    """The config file, or nothing. Raises SetupFault with `code` where it cannot be read or is no TOML."""
    try:
        text = path.read_text(encoding="utf-8")
    except FileNotFoundError:
        return Old("", {})
    except (OSError, UnicodeDecodeError) as fault:
        raise SetupFault(f"{path}: cannot be read: {fault}", code) from None
    try:
        return Old(text, tomllib.loads(text))
    except tomllib.TOMLDecodeError as fault:
        raise SetupFault(f"{path}: {fault}: mend this line first, or name another file", code) from None


def shown(value: object, unit: str = "") -> str | None:
    """A default as the keeper would type it."""
    if value is None:
        return None
    text = f"{value:g}" if isinstance(value, float) else str(value)
    return f"{text} {unit}".strip()
