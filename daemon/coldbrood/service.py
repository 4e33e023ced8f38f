"""The service: the only module that knows all sides. Event -> step -> one commit -> acts.

One thread owns the watch's state and the journal. The network, the wires, the scheduler and the senders
only post into its queue. What must not stop (assess, repeat, escalate) hangs on its own monotonic beat.
"""

import logging
import queue
import threading
import time
from dataclasses import dataclass, field
from pathlib import Path

from coldbrood import keep
from coldbrood.clock import Clock, resume
from coldbrood.codec import pack
from coldbrood.deliver.channel import ChannelUrl
from coldbrood.deliver.worker import Worker
from coldbrood.inbox import NoteInbox
from coldbrood.journal.errors import JournalError
from coldbrood.journal.retain import thin
from coldbrood.journal.rows import Batch
from coldbrood.journal.store import Journal
from coldbrood.links import Heard, Links
from coldbrood.logs import level_of, logline
from coldbrood.notes import BadNote, read_note
from coldbrood.probes.door import Door
from coldbrood.probes.mqtt import Connected, Fault, Lost, Packet
from coldbrood.probes.onewire import WiredSample
from coldbrood.schedule import WallSchedule
from coldbrood.settings.records import Config
from coldbrood.watch.boxstate import rfc3339
from coldbrood.watch.events import (
    Act,
    Beat,
    Bedtime,
    ClockStepped,
    Event,
    History,
    JournalFailed,
    JournalWell,
    LinkDown,
    LinkUp,
    Morning,
    Note,
    Now,
    Reading,
    Refused,
    Retain,
    SendDone,
    SendNow,
    ShowBox,
    Started,
    Tick,
)
from coldbrood.watch.step import step

log = logging.getLogger("coldbrood")

BEAT_S = 15.0
COMMIT_AFTER_S = 60.0
COMMIT_AT_UNACKED = 15  # the broker stops after 20 messages in flight
MEMORY_READINGS = 100_000  # some 30 MB, a week of six probes: what a failing journal may hold back
SIGHT_EVERY_S = 900.0
CLOCK_STEP_S = 2.0
STOP_S = 5.0
DRAIN_S = 2.0
LOST_NOTICED_AFTER_S = 45.0  # one and a half keep-alives: the link may have been dead that long
HISTORY_DAYS = 400

Posted = Heard | Tick | Bedtime | Morning | Retain | SendDone | Note | None


@dataclass(slots=True)
class _Pending:
    """What is taken in but not yet on the disk."""

    batch: Batch = field(default_factory=Batch)
    unacked: list[int] = field(default_factory=list)
    sends: list[SendNow] = field(default_factory=list)
    inbox: list[Path] = field(default_factory=list)
    since_t_s: float | None = None
    urgent: bool = False
    failed: bool = False


