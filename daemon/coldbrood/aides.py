"""What helps the watch and may fail without harm to it: sounder, all-well signal, mirror, page.

Each has a thread of its own and posts its news as lines of the history.
"""

import math
from collections.abc import Callable
from typing import TYPE_CHECKING

from coldbrood import selftest
from coldbrood.clock import Clock
from coldbrood.codec import CannotRead, unpack
from coldbrood.deliver.heartbeat import Heartbeat
from coldbrood.deliver.rester import Rester
from coldbrood.deliver.sounder import Sounder
from coldbrood.mirror.feed import Feed, Mark, MirrorNews
from coldbrood.mirror.server import Server
from coldbrood.notes import TapNote
from coldbrood.power import PowerFile
from coldbrood.settings.records import Config, Mirror, Page
from coldbrood.watch.batches import in_use
from coldbrood.watch.events import GoingDown, History, Now, SelfTested, Sound
from coldbrood.watch.lastword import is_unsaid
from coldbrood.watch.localtime import wall_of
from coldbrood.watch.rest import rest
from coldbrood.watch.state import State
from coldbrood.watch.wellness import troubles

if TYPE_CHECKING:
    from coldbrood.page.host import PageHost

MIRROR = "mirror"
Post = Callable[[History | Mark | TapNote | GoingDown], None]


class Aides:
    """All aides that the config of one site asks for. Owned by the service's thread."""

    def __init__(self, config: Config, clock: Clock, kept_mark: bytes | None, post: Post) -> None:
        self._config, self._clock, self._post = config, clock, post
        self._site = config.site
        self._asides: dict[str, str] = {}
        self._told_t_s = -math.inf
        self._power = PowerFile(config.journal_path)
        self._sounder = None
        if config.sounder is not None:
            self._sounder = Sounder(config.sounder.command, lambda fault: self._news("sounder", fault))
        self._heartbeat = None
        if config.heartbeat is not None:
            url, method = config.heartbeat.url.reveal(), config.heartbeat.method
            self._heartbeat = Heartbeat(url, method, lambda fault: self._news("heartbeat", fault))
        self._feed = None if config.mirror is None else self._make_feed(config.mirror, kept_mark)
        self._page = None if config.page is None else self._make_page(config.page)
        self._rester = None
        if config.sleep is not None:
            file, command = config.sleep.file, config.sleep.command
            self._rester = Rester(file, command, lambda fault: self._news("sleep", fault))

    def start(self) -> None:
        """Begin what runs by itself."""
        if self._feed is not None:
            self._feed.start()
        if self._page is not None:
            self._page.start()

    def show(self, state: State, now: Now) -> None:
        """Let the page see the state as it is after a turn of the loop."""
        if self._page is not None:
            self._page.show(state, now)

    def stop(self, limit_s: float) -> None:
        """End everything; the mirror goes on from its mark at the next start."""
        if self._sounder is not None:
            self._sounder.stop(limit_s)
        if self._rester is not None:
            self._rester.stop()
        if self._feed is not None:
            self._feed.stop(limit_s)
        if self._page is not None:
            self._page.stop(limit_s)

    def sound(self, act: Sound) -> None:
        """Noise, or an end to it."""
        if self._sounder is not None:
            self._sounder.want(bool(act.alarms))

    def beat(self, state: State, now: Now) -> None:
        """Tell the far side that all is well, if it is and if it is time, and until when it may sleep."""
        self.see_power(state)
        self._rest(state, now)
        config = self._config.heartbeat
        if self._heartbeat is None or config is None or now.t_s - self._told_t_s < config.every_s:
            return
        used = in_use(self._site, state.sight, now.t_s)
        if not troubles(used, state, now) and self._heartbeat.tell():
            self._told_t_s = now.t_s

    def _rest(self, state: State, now: Now) -> None:
        if self._rester is None or self._config.sleep is None:
            return
        found = rest(in_use(self._site, state.sight, now.t_s), state, self._config.sleep.limits, now)
        until_s = None if found.until_t_s is None else wall_of(now, found.until_t_s)
        self._rester.tell(until_s, found.reason)

    def see_power(self, state: State) -> None:
        """Pass on that the board is to shut down; tell whoever asked that the last word is said."""
        reason = self._power.asked()
        if reason is not None and state.health.going_down_t_s is None:
            self._post(GoingDown(reason))
        elif reason is not None and not is_unsaid(state):
            self._power.answer()

    def let_power_go(self) -> None:
        """Tell whoever waits for the last word that nothing more will be said."""
        if self._power.asked() is not None:
            self._power.answer()

    def self_test(self) -> SelfTested:
        """Look at the board."""
        found = (*selftest.look(self._config), *self._aside("sounder", "the sounder"))
        named = (("heartbeat", "the all-well signal"), ("page", "the page"), ("sleep", "telling of sleep"))
        return SelfTested(found, tuple(line for kind, name in named for line in self._aside(kind, name)))

    def _aside(self, kind: str, name: str) -> tuple[str, ...]:
        fault = self._asides.get(kind, "")
        return (f"{name}: {fault}",) if fault else ()

    def _make_feed(self, mirror: Mirror, kept_mark: bytes | None) -> Feed:
        try:
            mark = Mark(0) if kept_mark is None else unpack(kept_mark, Mark)
        except CannotRead:
            mark = Mark(0)
        token = None if mirror.token is None else mirror.token.reveal()
        server = Server(mirror.url, mirror.org, mirror.bucket, token)
        return Feed(self._site, self._config.journal_path, server, mark, self._mirror_news)

    def _make_page(self, page: Page) -> "PageHost":
        from coldbrood.page.host import PageHost  # with its libraries, where there is a page at all

        return PageHost(self._config, page, self._clock, self._post, lambda fault: self._news("page", fault))

    def _mirror_news(self, news: Mark | MirrorNews) -> None:
        if isinstance(news, MirrorNews):
            self._news("mirror", news.fault)
        else:
            self._post(news)

    def _news(self, kind: str, fault: str) -> None:
        self._asides[kind] = fault
        self._post(History(kind, self._site.name, "failed" if fault else "works", fault or "as it should"))
