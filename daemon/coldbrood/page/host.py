"""The server of the page on threads of its own. If it cannot listen, that is told and tried again."""

import logging
import threading
from collections.abc import Callable
from typing import Final

from waitress.server import create_server

from coldbrood.clock import Clock
from coldbrood.notes import TapNote
from coldbrood.page.app import make_app
from coldbrood.page.desk import Desk
from coldbrood.page.keys import load_keys
from coldbrood.settings.records import Config, Page
from coldbrood.watch.events import Now
from coldbrood.watch.state import State

log = logging.getLogger("coldbrood.page")

THREADS: Final = 2  # each keeps a heap of its own; a slow phone holds none, a tap one until it is kept
CONNECTIONS_MOST: Final = 40
TRY_AGAIN_S: Final = 30.0
BODY_MOST: Final = 64 * 1024
HEADERS_MOST: Final = 16 * 1024


class PageHost:
    """Owned by the service's thread; `news` gets what failed, or an empty text when it works."""

    def __init__(
        self,
        config: Config,
        page: Page,
        clock: Clock,
        post: Callable[[TapNote], None],
        news: Callable[[str], None],
    ) -> None:
        self._config, self._page, self._clock, self._post, self._news = config, page, clock, post, news
        self._stopping = threading.Event()
        self._desk: Desk | None = None
        self._newest: tuple[State, Now] | None = None
        self._server: object = None
        self._thread = threading.Thread(target=self._serve, name="page", daemon=True)

    def start(self) -> None:
        """Begin to listen."""
        self._thread.start()

    def show(self, state: State, now: Now) -> None:
        """Publish the state after a turn of the loop."""
        self._newest = (state, now)
        if self._desk is not None:
            self._desk.show(state, now)

    def stop(self, limit_s: float) -> None:
        """Let go of the port."""
        self._stopping.set()
        close = getattr(self._server, "close", None)
        if close is not None:
            close()
        self._thread.join(limit_s)

    def _serve(self) -> None:
        told = ""
        while not self._stopping.is_set():
            try:
                self._listen()
            except Exception as fault:  # noqa: BLE001 - whatever it is, the watch goes on without its page
                if self._stopping.is_set():
                    return
                said = f"{type(fault).__name__}: {fault}"
                if said != told:
                    log.warning("page: %s", said)
                    self._news(said)
                told = said
            self._stopping.wait(TRY_AGAIN_S)

    def _listen(self) -> None:
        """Serve until stopped. Raises OSError where it cannot listen, ValueError for bad keys."""
        if self._desk is None:
            keys = load_keys(self._config.journal_path)
            self._desk = Desk(self._config, self._page, self._clock, keys, self._post)
            if self._newest is not None:
                self._desk.show(*self._newest)
        server = create_server(
            make_app(self._desk),
            host=self._page.address,
            port=self._page.port,
            threads=THREADS,
            connection_limit=CONNECTIONS_MOST,
            channel_timeout=60,
            max_request_body_size=BODY_MOST,
            max_request_header_size=HEADERS_MOST,
            ident=None,
            expose_tracebacks=False,
            clear_untrusted_proxy_headers=True,
        )
        self._server = server
        self._news("")
        log.info("page: listening on %s port %d", self._page.address, self._page.port)
        server.run()
