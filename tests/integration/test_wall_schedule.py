"""Promise: the real APScheduler posts each wall-clock event once, at its time, whatever the clock does."""

import threading
import time
from dataclasses import replace
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest
from sites import make_site

from coldbrood.clock import Clock
from coldbrood.schedule import WallEvent, WallSchedule
from coldbrood.watch.events import Bedtime, Morning, Tick

SCALE = 7200.0  # a day in 12 s


class Steppable(Clock):
    """A scaled clock whose wall time can be put forward or back, as a board's is when the network comes."""

    def __init__(self, start: str) -> None:
        super().__init__(SCALE, datetime.fromisoformat(start).timestamp())
        self.step_s = 0.0

    def wall_s(self) -> float:
        return super().wall_s() + self.step_s


class Posts:
    """What was posted, with the wall time of its arrival."""

    def __init__(self, clock: Clock) -> None:
        self._clock = clock
        self.came: list[tuple[datetime, WallEvent]] = []
        self._lock = threading.Lock()

    def __call__(self, event: WallEvent) -> None:
        with self._lock:
            self.came.append((datetime.fromtimestamp(self._clock.wall_s(), UTC), event))

    def of(self, kind: type[WallEvent]) -> list[datetime]:
        with self._lock:
            return [at for at, event in self.came if isinstance(event, kind)]


def run_until(clock: Clock, wall: str) -> None:
    until = datetime.fromisoformat(wall).timestamp()
    while clock.wall_s() < until:
        time.sleep(0.02)


def test_a_day_and_a_half_has_each_event_once_and_on_time() -> None:
    clock = Steppable("2026-04-11T20:30:00+00:00")
    posts = Posts(clock)
    schedule = WallSchedule(make_site(), clock, posts)
    schedule.start()
    run_until(clock, "2026-04-13T02:00:00+00:00")
    schedule.stop()
    assert [at.day for at in posts.of(Bedtime)] == [11, 12]
    assert [at.day for at in posts.of(Morning)] == [12]
    late_s = [(at.hour * 3600 + at.minute * 60 + at.second) - 22 * 3600 for at in posts.of(Bedtime)]
    assert all(0 <= late < 3600 for late in late_s), "within half a real second, never early"
    assert len(posts.of(Tick)) in (29, 30)


def test_no_step_of_the_clock_drops_or_doubles_a_bedtime() -> None:
    clock = Steppable("2026-04-11T12:00:00+00:00")
    posts = Posts(clock)
    schedule = WallSchedule(make_site(), clock, posts)
    schedule.start()
    clock.step_s += 3600.0
    schedule.restart()
    run_until(clock, "2026-04-11T15:00:00+00:00")
    clock.step_s -= 3600.0
    schedule.restart()
    run_until(clock, "2026-04-12T03:00:00+00:00")
    schedule.stop()
    assert [at.day for at in posts.of(Bedtime)] == [11]


# The changes of 2026 in the European Union, at 01:00 UTC on the last Sundays of March and October (Directive
# 2000/84/EC, articles 2 and 3, from memory): rising at 06:30 is 04:30 UTC after the one, 05:30 after the
# other.
@pytest.mark.parametrize(
    ("start", "rising"),
    [
        ("2026-03-28T21:30:00+00:00", "2026-03-29T04:30:00+00:00"),
        ("2026-10-24T20:30:00+00:00", "2026-10-25T05:30:00+00:00"),
    ],
)
def test_a_night_with_a_change_of_summer_time_ends_at_its_hour(start: str, rising: str) -> None:
    clock = Clock(1.0, datetime.fromisoformat(start).timestamp())
    site = replace(make_site(), zone=ZoneInfo("Europe/Berlin"))
    schedule = WallSchedule(site, clock, Posts(clock))
    schedule.start()
    job = schedule._scheduler.get_job(Morning.__name__)
    due_wall_s = clock.wall_s() + (job.next_run_time - datetime.now(UTC)).total_seconds()
    schedule.stop()
    assert abs(due_wall_s - datetime.fromisoformat(rising).timestamp()) < 60.0
