"""Events of the wall clock: bedtime, morning, the full hour, the nightly thinning. It decides nothing.

APScheduler computes and waits; each event is a date job of its own, so that a scaled clock and a stepped
clock need no other way. What must not stop does not hang on it: that runs on the service's own beat.
"""

from collections.abc import Callable, Mapping
from datetime import UTC, datetime, timedelta, tzinfo

from apscheduler.schedulers.background import BackgroundScheduler
from apscheduler.triggers.cron import CronTrigger
from apscheduler.triggers.date import DateTrigger

from coldbrood.clock import Clock
from coldbrood.watch.events import Bedtime, Morning, Retain, Tick
from coldbrood.watch.site import Site

WallEvent = Tick | Bedtime | Morning | Retain
RETAIN_HOUR, RETAIN_MINUTE = 12, 30  # by day, when a busy card matters least


class WallSchedule:
    """Posts the wall-clock events of one site. `restart` after each step of the clock."""

    def __init__(self, site: Site, clock: Clock, post: Callable[[WallEvent], None]) -> None:
        self._clock = clock
        self._post = post
        self._zone = site.zone
        self._triggers = _triggers(site)
        self._scheduler = BackgroundScheduler(
            timezone=UTC,
            daemon=True,
            job_defaults={"misfire_grace_time": None, "coalesce": True, "max_instances": 1},
        )

    def start(self) -> None:
        """Begin posting."""
        self._scheduler.start()
        self.restart()

    def restart(self) -> None:
        """Set every event anew by the wall clock as it stands now."""
        for kind in self._triggers:
            self._set(kind)

    def stop(self) -> None:
        """Post no more."""
        self._scheduler.shutdown(wait=False)

    def _set(self, kind: type[WallEvent]) -> None:
        wall_s = self._clock.wall_s()
        due = self._triggers[kind].get_next_fire_time(None, datetime.fromtimestamp(wall_s, self._zone))
        # By Unix time: two local times of one zone, subtracted, miss the hour of a change of summer time.
        wait_s = self._clock.real_s(max(0.0, due.timestamp() - wall_s))
        at = datetime.now(UTC) + timedelta(seconds=wait_s)
        self._scheduler.add_job(
            self._fire, DateTrigger(at), args=[kind, due], id=kind.__name__, replace_existing=True
        )

    def _fire(self, kind: type[WallEvent], due: datetime) -> None:
        """Post, then wait for the next. Woken early by rounding, it waits on instead of posting twice."""
        early_s = due.timestamp() - self._clock.wall_s()
        if early_s > 0:
            self._clock.sleep(early_s)
        self._post(kind())
        self._set(kind)


def _triggers(site: Site) -> Mapping[type[WallEvent], CronTrigger]:
    keeper, zone = site.keeper, site.zone
    return {
        Bedtime: _daily(keeper.bedtime_s, zone),
        Morning: _daily(keeper.rising_s, zone),
        Retain: CronTrigger(hour=RETAIN_HOUR, minute=RETAIN_MINUTE, timezone=zone),
        Tick: CronTrigger(minute=0, timezone=zone),
    }


def _daily(second: int, zone: tzinfo) -> CronTrigger:
    return CronTrigger(hour=second // 3600, minute=second % 3600 // 60, second=second % 60, timezone=zone)
