"""The journal gives back exactly what was committed, in order, and refuses what is not its own."""

import math
import sqlite3
import stat
from dataclasses import replace
from datetime import date, datetime
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from journal_records import START_WALL_S, everything, line, note, open_journal, reading, refused

from coldbrood.journal import schema
from coldbrood.journal.errors import JournalError, explain, is_damage
from coldbrood.journal.prepare import check
from coldbrood.journal.reader import JournalReader, evening_of
from coldbrood.journal.retain import thin
from coldbrood.journal.rows import PAYLOAD_KEPT_BYTES, Batch
from coldbrood.watch.events import Note, Reading


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "coop log.sqlite"


def test_a_new_journal_is_private_marked_and_durable(path: Path) -> None:
    journal = open_journal(path)
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    asked = {
        name: journal.db.execute(f"PRAGMA {name}").fetchone()[0]
        for name in ("application_id", "user_version", "journal_mode", "synchronous", "page_size")
    }
    journal.close()
    assert asked == {
        "application_id": schema.APPLICATION_ID,
        "user_version": schema.VERSION,
        "journal_mode": "wal",
        "synchronous": 2,  # FULL: sqlite.org/pragma.html#pragma_synchronous
        "page_size": 1024,
    }


def test_the_marks_lie_where_the_file_format_says(path: Path) -> None:
    """sqlite.org/fileformat2.html: user_version big-endian at byte 60, application_id at 68 (sheet: C)."""
    open_journal(path).close()
    head = path.read_bytes()[:100]
    assert int.from_bytes(head[60:64], "big") == schema.VERSION
    assert int.from_bytes(head[68:72], "big") == schema.APPLICATION_ID


def test_what_is_committed_comes_back_after_a_restart(path: Path) -> None:
    journal = open_journal(path)
    seqs = [journal.commit(everything(n)) for n in range(4)]
    journal.close()
    again = open_journal(path)
    back = again.restore()
    assert again.last_seq == seqs[-1]
    assert again.set_aside is None
    assert back.alarms == {f"alarm-{n}": b'{"n":%d}' % n for n in range(4)} | {"alarm-latest": b"3"}
    assert back.messages["message-latest"] == b"3"
    assert back.states["snapshot"] == b"snapshot of 3" * 100
    assert back.covers == {"snapshot": seqs[3], **{f"state-{n}": seqs[n] for n in range(4)}}
    assert reading(3) in back.latest
    assert (back.last_t_s, back.last_wall_s) == (reading(3).t_s, reading(3).wall_s)
    again.close()


def test_an_empty_journal_restores_to_nothing(path: Path) -> None:
    journal = open_journal(path)
    back = journal.restore()
    assert (back.alarms, back.messages, back.states, back.latest) == ({}, {}, {}, [])
    assert (back.last_t_s, back.last_wall_s, journal.last_seq) == (None, None, 0)
    journal.close()


def test_replay_follows_the_order_of_taking_not_of_time(path: Path) -> None:
    taken: list[Reading | Note] = [reading(9), note("a", 8), reading(2, late=True), note("b", 1), reading(10)]
    journal = open_journal(path)
    journal.commit(Batch(taken=taken[:3]))
    mark = journal.last_seq
    journal.commit(Batch(taken=taken[3:], history=[line(11)]))
    assert list(journal.since(0)) == taken
    assert list(journal.since(mark)) == taken[3:]
    assert list(journal.since(journal.last_seq)) == []
    journal.close()


def test_a_long_replay_is_whole_and_in_order(path: Path) -> None:
    taken: list[Reading | Note] = []
    for n in range(2500):
        taken += [reading(n), note(f"n{n}", n)] if n % 100 == 0 else [reading(n)]
    journal = open_journal(path)
    journal.commit(Batch(taken=taken))
    journal.commit(Batch(taken=[note("last", 2600)]))
    assert list(journal.since(0)) == [*taken, note("last", 2600)]
    journal.close()


def test_a_snapshot_covers_all_of_its_own_batch(path: Path) -> None:
    journal = open_journal(path)
    journal.commit(Batch(taken=[reading(1), reading(2)], states={"snapshot": b"both"}))
    journal.commit(Batch(taken=[reading(3)]))
    assert list(journal.since(journal.restore().covers["snapshot"])) == [reading(3)]
    journal.close()


