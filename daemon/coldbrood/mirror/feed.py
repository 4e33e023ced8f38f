"""Store and forward: the journal is the truth, the server gets a copy, whatever breaks on the way.

A server may lose what it has acknowledged when it is killed in the seconds after (measured: up to 8 s), and
nobody is told. So each reading is sent twice, the second time a minute after the first was taken, and only
then does the mark in the journal pass it. After any doubt (an error, a restart on this side) all since the
mark is sent again. A reading is the same point each time, so that a repeat changes nothing.

It runs on a thread of its own, reads the journal as an onlooker, and only posts its news: an alarm never
waits for it.
"""

import logging
import threading
import time
from collections import deque
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from itertools import islice
from pathlib import Path
from typing import Final

from coldbrood.journal.errors import JournalError
from coldbrood.journal.reader import JournalReader
from coldbrood.mirror.points import lines_of
from coldbrood.mirror.server import Server, ServerFault
from coldbrood.watch.site import Site

PAUSE_S: Final = 20.0
AGAIN_AFTER_S: Final = 60.0
PAUSE_MOST_S: Final = 600.0
CHUNK: Final = 2000
CHUNKS_A_PASS: Final = 50

log = logging.getLogger("coldbrood")


@dataclass(frozen=True, slots=True)
class Mark:
    """All readings up to this seq of the journal are on the server for good.

    `wall_s` of the reading with this seq tells the journal from another that has taken its place and counts
    from 1 again; None in a mark that an older coldbrood kept.
    """

    seq: int
    wall_s: float | None = None

    def lies_in(self, reader: JournalReader) -> bool:
        """Whether this journal holds the reading of the mark."""
        found_s = reader.wall_at(self.seq)
        return self.seq == 0 or (found_s is not None and self.wall_s in (None, found_s))


NOTHING: Final = Mark(0)


@dataclass(frozen=True, slots=True)
class MirrorNews:
    """The copy began to fail, with the reason, or goes on again (an empty reason)."""

    fault: str


Post = Callable[[Mark | MirrorNews], None]


class _Stopping(Exception):  # noqa: N818 - no error: it leaves a pass in the middle
    """Asked to end."""


@dataclass(slots=True)
class _Course:
    """How far it got: `safe` is the mark, `sent` was taken once, `taken` says when (monotonic s)."""

    safe: Mark
    sent: Mark
    taken: deque[tuple[float, Mark]] = field(default_factory=deque)

    def doubt(self) -> None:
        """Begin again at the mark."""
        self.sent = self.safe
        self.taken.clear()

    def hold_to(self, reader: JournalReader) -> None:
        """Begin anew where the journal is another one, or an older copy of it: nothing may be passed over."""
        if not self.safe.lies_in(reader):
            self.safe = NOTHING
            self.doubt()
        elif not self.sent.lies_in(reader):
            self.doubt()

    def ripe(self, mono_s: float, again_after_s: float) -> Mark:
        """Up to where everything was first taken long enough ago."""
        found = self.safe
        for at_s, upto in self.taken:
            if mono_s - at_s >= again_after_s:
                found = upto
        return found

    def settle(self, mark: Mark) -> None:
        """All up to there was taken a second time."""
        self.safe = mark
        while self.taken and self.taken[0][1].seq <= mark.seq:
            self.taken.popleft()


class Feed:
    """Copies the journal at `journal_path` to a server, from `mark` on, until stopped."""

    def __init__(
        self,
        site: Site,
        journal_path: Path,
        server: Server,
        mark: Mark,
        post: Post,
        pause_s: float = PAUSE_S,
        again_after_s: float = AGAIN_AFTER_S,
    ) -> None:
        self._site, self._path, self._server, self._post = site, journal_path, server, post
        self._pause_s, self._again_after_s = pause_s, again_after_s
        self._course = _Course(mark, mark)
        self._ending = threading.Event()
        self._faults = 0
        self._told: str | None = None
        self._timeless = 0
        self._thread = threading.Thread(target=self._run, name="mirror", daemon=True)

    def start(self) -> None:
        """Begin."""
        self._thread.start()

    def stop(self, limit_s: float) -> None:
        """End; what is on its way is left behind at the limit, for it is sent again at the next start."""
        self._ending.set()
        if self._thread.is_alive():
            self._thread.join(limit_s)

    def _run(self) -> None:
        while not self._ending.is_set():
            try:
                self._pass()
                self._went("")
            except _Stopping:
                return
            except (ServerFault, JournalError) as fault:
                self._went(str(fault))
            except Exception as fault:  # noqa: BLE001 - a fault of the library must not end the copy for good
                self._went(f"failed: {type(fault).__name__}: {fault}")
            wait_s = min(self._pause_s * 2.0 ** min(self._faults, 8), max(self._pause_s, PAUSE_MOST_S))
            self._ending.wait(wait_s)

    def _went(self, fault: str) -> None:
        if fault:
            self._course.doubt()
        self._faults = self._faults + 1 if fault else 0
        if fault != self._told and (fault or self._told):
            self._post(MirrorNews(fault))
        self._told = fault

    def _pass(self) -> None:
        """Send what is new once, and what was taken a minute ago once more."""
        course = self._course
        with JournalReader.open(self._path) as reader:
            course.hold_to(reader)
            last_seq = reader.last_seq()
            ripe = course.ripe(time.monotonic(), self._again_after_s)
            for _ in self._send(reader, course.safe.seq, ripe.seq):
                pass
            if ripe.seq > course.safe.seq:
                course.settle(ripe)
                self._post(ripe)
            for seq in islice(self._send(reader, course.sent.seq, last_seq), CHUNKS_A_PASS):
                course.sent = Mark(seq, reader.wall_at(seq))
                course.taken.append((time.monotonic(), course.sent))

    def _send(self, reader: JournalReader, after: int, upto: int) -> Iterator[int]:
        """Send the readings after one seq up to another, a chunk at a time; gives the seq each reached."""
        at = after
        while at < upto and not self._ending.is_set():
            at, readings = reader.chunk(at, upto, CHUNK)
            found = lines_of(self._site, readings, time.time())
            if found.timeless:
                self._timeless += found.timeless
                log.info(
                    "mirror: %d readings have no time a server takes; the journal keeps them", self._timeless
                )
            if found.lines:
                self._server.write(found.lines)
            yield at
        if at < upto:
            raise _Stopping
