"""Promise: watch time is carried on over a restart, and no step of the wall clock makes it run backwards."""

import time

import pytest

from coldbrood.clock import Anchor, Clock, kernel_clock_is_synced, resume


def test_scaled_clock_runs_faster_by_its_scale() -> None:
    clock = Clock(scale=1000.0, start_wall_s=1_800_000_000.0)
    mono0_s, real0_s = clock.mono_s(), time.monotonic()
    time.sleep(0.05)
    mono1_s, real1_s = clock.mono_s(), time.monotonic()
    assert mono1_s - mono0_s == pytest.approx((real1_s - real0_s) * 1000.0, abs=5.0)
    assert clock.wall_s() - 1_800_000_000.0 >= 50.0
    assert clock.real_s(60.0) == pytest.approx(0.06)


def test_plain_clock_is_the_machines_own() -> None:
    clock = Clock()
    assert clock.wall_s() == pytest.approx(time.time(), abs=1.0)
    assert clock.mono_s() == pytest.approx(time.clock_gettime(time.CLOCK_BOOTTIME), abs=1.0)
    assert clock.synced() is kernel_clock_is_synced()
    assert len(clock.boot_id()) == 36


def test_scale_must_be_above_nought() -> None:
    with pytest.raises(ValueError, match=r"scale: 0.0: allowed is any number above 0"):
        Clock(scale=0.0)


class StatedClock(Clock):
    """A clock whose every answer is stated by the test."""

    def __init__(self, boot_id: str, mono_s: float, wall_s: float, synced: bool) -> None:
        super().__init__()
        self._boot_id, self._mono_s, self._wall_s, self._synced = boot_id, mono_s, wall_s, synced

    def boot_id(self) -> str:
        return self._boot_id

    def mono_s(self) -> float:
        return self._mono_s

    def wall_s(self) -> float:
        return self._wall_s

    def synced(self) -> bool:
        return self._synced


def test_first_start_begins_at_nought_and_was_not_down() -> None:
    resumed = resume(StatedClock("b1", 500.0, 1e9, True), None, None, None)
    assert resumed.anchor == Anchor("b1", -500.0)
    assert resumed.down_s is None


def test_same_boot_takes_the_gap_from_monotonic_time_whatever_the_wall_says() -> None:
    clock = StatedClock("b1", 900.0, wall_s=5.0, synced=False)
    resumed = resume(clock, Anchor("b1", -500.0), last_t_s=100.0, last_wall_s=1e9)
    assert (resumed.anchor, resumed.down_s, resumed.sure) == (Anchor("b1", -500.0), 300.0, True)


def test_new_boot_takes_the_gap_from_wall_time() -> None:
    clock = StatedClock("b2", 20.0, wall_s=1e9 + 3600.0, synced=True)
    resumed = resume(clock, Anchor("b1", -500.0), last_t_s=100.0, last_wall_s=1e9)
    assert resumed.down_s == 3600.0
    assert resumed.sure
    assert resumed.anchor.offset_s + 20.0 == 3700.0


def test_new_boot_in_the_past_never_runs_backwards_and_says_that_it_is_not_sure() -> None:
    clock = StatedClock("b2", 20.0, wall_s=0.0, synced=False)
    resumed = resume(clock, Anchor("b1", -500.0), last_t_s=100.0, last_wall_s=1e9)
    assert resumed.anchor.offset_s + 20.0 == 100.0
    assert resumed.down_s == 0.0
    assert not resumed.sure
