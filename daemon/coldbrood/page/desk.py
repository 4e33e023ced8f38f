"""What all requests share: the site as the loop last published it, the way to post a note, the outlooks."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from coldbrood.clock import Clock
from coldbrood.journal.reader import JournalReader
from coldbrood.notes import TapNote
from coldbrood.page.keys import Keys
from coldbrood.page.outlook import Outlook, Outlooks
from coldbrood.page.speech import Speech
from coldbrood.settings.records import Config, Page
from coldbrood.watch import batches
from coldbrood.watch.events import Now
from coldbrood.watch.siteview import SiteView
from coldbrood.watch.state import State

CACHE_KIB: Final = 256  # SQLite's usual 2 MiB gain a page nothing, and stay in the heap of its thread
STALE_S: Final = 90.0  # six beats: the loop that watches has not moved


@dataclass(frozen=True, slots=True)
class Published:
    """The state after a turn of the loop, and how watch time hung on the machine's then."""

    state: State
    offset_s: float
    mono_s: float


class Desk:
    """One for the page. The loop calls `show`, the request threads everything else."""

    def __init__(self, config: Config, page: Page, clock: Clock, keys: Keys, post: Callable[[TapNote], None]):
        self.config, self.page, self.clock, self.keys = config, page, clock, keys
        self.post = post
        self._published: Published | None = None
        self._outlooks = Outlooks()

    def show(self, state: State, now: Now) -> None:
        """Publish: from here on requests see this state."""
        mono_s = self.clock.mono_s()
        self._published = Published(state, now.t_s - mono_s, mono_s)

    def view(self) -> SiteView | None:
        """The site now; None before the first turn of the loop."""
        published = self._published
        if published is None:
            return None
        now = Now(self.clock.mono_s() + published.offset_s, self.clock.wall_s(), self.clock.synced())
        site = batches.in_use(self.config.site, published.state.sight, now.t_s)
        alive = self.clock.real_s(self.clock.mono_s() - published.mono_s) < STALE_S
        return SiteView(site, published.state, now, running=alive)

    def speech(self) -> Speech:
        """The page's language and the keeper's figures."""
        return Speech(self.config.site, self.page.language)

    def reader(self) -> JournalReader:
        """The journal, to read. Raises JournalError."""
        reader = JournalReader.open(self.config.journal_path)
        reader.db.execute(f"PRAGMA cache_size = -{CACHE_KIB}")
        return reader

    def outlook(self, view: SiteView, box: str) -> Outlook:
        """What lies ahead of a box in use."""
        return self._outlooks.of(view.site, view.state, box, view.now)
