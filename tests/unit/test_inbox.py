"""Promise: whatever lies in the folder of the notes, the daemon neither waits for it nor reads it twice."""

import os
from pathlib import Path

import pytest

from coldbrood.inbox import NoteInbox, drop, inbox_dir
from coldbrood.power import PowerFile


@pytest.fixture
def journal(tmp_path: Path) -> Path:
    return tmp_path / "journal.db"


def test_only_plain_files_are_read(journal: Path, tmp_path: Path) -> None:
    good = drop(journal, "good", b"{}")
    folder = inbox_dir(journal)
    os.mkfifo(folder / "a-pipe.json")
    (folder / "a-folder.json").mkdir()
    (tmp_path / "elsewhere").write_bytes(b"secret")
    (folder / "a-link.json").symlink_to(tmp_path / "elsewhere")
    assert list(NoteInbox(journal).waiting([])) == [(good, b"{}")]


def test_a_note_that_the_disk_will_not_let_go_is_read_once(
    journal: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = drop(journal, "note", b"{}")
    inbox = NoteInbox(journal)
    assert [found for found, _ in inbox.waiting([])] == [path]

    def refuse(_path: Path, missing_ok: bool = False) -> None:
        raise OSError(30, "Read-only file system")

    monkeypatch.setattr(Path, "unlink", refuse)
    inbox.done([path])
    assert list(inbox.waiting([])) == []


def test_whoever_asks_for_the_last_word_is_answered_once(journal: Path) -> None:
    inbox_dir(journal).mkdir()
    power = PowerFile(journal)
    assert power.asked() is None
    asked = inbox_dir(journal) / "going-down"
    asked.write_text(" cell at 3.1 V\n")
    assert power.asked() == "cell at 3.1 V"
    power.answer()
    assert not asked.exists()
    assert power.asked() is None


def test_a_request_from_before_this_boot_is_dropped_at_the_start(journal: Path) -> None:
    inbox_dir(journal).mkdir()
    asked = inbox_dir(journal) / "going-down"
    asked.write_text("old")
    os.utime(asked, (1_000_000_000.0, 1_000_000_000.0))
    assert PowerFile(journal).asked() is None
    assert not asked.exists()


def test_a_pipe_asks_for_nothing(journal: Path) -> None:
    inbox_dir(journal).mkdir()
    power = PowerFile(journal)
    os.mkfifo(inbox_dir(journal) / "going-down")
    assert power.asked() is None
