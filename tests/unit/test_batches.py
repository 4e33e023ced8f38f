"""Promise: a batch ends and the next begins by notes; a closed one wakes nobody, the next starts from the
learned box and from nothing else, and a probe in ice water neither alarms nor teaches.
"""

from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sites import START_WALL_S, make_site
from watching import Watching

from coldbrood.brooder.bank import SAMPLES, as_usual, draw, spread_normals, weights
from coldbrood.brooder.carry import KEPT_ROWS, WIDEN_LOG_SD, carried
from coldbrood.brooder.estimate import start
from coldbrood.brooder.specs import Flock
from coldbrood.codec import pack, unpack
from coldbrood.notes import BadNote, read_note
from coldbrood.watch import batches
from coldbrood.watch.batches import in_use, spans, start_text
from coldbrood.watch.events import Note, NoteKind, Started
from coldbrood.watch.sight import Sight, fitted_sight
from coldbrood.watch.state import Ledger
from coldbrood.watch.step import step

SECOND = date(2026, 4, 12)


def tell(watching: Watching, kind: NoteKind, text: str = "", minutes: float | None = None) -> None:
    key = f"{kind}-{watching.t_s}"
    watching.do(Note(key, kind, None, watching.t_s, watching.wall_s, text=text, minutes=minutes))


def begin(watching: Watching, arrival: date = SECOND, **chicks: int) -> None:
    tell(watching, "batch-start", start_text(arrival, None, "layer", chicks))


def cool(
    watching: Watching, hours: float, boxes: str = "a", from_c: float = 30.0, fall_c: float = 0.1
) -> None:
    """Boxes that cool, an outside of 5 C that is never quite still, a reading each five minutes."""
    for n in range(round(hours * 12)):
        for name in boxes:
            watching.send_c(f"box-{name}", from_c - fall_c * n)
        watching.send_c("outdoor", 5.0 + 0.1 * (n % 3))
        watching.pass_s(300.0)


def test_a_closed_batch_is_silent_and_its_alarms_are_out_of_service() -> None:
    watching = Watching(make_site(), START_WALL_S)
    cool(watching, 2.0, from_c=26.0, fall_c=0.3)
    assert any(title.startswith("Refill now") for title in watching.titles())
    assert watching.state.alarms["refill-now/a"].active
    tell(watching, "batch-close")
    told = len(watching.told)
    assert {alarm.state for alarm in watching.state.alarms.values()} == {"out-of-service"}
    assert watching.shown["a"] == {"box": "a", "at": "2026-04-11T12:00:00Z", "state": "at rest"}
    watching.pass_s(30 * 3600.0)  # the probes are packed away: no silence, no bedtime, no morning
    assert watching.told[told:] == []
    assert (watching.state.views, watching.state.sight.boxes) == ({}, {})
    closed = next(line for line in watching.history if line.kind == "batch")
    assert (closed.state, closed.reason) == ("closed", "2026-04-10")
    assert closed.detail.startswith("box a: jug ")


def test_the_next_batch_wakes_anew_with_keys_of_its_own() -> None:
    watching = Watching(make_site(), START_WALL_S)
    cool(watching, 2.0, from_c=26.0, fall_c=0.3)
    tell(watching, "batch-close")
    told = len(watching.told)
    watching.pass_s(3600.0)
    begin(watching, a=14)
    watching.pass_s(600.0)
    assert watching.told[told:] == [], "probes from the drawer are given their time to speak"
    assert watching.state.ledger == Ledger()
    assert watching.state.sight.boxes["a"].chicks == 14
    assert in_use(watching.site, watching.state.sight, watching.t_s).batch.day0 == SECOND
    cool(watching, 2.0, from_c=26.0, fall_c=0.3)
    again = [one.send.key for one in watching.told[told:] if one.send.key.startswith("refill-now")]
    assert again
    assert not set(again) & {one.send.key for one in watching.told[:told]}


def test_boxes_not_named_rest_and_their_probes_are_read_all_the_same() -> None:
    watching = Watching(make_site("ab"), START_WALL_S)
    cool(watching, 3.0, "ab")
    tell(watching, "batch-close")
    begin(watching, b=12)
    learned = watching.state.sight.resting["a"].estimate
    told = len(watching.told)
    for _ in range(36):
        watching.send_c("box-a", 3.0)
        watching.send_c("box-b", 29.0)
        watching.send_c("outdoor", 5.0)
        watching.pass_s(300.0)
    assert watching.state.sight.resting["a"].estimate is learned
    assert watching.state.sight.probes["box-a"].temperature_c == 3.0
    assert set(watching.state.views) == {"b"}
    assert [title for title in watching.titles()[told:] if "box A" in title or "box-a" in title] == []