def test_a_note_twice_counts_once(path: Path) -> None:
    journal = open_journal(path)
    batch = Batch(taken=[note("k", 1), reading(1)])
    assert batch.knows_note("k")
    assert not journal.knows_note("k")
    journal.commit(batch)
    assert journal.knows_note("k")
    journal.commit(Batch(taken=[note("k", 2, text="again"), reading(2)]))
    assert list(journal.since(0)) == [note("k", 1), reading(1), reading(2)]
    journal.close()


def test_none_takes_an_alarm_and_a_message_out(path: Path) -> None:
    journal = open_journal(path)
    journal.commit(Batch(alarms={"a": b"1", "b": b"2"}, messages={"m": b"3"}))
    journal.commit(Batch(alarms={"a": None, "never": None}, messages={"m": None}))
    back = journal.restore()
    assert (back.alarms, back.messages) == ({"b": b"2"}, {})
    journal.close()


def test_latest_is_the_newest_whose_age_is_known(path: Path) -> None:
    journal = open_journal(path)
    taken: list[Reading | Note] = [reading(5), reading(4), reading(9, late=True), reading(3, "box-b")]
    journal.commit(Batch(taken=[*taken, reading(2, quantity="battery_v")]))
    expected = [reading(5), reading(2, quantity="battery_v"), reading(3, "box-b")]
    assert journal.restore().latest == expected
    with JournalReader.open(path) as reader:
        assert reader.latest() == expected
    journal.close()


def test_an_empty_batch_writes_nothing(path: Path) -> None:
    journal = open_journal(path)
    journal.commit(everything(1))
    before = Path(f"{path}-wal").stat().st_size
    assert Batch().is_empty()
    assert journal.commit(Batch()) == journal.last_seq
    assert Path(f"{path}-wal").stat().st_size == before
    journal.close()


