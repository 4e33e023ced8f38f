"""The books: what is taken in is kept in one commit, and only then acknowledged and sent.

If the disk refuses, seeing and warning come before the order of the books: messages go out and the broker
goes on delivering, while all that was taken waits in memory for the next try.
"""

import logging
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from coldbrood import keep
from coldbrood.clock import Anchor
from coldbrood.codec import pack
from coldbrood.inbox import NoteInbox
from coldbrood.journal.errors import JournalError
from coldbrood.journal.holder import Holder
from coldbrood.journal.retain import thin
from coldbrood.journal.rows import Batch
from coldbrood.watch.events import History, JournalFailed, JournalWell, Note, Now, Reading, Refused, SendNow
from coldbrood.watch.sight import Sight
from coldbrood.watch.state import State

log = logging.getLogger("coldbrood")

HISTORY_DAYS = 400
COMMIT_AFTER_S = 60.0
COMMIT_AT_UNACKED = 15  # a broker left at its default stops after 20 messages in flight
MEMORY_ROWS = 100_000  # some 30 MB, a week of six probes: what a failing journal may hold back


@dataclass(slots=True)
class _Page:
    """What is taken in but not yet on the disk. `since_t_s` is when its oldest part came."""

    batch: Batch = field(default_factory=Batch)
    unacked: list[int] = field(default_factory=list)
    sends: list[SendNow] = field(default_factory=list)
    inbox: list[Path] = field(default_factory=list)
    since_t_s: float | None = None
    urgent: bool = False


class Books:
    """Owned by the thread that owns the journal."""

    def __init__(
        self,
        journal: Holder,
        inbox: NoteInbox,
        acknowledge: Callable[[int], None],
        send: Callable[[SendNow], None],
    ) -> None:
        self._journal = journal
        self._inbox = inbox
        self._acknowledge = acknowledge
        self._send = send
        self._page = _Page()
        self._failing = False
        self._dropped = 0
        self._aside = journal.set_aside

    def owe(self, mid: int, t_s: float) -> None:
        """A broker's message was taken: it is acknowledged after the commit."""
        self._page.unacked.append(mid)
        self._begin(t_s)

    def take(self, event: Reading | Refused | Note, t_s: float) -> None:
        """Keep one of what came in. A note cannot wait."""
        if isinstance(event, Refused):
            self._page.batch.refused.append(event)
        else:
            self._page.batch.taken.append(event)
        self._page.urgent |= isinstance(event, Note)
        self._begin(t_s)

    def waiting_notes(self) -> list[tuple[Path, bytes]]:
        """Notes from the inbox; their files go after the commit."""
        found = list(self._inbox.waiting(self._page.inbox))
        self._page.inbox.extend(path for path, _ in found)
        return found

    def knows_note(self, key: str) -> bool:
        """Whether a note with this key was taken before."""
        return self._page.batch.knows_note(key) or self._journal.knows_note(key)

    def changed(self, before: State, after: State, t_s: float) -> None:
        """Keep what a step changed; an alarm or a message cannot wait."""
        self._page.urgent |= keep.gather(self._page.batch, before, after)
        if not self._page.batch.is_empty():
            self._begin(t_s)

    def tell(self, now: Now, line: History) -> None:
        """Keep one line of the history."""
        self._page.batch.history.append((now, line))

    def order(self, send: SendNow) -> None:
        """Send this after the commit."""
        self._page.sends.append(send)

    def keep_state(self, name: str, body: bytes) -> None:
        """Keep a named state with the next commit."""
        self._page.batch.states[name] = body

    def keep_whole(self, state: State, anchor: Anchor, t_s: float) -> None:
        """Keep all of the watch's state with the next commit: the file may be a new one."""
        self._page.urgent |= keep.gather(self._page.batch, State(state.sight, state.health), state)
        self.keep_state(keep.ANCHOR, pack(anchor))
        self.keep_sight(state.sight)
        self._begin(t_s)

    def keep_sight(self, sight: Sight) -> None:
        """Keep the whole sight with the next commit."""
        keep.keep_sight(self._page.batch, sight)

    @property
    def failing(self) -> bool:
        """Whether the journal takes nothing just now."""
        return self._failing

    def thin(self) -> bool:
        """Drop a little of the oldest history; True if there is more to drop."""
        try:
            return thin(self._journal, HISTORY_DAYS).more
        except JournalError as error:
            log.warning("%s", error)
            return False

    def due(self, t_s: float) -> bool:
        """Whether to settle now: at once for what cannot wait, else after a minute."""
        page = self._page
        if page.sends or len(page.unacked) >= COMMIT_AT_UNACKED or (page.urgent and not self._failing):
            return True
        return page.since_t_s is not None and t_s - page.since_t_s >= COMMIT_AFTER_S

    def settle(self, t_s: float) -> JournalFailed | JournalWell | None:
        """Commit, then acknowledge and send. Gives what the watch should hear of the journal, if anything."""
        page = self._page
        try:
            self._journal.commit(page.batch)
        except JournalError as error:
            return self._not_kept(error, t_s)
        self._page = _Page()
        self._inbox.done(page.inbox)
        self._release(page)
        return self._kept_again() if self._failing else None

    def _begin(self, t_s: float) -> None:
        if self._page.since_t_s is None:
            self._page.since_t_s = t_s

    def _release(self, page: _Page) -> None:
        for mid in page.unacked:
            self._acknowledge(mid)
        for send in page.sends:
            self._send(send)
        page.unacked, page.sends = [], []

    def _not_kept(self, error: JournalError, t_s: float) -> JournalFailed:
        if not self._failing:
            log.error("%s", error)
        self._failing = True
        self._page.since_t_s, self._page.urgent = t_s, False
        taken = self._page.batch.taken
        overflow = max(0, len(taken) - MEMORY_ROWS)
        del taken[:overflow]
        self._dropped += overflow
        self._release(self._page)
        return JournalFailed(str(error))

    def _kept_again(self) -> JournalWell:
        aside, self._aside = self._aside, self._journal.set_aside
        lost = f"{self._dropped} oldest readings were lost" if self._dropped else "nothing was lost"
        log.warning("the journal can be written again; %s", lost)
        self._failing, self._dropped = False, 0
        if self._aside in (None, aside):
            return JournalWell()
        return JournalWell(str(self._aside), self._journal.newer_aside)
