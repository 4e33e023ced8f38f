"""Promise: the label of wall time follows a clock that was set, and no fault of one that was not."""

import time

import pytest

from coldbrood import clock as clocks
from coldbrood.clock import DOUBT_MOST_S, GAP_MOST_S, Anchor, Clock, Doubt, resume

DAY_S = 86_400.0
LABEL_S = 1_775_900_000.0


class Machine:
    """A board whose wall clock and kernel say what the test wants."""

    def __init__(self, wall_s: float, synced: bool) -> None:
        self.wall_s = wall_s
        self.synced = synced
        self.mono_s = 50.0

    def pass_s(self, seconds: float) -> None:
        self.wall_s += seconds
        self.mono_s += seconds


@pytest.fixture
def machine(monkeypatch: pytest.MonkeyPatch) -> Machine:
    board = Machine(LABEL_S, synced=True)
    monkeypatch.setattr(time, "time", lambda: board.wall_s)
    monkeypatch.setattr(clocks, "up_s", lambda: board.mono_s)
    monkeypatch.setattr(clocks, "kernel_clock_is_synced", lambda: board.synced)
    return board


def stepped(machine: Machine, step_s: float, *, synced: bool) -> tuple[float, float]:
    """The step the clock owns to, and how far its label is then from one that never stepped."""
    clock = Clock()
    clock.take_step_s()
    machine.synced = synced
    machine.pass_s(15.0)
    machine.wall_s += step_s
    told_s = clock.take_step_s()
    return told_s, clock.wall_s() - (LABEL_S + 15.0)


@pytest.mark.parametrize("step_s", [3600.0, -3600.0, 3650 * DAY_S, -LABEL_S])
def test_a_clock_set_from_outside_is_followed(machine: Machine, step_s: float) -> None:
    assert stepped(machine, step_s, synced=True) == (step_s, step_s)


@pytest.mark.parametrize("step_s", [3600.0, -3600.0, 13 * DAY_S, -1.9 * DAY_S])
def test_a_step_by_hand_within_belief_is_followed(machine: Machine, step_s: float) -> None:
    assert stepped(machine, step_s, synced=False) == pytest.approx((step_s, step_s), abs=1e-3)


@pytest.mark.parametrize("step_s", [15 * DAY_S, 3650 * DAY_S, -3 * DAY_S, -LABEL_S])
def test_a_step_beyond_belief_leaves_the_label_alone(machine: Machine, step_s: float) -> None:
    assert stepped(machine, step_s, synced=False) == pytest.approx((0.0, 0.0), abs=1e-3)


def test_a_disbelieved_clock_is_followed_once_it_is_set(machine: Machine) -> None:
    clock = Clock()
    clock.take_step_s()
    machine.synced = False
    machine.wall_s = 0.0
    assert clock.take_step_s() == pytest.approx(0.0)
    machine.pass_s(100.0)
    machine.wall_s, machine.synced = LABEL_S + 400.0, True
    assert clock.take_step_s() == pytest.approx(300.0)
    assert clock.wall_s() == machine.wall_s
    assert clock.take_step_s() == 0.0


def test_a_disbelieved_clock_set_right_by_hand_is_believed_again(machine: Machine) -> None:
    clock = Clock()
    clock.take_step_s()
    machine.synced, machine.wall_s = False, 0.0
    clock.take_step_s()
    machine.wall_s = LABEL_S + DAY_S
    assert clock.take_step_s() == pytest.approx(DAY_S)
    assert clock.wall_s() == LABEL_S + DAY_S


def test_a_board_that_wakes_in_1970_goes_on_from_its_journal(machine: Machine) -> None:
    machine.wall_s, machine.synced = 12.0, False
    clock = Clock()
    clock.go_on_from(LABEL_S)
    assert clock.wall_s() == LABEL_S
    machine.pass_s(60.0)
    assert clock.take_step_s() == 0.0
    assert clock.wall_s() == LABEL_S + 60.0


def test_with_no_journal_any_time_is_taken(machine: Machine) -> None:
    machine.wall_s, machine.synced = 12.0, False
    clock = Clock()
    clock.go_on_from(None)
    machine.wall_s = LABEL_S
    assert clock.take_step_s() == pytest.approx(LABEL_S - 12.0)
    assert clock.wall_s() == LABEL_S


def test_a_start_that_cannot_tell_keeps_its_doubt_over_restarts_of_one_boot(machine: Machine) -> None:
    machine.wall_s, machine.synced = 12.0, False
    before = Anchor("another boot", -500.0)
    first = resume(Clock(), before, 100.0, LABEL_S, last_seq=7)
    assert first.anchor.doubt == Doubt(100.0, LABEL_S, 7, 100.0)
    machine.pass_s(30.0)
    again = resume(Clock(), first.anchor, 120.0, 30.0, last_seq=9)
    assert again.sure, "within one boot the gap is known"
    assert again.anchor == first.anchor


def test_a_second_unsure_boot_keeps_the_first_doubt(machine: Machine) -> None:
    machine.synced = False
    doubt = Doubt(100.0, LABEL_S - 9000.0, 7, 100.0)
    resumed = resume(Clock(), Anchor("another boot", 0.0, doubt), 150.0, LABEL_S - 60.0, last_seq=9)
    assert resumed.anchor.doubt == doubt
    machine.synced = True
    sure = resume(Clock(), Anchor("another boot", 0.0), 150.0, LABEL_S - 60.0, last_seq=9)
    assert sure.anchor.doubt is None


@pytest.mark.parametrize(
    ("t_s", "wall_s", "gap_s"),
    [
        (160.0, LABEL_S + 7260.0, 7200.0),
        (160.0, LABEL_S + 60.5, None),
        (160.0, LABEL_S - 500.0, None),
        (100.0 + DOUBT_MOST_S + 1.0, LABEL_S + 3 * DAY_S, None),
        (160.0, LABEL_S + GAP_MOST_S + 100.0, None),
    ],
)
def test_the_gap_is_what_watch_time_lacks(t_s: float, wall_s: float, gap_s: float | None) -> None:
    assert Doubt(100.0, LABEL_S, 7, 100.0).gap_s(t_s, wall_s) == gap_s
