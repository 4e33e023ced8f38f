"""Bringing an older journal up to the schema of this coldbrood, one step and one transaction at a time.

Schema 1 kept a bare `synced` mark with each reading, had no reason in the history, and let the refused
payloads grow without bound. Schema 2 has flags (synced, late), the reason, and a ring with counters.
"""

import os
import sqlite3
from pathlib import Path

from coldbrood.journal.disk import sync_directory, sync_file
from coldbrood.journal.schema import REFUSED_KEPT, VERSION, version_of

STEPS: dict[int, tuple[str, ...]] = {
    1: (
        # bit 1 of the flags is what `synced` was, bit 2 (late) was never seen by schema 1
        "ALTER TABLE reading RENAME COLUMN synced TO flags",
        "ALTER TABLE history RENAME TO history_1",
        """CREATE TABLE history (seq INTEGER PRIMARY KEY, t_s REAL NOT NULL, wall_s REAL NOT NULL,
            kind TEXT NOT NULL, subject TEXT NOT NULL, state TEXT NOT NULL, reason TEXT NOT NULL,
            detail TEXT NOT NULL) STRICT""",
        "INSERT INTO history SELECT seq, t_s, wall_s, kind, subject, state, '', detail FROM history_1",
        "DROP TABLE history_1",
        "ALTER TABLE refused RENAME TO refused_1",
        """CREATE TABLE refused (slot INTEGER PRIMARY KEY, n INTEGER NOT NULL, probe TEXT,
            topic TEXT NOT NULL, reason TEXT NOT NULL, detail TEXT NOT NULL, payload BLOB NOT NULL,
            t_s REAL NOT NULL, wall_s REAL NOT NULL) STRICT""",
        """CREATE TABLE refused_count (probe TEXT NOT NULL, reason TEXT NOT NULL, count INTEGER NOT NULL,
            PRIMARY KEY (probe, reason)) STRICT, WITHOUT ROWID""",
        """INSERT INTO refused_count
            SELECT ifnull(probe, ''), reason, count(*) FROM refused_1 GROUP BY 1, 2""",
        f"""INSERT OR REPLACE INTO refused SELECT n % {REFUSED_KEPT}, n, probe, topic, reason, detail,
            payload, t_s, wall_s FROM refused_1 ORDER BY n""",
        "DROP TABLE refused_1",
    ),
}


def migrate(db: sqlite3.Connection, path: Path) -> int:
    """Bring the open journal to VERSION; returns the version it had.

    Before the first step a copy goes to `<name>.v<version>.bak`. A step that fails changes nothing.
    Raises sqlite3.Error, OSError where the copy cannot be kept, and what `version_of` raises.
    """
    before = version_of(db, path)
    if before < VERSION:
        keep_copy(db, path, before)
    for version in range(before, VERSION):
        _step(db, version)
    return before


def keep_copy(db: sqlite3.Connection, path: Path, version: int) -> Path:
    """Keep a copy of the old file beside it: whole and on the disk, or not there at all."""
    backup = Path(f"{path}.v{version}.bak")
    partial = Path(f"{backup}.part")
    partial.unlink(missing_ok=True)
    db.execute("VACUUM INTO ?", (str(partial),))
    partial.chmod(0o600)
    sync_file(partial)
    os.replace(partial, backup)
    sync_directory(path.parent)
    return backup


def _step(db: sqlite3.Connection, version: int) -> None:
    db.execute("BEGIN IMMEDIATE")
    try:
        for statement in STEPS[version]:
            db.execute(statement)
        db.execute(f"PRAGMA user_version = {version + 1}")
        db.execute("COMMIT")
    except BaseException:
        if db.in_transaction:
            db.execute("ROLLBACK")
        raise
