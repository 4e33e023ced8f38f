"""The schema as a text to read, and a loaded config with its secrets masked."""

import textwrap
from collections.abc import Iterator, Mapping
from dataclasses import fields, is_dataclass
from datetime import date, tzinfo
from pathlib import Path
from typing import Final

from coldbrood.settings.records import Config
from coldbrood.settings.schema import sections
from coldbrood.settings.setting import Setting

COLUMNS: Final = 80

HEAD: Final = """\
The config file is one TOML file (toml.io, version 1.0). Each table and key:
its limits, its default or "required", its meaning. No other key is taken.
Marks on figures: V read in a source, C computed, M from memory.
"""


def explain() -> str:
    """Every key of the config file with unit, range, default and meaning, 80 columns wide."""
    blocks = [HEAD]
    for name, entry, keys in sections():
        blocks.append("\n".join(_section(name, entry)))
        blocks.extend("\n".join(_key(setting)) for setting in keys.values())
    return "\n".join(blocks)


def header(name: str, many: bool) -> str:
    """How the table is opened in the file."""
    return f"[[{name}]]" if many else f"[{name}]"


def limits(setting: Setting) -> str:
    """What is allowed, and what stands if the key is left out."""
    if setting.required:
        return f"{setting.allowed}; required"
    return (
        setting.allowed if setting.default is None else f"{setting.allowed}; default {toml(setting.default)}"
    )


def toml(value: object) -> str:
    """Write a plain value as TOML."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, float):
        short = f"{value:g}"
        return short if float(short) == value else repr(value)
    if isinstance(value, (list, tuple)):
        return f"[{', '.join(toml(item) for item in value)}]"
    return f'"{value}"' if isinstance(value, str) else str(value)


def comment(setting: Setting) -> list[str]:
    """The lines that stand above a key in a commented sample."""
    said = textwrap.wrap(f"{setting.meaning} ({limits(setting)})", COLUMNS - 2, break_on_hyphens=False)
    return [f"# {line}" for line in said]


def _section(name: str, entry: Setting) -> Iterator[str]:
    yield f"{header(name, entry.many)}  {'required' if entry.required else 'may be left out'}"
    yield from textwrap.wrap(entry.meaning, COLUMNS)
    yield ""


def _key(setting: Setting) -> Iterator[str]:
    if setting.table is not None:
        return
    yield from textwrap.wrap(
        limits(setting),
        COLUMNS,
        initial_indent=f"  {setting.key}: ",
        subsequent_indent=" " * 6,
        break_on_hyphens=False,
    )
    said = (
        setting.meaning if setting.example is None else f"{setting.meaning} Such as {toml(setting.example)}."
    )
    yield from textwrap.wrap(
        said, COLUMNS, initial_indent=" " * 6, subsequent_indent=" " * 6, break_on_hyphens=False
    )
    yield ""


def describe(config: Config) -> str:
    """What the daemon works with, one `name = value` a line, in its own units. Secrets show as ***."""
    return "\n".join(f"{name} = {value}" for name, value in _plain("", config))


def _plain(name: str, value: object) -> Iterator[tuple[str, str]]:
    """Take a record apart, down to what has one line. The sun's 366 days say nothing to a reader."""
    if is_dataclass(value):
        for field in fields(value):
            if field.name not in ("sun", "cautions", "stated"):
                yield from _plain(f"{name}.{field.name}".lstrip("."), getattr(value, field.name))
    elif isinstance(value, Mapping):
        for key, item in value.items():
            yield from _plain(f"{name}.{key}", item)
    elif isinstance(value, tuple):
        for index, item in enumerate(value):
            yield from _plain(f"{name}[{index}]", item)
    else:
        yield name, _shown(value)


def _shown(value: object) -> str:
    if value is None:
        return "-"
    if isinstance(value, (date, tzinfo, Path)):
        return str(value)
    return toml(value)
