"""Promise: only a whole backup is restored; a damaged one, at whatever byte, changes nothing and says so."""

import sqlite3
import zipfile
from hashlib import sha256
from pathlib import Path

import pytest
from journal_records import reading

from coldbrood.journal.reader import JournalReader
from coldbrood.journal.rows import Batch
from coldbrood.journal.store import Journal
from coldbrood.upkeep.backup import BackupError, look, make, restore

READINGS = 40
WALL_S = 1_775_901_600.0


@pytest.fixture
def site(tmp_path: Path) -> Path:
    """A folder with a config file and a journal of 40 readings."""
    folder = tmp_path / "site"
    folder.mkdir()
    (folder / "coldbrood.toml").write_text("# stands for a config\n")
    journal = Journal.open(folder / "journal.db", now_label="now")
    journal.commit(Batch(taken=[reading(n) for n in range(READINGS)]))
    journal.close()
    return folder


def backup(site: Path, name: str = "b.zip") -> Path:
    target = site / name
    made = make(site / "coldbrood.toml", site / "journal.db", "larch-lane", target, WALL_S)
    assert (made.readings, made.made_at) == (READINGS, "2026-04-11T10:00:00Z")
    return target


def count(path: Path) -> int:
    with JournalReader.open(path) as reader:
        return len(list(reader.readings(float("-inf"), float("inf"))))


def test_what_was_backed_up_is_restored(site: Path, tmp_path: Path) -> None:
    source = backup(site)
    there = tmp_path / "new" / "journal.db"
    there.parent.mkdir()
    done = restore(source, there, "now")
    assert (done.set_aside, done.journal, count(there)) == (None, there, READINGS)
    assert not list(there.parent.glob("*.saving"))
    assert there.stat().st_mode & 0o077 == 0


def test_a_file_that_is_there_is_not_written_over(site: Path) -> None:
    target = backup(site)
    before = target.read_bytes()
    with pytest.raises(BackupError, match="there is a file already: name a new one"):
        backup(site)
    assert target.read_bytes() == before


def test_nothing_half_made_is_left(site: Path) -> None:
    with pytest.raises(OSError, match=r"coldbrood\.toml"):
        make(site / "no" / "coldbrood.toml", site / "journal.db", "s", site / "b.zip", WALL_S)
    assert sorted(path.name for path in site.glob("b.zip*")) == []


def test_a_journal_being_written_is_not_replaced(site: Path) -> None:
    source = backup(site)
    journal = Journal.open(site / "journal.db", now_label="now")
    with pytest.raises(BackupError, match="the daemon runs: stop it first"):
        restore(source, site / "journal.db", "now")
    journal.close()
    assert restore(source, site / "journal.db", "now").set_aside == site / "journal.db.set-aside-now"


@pytest.mark.parametrize("where", ["cut", "flip"])
def test_damage_at_any_byte_is_refused_and_changes_nothing(site: Path, tmp_path: Path, where: str) -> None:
    """Where nothing rests on the flipped byte, as on a file time, what comes back is whole all the same."""
    whole = backup(site).read_bytes()
    spoilt, there = site / "spoilt.zip", tmp_path / "new" / "journal.db"
    there.parent.mkdir()
    refused = 0
    for at in range(0, len(whole), 7 if where == "flip" else 29):
        spoilt.write_bytes(whole[:at] if where == "cut" else _flipped(whole, at))
        said = _refusal(spoilt, there)
        if said is None:
            assert where == "flip"
            assert count(there) == READINGS
        else:
            refused += 1
            assert str(spoilt) in said
            assert "older one" in said
            assert [path.name for path in there.parent.iterdir()] in ([], ["journal.db.lock"])
        for path in there.parent.iterdir():
            path.unlink()
    assert refused > 0.8 * len(range(0, len(whole), 7 if where == "flip" else 29))


def _refusal(source: Path, journal: Path) -> str | None:
    try:
        restore(source, journal, "now")
    except BackupError as error:
        return str(error)
    return None


def _flipped(body: bytes, at: int) -> bytes:
    return body[:at] + bytes([body[at] ^ 0x40]) + body[at + 1 :]


@pytest.mark.parametrize("body", [b"", b"not a zip", b"PK\x05\x06" + bytes(18)], ids=["empty", "text", "zip"])
def test_what_is_no_backup_is_refused(tmp_path: Path, body: bytes) -> None:
    path = tmp_path / "x.zip"
    path.write_bytes(body)
    with pytest.raises(BackupError, match="not a backup of coldbrood"):
        look(path)
    with pytest.raises(BackupError, match="No such file"):
        look(tmp_path / "none.zip")


def test_a_journal_of_another_program_is_refused(site: Path, tmp_path: Path) -> None:
    """The hashes hold, and yet it is none of ours: version and program are asked of the journal itself."""
    source = backup(site)
    other = tmp_path / "other.db"
    with sqlite3.connect(other) as db:
        db.execute("CREATE TABLE t (x)")
    db.close()
    manifest, config = look(source)
    text = zipfile.ZipFile(source).read("manifest.json").decode()
    text = text.replace(manifest.journal_sha256, sha256(other.read_bytes()).hexdigest())
    forged = tmp_path / "forged.zip"
    with zipfile.ZipFile(forged, "w") as out:
        out.writestr("manifest.json", text)
        out.writestr("coldbrood.toml", config)
        out.write(other, "journal.sqlite")
    with pytest.raises(Exception, match="belongs to another program"):
        restore(forged, site / "journal.db", "now")
    assert count(site / "journal.db") == READINGS
