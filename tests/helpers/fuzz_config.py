"""Broken config files without end: each is a config, or a list of problems that can be printed."""

import random
import string
import tempfile
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import lru_cache
from pathlib import Path
from unittest.mock import patch

from fault_rows import Row

from coldbrood.settings.load import Config, ConfigProblems, load
from coldbrood.settings.schema import sections
from coldbrood.settings.sun import sun_days
from coldbrood.watch.site import SunDay

ROOT = Path(__file__).parents[2]


def without_prose(path: Path) -> bytes:
    """A sample without its comments, but with the keys that it shows as comments."""
    lines = path.read_bytes().split(b"\n")
    return b"\n".join(line for line in lines if not line.startswith(b"#") or b" = " in line)


GOOD = [path.read_bytes() for path in sorted((ROOT / "fixtures/configs/good").glob("*.toml"))]
GOOD += [without_prose(path) for path in sorted((ROOT / "config").glob("*.toml"))]
BAD = [path.read_bytes() for path in sorted((ROOT / "fixtures/configs/bad").glob("*.toml"))]
KEYS = sorted({key for _, _, keys in sections() for key in keys} | {name for name, _, _ in sections()})
SECRET = "s3cret-in-the-environment"
ENVIRON = dict.fromkeys(
    ("PHONE_URL", "COLDBROOD_PHONE_URL", "COLDBROOD_NEIGHBOUR_URL"), f"json://{SECRET}@h/"
)
VALUES = [
    "nan",
    "-inf",
    "1e999",
    "-0.0",
    "0",
    "-1",
    "0x7fffffffffffffffff",
    "true",
    "[]",
    "{}",
    "[[[]]]",
    "[{}]",
    "[1, {}]",
    '""',
    r'"\u0000"',
    r'"\u001b[2J"',
    r'"\U0001F423"',
    '"../../x"',
    '"$SYS/#"',
    "1979-05-27",
    "0001-01-01",
    "9999-12-31",
    "1979-05-27T07:32:00Z",
    "07:32:00",
    '"outdoor"',
    '"onewire"',
    '"pointers"',
    '"plain"',
    '"a"',
    '"box-a"',
    '"F"',
    '"Etc"',
    '"Europe/Nowhere"',
    '"/a~2"',
    "{ temperature_c = 1 }",
    '{ temperature_c = "/t" }',
    '"28-0316a2795cff"',
    '"PHONE_URL"',
    "''",
]
VALUES += ["1" + "0" * 400, '"' + "x" * 3000 + '"', f'"json://{SECRET}@h/"']

NO_TEXT = ("valid TOML 1.0", "UTF-8 text")

Mutation = Callable[[random.Random, bytes], bytes]


def flip(rng: random.Random, text: bytes) -> bytes:
    at = rng.randrange(len(text))
    return text[:at] + bytes([rng.randrange(256)]) + text[at + 1 :]


def cut(rng: random.Random, text: bytes) -> bytes:
    start, end = sorted(rng.randrange(len(text) + 1) for _ in range(2))
    return text[:start] + text[end:] if rng.random() < 0.5 else text[start:end]


def drop_line(rng: random.Random, text: bytes) -> bytes:
    lines = text.split(b"\n")
    del lines[rng.randrange(len(lines))]
    return b"\n".join(lines)


def repeat_lines(rng: random.Random, text: bytes) -> bytes:
    lines = text.split(b"\n")
    start, to = rng.randrange(len(lines)), rng.randrange(len(lines))
    return b"\n".join(lines[:to] + lines[start : start + rng.randrange(1, 30)] + lines[to:])


def other_value(rng: random.Random, text: bytes) -> bytes:
    lines = text.split(b"\n")
    at = rng.choice([i for i, line in enumerate(lines) if b" = " in line] or [0])
    lines[at] = lines[at].split(b" = ")[0].removeprefix(b"# ") + b" = " + rng.choice(VALUES).encode()
    return b"\n".join(lines)


def digit(rng: random.Random, text: bytes) -> bytes:
    """The mildest: most numbers, names and times stay good."""
    places = [at for at, byte in enumerate(text) if chr(byte) in string.digits] or [0]
    at = rng.choice(places)
    return text[:at] + rng.choice(string.digits).encode() + text[at + 1 :]


def new_line(rng: random.Random, text: bytes) -> bytes:
    lines = text.split(b"\n")
    key = rng.choice([*KEYS, "".join(rng.choices(string.printable, k=5))])
    line = rng.choice((f"{key} = {rng.choice(VALUES)}", f"[{key}]", f"[[{key}]]"))
    lines.insert(rng.randrange(len(lines) + 1), line.encode())
    return b"\n".join(lines)


MILD: tuple[Mutation, ...] = (digit, digit, other_value, other_value)
WILD: tuple[Mutation, ...] = (flip, cut, drop_line, repeat_lines, new_line, new_line)


def mutated(count: int, seed: int) -> Iterator[bytes]:
    rng = random.Random(seed)
    for _ in range(count):
        text = rng.choice(GOOD if rng.random() < 0.8 else BAD)
        for _ in range(rng.choice((1, 1, 1, 2, 3, 6))):
            text = rng.choice(MILD if rng.random() < 0.7 else WILD)(rng, text) or b" "
        yield text


def outcome(path: Path) -> Config | ConfigProblems:
    try:
        return load(path, ENVIRON)
    except ConfigProblems as faults:
        return faults


@contextmanager
def few_suns() -> Iterator[None]:
    """Work the sun out for a grid of places only: it is the one slow step, and not what is tried here."""
    known = lru_cache(sun_days)

    def near(latitude_deg: float, longitude_deg: float, _year: int) -> tuple[SunDay, ...]:
        return known(round(latitude_deg, -1), round(longitude_deg, -2), 2026)

    with patch("coldbrood.settings.build.sun_days", near):
        yield


def fuzz(folder: Path, count: int, seed: int = 20260411) -> Counter[str]:
    """`count` files, each held to the promise; how far into the config they came."""
    reached = Counter[str]()
    for name in ("broker-password", "phone-url"):  # what one sample points to
        (folder / name).write_text(f"json://{SECRET}@h/", encoding="utf-8")
    with few_suns():
        for number, text in enumerate(mutated(count, seed)):
            path = folder / f"{number}.toml"  # a new file each: an old one cut short is slow to write
            path.write_bytes(text)
            reached[_tried(path, text)] += 1
            path.unlink()
    return reached


def _tried(path: Path, text: bytes) -> str:
    result = outcome(path)
    if isinstance(result, Config):
        kind, told = "good", [str(caution) for caution in result.cautions]
    else:
        kind = "no text" if result.problems[0].allowed in NO_TEXT else "bad"
        told = [str(problem) for problem in result.problems]
        assert told, text
        assert len(told) == len(set(told)), text
    assert all(line.isprintable() and len(line) < 500 for line in told), text
    assert SECRET not in "".join(told), text
    return kind


def row(long: bool) -> Row:
    """A hundred thousand files in the long form."""
    count = 100_000 if long else 2_000
    with tempfile.TemporaryDirectory() as name:
        reached = fuzz(Path(name), count)
    return Row("broken config files", places=count, note=str(dict(reached)))
