"""Everything the journal holds, as files any spreadsheet or program can read.

CSV after RFC 4180, times after RFC 3339, a `datapackage.json` that describes each column (Data Package,
datapackage.org), and the journal itself as one compact SQLite file. All come from one moment: the
SQLite copy is made first, and the CSV files are written from the copy.
"""

import csv
import hashlib
import json
import os
import shutil
import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import closing
from datetime import tzinfo
from pathlib import Path
from typing import Any

from coldbrood.journal.disk import sync_directory, sync_file
from coldbrood.journal.errors import JournalError, explain
from coldbrood.journal.reader import JournalReader
from coldbrood.journal.schema import connect_reader
from coldbrood.report.forms import Form, Progress
from coldbrood.report.tables import Column, Table, tables_of
from coldbrood.watch.site import TemperatureUnit

COPY_NAME = "journal.sqlite"
_STEP_ROWS = 5000


class ExportError(Exception):
    """The place to write to does not fit: one plain line that says why and what to do."""


def export(
    journal_path: Path,
    out_dir: Path,
    zone: tzinfo,
    unit: TemperatureUnit,
    progress: Progress | None = None,
    forms: Sequence[Form] = (),
) -> list[Path]:
    """Write the export into a new or empty directory; returns the files, `datapackage.json` last.

    `forms` are further files of the readings, see forms.py.

    `progress(file, rows done, rows in all)` is called as it goes. Each file appears under its name only
    when all are whole. Raises ExportError for the directory, JournalError for the journal, OSError.
    """
    tell = progress or _silent
    _check_directory(out_dir)
    part = out_dir / ".part"
    with JournalReader.open(journal_path) as journal:
        part.mkdir(parents=True)
        try:
            names = _write_all(journal, part, zone, unit, tell, forms)
            return _publish(part, out_dir, names)
        finally:
            shutil.rmtree(part, ignore_errors=True)


def _check_directory(out_dir: Path) -> None:
    if out_dir.exists() and not out_dir.is_dir():
        raise ExportError(f"{out_dir} is a file: name a new or empty directory")
    if out_dir.is_dir() and any(out_dir.iterdir()):
        raise ExportError(f"{out_dir} is not empty: name a new or empty directory")


def _write_all(
    journal: JournalReader,
    part: Path,
    zone: tzinfo,
    unit: TemperatureUnit,
    tell: Progress,
    forms: Sequence[Form],
) -> list[str]:
    copy = part / COPY_NAME
    tell(COPY_NAME, 0, 1)
    _copy_journal(journal, copy)
    tell(COPY_NAME, 1, 1)
    with closing(connect_reader(copy)) as db:
        tables = tables_of(db, zone, unit)
        for table in tables:
            _write_csv(db, table, part / table.file, tell)
    with JournalReader.open(copy) as copied:
        left_out = [(form, form.write(copied, part / form.file, tell)) for form in forms]
    _write_package(part, tables, left_out)
    more = [form.file for form in forms]
    return [*(table.file for table in tables), *more, COPY_NAME, "datapackage.json"]


def _copy_journal(journal: JournalReader, copy: Path) -> None:
    try:
        journal.db.execute("VACUUM INTO ?", (str(copy),))
    except sqlite3.Error as error:
        if _is_full(error):
            raise JournalError("no space left for its copy", copy, "export to another disk") from error
        raise explain(error, journal.path) from error


def _is_full(error: sqlite3.Error) -> bool:
    return getattr(error, "sqlite_errorcode", 0) & 0xFF == sqlite3.SQLITE_FULL


def _write_csv(db: sqlite3.Connection, table: Table, path: Path, tell: Progress) -> None:
    total = db.execute(f"SELECT count(*) FROM {table.source}").fetchone()[0]
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file)  # the default dialect is RFC 4180's: CRLF, quotes only where needed
        writer.writerow(column.name for column in table.columns)
        for done, row in enumerate(_cells(db, table), 1):
            writer.writerow(row)
            if done % _STEP_ROWS == 0:
                tell(table.file, done, total)
    tell(table.file, total, total)


def _cells(db: sqlite3.Connection, table: Table) -> Iterator[list[Any]]:
    for row in db.execute(table.sql):
        yield [column.show(row) for column in table.columns]


def _write_package(part: Path, tables: tuple[Table, ...], forms: Sequence[tuple[Form, int]]) -> None:
    copy = {"name": "journal", "path": COPY_NAME, "format": "sqlite", "mediatype": "application/vnd.sqlite3"}
    package = {
        "$schema": "https://datapackage.org/profiles/2.0/datapackage.json",
        "name": "coldbrood-export",
        "title": "The log of a batch of chicks: readings, notes, alarms and messages",
        "description": (
            "Times are UTC and local, RFC 3339. A text that a spreadsheet would take for a formula "
            "starts with an apostrophe; the SQLite file holds it as it came."
        ),
        "resources": [
            *(_resource(part, table) for table in tables),
            *(_form_resource(part, form, left_out) for form, left_out in forms),
            copy | _measure(part / COPY_NAME),
        ],
    }
    text = json.dumps(package, indent=2, ensure_ascii=False)
    (part / "datapackage.json").write_text(text + "\n", encoding="utf-8")


def _resource(part: Path, table: Table) -> dict[str, Any]:
    path = part / table.file
    return {
        "name": path.stem.replace("_", "-"),
        "path": table.file,
        "title": table.title,
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        **_measure(path),
        "schema": {
            "fields": [_field(column) for column in table.columns],
            "primaryKey": list(table.key),
            "missingValues": [""],
        },
    }


def _form_resource(part: Path, form: Form, left_out: int) -> dict[str, Any]:
    """A file among others: its `format` is a word of our own, so that no reader takes it for a table here."""
    return {
        "name": f"readings-{form.name}",
        "path": form.file,
        "title": form.title,
        "description": f"{left_out} readings that it cannot hold (no date, no number) are left out.",
        "format": f"readings-{form.name}",
        "mediatype": form.mediatype,
        **_measure(part / form.file),
    }


def _field(column: Column) -> dict[str, str]:
    return {"name": column.name, "type": column.type, "description": column.says}


def _measure(path: Path) -> dict[str, Any]:
    with path.open("rb") as file:
        digest = hashlib.file_digest(file, "sha256").hexdigest()
    return {"bytes": path.stat().st_size, "hash": f"sha256:{digest}"}


def _publish(part: Path, out_dir: Path, names: list[str]) -> list[Path]:
    """Give each file its name once all are on the disk, the description last: it marks the export whole."""
    for name in names:
        sync_file(part / name)
    for name in names:
        os.replace(part / name, out_dir / name)
    sync_directory(out_dir)
    return [out_dir / name for name in names]


def _silent(_file: str, _done: int, _total: int) -> None:
    """No one wants to know."""
