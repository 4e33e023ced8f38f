"""What root's commands leave beside the journal is the daemon's, which is not root and must read it."""

import os
from pathlib import Path

import pytest

from coldbrood.inbox import drop
from coldbrood.page.keys import keys_path, load_keys, new_keys

DAEMON = 4711  # a user that need not exist


@pytest.fixture
def journal(tmp_path: Path) -> Path:
    """A journal's place in a folder of the daemon's, where the tests run as root; else of our own."""
    folder = tmp_path / "state"
    folder.mkdir()
    if os.geteuid() == 0:
        os.chown(folder, DAEMON, DAEMON)
    return folder / "journal.db"


def owners(folder: Path) -> set[int]:
    return {path.stat().st_uid for path in folder.rglob("*")}


def test_notes_are_the_daemons(journal: Path) -> None:
    drop(journal, "1", b"{}")
    assert owners(journal.parent) == {journal.parent.stat().st_uid}


def test_keys_of_the_page_are_the_daemons(journal: Path) -> None:
    load_keys(journal)
    new_keys(journal)
    assert owners(journal.parent) == {journal.parent.stat().st_uid}
    assert keys_path(journal).stat().st_mode & 0o777 == 0o600