class Service:
    """One site, watched. `run` blocks until `stop` is called from any thread or a signal handler."""

    def __init__(self, config: Config, clock: Clock | None = None) -> None:
        self.config = config
        self.site = config.site
        self.clock = clock or Clock()
        self._queue: queue.SimpleQueue[Posted] = queue.SimpleQueue()
        self._stopping = threading.Event()
        self.ready = threading.Event()

    def post(self, item: Posted) -> None:
        """Hand over anything that happened; from any thread."""
        self._queue.put(item)

    def stop(self) -> None:
        """Ask the loop to end after a last commit."""
        self._stopping.set()
        self._queue.put(None)

    def run(self) -> int:
        """Watch until stopped; 0 when ended as asked. Raises JournalError if no journal can be had."""
        self._open()
        self._schedule.start()
        self._links.start()
        self.ready.set()
        log.info(
            "watching %s: %d box(es), %d probe(s)",
            self.site.name,
            len(self.site.boxes),
            len(self.site.probes),
        )
        try:
            while not self._stopping.is_set():
                self._turn()
        finally:
            self._close()
        return 0

    # ---- start and end

    def _open(self) -> None:
        label = time.strftime("%Y%m%dT%H%M%SZ", time.gmtime(self.clock.wall_s()))
        self._journal = Journal.open(self.config.journal_path, now_label=label)
        restored = self._journal.restore()
        resumed = resume(self.clock, keep.anchor_of(restored), restored.last_t_s, restored.last_wall_s)
        self._offset_s = resumed.anchor.offset_s
        self._wall_less_mono_s = self.clock.wall_s() - self.clock.mono_s()
        now = self._now()
        self._state = keep.revive(self.site, restored, self._journal.since(keep.first_seq(restored)), now.t_s)
        self._door = Door(self.site.probes)
        self._door.resume(restored.latest)
        self._pending = _Pending()
        self._pending.batch.states[keep.ANCHOR] = pack(resumed.anchor)
        self._beat_t_s = self._sight_t_s = now.t_s
        self._away_from_t_s: float | None = None if resumed.down_s is None else now.t_s - resumed.down_s
        self._queued_age_s = resumed.down_s or 0.0
        self._worker = Worker([ChannelUrl(c.name, c.url.reveal()) for c in self.config.channels], self.post)
        self._schedule = WallSchedule(self.site, self.clock, self.post)
        self._links = Links(self.config, self.clock, self.post)
        self._inbox = NoteInbox(self.config.journal_path)
        aside = None if self._journal.set_aside is None else str(self._journal.set_aside)
        self._step(Started(resumed.down_s, resumed.sure, aside), now)
        self._commit(now)

    def _close(self) -> None:
        """Take what has come in already, keep it, and leave in order."""
        self._schedule.stop()
        until_s = time.monotonic() + DRAIN_S
        while time.monotonic() < until_s and not self._queue.empty():
            self._take(self._queue.get(), self._now())
        self._commit(self._now())
        self._links.stop()
        self._worker.stop(STOP_S)
        now = self._now()
        keep.keep_sight(self._pending.batch, self._state.sight)
        self._pending.batch.history.append((now, History("stop", self.site.name, "down", "asked to stop")))
        self._commit(now)
        self._journal.close()
        log.info("stopped")

    # ---- the loop

    def _now(self) -> Now:
        return Now(self.clock.mono_s() + self._offset_s, self.clock.wall_s(), self.clock.synced())

    def _turn(self) -> None:
        """Wait for one event or the next beat, take it, keep what is due to be kept."""
        wait_s = self.clock.real_s(max(0.0, self._beat_t_s + BEAT_S - self._now().t_s))
        try:
            item = self._queue.get(timeout=wait_s)
        except queue.Empty:
            item = None
        now = self._now()
        if item is not None:
            self._take(item, now)
        if now.t_s >= self._beat_t_s + BEAT_S:
            self._beat(now)
        if self._commit_is_due(now):
            self._commit(now)

    def _beat(self, now: Now) -> None:
        self._beat_t_s = now.t_s
        self._watch_clock(now)
        for path, payload in self._inbox.waiting(self._pending.inbox):
            self._pending.inbox.append(path)
            self._take_note(payload, f"inbox:{path.name}", now)
        self._step(Beat(), now)
        if now.t_s - self._sight_t_s >= SIGHT_EVERY_S:
            self._sight_t_s = now.t_s
            keep.keep_sight(self._pending.batch, self._state.sight)

    def _watch_clock(self, now: Now) -> None:
        """A step of wall time is an event: it is noted, and every wall-clock event is set anew."""
        apart_s = now.wall_s - self.clock.mono_s()
        delta_s = apart_s - self._wall_less_mono_s
        if abs(delta_s) > CLOCK_STEP_S * max(1.0, self.clock.scale):
            self._wall_less_mono_s = apart_s
            self._step(ClockStepped(delta_s), now)
            self._schedule.restart()

    # ---- what comes in

    def _take(self, item: Posted, now: Now) -> None:
        match item:
            case Packet():
                self._take_packet(item, now)
            case WiredSample():
                self._take_values(
                    self._door.wired(item.probe, item.celsius, item.fault, item.detail, now), now
                )
            case Connected():
                self._link_is_back(now)
            case Lost():
                if self._away_from_t_s is None:
                    self._away_from_t_s = now.t_s - LOST_NOTICED_AFTER_S
                self._step(LinkDown(item.detail), now)
            case Fault():
                log.error("broker link: %s", item.detail)
            case Retain():
                self._retain()
            case Tick():
                self._hourly(now)
            case None:
                pass
            case _:
                self._step(item, now)

    def _link_is_back(self, now: Now) -> None:
        """What the broker kept while the link was gone may be as old as the link was gone for."""
        if self._away_from_t_s is not None:
            self._queued_age_s = now.t_s - self._away_from_t_s
        self._away_from_t_s = None
        self._step(LinkUp(), now)

    def _take_packet(self, packet: Packet, now: Now) -> None:
        self._pending.unacked.append(packet.mid)
        self._pending.since_t_s = now.t_s if self._pending.since_t_s is None else self._pending.since_t_s
        if packet.topic == self._links.note_topic:
            if not packet.retained:
                self._take_note(packet.payload, packet.topic, now)
            return
        age_bound_s = self._queued_age_s if packet.queued else 0.0
        values = self._door.packet(packet.topic, packet.payload, packet.retained, age_bound_s, now)
        self._take_values(values, now)

    def _take_values(self, values: tuple[Reading | Refused, ...], now: Now) -> None:
        for value in values:
            if isinstance(value, Reading):
                self._pending.batch.taken.append(value)
            else:
                self._pending.batch.refused.append(value)
                log.debug("refused %s from %s: %s", value.reason, value.topic, value.detail)
            self._step(value, now)

    def _take_note(self, payload: bytes, source: str, now: Now) -> None:
        try:
            note = read_note(payload, self.site, now)
        except BadNote as bad:
            log.warning("note refused (%s): %s", source, bad)
            refused = Refused(None, source, "bad-payload", str(bad)[:200], payload[:256], now.t_s, now.wall_s)
            self._take_values((refused,), now)
            return
        if self._journal.knows_note(note.key) or self._pending.batch.knows_note(note.key):
            return
        self._pending.batch.taken.append(note)
        self._pending.urgent = True
        self._step(note, now)

    # ---- what goes out

    def _step(self, event: Event, now: Now) -> None:
        before = self._state
        self._state, acts = step(self.site, before, event, now)
        if keep.gather(self._pending.batch, before, self._state):
            self._pending.urgent = True
        for act in acts:
            self._carry(act, now)

    def _carry(self, act: Act, now: Now) -> None:
        """Take an act on: sends wait for the commit, the rest does not need one."""
        match act:
            case SendNow():
                self._pending.sends.append(act)
                self._pending.urgent = True
            case History():
                self._pending.batch.history.append((now, act))
                log.log(level_of(act), "%s", logline(act))
            case ShowBox():
                self._links.show(act.box, act.body)

    def _commit_is_due(self, now: Now) -> bool:
        pending = self._pending
        if pending.sends or len(pending.unacked) >= COMMIT_AT_UNACKED:
            return True
        if pending.urgent and not pending.failed:
            return True
        if pending.batch.is_empty() and not pending.unacked:
            return False
        if pending.since_t_s is None:
            pending.since_t_s = now.t_s
        return now.t_s - pending.since_t_s >= COMMIT_AFTER_S

    def _commit(self, now: Now) -> None:
        """Keep, then acknowledge, then send. If the disk refuses, go on from memory and say so."""
        pending = self._pending
        try:
            self._journal.commit(pending.batch)
        except JournalError as error:
            self._commit_failed(error, now)
            return
        was_failing = pending.failed
        self._pending = _Pending()
        self._inbox.done(pending.inbox)
        self._acknowledge_and_send(pending)
        if was_failing:
            log.warning("the journal can be written again; nothing was lost from memory")
            self._step(JournalWell(), now)

    def _commit_failed(self, error: JournalError, now: Now) -> None:
        """Seeing and warning come before the order of the books: messages go out and the broker goes on
        delivering, while all that was taken stays in memory for the next try."""
        pending = self._pending
        if not pending.failed:
            log.error("%s", error)
        pending.failed, pending.urgent, pending.since_t_s = True, False, now.t_s
        overflow = len(pending.batch.taken) - MEMORY_READINGS
        if overflow > 0:
            del pending.batch.taken[:overflow]
            log.error("memory is full: %d oldest readings dropped", overflow)
        self._step(JournalFailed(str(error)), now)
        self._acknowledge_and_send(pending)
        pending.unacked, pending.sends, pending.urgent = [], [], False

    def _acknowledge_and_send(self, pending: _Pending) -> None:
        for mid in pending.unacked:
            self._links.acknowledge(mid)
        for send in pending.sends:
            self._worker.submit(send)

    # ---- housekeeping

    def _retain(self) -> None:
        try:
            done = thin(self._journal, HISTORY_DAYS)
        except JournalError as error:
            log.warning("%s", error)
            return
        if done.more:
            self.post(Retain())

    def _hourly(self, now: Now) -> None:
        """The one line an hour that says all is well, or what is not."""
        self._step(Tick(), now)
        for view in self._state.views.values():
            by = "none" if view.refill_by_s is None else rfc3339(now.wall_s + view.refill_by_s - now.t_s)
            box_c = "unknown" if view.box_c is None else f"{view.box_c:.1f}"
            log.info("box=%s box_c=%s floor_c=%.1f refill_by=%s", view.box, box_c, view.band.floor_c, by)