def test_a_batch_begins_with_the_learned_box_and_other_chicks() -> None:
    """A bank sure of its box: what is carried lies where it lay, a little wider, not as wide as on paper."""
    site = make_site()
    spec, paper = site.boxes["a"], draw(site.boxes["a"], 1)
    narrow = np.array([1.7, 0.9, 9.5, 0.0])[:, None] + 0.05 * spread_normals(np.random.default_rng(1), 4)
    narrow = np.vstack([narrow, np.zeros(SAMPLES)])
    learned = replace(start(spec, Flock(16, 1.0, "layer"), 1), bank=replace(paper, theta=narrow), first_s=0.0)
    begun = carried(learned, spec)
    assert begun.first_s is None
    assert begun.refills == 0
    assert len(begun.tail) == 0
    theta = as_usual(begun.bank.theta)
    for row in range(KEPT_ROWS):
        assert theta[row].mean() == pytest.approx(narrow[row].mean(), abs=0.02)
        wide = np.hypot(0.05, WIDEN_LOG_SD[row])
        assert theta[row].std() == pytest.approx(wide, rel=0.1)
        assert theta[row].std() < paper.theta[row].std()
    assert np.array_equal(begun.bank.theta[KEPT_ROWS:], paper.theta[KEPT_ROWS:])  # other chicks: as on paper
    assert begun.bank.draws == learned.bank.draws + 1


@settings(deadline=None, max_examples=30)  # a busy machine is no fault
@given(st.integers(0, 2**31), st.floats(0.01, 2.0))
def test_a_widening_never_makes_a_box_less_known_than_a_new_one(seed: int, spread: float) -> None:
    spec = make_site().boxes["a"]
    paper = draw(spec, seed)
    centre = paper.theta.mean(axis=1, keepdims=True)
    bank = replace(paper, theta=centre + spread * (paper.theta - centre))
    begun = carried(replace(start(spec, Flock(16, 1.0, "layer"), seed), bank=bank, first_s=0.0), spec)
    most = max(1.0, spread) * paper.theta[:KEPT_ROWS].std(axis=1)
    assert (begun.bank.theta[:KEPT_ROWS].std(axis=1) <= 1.15 * most).all()
    assert weights(begun.bank) == pytest.approx(np.full(SAMPLES, 1.0 / SAMPLES))


def test_a_box_never_read_begins_on_paper() -> None:
    spec = make_site().boxes["a"]
    fresh = start(spec, Flock(16, 1.0, "layer"), 7)
    assert np.array_equal(carried(fresh, spec).bank.theta, draw(spec, 7).theta)


@pytest.mark.parametrize(
    ("kind", "text", "why"),
    [
        ("batch-start", start_text(SECOND, None, "layer", {"a": 3}), "the batch of 2026-04-10 is open"),
        ("aside", "nobody", "probe: nobody: one of box-a, outdoor"),
    ],
)
def test_what_cannot_be_done_is_told_and_changes_nothing(kind: NoteKind, text: str, why: str) -> None:
    watching = Watching(make_site(), START_WALL_S)
    before = watching.state.sight
    tell(watching, kind, text, minutes=5.0)
    line = watching.history[-1]
    assert (line.kind, line.state) == ("batch", "not-done")
    assert why in line.detail
    assert replace(watching.state.sight, note_keys=()) == replace(before, note_keys=())


def test_a_close_with_none_open_is_told() -> None:
    watching = Watching(make_site(), START_WALL_S)
    tell(watching, "batch-close")
    watching.pass_s(60.0)
    tell(watching, "batch-close")
    assert watching.history[-1].detail == "no batch is open"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("chicks.a=16", "arrival: missing: a date"),
        ("arrival=2026-04-12", "chicks: none: at least one box of a"),
        ("arrival=2026-04-12 chicks.z=3", "box: z: one of a"),
        ("arrival=2026-04-12 chicks.a=999", "chicks: 999: a whole number, 0 to 150"),
        ("arrival=2026-04-12 chicks.a=-1", "chicks: -1"),
        ("arrival=2026-04-12 chicks.a=3 hatched=2026-04-13", "hatched: 2026-04-13: not after the arrival"),
        ("arrival=2026-04-12 chicks.a=3 kind=goose", "kind: goose: one of layer, broiler"),
        ("arrival=2027-04-12 chicks.a=3", "60 days back to 30 days ahead of 2026-04-11"),
        ("arrival=2026-04-12 chicks.a=3 colour=red", "text: colour=red"),
        ("arrival=12.4.2026 chicks.a=3", "arrival: 12.4.2026: a date"),
    ],
)
def test_a_bad_start_is_refused_at_the_door(text: str, said: str) -> None:
    site = make_site()
    now = Watching(site, START_WALL_S).now
    with pytest.raises(BadNote) as refusal:
        read_note(f'{{"kind": "batch-start", "text": "{text}"}}'.encode(), site, now)
    assert said in str(refusal.value)


