"""Builds the old journals of fixtures/journals from their SQL text."""

import sqlite3
from contextlib import closing
from pathlib import Path

FOLDER = Path(__file__).parents[2] / "fixtures" / "journals"


def build(version: int, path: Path) -> Path:
    with closing(sqlite3.connect(path)) as db:
        db.executescript((FOLDER / f"schema{version}.sql").read_text(encoding="utf-8"))
        db.execute("PRAGMA journal_mode = WAL")
    return path
