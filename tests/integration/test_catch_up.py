"""Promise: an estimate caught up from an old snapshot and the readings since is the undisturbed one."""

from dataclasses import replace
from pathlib import Path

import pytest
from sites import START_WALL_S, make_site
from watching import Watching

from coldbrood import keep
from coldbrood.codec import pack, unpack
from coldbrood.journal.rows import Batch
from coldbrood.journal.store import Journal
from coldbrood.watch.events import Note
from coldbrood.watch.sight import Sight
from coldbrood.watch.state import State


def play(watch: Watching, hours: float) -> None:
    """A cooling box with a refill seen, a refill noted, a count and a look-in."""
    for n in range(int(hours * 60)):
        since_refill = n % 150
        warm = 26.0 - 0.04 * since_refill if since_refill > 20 else 19.0 + 0.35 * since_refill
        watch.send_c("box-a", warm + 0.0625 * (n % 3))
        if n % 3 == 0:
            watch.send_c("outdoor", 6.0 - 0.01 * n)
        if n in (40, 170):
            note = Note(f"n{n}", "refill", "a", watch.t_s, watch.wall_s, fill_c=72.0)
            if n == 40:
                note = replace(note, kind="look-in", look_in="huddled")
            watch.taken.append(note)  # type: ignore[arg-type] # the journal keeps both in one order
            watch.do(note)
        watch.pass_s(60.0)


@pytest.mark.parametrize("kept_after_h", [0.0, 0.5, 3.0])
def test_a_revived_sight_is_the_sight_that_never_stopped(tmp_path: Path, kept_after_h: float) -> None:
    site = make_site()
    watch = Watching(site, START_WALL_S)
    play(watch, kept_after_h)
    journal = Journal.open(tmp_path / "journal.db", now_label="test")
    batch = Batch(taken=list(watch.taken))
    keep.keep_sight(batch, watch.state.sight)
    journal.commit(batch)
    split = len(watch.taken)
    play(watch, 2.5)
    batch = Batch(taken=watch.taken[split:])  # type: ignore[arg-type] # readings and notes
    before = State(sight=watch.state.sight, health=watch.state.health)
    keep.gather(batch, before, watch.state)
    journal.commit(batch)
    journal.close()

    again = Journal.open(tmp_path / "journal.db", now_label="test")
    restored = again.restore()
    revived = keep.revive(site, restored, again.since(keep.first_seq(restored)), watch.t_s)
    again.close()
    assert pack(revived.sight.boxes) == pack(watch.state.sight.boxes)
    assert pack(revived.sight.habit) == pack(watch.state.sight.habit)
    assert revived.alarms == watch.state.alarms
    assert revived.outbox == watch.state.outbox
    assert revived.ledger == watch.state.ledger


def test_a_snapshot_is_some_tens_of_kilobytes() -> None:
    watch = Watching(make_site(), START_WALL_S)
    play(watch, 3.0)
    kept = pack(watch.state.sight)
    assert len(kept) < 60_000
    assert pack(unpack(kept, Sight)) == kept


def test_a_snapshot_of_another_make_is_begun_anew_from_the_readings(tmp_path: Path) -> None:
    site = make_site()
    watch = Watching(site, START_WALL_S)
    play(watch, 1.0)
    journal = Journal.open(tmp_path / "journal.db", now_label="test")
    kept = {keep.SIGHT: b"\x93not a sight", keep.LEDGER: pack(watch.state.ledger)}
    batch = Batch(taken=list(watch.taken), states=kept)
    journal.commit(batch)
    restored = journal.restore()
    assert keep.first_seq(restored) == 0
    revived = keep.revive(site, restored, journal.since(0), watch.t_s)
    journal.close()
    assert pack(revived.sight.boxes) == pack(watch.state.sight.boxes)
