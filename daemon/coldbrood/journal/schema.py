"""The tables of the journal, and how a file of ours is known and opened.

One row per reading in a table that only grows, with no second index: the rows of one commit then
lie side by side. Measured over 2,000 commits of 6 readings, all checkpoints included (write_bytes of
/proc/self/io, WAL + FULL, ext4, SQLite 3.40): 1024-byte pages 6.2 kB a commit, 2048 7.3 kB, 4096 9.2 kB.
Hence 1024. tests/integration/test_journal_on_disk.py holds a whole day to its bar.
"""

import sqlite3
from pathlib import Path
from typing import get_args
from urllib.parse import quote

from coldbrood.journal.errors import JournalError, NewerSchema, damage
from coldbrood.watch.site import Quantity

APPLICATION_ID = 0x62726F6F  # "broo"
VERSION = 2
NEWEST_THINKABLE = 999  # a schema beyond it is a number that damage wrote
PAGE_BYTES = 1024
LOG_PAGES = 3000  # a day folds its log in twice, not five times with the pages of the same sight in it
REFUSED_KEPT = 2000
QUANTITIES: tuple[str, ...] = get_args(Quantity)

# Fixed numbers: a journal saved from damage without its lookup table still knows what it measured.
SEED = ", ".join(f"({n}, '{name}')" for n, name in enumerate(QUANTITIES, 1))

TABLES = (
    "CREATE TABLE probe (id INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE) STRICT",
    "CREATE TABLE quantity (id INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE) STRICT",
    """CREATE TABLE reading (seq INTEGER PRIMARY KEY, probe INTEGER NOT NULL, quantity INTEGER NOT NULL,
        t_s REAL NOT NULL, wall_s REAL NOT NULL, raw REAL, value REAL, flags INTEGER NOT NULL) STRICT""",
    """CREATE TABLE note (seq INTEGER PRIMARY KEY, key TEXT NOT NULL UNIQUE, kind TEXT NOT NULL, box TEXT,
        t_s REAL NOT NULL, wall_s REAL NOT NULL, look_in TEXT, count INTEGER, fill_c REAL, alarm TEXT,
        minutes REAL, text TEXT NOT NULL) STRICT""",
    """CREATE TABLE history (seq INTEGER PRIMARY KEY, t_s REAL NOT NULL, wall_s REAL NOT NULL,
        kind TEXT NOT NULL, subject TEXT NOT NULL, state TEXT NOT NULL, reason TEXT NOT NULL,
        detail TEXT NOT NULL) STRICT""",
    """CREATE TABLE refused (slot INTEGER PRIMARY KEY, n INTEGER NOT NULL, probe TEXT, topic TEXT NOT NULL,
        reason TEXT NOT NULL, detail TEXT NOT NULL, payload BLOB NOT NULL, t_s REAL NOT NULL,
        wall_s REAL NOT NULL) STRICT""",
    """CREATE TABLE refused_count (probe TEXT NOT NULL, reason TEXT NOT NULL, count INTEGER NOT NULL,
        PRIMARY KEY (probe, reason)) STRICT, WITHOUT ROWID""",
    "CREATE TABLE alarm (key TEXT PRIMARY KEY, body BLOB NOT NULL) STRICT",
    "CREATE TABLE message (key TEXT PRIMARY KEY, body BLOB NOT NULL) STRICT",
    "CREATE TABLE state (name TEXT PRIMARY KEY, seq INTEGER NOT NULL, body BLOB NOT NULL) STRICT",
    f"INSERT INTO quantity (id, name) VALUES {SEED}",
)


def connect(path: Path) -> sqlite3.Connection:
    """Open an existing file for writing: WAL, FULL, no transaction but those we begin.

    Raises sqlite3.Error, or JournalError where the disk cannot keep a write-ahead log.
    """
    db = sqlite3.connect(_uri(path, "rw"), uri=True, isolation_level=None, timeout=2.0)
    db.text_factory = _text
    try:
        db.execute(f"PRAGMA page_size = {PAGE_BYTES}")
        mode = db.execute("PRAGMA journal_mode = WAL").fetchone()[0]
        if mode != "wal":
            raise JournalError(f"its disk allows no write-ahead log (mode {mode})", path, "use a local disk")
        db.execute("PRAGMA synchronous = FULL")
        db.execute("PRAGMA journal_size_limit = 1048576")
        db.execute(f"PRAGMA wal_autocheckpoint = {LOG_PAGES}")
        # As Debian builds it SQLite wipes what is freed: a sight that replaces another was written twice.
        db.execute("PRAGMA secure_delete = OFF")
        db.execute("PRAGMA trusted_schema = OFF")
    except BaseException:
        db.close()
        raise
    return db


def connect_reader(path: Path, *, immutable: bool = False) -> sqlite3.Connection:
    """Open an existing file for reading only; never changes it. Raises sqlite3.Error.

    `immutable` reads past a write-ahead log, on a disk where not even the log's index can be made.
    """
    uri = f"{_uri(path, 'ro')}{'&immutable=1' if immutable else ''}"
    db = sqlite3.connect(uri, uri=True, isolation_level=None, timeout=2.0)
    db.text_factory = _text
    return db


def create(path: Path, tables: tuple[str, ...] = TABLES, version: int = VERSION) -> None:
    """Make a journal in an empty or missing file, private to its owner, in one transaction."""
    path.touch(mode=0o600)
    db = connect(path)
    try:
        db.execute("BEGIN IMMEDIATE")
        for statement in tables:
            db.execute(statement)
        db.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        db.execute(f"PRAGMA user_version = {version}")
        db.execute("COMMIT")
    finally:
        db.close()


def is_empty(db: sqlite3.Connection) -> bool:
    """Whether nothing was ever made here: a start that was cut short leaves such a file."""
    return bool(db.execute("SELECT count(*) = 0 FROM sqlite_master").fetchone()[0])


def version_of(db: sqlite3.Connection, path: Path) -> int:
    """The schema version of a journal of ours. Raises JournalError for another's file or a newer schema.

    A file with all of our tables whose marks are wrong is a damaged one: sqlite3.DatabaseError says so.
    """
    found = db.execute("PRAGMA application_id").fetchone()[0]
    if found != APPLICATION_ID:
        if has_our_tables(db):
            raise damage(f"application_id is {found}, though the tables are ours")
        what = (
            f"this SQLite file belongs to another program (application_id {found}, ours is {APPLICATION_ID})"
        )
        raise JournalError(what, path, "name another file as the journal", of_the_config=True)
    version = int(db.execute("PRAGMA user_version").fetchone()[0])
    if not 1 <= version <= VERSION:
        if not 1 <= version <= NEWEST_THINKABLE and has_our_tables(db):
            raise damage(f"schema {version} cannot be")
        what = f"its schema is {version}, this coldbrood knows 1 to {VERSION}"
        raise NewerSchema(what, path, "install the newer coldbrood, or name another file")
    return version


def has_our_tables(db: sqlite3.Connection) -> bool:
    """Whether every table of today's schema is there as we made it. Raises sqlite3.Error."""
    found = {sql for (sql,) in db.execute("SELECT sql FROM sqlite_master WHERE type = 'table'")}
    return {sql for sql in TABLES if sql.startswith("CREATE TABLE")} <= found


def _text(stored: bytes) -> str:
    """Text as it was written, or with a mark where damage left what is none: one bad row is no end."""
    return stored.decode("utf-8", "replace")


def _uri(path: Path, mode: str) -> str:
    return f"file:{quote(str(path.absolute()))}?mode={mode}"