def test_refused_payloads_are_a_ring_with_a_count_that_never_forgets(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("coldbrood.journal.writing.REFUSED_KEPT", 5)
    journal = open_journal(path)
    for n in range(12):
        journal.commit(Batch(refused=[refused(n)]))
    journal.close()
    journal = open_journal(path)
    journal.commit(Batch(refused=[refused(12), refused(13, None, "unknown-probe")]))
    with JournalReader.open(path) as reader:
        assert reader.refused(99) == [
            refused(13, None, "unknown-probe"),
            *(refused(n) for n in (12, 11, 10, 9)),
        ]
        assert reader.refused_counts() == {("box-a", "jump"): 13, ("", "unknown-probe"): 1}
    journal.close()


def test_made_up_probe_names_cannot_fill_the_disk(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("coldbrood.journal.writing._COUNTERS_KEPT", 10)
    journal = open_journal(path)
    journal.commit(Batch(refused=[refused(n, f"made-up-{n}") for n in range(50)]))
    with JournalReader.open(path) as reader:
        counts = reader.refused_counts()
    assert sum(counts.values()) == 50
    assert counts["", "jump"] == 40
    assert len(counts) == 11
    journal.close()


def test_a_refused_payload_is_kept_up_to_its_bound(path: Path) -> None:
    journal = open_journal(path)
    journal.commit(Batch(refused=[replace(refused(1), payload=b"x" * 100_000)]))
    with JournalReader.open(path) as reader:
        assert reader.refused()[0].payload == b"x" * PAYLOAD_KEPT_BYTES
    journal.close()


floats = st.floats(allow_nan=False, allow_infinity=True)
finite = st.floats(allow_nan=False, allow_infinity=False)
readings = st.builds(
    Reading,
    probe=st.text(st.characters(exclude_categories=["Cs"]), min_size=1, max_size=20),
    quantity=st.sampled_from(schema.QUANTITIES),
    raw=floats,
    value=floats,
    t_s=finite,
    wall_s=finite,
    synced=st.booleans(),
    late=st.booleans(),
)
notes = st.builds(
    Note,
    key=st.uuids().map(str),
    kind=st.sampled_from(["refill", "text", "count"]),
    box=st.none() | st.text(st.characters(exclude_categories=["Cs"]), max_size=20),
    t_s=finite,
    wall_s=finite,
    count=st.none() | st.integers(-1000, 10**6),
    fill_c=st.none() | finite,
    minutes=st.none() | finite,
    text=st.text(st.characters(exclude_categories=["Cs"])),
)


@settings(max_examples=40, deadline=None)
@given(taken=st.lists(readings | notes, min_size=1, max_size=20))
def test_any_record_comes_back_bit_for_bit(
    tmp_path_factory: pytest.TempPathFactory, taken: list[Reading | Note]
) -> None:
    journal = open_journal(tmp_path_factory.mktemp("any") / "j.sqlite")
    journal.commit(Batch(taken=taken))
    assert list(journal.since(0)) == taken
    journal.close()


def test_odd_values_cannot_block_the_journal(path: Path) -> None:
    """One record SQLite cannot hold would fail every later commit that carries it."""
    odd_reading = replace(reading(1), raw=math.nan, value=math.inf)
    odd_note = replace(note("half \ud800"), count=10**400, text="\udfff\x00=1+1")
    journal = open_journal(path)
    journal.commit(Batch(taken=[odd_reading, odd_note]))
    first, second = journal.since(0)
    assert isinstance(first, Reading)
    assert math.isnan(first.raw)
    assert first.value == math.inf
    assert isinstance(second, Note)
    assert (second.key, second.text, second.count) == ("half \\ud800", "\\udfff\x00=1+1", 2**63 - 1)
    assert journal.knows_note("half \ud800")
    journal.close()


def test_a_second_writer_is_refused(path: Path) -> None:
    journal = open_journal(path)
    with pytest.raises(JournalError, match="another coldbrood is writing it: stop the other one first"):
        open_journal(path)
    journal.close()
    open_journal(path).close()


def test_a_missing_directory_is_named(tmp_path: Path) -> None:
    with pytest.raises(JournalError, match="its directory does not exist: make it: mkdir -p") as caught:
        open_journal(tmp_path / "none" / "j.sqlite")
    assert "\n" not in str(caught.value)
    with pytest.raises(JournalError, match="it is a directory: name a file"):
        open_journal(tmp_path)


def test_another_programs_file_is_refused_and_untouched(path: Path) -> None:
    db = sqlite3.connect(path)
    db.execute("CREATE TABLE eggs (n)")
    db.execute("PRAGMA application_id = 77")
    db.commit()
    db.close()
    before = path.read_bytes()
    for look in (open_journal, JournalReader.open):
        with pytest.raises(JournalError, match=r"belongs to another program \(application_id 77, ours is"):
            look(path)
    assert path.read_bytes() == before


def test_a_newer_schema_is_refused_and_untouched(path: Path) -> None:
    open_journal(path).close()
    db = sqlite3.connect(path)
    db.execute(f"PRAGMA user_version = {schema.VERSION + 1}")
    db.close()
    before = path.read_bytes()
    for look in (open_journal, JournalReader.open):
        with pytest.raises(
            JournalError, match="its schema is 3, this coldbrood knows 1 to 2: install the newer"
        ):
            look(path)
    assert path.read_bytes() == before


def test_a_text_file_named_by_mistake_is_left_alone(path: Path) -> None:
    text = '[site]\nname = "hill"\n' + "# \u00e4\n" * 2000
    path.write_text(text, encoding="utf-8")
    with pytest.raises(JournalError, match="it is a text file, not a journal: name another file"):
        open_journal(path)
    assert path.read_text(encoding="utf-8") == text


def test_a_file_deleted_while_running_is_said_not_written_into_the_void(path: Path) -> None:
    journal = open_journal(path)
    journal.commit(everything(1))
    kept = path.rename(path.with_name("moved"))
    with pytest.raises(JournalError, match="moved or deleted: put it back, or a new one"):
        journal.commit(everything(2))
    kept.rename(path)
    journal.commit(everything(2))
    assert journal.restore().alarms["alarm-latest"] == b"2"
    journal.close()


def test_history_is_thinned_by_watch_time_in_bounded_steps(path: Path) -> None:
    journal = open_journal(path)
    day_lines = [line(n) for n in range(0, 1440 * 4, 60)]  # four days, hourly, 60.1 s a step
    journal.commit(Batch(taken=[reading(1)], history=day_lines))
    first = thin(journal, 2, rows=10)
    assert (first.history, first.more) == (10, True)
    while thin(journal, 2, rows=10).more:
        pass
    with JournalReader.open(path) as reader:
        left = reader.history(0, 1e12)
        assert reader.latest() == [reading(1)]
    newest = day_lines[-1][0].t_s
    assert [entry.t_s for entry in left] == [n.t_s for n, _ in day_lines if n.t_s >= newest - 2 * 86_400]
    with pytest.raises(ValueError, match="keep_days is 0: at least 1 day"):
        thin(journal, 0)
    journal.close()


def test_thinning_folds_the_log_and_never_waits_for_a_reader(path: Path) -> None:
    journal = open_journal(path)
    with JournalReader.open(path) as reader:
        reader.db.execute("BEGIN")
        assert reader.latest() == []
        journal.commit(everything(1))
        assert thin(journal, 30).log_pages_left > 0
        reader.db.execute("COMMIT")
    assert thin(journal, 30).log_pages_left == 0
    journal.close()


def test_the_reader_finds_history_and_notes_by_time_and_kind(path: Path) -> None:
    journal = open_journal(path)
    journal.commit(Batch(taken=[note("a", 1), note("b", 5)], history=[line(1), line(5, "message"), line(9)]))
    with JournalReader.open(path) as reader:
        from_wall_s, to_wall_s = START_WALL_S + 60.1 * 5, START_WALL_S + 60.1 * 9
        assert [entry.line for entry in reader.history(from_wall_s, to_wall_s)] == [line(5, "message")[1]]
        assert [entry.t_s for entry in reader.history(0, 1e12, "alarm")] == [line(1)[0].t_s, line(9)[0].t_s]
        assert reader.notes(from_wall_s, to_wall_s) == [note("b", 5)]
        assert (reader.alarms(), reader.messages(), reader.state("snapshot")) == ({}, {}, None)
    journal.close()


def test_the_reader_says_what_is_missing(path: Path) -> None:
    with pytest.raises(JournalError, match="there is no journal here: start the daemon once"):
        JournalReader.open(path)
    path.touch()
    with pytest.raises(JournalError, match="it is still empty: start the daemon once"):
        JournalReader.open(path)


def test_reader_cannot_write(path: Path) -> None:
    open_journal(path).close()
    with JournalReader.open(path) as reader, pytest.raises(sqlite3.OperationalError, match="readonly"):
        reader.db.execute("DELETE FROM reading")


def test_only_damage_sets_a_file_aside() -> None:
    def error(code: int) -> sqlite3.OperationalError:
        made = sqlite3.OperationalError("x")
        made.sqlite_errorcode = code
        return made

    damage = [
        sqlite3.SQLITE_CORRUPT,
        sqlite3.SQLITE_NOTADB,
        sqlite3.SQLITE_IOERR_READ,
        sqlite3.SQLITE_CORRUPT_INDEX,
    ]
    way_there = [
        sqlite3.SQLITE_FULL,
        sqlite3.SQLITE_BUSY,
        sqlite3.SQLITE_IOERR_WRITE,
        sqlite3.SQLITE_READONLY,
    ]
    assert all(is_damage(error(code)) for code in damage)
    assert not any(is_damage(error(code)) for code in way_there)
    assert not is_damage(sqlite3.OperationalError("raised by Python"))
    assert "no space left" in str(explain(error(sqlite3.SQLITE_FULL), Path("j")))
    assert "cannot be used" in str(explain(sqlite3.OperationalError("odd"), Path("j")))


def test_check_finds_damage_that_opening_does_not(path: Path) -> None:
    journal = open_journal(path)
    journal.commit(Batch(taken=[reading(n) for n in range(500)]))
    journal.close()
    content = bytearray(path.read_bytes())
    content[-1024:] = bytes(1024)
    path.write_bytes(content)
    db = schema.connect(path)
    with pytest.raises(sqlite3.DatabaseError) as caught:
        check(db)
    assert is_damage(caught.value)
    db.close()


@pytest.mark.parametrize(
    ("at", "bedtime", "rising", "evening"),
    [
        ("2026-04-01T22:30:00", 22, 6, "2026-04-01"),
        ("2026-04-02T05:59:59", 22, 6, "2026-04-01"),
        ("2026-04-02T06:00:00", 22, 6, None),
        ("2026-04-01T21:59:59", 22, 6, None),
        ("2026-04-02T01:30:00", 1, 6, "2026-04-01"),
        ("2026-04-02T23:30:00", 1, 6, None),
    ],
)
def test_a_night_belongs_to_the_evening_it_began(
    at: str, bedtime: int, rising: int, evening: str | None
) -> None:
    local = datetime.fromisoformat(at)
    expected = None if evening is None else date.fromisoformat(evening)
    assert evening_of(local, bedtime * 3600, rising * 3600) == expected
