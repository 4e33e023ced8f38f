"""Keeping the journal within bounds, a little at a time.

Readings, notes, alarms and messages are never thinned here: the log of the batch is what the keeper is
left with. Refused payloads are a ring already. What grows otherwise is the history, and SQLite's log.
"""

import sqlite3
from dataclasses import dataclass

from coldbrood.journal.errors import explain
from coldbrood.journal.holder import Holder
from coldbrood.journal.store import Journal

ROWS_PER_CALL = 2000
_DAY_S = 86_400.0
# Ages are watch time: a clock that jumps a year ahead must not empty the history.
_OLD = """DELETE FROM history WHERE seq IN (
    SELECT seq FROM history WHERE t_s < (SELECT max(t_s) FROM history) - ? ORDER BY seq LIMIT ?)"""


@dataclass(frozen=True, slots=True)
class Thinned:
    """What one call did. `more` says that old history is left for the next call."""

    history: int
    more: bool
    log_pages_left: int


def thin(journal: Journal | Holder, keep_days: float, *, rows: int = ROWS_PER_CALL) -> Thinned:
    """Drop up to `rows` lines of history older than `keep_days`, then fold the log into the file.

    The age counts from the newest line. Never waits for a reader. Raises ValueError for a time below a
    day, and JournalError.
    """
    if not keep_days >= 1:
        raise ValueError(f"keep_days is {keep_days}: at least 1 day is kept")
    try:
        gone = journal.db.execute(_OLD, (keep_days * _DAY_S, rows)).rowcount
        left = _fold_log(journal.db)
    except sqlite3.Error as error:
        raise explain(error, journal.path) from error
    return Thinned(history=gone, more=gone == rows, log_pages_left=left)


def _fold_log(db: sqlite3.Connection) -> int:
    """A passive checkpoint: does what no reader stands in the way of. Pages not yet folded."""
    _, log_pages, folded_pages = db.execute("PRAGMA wal_checkpoint(PASSIVE)").fetchone()
    return int(log_pages) - int(folded_pages)