def test_a_batch_note_is_of_no_box_even_where_there_is_one() -> None:
    site = make_site()
    note = read_note(b'{"kind": "batch-close"}', site, Watching(site, START_WALL_S).now)
    assert note.box is None


def test_ice_water_neither_alarms_nor_teaches_while_the_probe_is_aside() -> None:
    watching = Watching(make_site(), START_WALL_S)
    cool(watching, 1.0)
    tell(watching, "aside", "box-a", minutes=60.0)
    learned, told = watching.state.sight.boxes["a"].estimate, len(watching.told)
    for _ in range(5):
        watching.send_c("box-a", 0.1)
        watching.send_c("outdoor", 5.0)
        watching.pass_s(300.0)
    assert watching.state.sight.boxes["a"].estimate is learned
    assert watching.told[told:] == []
    tell(watching, "aside", "box-a")
    assert [line.state for line in watching.history if line.kind == "probe"] == ["aside", "in-use"]
    watching.send_c("box-a", 27.0)
    watching.send_c("box-a", 27.1)
    assert watching.state.sight.boxes["a"].newest == (watching.t_s, 27.1)


def test_a_probe_forgotten_aside_comes_back_by_itself() -> None:
    watching = Watching(make_site(), START_WALL_S)
    tell(watching, "aside", "box-a", minutes=30.0)
    assert "box-a" not in in_use(watching.site, watching.state.sight, watching.t_s).probes
    watching.pass_s(1801.0)
    assert "box-a" in in_use(watching.site, watching.state.sight, watching.t_s).probes


def test_a_kept_sight_goes_on_and_a_changed_config_is_fitted() -> None:
    watching = Watching(make_site("ab"), START_WALL_S)
    cool(watching, 0.5, "ab")
    tell(watching, "batch-close")
    begin(watching, b=12)
    kept = unpack(pack(watching.state.sight), Sight)
    fitted = fitted_sight(watching.site, kept)
    assert (list(fitted.boxes), list(fitted.resting), fitted.batch) == (["b"], ["a"], kept.batch)
    more = fitted_sight(make_site("abc"), kept)
    assert (list(more.boxes), list(more.resting)) == (["b", "c"], ["a"])
    closed = replace(kept, boxes={}, resting={**kept.resting, **kept.boxes})
    assert list(fitted_sight(make_site("abc"), closed).boxes) == []


def test_the_config_corrects_a_batch_that_is_no_newer_than_its_own() -> None:
    watching = Watching(make_site(), START_WALL_S)
    tell(watching, "batch-close")
    begin(watching, SECOND, a=12)
    sight = watching.state.sight
    own = replace(
        watching.site, batch=replace(watching.site.batch, arrival=SECOND, hatched=date(2026, 4, 11))
    )
    assert in_use(own, sight, watching.t_s).batch.day0 == date(2026, 4, 11)
    assert in_use(watching.site, sight, watching.t_s).batch.day0 == SECOND


def test_the_spans_of_the_journal() -> None:
    site = make_site()
    text = start_text(SECOND, date(2026, 4, 11), "broiler", {"a": 9})

    def note(kind: NoteKind, wall_s: float, text: str = "") -> Note:
        return Note(f"{kind}{wall_s}", kind, None, 0.0, wall_s, text=text)

    notes = [
        note("batch-start", 1.0, text),  # refused then: the config's was open
        note("batch-close", 2.0),
        note("batch-close", 3.0),
        note("count", 3.5),
        note("batch-start", 4.0, text),
    ]
    first, second = spans(site, notes)
    assert (first.batch, first.from_wall_s, first.to_wall_s) == (site.batch, None, 2.0)
    assert (second.batch.day0, second.from_wall_s, second.to_wall_s) == (date(2026, 4, 11), 4.0, None)
    assert second.batch.kind == "broiler"


def test_a_start_of_the_daemon_leaves_a_closed_batch_closed() -> None:
    watching = Watching(make_site(), START_WALL_S)
    tell(watching, "batch-close")
    state, _ = step(watching.site, watching.state, Started(3600.0, sure=True), watching.now)
    assert in_use(watching.site, state.sight, watching.t_s).boxes == {}
    assert batches.refusal(watching.site, state.sight, Note("x", "batch-close", None, 0.0, 0.0)) != ""
