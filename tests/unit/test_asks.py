"""Promise: what was asked for at bedtime is known to who sees the refill, and outlives a stop."""

from dataclasses import replace
from pathlib import Path

import pytest
from sites import START_WALL_S, make_site
from watching import Watching

from coldbrood import keep
from coldbrood.brooder.bends import Prior
from coldbrood.brooder.refills import UNASKED
from coldbrood.codec import pack
from coldbrood.journal.rows import Batch
from coldbrood.journal.store import Journal
from coldbrood.watch import sight
from coldbrood.watch.events import GapKnown
from coldbrood.watch.expected import last_ask
from coldbrood.watch.site import Site
from coldbrood.watch.state import ASKS_KEPT, Ledger, State, asking

BEDTIME_H = 12


def hot_site() -> Site:
    """Much hot water in a small box: a full fill overheats it."""
    site = make_site(channels=1)
    return replace(site, boxes={"a": replace(site.boxes["a"], jugs=2, jug_litres=6.0, fill_c=80.0)})


def watch(watching: Watching, hours: float, begin_c: float, per_h: float) -> None:
    for n in range(round(hours * 12)):
        watching.send_c("outdoor", 10.0 + 0.0625 * (n % 3))
        watching.send_c("box-a", begin_c + per_h * n / 12.0 + 0.0625 * (n % 2))
        watching.pass_s(300.0)


def evening() -> Watching:
    """Twelve hours of a box that cools to its floor at bedtime, and the message of bedtime."""
    watching = Watching(hot_site(), START_WALL_S)
    watch(watching, BEDTIME_H, 30.0, -0.72)
    return watching


def test_bedtime_asks_for_cooler_water_and_the_sight_knows_of_it() -> None:
    watching = evening()
    told = next(one.send for one in watching.told if one.send.key.startswith("bedtime"))
    ask = last_ask(watching.state.sight.asks, "a", watching.t_s)
    assert ask is not None
    assert ask.fill_c is not None
    assert f"Fill with water of {ask.fill_c:.0f} C: hotter is too hot." in told.body
    assert watching.state.sight.asks == watching.state.ledger.asks
    assert last_ask(watching.state.sight.asks, "a", ask.t_s - 1.0) is None


@pytest.mark.parametrize(("chance", "asked"), [(0.7, True), (0.99, False)])
def test_an_ask_stays_open_while_its_answer_is_in_doubt(
    chance: float, asked: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    watching, heard = evening(), []

    def spy(site: Site, track: object, around: object, open_ask: bool, *when: float) -> Prior:
        heard.append(open_ask)
        return UNASKED

    monkeypatch.setattr(sight, "prior_of_refill", spy)
    box = watching.state.sight.boxes["a"]
    box = replace(box, refill_t_s=watching.t_s, estimate=replace(box.estimate, refill_chance=chance))
    seen = replace(watching.state.sight, boxes={"a": box})
    watching.state = replace(watching.state, sight=seen)
    watching.send_c("box-a", 21.6)
    assert heard == [asked]


def test_what_was_asked_outlives_a_kill(tmp_path: Path) -> None:
    """The sight is kept seldom, the asks at once: the refill is the cooler one after a start too."""
    watching = evening()
    watch(watching, 0.75, 21.6, 13.0)
    watch(watching, 1.5, 31.0, -0.5)
    assert any(line.kind == "refill" for line in watching.history)
    journal = Journal.open(tmp_path / "journal.db", now_label="test")
    batch = Batch(taken=list(watching.taken))
    keep.gather(batch, State(sight=watching.state.sight, health=watching.state.health), watching.state)
    journal.commit(batch)
    restored = journal.restore()
    journal_since = list(journal.since(keep.first_seq(restored)))
    journal.close()
    revived = keep.revive(watching.site, restored, journal_since, watching.t_s)
    assert pack(revived.sight.boxes) == pack(watching.state.sight.boxes)
    assert revived.sight.asks == watching.state.sight.asks
    deaf = replace(restored, states={key: v for key, v in restored.states.items() if key != keep.LEDGER})
    other = keep.revive(watching.site, deaf, journal_since, watching.t_s)
    assert pack(other.sight.boxes) != pack(watching.state.sight.boxes), "the ask makes the difference"


def test_only_the_last_asks_are_kept() -> None:
    state = evening().state
    ask = last_ask(state.sight.asks, "a", 1e9)
    assert ask is not None
    for n in range(2 * ASKS_KEPT):
        state = asking(state, {"a": replace(ask, t_s=ask.t_s + n)})
    assert len(state.ledger.asks) == ASKS_KEPT
    assert last_ask(state.sight.asks, "a", 1e9) == replace(ask, t_s=ask.t_s + 2 * ASKS_KEPT - 1)
    assert asking(state, {}) is state
    assert Ledger().asks == ()


def test_an_ask_moves_with_a_gap_that_becomes_known() -> None:
    watching = evening()
    before = last_ask(watching.state.sight.asks, "a", 1e9)
    assert before is not None
    watching.t_s += 7200.0
    watching.do(GapKnown(7200.0))
    after = last_ask(watching.state.sight.asks, "a", 1e9)
    assert after is not None
    assert after.t_s == before.t_s + 7200.0


def night_of_cold() -> Watching:
    """A box that nobody refills: nudged a little after one, under its hard floor at half past four."""
    watching = Watching(hot_site(), START_WALL_S)
    watch(watching, 12.0, 26.0, 0.0)
    watch(watching, 7.0, 26.0, -1.6)
    watching.run_to(watching.t_s + 2.0 * 3600.0)
    return watching


def test_a_nudge_asks_too_and_at_night_for_cooler_water_where_the_usual_is_too_hot() -> None:
    watching = night_of_cold()
    firsts = {
        one.send.key.split("/")[0]: one
        for one in watching.told
        if one.send.key.split("@")[0].endswith(".1") or one.send.key.startswith("morning")
    }
    nudge, again, hard, morning = (
        firsts[name] for name in ("refill-now", "refill-not-seen", "under-hard-floor", "morning")
    )
    asks = {one.ask.t_s: one.ask for one in watching.state.ledger.asks}
    nudges = [
        one.t_s for one in watching.told if one.send.key.split("/")[0] in ("refill-now", "refill-not-seen")
    ]
    assert set(nudges) <= set(asks), "a nudge that is repeated asks again"
    for one in (nudge, again):
        ask = asks[one.t_s]
        assert ask.fill_c is not None
        assert f"Fill with water of {ask.fill_c:.0f} C: hotter is too hot." in one.send.body
    late = [asks[one.t_s].fill_c for one in (hard, morning)]
    assert late == [None, None], "who is that cold may have it as hot as ever"
    assert "Fill with water" not in hard.send.body
    assert morning.send.title.startswith("Fill now")


def test_by_day_water_is_asked_for_as_hot_as_usual() -> None:
    watching = Watching(hot_site(), START_WALL_S)
    watch(watching, 6.0, 26.0, -1.0)
    nudge = next(one.send for one in watching.told if one.send.key.startswith("refill-now"))
    assert "Fill with water" not in nudge.body
    assert {one.ask.fill_c for one in watching.state.ledger.asks} == {None}
