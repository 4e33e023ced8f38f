"""A look at a site from another process: the daemon's own state, rebuilt from the journal, read only."""

import fcntl
import math
from dataclasses import dataclass
from pathlib import Path

from coldbrood import keep
from coldbrood.clock import Clock, resume
from coldbrood.journal.reader import JournalReader
from coldbrood.settings.records import Config
from coldbrood.watch.assess import assess_boxes
from coldbrood.watch.boxstate import rfc3339, shown
from coldbrood.watch.events import Now
from coldbrood.watch.localtime import wall_of

LONG_AGO_S = -math.inf  # a look from outside grants no probe the time that a fresh start would


@dataclass(frozen=True, slots=True)
class Peek:
    """Plain values for a screen or for JSON."""

    site: str
    wall_s: float
    running: bool
    boxes: tuple[dict[str, object], ...]
    probes: tuple[dict[str, object], ...]
    alarms: tuple[str, ...]

    def plain(self) -> dict[str, object]:
        """All of it as one JSON-ready object."""
        return {
            "site": self.site,
            "at": rfc3339(self.wall_s),
            "running": self.running,
            "boxes": self.boxes,
            "probes": self.probes,
            "alarms": self.alarms,
        }


def peek(config: Config, clock: Clock) -> Peek:
    """Look once. Raises JournalError if there is no journal to look into."""
    site = config.site
    with JournalReader.open(config.journal_path) as reader:
        restored = reader.restore()
        resumed = resume(clock, keep.anchor_of(restored), restored.last_t_s, restored.last_wall_s)
        now = Now(clock.mono_s() + resumed.anchor.offset_s, clock.wall_s(), clock.synced())
        state = keep.revive(site, restored, reader.since(keep.first_seq(restored)), now.t_s)
        refused = reader.refused_counts()
    views = assess_boxes(site, state.sight, site.boxes, LONG_AGO_S, now)
    probes: list[dict[str, object]] = []
    for spec in site.probes.values():
        probe = state.sight.probes.get(spec.name)
        taken = None if probe is None else probe.taken_t_s
        probes.append(
            {
                "probe": spec.name,
                "temperature_c": None if probe is None else probe.temperature_c,
                "heard_at": None if taken is None else rfc3339(wall_of(now, taken)),
                "heard_s_ago": None if taken is None else round(now.t_s - taken),
                "battery_v": None if probe is None else probe.battery_v,
                "battery_pct": None if probe is None else probe.battery_pct,
                "refused": {reason: n for (name, reason), n in refused.items() if name == spec.name},
            }
        )
    return Peek(
        site=site.name,
        wall_s=now.wall_s,
        running=is_running(config.journal_path),
        boxes=tuple(shown(site, state, view, now) for view in views.values()),
        probes=tuple(probes),
        alarms=tuple(
            f"{alarm.key}: {alarm.state}: {alarm.reason}"
            for alarm in state.alarms.values()
            if alarm.state != "normal"
        ),
    )


def is_running(journal_path: Path) -> bool:
    """Whether a daemon holds the journal: its lock file is locked."""
    try:
        with open(f"{journal_path}.lock", encoding="utf-8") as lock:
            fcntl.flock(lock, fcntl.LOCK_SH | fcntl.LOCK_NB)
    except BlockingIOError:
        return True
    except OSError:
        return False
    return False
