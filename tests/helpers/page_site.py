"""A daemon with its page: a stated hour of a made-up night, a day of readings behind it, and the links in."""

import http.client
import json
import math
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime, timedelta
from pathlib import Path

from bench import Bench
from broker import Broker, free_port

from coldbrood.journal.reader import JournalReader
from coldbrood.page.keys import Keys, load_keys
from coldbrood.watch.events import Note

NIGHT = "2026-04-12T01:12:00+00:00"  # day 2 of a batch that came on 2026-04-10
PAGES = ("/", "/tonight", "/days", "/what-if", "/board", "/tell/a")
STEP_S = 300
LINKED = "link=larch-lane state=up"
PATIENCE_S = 90.0  # a daemon and a browser on a busy machine
BUNDLE = 24


class PageSite:
    """The bench with a page in front. `address` is its root, without a slash at the end."""

    def __init__(self, bench: Bench, port: int) -> None:
        self.bench = bench
        self.address = f"http://127.0.0.1:{port}"

    @property
    def keys(self) -> Keys:
        """The tokens that the daemon made."""
        return load_keys(self.bench.journal_path)

    @property
    def link(self) -> str:
        """The keeper's link."""
        return f"{self.address}/enter?k={self.keys.keeper}"

    @property
    def guest_link(self) -> str:
        """The link for looking only."""
        return f"{self.address}/enter?k={self.keys.guest}"

    def is_up(self) -> bool:
        """Whether the page answers."""
        try:
            with urllib.request.urlopen(f"{self.address}/icon.svg", timeout=5) as reply:
                return bool(reply.status == 200)
        except (urllib.error.URLError, ConnectionError, TimeoutError):
            return False

    def notes(self) -> list[Note]:
        """Every note in the journal, as it was taken."""
        with JournalReader.open(self.bench.journal_path) as reader:
            return [n for n in reader.notes(float("-inf"), float("inf")) if not n.key.startswith("flush-")]

    def keep(self) -> None:
        """Wait until all that was sent so far is in the journal: a note of three hours ago cannot wait."""
        at = (datetime.fromisoformat(NIGHT) - timedelta(hours=3)).isoformat()
        note = {"kind": "text", "text": "evening round", "key": "evening-round", "at": at}
        self.bench.publish_to("coldbrood/larch-lane/note", json.dumps(note))
        self.wait_for_note("evening-round")

    def wait_for_note(self, key: str) -> Note:
        """The note with this key, once it is kept."""
        self.bench.wait_for(
            lambda: any(note.key == key for note in self.notes()), f"the note {key}", PATIENCE_S
        )
        return next(note for note in self.notes() if note.key == key)

    def send_day(self, probe: str, celsius: list[float]) -> None:
        """Readings each five minutes up to now, in bundles as a probe that sleeps sends them."""
        for first in range(0, len(celsius), BUNDLE):
            part = celsius[first : first + BUNDLE]
            ago = [(len(celsius) - 1 - first - n) * STEP_S for n in range(len(part))]
            pack = [
                {"n": "temperature", "u": "Cel", "v": round(value, 2), "t": -back}
                for value, back in zip(part, ago, strict=True)
            ]
            self.bench.publish(probe, json.dumps(pack))


def enter(site: PageSite) -> str:
    """The keeper's cookie."""
    link = http.client.HTTPConnection(site.address.removeprefix("http://"), timeout=30)
    link.request("GET", site.link.removeprefix(site.address))
    cookie = (link.getresponse().headers["Set-Cookie"] or "").split(";")[0]
    link.close()
    return cookie


def cooling(
    hours: float, refilled_h: tuple[float, ...], low_c: float = 19.0, high_c: float = 28.5
) -> list[float]:
    """Box air each five minutes up to now: after each refill (hours ago) up in half an hour, then down."""
    found = []
    for n in range(int(hours * 12) + 1):
        ago_h = hours - n / 12
        since = min((at - ago_h for at in (*refilled_h, hours + 3.0) if at >= ago_h), default=4.0)
        rise = 1.0 - math.exp(-since / 0.25)
        found.append(low_c + (high_c - low_c) * rise * math.exp(-since / 7.0) + 0.06 * math.sin(1.7 * n))
    return found


def outside(hours: float, low_c: float = 2.0, swing_c: float = 9.0) -> list[float]:
    """Outdoor air each five minutes up to the small hours."""
    steps = int(hours * 12)
    return [
        low_c + swing_c * (0.5 + 0.5 * math.cos((n - steps) / 12 / 24 * 2 * math.pi + math.pi * 0.85))
        for n in range(steps + 1)
    ]


@contextmanager
def page_site(
    folder: Path, broker: Broker, page: str = "", clock: str = f"1@{NIGHT}", **bench: str
) -> Iterator[PageSite]:
    """A running daemon with a page on a free port of this machine."""
    port = free_port()
    table = f'address = "127.0.0.1"\nport = {port}\n{page}'
    with Bench(folder, broker, clock=clock, page=table, **bench) as running:
        site = PageSite(running, port)
        running.launch()
        running.wait_for(lambda: LINKED in running.log_text(), "the daemon to connect", PATIENCE_S)
        running.wait_for(site.is_up, "the page to answer", PATIENCE_S)
        yield site
