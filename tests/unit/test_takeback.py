"""Promise: a note taken back leaves the box and its alarms as if never said, and moves nothing else."""

import pytest
from sites import START_WALL_S, make_site
from watching import Watching

from coldbrood.brooder.estimate import Estimate
from coldbrood.codec import pack, unpack
from coldbrood.notes import BadNote, NoteForm, check_note
from coldbrood.watch.events import History, Note, NoteKind
from coldbrood.watch.sight import BoxSight, Sight

HOUR_S = 3600.0


class Keeper:
    """A watched site with a keeper who tells and takes back."""

    def __init__(self) -> None:
        self.watching = Watching(make_site(), START_WALL_S)
        self.said = 0

    @property
    def box(self) -> BoxSight:
        return self.watching.state.sight.boxes["a"]

    def tell(self, kind: NoteKind, ago_s: float = 0.0, box: str | None = "a", **more: object) -> str:
        self.said += 1
        key = f"note-{self.said}"
        at = {"t_s": self.watching.t_s - ago_s, "wall_s": self.watching.wall_s - ago_s}
        self.watching.do(Note(key=key, kind=kind, box=box, **at, **more))  # type: ignore[arg-type] # the test's own
        return key

    def take_back(self, key: str) -> None:
        self.tell("withdraw", text=key)

    def cool(self, from_c: float, to_c: float, hours: float) -> None:
        looks = int(hours * 12)
        for n in range(looks + 1):
            self.watching.send_c("box-a", from_c + (to_c - from_c) * n / looks)
            self.watching.send_c("outdoor", 4.0)
            self.watching.pass_s(300.0)

    def alarm(self, key: str) -> str:
        return self.watching.state.alarms[key].state


@pytest.fixture
def keeper() -> Keeper:
    return Keeper()


def same(one: Estimate, other: Estimate) -> bool:
    return pack(one) == pack(other)


def test_counts_and_losses(keeper: Keeper) -> None:
    counted = keeper.tell("count", count=12)
    lost = keeper.tell("loss", count=2)
    keeper.take_back(counted)
    assert keeper.box.chicks == 14, "the loss told after the count still counts"
    keeper.take_back(lost)
    assert keeper.box.chicks == 16


def test_a_look_in_no_longer_moves_the_floor(keeper: Keeper) -> None:
    keeper.cool(26.0, 25.0, 1.0)
    before = keeper.watching.state.views["a"].band
    seen = keeper.tell("look-in", look_in="huddled")
    assert keeper.watching.state.views["a"].band.floor_c > before.floor_c
    keeper.take_back(seen)
    assert keeper.box.look_ins == ()
    assert keeper.watching.state.views["a"].band == before


def test_a_refill_that_nothing_but_the_note_told_of(keeper: Keeper) -> None:
    keeper.cool(27.0, 24.0, 3.0)
    before = keeper.box
    filled = keeper.tell("refill")
    assert keeper.box.refill_t_s == keeper.watching.t_s
    keeper.take_back(filled)
    assert (keeper.box.refill_t_s, keeper.box.noted_refill_t_s) == (before.refill_t_s, None)
    assert same(keeper.box.estimate, before.estimate)


def test_only_the_newest_refill_is_unfilled(keeper: Keeper) -> None:
    keeper.cool(27.0, 24.0, 3.0)
    first = keeper.tell("refill", ago_s=HOUR_S)
    second = keeper.tell("refill")
    newest = keeper.box.refill_t_s
    keeper.take_back(first)
    assert keeper.box.refill_t_s == newest
    keeper.take_back(second)
    assert keeper.box.refill_t_s != newest


def test_an_alarm_that_was_answered_by_mistake_asks_again(keeper: Keeper) -> None:
    keeper.cool(26.0, 13.0, 4.0)
    assert keeper.alarm("under-hard-floor/a") == "unacknowledged"
    answered = keeper.tell("acknowledge", alarm="under-hard-floor/a")
    assert keeper.alarm("under-hard-floor/a") == "acknowledged"
    told = len(keeper.watching.told)
    keeper.take_back(answered)
    assert keeper.alarm("under-hard-floor/a") == "unacknowledged"
    assert len(keeper.watching.told) > told, "and it speaks at once"


def test_a_shelf_ends(keeper: Keeper) -> None:
    keeper.cool(26.0, 13.0, 4.0)
    shelved = keeper.tell("shelve", alarm="under-hard-floor/a", minutes=30.0)
    assert keeper.alarm("under-hard-floor/a") == "shelved"
    keeper.take_back(shelved)
    assert keeper.alarm("under-hard-floor/a") == "unacknowledged"


def test_a_refill_told_by_mistake_lets_its_alarms_ask_again(keeper: Keeper) -> None:
    keeper.cool(26.0, 13.0, 4.0)
    filled = keeper.tell("refill")
    assert keeper.alarm("under-hard-floor/a") == "acknowledged"
    keeper.take_back(filled)
    assert keeper.alarm("under-hard-floor/a") == "unacknowledged"


def test_taken_back_once_only_and_never_what_was_not_said(keeper: Keeper) -> None:
    lost = keeper.tell("loss", count=1)
    keeper.take_back(lost)
    keeper.take_back(lost)
    keeper.take_back("never-said")
    assert keeper.box.chicks == 16
    not_done = [line for line in keeper.watching.history if line.state == "not-done"]
    assert [line.subject for line in not_done] == [lost, "never-said"]
    assert all(isinstance(line, History) and line.reason == "withdraw" for line in not_done)


def test_words_and_notes_without_a_box_can_be_taken_back(keeper: Keeper) -> None:
    said = keeper.tell("text", box=None, text="moved the run")
    keeper.take_back(said)
    assert [told.key for told in keeper.watching.state.sight.told] == []


def test_what_can_be_taken_back_survives_a_restart(keeper: Keeper) -> None:
    keeper.tell("count", count=12)
    sight = keeper.watching.state.sight
    assert unpack(pack(sight), Sight).told == sight.told
    assert len(sight.told) == 1


def test_it_must_say_which(keeper: Keeper) -> None:
    with pytest.raises(BadNote, match="text: missing"):
        check_note(NoteForm(kind="withdraw"), keeper.watching.site, keeper.watching.now)
