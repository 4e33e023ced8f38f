"""The exported files hold to the grammar of RFC 4180 and the date-time of RFC 3339, read by nothing of ours.

Sources: RFC 4180 section 2 (rules 1 to 7 and the ABNF); RFC 3339 section 5.6 (the ABNF of date-time).
"""

import csv
import io
import re
from dataclasses import replace
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from journal_records import everything, line, note, open_journal, refused

from coldbrood.journal.rows import Batch
from coldbrood.report.export import export

# RFC 4180 section 2: TEXTDATA without quote, comma and controls (tab and text beyond ASCII let through, as
# the charset parameter of text/csv allows them); a quoted field may hold comma, CR, LF and a doubled quote.
FIELD = re.compile(r'"((?:[^"]|"")*)"|([^",\r\n]*)')
# RFC 3339 section 5.6, without the leap second, which Unix time does not have.
DATE_TIME = re.compile(
    r"\d{4}-(0[1-9]|1[0-2])-(0[1-9]|[12]\d|3[01])T([01]\d|2[0-3]):[0-5]\d:[0-5]\d(\.\d+)?(Z|[+-]([01]\d|2[0-3]):[0-5]\d)"
)
NASTY = [
    'c "d" e',
    "f\ng",
    "h\r\ni",
    "j,k",
    " spaced ",
    "",
    "=SUM(A1)",
    "\u00e4\u2603\U0001f423",
    'ends in "',
    "\ttab",
    "l\rm",
]


def records(text: str) -> list[list[str]]:
    """Parse by the grammar and fail on anything it does not allow. Records end with CRLF."""
    found: list[list[str]] = [[]]
    at = 0
    while at < len(text):
        match = FIELD.match(text, at)
        assert match is not None
        found[-1].append(match[2] if match[1] is None else match[1].replace('""', '"'))
        at = match.end()
        if text.startswith("\r\n", at):
            found.append([])
            at += 2
        else:
            assert text[at] == ",", f"neither comma nor CRLF at {at}: {text[at - 20 : at + 20]!r}"
            at += 1
    assert found.pop() == [], "the last record does not end with CRLF"
    return found


@pytest.fixture(scope="module")
def out(tmp_path_factory: pytest.TempPathFactory) -> Path:
    base = tmp_path_factory.mktemp("rfc")
    journal = open_journal(base / "j.sqlite")
    for n in range(3):
        journal.commit(everything(n))
    taken = [note(f"nasty-{n}", n, text=text) for n, text in enumerate(NASTY)]
    history = [line(n, detail=text) for n, text in enumerate(NASTY)]
    bad = [replace(refused(n), payload=text.encode(), detail=text) for n, text in enumerate(NASTY)]
    journal.commit(Batch(taken=[*taken], history=history, refused=bad))
    journal.close()
    export(base / "j.sqlite", base / "out", ZoneInfo("Asia/Kathmandu"), "C")
    return base / "out"


FILES = ["readings.csv", "notes.csv", "history.csv", "refused.csv", "refused_counts.csv"]


@pytest.mark.parametrize("name", FILES)
def test_each_file_holds_to_the_grammar(out: Path, name: str) -> None:
    rows = records((out / name).read_bytes().decode("utf-8"))
    assert len(rows) > 2
    assert {len(row) for row in rows} == {len(rows[0])}  # rule 4: the same number of fields throughout
    assert all(re.fullmatch("[a-z][a-z0-9_]*", field) for field in rows[0])  # rule 3: a header line


@pytest.mark.parametrize(
    ("name", "column"), [("notes.csv", "text"), ("history.csv", "detail"), ("refused.csv", "detail")]
)
def test_every_text_survives(out: Path, name: str, column: str) -> None:
    header, *rows = records((out / name).read_bytes().decode("utf-8"))
    texts = [row[header.index(column)] for row in rows][-len(NASTY) :]
    guarded = {"=SUM(A1)": "'=SUM(A1)", "\ttab": "'\ttab"}
    assert texts == [guarded.get(text, text) for text in NASTY]


@pytest.mark.parametrize("name", FILES[:4])
def test_each_time_is_a_date_time_of_rfc_3339(out: Path, name: str) -> None:
    header, *rows = records((out / name).read_bytes().decode("utf-8"))
    for row in rows:
        utc, local = row[header.index("time_utc")], row[header.index("time_local")]
        assert DATE_TIME.fullmatch(utc)
        assert utc.endswith("Z")
        assert DATE_TIME.fullmatch(local)
        assert local.endswith("+05:45")


def test_the_parser_above_is_strict() -> None:
    """Worked lines: rules 1, 5, 6 and 7 of RFC 4180 section 2, and the reference sheet's line (C)."""
    assert records("aaa,bbb,ccc\r\nzzz,yyy,xxx\r\n") == [["aaa", "bbb", "ccc"], ["zzz", "yyy", "xxx"]]
    assert records('"aaa","b\r\nbb","ccc"\r\n') == [["aaa", "b\r\nbb", "ccc"]]
    assert records('"aaa","b""bb","ccc"\r\n') == [["aaa", 'b"bb', "ccc"]]
    assert records('a,"b,c","d""e","f\ng",\r\n') == [["a", "b,c", 'd"e', "f\ng", ""]]
    for wrong in ("a,b\n", 'a"b,c\r\n', "a,b", '"a"b\r\n'):
        with pytest.raises((AssertionError, IndexError)):
            records(wrong)


def test_the_writer_gives_the_sheets_line() -> None:
    """Reference sheet section 5 (C): ['a', 'b,c', 'd"e', 'f LF g', '']."""
    file = io.StringIO(newline="")
    csv.writer(file).writerow(["a", "b,c", 'd"e', "f\ng", ""])
    assert file.getvalue() == 'a,"b,c","d""e","f\ng",\r\n'
