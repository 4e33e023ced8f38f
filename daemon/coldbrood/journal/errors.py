"""What can go wrong with the journal, in one plain line that says what to do."""

import sqlite3
from pathlib import Path

_DAMAGE = {
    sqlite3.SQLITE_CORRUPT,
    sqlite3.SQLITE_NOTADB,
    sqlite3.SQLITE_IOERR_READ,
    sqlite3.SQLITE_IOERR_SHORT_READ,
}

# Primary result codes (https://www.sqlite.org/rescode.html) and what they ask of the keeper.
_PLAIN = {
    sqlite3.SQLITE_FULL: ("no space left on the disk", "free some space"),
    sqlite3.SQLITE_READONLY: (
        "it may not be written",
        "check its owner and rights, and that the disk is writable",
    ),
    sqlite3.SQLITE_PERM: ("it may not be opened", "check its owner and rights"),
    sqlite3.SQLITE_CANTOPEN: ("it cannot be opened", "check that its directory exists and may be written"),
    sqlite3.SQLITE_IOERR: (
        "the disk reports an error",
        "check the card and its free space; replace it if this stays",
    ),
    sqlite3.SQLITE_BUSY: ("another program holds it", "close the other program"),
    sqlite3.SQLITE_CORRUPT: ("it is damaged", "it is set aside, and a new one made"),
    sqlite3.SQLITE_NOTADB: ("it is damaged", "it is set aside, and a new one made"),
}


class JournalError(Exception):
    """A fault of the journal: `what` happened to the file at `path`, and `what_to_do` about it.

    `of_the_config` marks what no waiting mends: the config names what is no journal, or another's. `lost`
    marks an open file that is good for nothing any more and must be opened anew.
    """

    def __init__(
        self, what: str, path: Path, what_to_do: str, *, of_the_config: bool = False, lost: bool = False
    ) -> None:
        super().__init__(f"journal {path}: {what}: {what_to_do}")
        self.of_the_config = of_the_config
        self.lost = lost
        self.what = what
        self.path = path
        self.what_to_do = what_to_do


class NewerSchema(JournalError):  # noqa: N818 - a journal that is sound, and none of today's
    """The journal of a newer coldbrood."""


def damage(what: str) -> sqlite3.DatabaseError:
    """The error of a file whose content is at fault, found by us and not by SQLite."""
    error = sqlite3.DatabaseError(what)
    error.sqlite_errorcode = sqlite3.SQLITE_CORRUPT
    return error


def is_damage(error: sqlite3.Error | UnicodeDecodeError) -> bool:
    """Whether the file's content is at fault, not the way to it.

    What SQLite says of a damaged file may quote it, and then not even its words can be read.
    """
    if isinstance(error, UnicodeDecodeError):
        return True
    code = _code(error)
    return code in _DAMAGE or code & 0xFF in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB)


def explain(error: sqlite3.Error, path: Path) -> JournalError:
    """Turn SQLite's own error into a JournalError."""
    what, what_to_do = _PLAIN.get(_code(error) & 0xFF, ("it cannot be used", "see the detail"))
    return JournalError(f"{what} ({error})", path, what_to_do, lost=is_damage(error))


def _code(error: sqlite3.Error) -> int:
    """The extended result code; 0 where Python raised the error without asking SQLite."""
    return getattr(error, "sqlite_errorcode", 0) or 0
