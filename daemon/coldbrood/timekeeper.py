"""The service's time: watch time carried on over restarts, and a gap found once the clock has been set."""

from dataclasses import dataclass
from itertools import chain

from coldbrood import keep
from coldbrood.clock import DOUBT_MOST_S, Anchor, Clock, Resumed, resume
from coldbrood.journal.holder import Holder
from coldbrood.journal.rows import Restored
from coldbrood.watch.events import Now
from coldbrood.watch.sight import Sight
from coldbrood.watch.site import Site


@dataclass(frozen=True, slots=True)
class Found:
    """How much longer the daemon was down than it knew, and the sight of one that had known."""

    gap_s: float
    sight: Sight


class Timekeeper:
    """Owned by the service's thread. `begin` comes first; `anchor` is what a restart needs."""

    def __init__(self, clock: Clock) -> None:
        self.clock = clock
        self.anchor = Anchor("", 0.0)

    @property
    def in_doubt(self) -> bool:
        """Whether it is not known how long nothing was watched before this start."""
        return self.anchor.doubt is not None

    def can_end_doubt(self, now: Now) -> bool:
        """Whether there is a doubt that the clock can end, or that has lasted long enough."""
        doubt = self.anchor.doubt
        return doubt is not None and (now.synced or doubt.is_old(now.t_s))

    def begin(self, restored: Restored, last_seq: int) -> Resumed:
        """Go on where the journal ends."""
        self.clock.go_on_from(restored.last_wall_s)
        before = keep.anchor_of(restored)
        resumed = resume(self.clock, before, restored.last_t_s, restored.last_wall_s, last_seq)
        self.anchor = resumed.anchor
        return resumed

    def now(self) -> Now:
        """The one time of one step."""
        return Now(self.clock.mono_s() + self.anchor.offset_s, self.clock.wall_s(), self.clock.synced())

    def away_from_t_s(self, resumed: Resumed) -> float:
        """Since when the broker may have kept what it sends now."""
        down_s = resumed.down_s or 0.0
        return self.now().t_s - (down_s if resumed.sure else max(down_s, DOUBT_MOST_S))

    def end_doubt(self, site: Site, journal: Holder) -> Found | None:
        """Find the gap, now that the clock is set; None if none is to be told. All must be committed.

        What was taken since the start is read again from the last sight before it, each moved up by the gap:
        the sight is then that of a daemon that knew from the start. Raises JournalError.
        """
        now, doubt = self.now(), self.anchor.doubt
        gap_s = None if doubt is None else doubt.gap_s(now.t_s, now.wall_s)
        if doubt is None or gap_s is None:
            self.anchor = Anchor(self.anchor.boot_id, self.anchor.offset_s)
            return None
        restored = journal.restore()
        first = keep.first_seq(restored)
        since = [keep.moved(event, gap_s) for event in journal.since(max(first, doubt.last_seq))]
        whole = list(journal.since(first))
        events = chain(whole[: len(whole) - len(since)], since)
        sight = keep.revive(site, restored, events, now.t_s).sight
        self.anchor = Anchor(self.anchor.boot_id, self.anchor.offset_s + gap_s)
        return Found(gap_s, sight)
