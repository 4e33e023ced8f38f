"""A look at a site from another process: the daemon's own state, rebuilt from the journal, read only."""

import fcntl
import math
from dataclasses import dataclass, replace
from pathlib import Path

from coldbrood import keep
from coldbrood.clock import Clock, resume
from coldbrood.journal.reader import JournalReader
from coldbrood.settings.records import Config
from coldbrood.watch import batches
from coldbrood.watch.assess import assess_boxes
from coldbrood.watch.boxstate import rfc3339
from coldbrood.watch.events import Now
from coldbrood.watch.siteview import SiteView

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


def look(config: Config, clock: Clock) -> SiteView:
    """Look once. Raises JournalError if there is no journal to look into."""
    site = config.site
    with JournalReader.open(config.journal_path) as reader:
        restored = reader.restore()
        clock.go_on_from(restored.last_wall_s)
        resumed = resume(clock, keep.anchor_of(restored), restored.last_t_s, restored.last_wall_s)
        now = Now(clock.mono_s() + resumed.anchor.offset_s, clock.wall_s(), clock.synced())
        state = keep.revive(site, restored, reader.since(keep.first_seq(restored)), now.t_s)
        refused = reader.refused_counts()
    site = batches.in_use(site, state.sight, now.t_s)
    state = replace(state, views=assess_boxes(site, state.sight, site.boxes, LONG_AGO_S, now))
    return SiteView(site, state, now, is_running(config.journal_path), refused)


def peek(config: Config, clock: Clock) -> Peek:
    """What a look shows, as plain values. Raises JournalError if there is no journal to look into."""
    seen = look(config, clock)
    return Peek(seen.site.name, seen.now.wall_s, seen.running, seen.boxes, seen.probes, seen.alarms)


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
