"""Promise: the real APScheduler posts each wall-clock event once, at its time, whatever the clock does."""

import threading
import time
from datetime import UTC, datetime

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
