"""No tracked file says where the idea came from or names the host of a package registry."""

import re
import subprocess
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]

# Written in halves, so that this file does not hold what it forbids.
ORIGIN = ["trans" + "cript", "seed " + "document", "you" + "tube", "practitioner.s (?:" + "talk|video)"]
HOSTS = [
    "py" + r"pi\.org",
    "python" + r"hosted\.org",
    "registry" + r"\.npm",
    "npm" + r"js\.(?:org|com)",
    "deb" + r"\.debian\.org",
    "security" + r"\.debian\.org",
    "proxy" + r"\.golang\.org",
]
FORBIDDEN = re.compile("|".join(ORIGIN + HOSTS), re.IGNORECASE)


def tracked_texts() -> list[tuple[str, str]]:
    """Name and text of each tracked file; what is not text is read as far as it goes."""
    command = ["git", "-c", "safe.directory=*", "ls-files", "-z"]
    listing = subprocess.run(command, cwd=ROOT, capture_output=True, check=True).stdout.decode()
    names = [name for name in listing.split("\0") if name and (ROOT / name).is_file()]
    return [(name, (ROOT / name).read_bytes().decode("utf-8", errors="replace")) for name in names]


def test_no_tracked_file_names_what_it_may_not() -> None:
    texts = tracked_texts()
    assert len(texts) > 10
    found = [(name, match[0]) for name, text in texts for match in FORBIDDEN.finditer(f"{name}\n{text}")]
    assert found == []


@pytest.mark.parametrize(
    "text",
    [
        "see the Trans" + "cript",
        "a You" + "Tube film",
        "a practitioner's" + " talk",
        "https://py" + "pi.org/simple",
    ],
)
def test_a_forbidden_name_is_caught(text: str) -> None:
    assert FORBIDDEN.search(text)
