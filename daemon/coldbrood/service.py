"""The service: the only module that knows all sides. Event -> step -> one commit -> acts.

One thread owns the watch's state and the journal. The network, the wires, the scheduler and the senders
only post into its queue. What must not stop (assess, repeat, escalate) hangs on its own monotonic beat.
"""

import logging
import os
import queue
import threading
import time
from dataclasses import replace

from coldbrood import keep
from coldbrood.aides import MIRROR, Aides
from coldbrood.books import COMMIT_AFTER_S, Books
from coldbrood.clock import Clock
from coldbrood.codec import pack
from coldbrood.deliver.channel import ChannelUrl
from coldbrood.deliver.worker import Worker
from coldbrood.guard import Guard
from coldbrood.inbox import NoteInbox
from coldbrood.inlet import Inlet, through
from coldbrood.journal.holder import Holder
from coldbrood.links import Heard, Links
from coldbrood.logs import boxline, level_of, logline
from coldbrood.mirror.feed import Mark
from coldbrood.notes import BadNote, TapNote, read_note
from coldbrood.notify import Supervisor
from coldbrood.probes.door import Door
from coldbrood.probes.mqtt import KEEP_ALIVE_S, Connected, Fault, Lost, Packet
from coldbrood.probes.onewire import WiredSample
from coldbrood.schedule import WallSchedule
from coldbrood.settings.records import Config
from coldbrood.timekeeper import Timekeeper
from coldbrood.watch.events import (
    Act,
    Beat,
    Bedtime,
    ClockStepped,
    Event,
    GapKnown,
    GoingDown,
    History,
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
    Sound,
    Started,
    Tick,
)
from coldbrood.watch.lastword import is_unsaid
from coldbrood.watch.step import step

log = logging.getLogger("coldbrood")

BEAT_S = 15.0
SIGHT_EVERY_S = 7200.0  # 30 kB a box, twice to the disk; until then a restart reads on from the last one
REMEMBERED_ROWS = 2000  # by which the door knows copies of what a killed daemon had kept but not acknowledged
CLOCK_STEP_S = 2.0
STOP_S = 5.0
DRAIN_S = 2.0
LAST_WORD_S = 15.0  # with what follows under the 30 s after which systemd ends it
LOST_NOTICED_AFTER_S = 2.0 * KEEP_ALIVE_S + 5.0  # one until the ping, one for its answer, and a little

Posted = (
    Heard | Tick | Bedtime | Morning | Retain | SendDone | GoingDown | Note | TapNote | History | Mark | None
)


class Service:
    """One site, watched. `run` blocks until `stop` is called from any thread or a signal handler."""

    def __init__(self, config: Config, clock: Clock | None = None) -> None:
        self.config = config
        self.site = config.site
        self.clock = clock or Clock()
        self._queue: Inlet[Posted] = Inlet(self.site, self.clock, lambda mid: self._links.acknowledge(mid))
        self._stopping = threading.Event()
        self._guarded = Guard()
        self.ready = threading.Event()
        self._supervisor = Supervisor(os.environ)

    def post(self, item: Posted) -> None:
        """Hand over anything that happened; from any thread."""
        self._queue.put(item)

    def stop(self) -> None:
        """Ask the loop to end after a last commit."""
        self._stopping.set()
        self._queue.put(None)

    def going_down(self) -> None:
        """The board is about to shut down: say so while there is power."""
        self.post(GoingDown("asked by a signal"))

    def run(self) -> int:
        """Watch until stopped; 0 when ended as asked. Raises JournalError if the config names no journal."""
        self._open()
        self._schedule.start()
        self._links.start()
        self._aides.start()
        self.ready.set()
        self._supervisor.ready(f"watching {self.site.name}")
        site = self.site
        log.info("watching %s: %d box(es), %d probe(s)", site.name, len(site.boxes), len(site.probes))
        try:
            while not self._stopping.is_set():
                self._turn()
        finally:
            self._close()
        return 0

    # ---- start and end

    def _open(self) -> None:
        label = time.strftime("%Y%m%dT%H%M%SZ", time.gmtime(self.clock.wall_s()))
        self._journal = Holder(self.config.journal_path, label)
        restored = self._journal.restore()
        self._time = Timekeeper(self.clock)
        resumed = self._time.begin(restored, self._journal.last_seq)
        now = self._now()
        self._state = keep.revive(self.site, restored, self._journal.since(keep.first_seq(restored)), now.t_s)
        self._door = Door(self.site.probes)
        recent = self._journal.since(max(0, self._journal.last_seq - REMEMBERED_ROWS))
        self._door.resume([*restored.latest, *(event for event in recent if isinstance(event, Reading))])
        self._beat_t_s = self._sight_t_s = now.t_s
        self._away_from_t_s = self._time.away_from_t_s(resumed)
        self._worker = Worker([ChannelUrl(c.name, c.url.reveal()) for c in self.config.channels], self.post)
        self._schedule = WallSchedule(self.site, self.clock, self.post)
        self._links = Links(self.config, self.clock, self.post)
        self._aides = Aides(self.config, self.clock, restored.states.get(MIRROR), self.post)
        inbox = NoteInbox(self.config.journal_path)
        self._books = Books(self._journal, inbox, self._links.acknowledge, self._worker.submit)
        self._books.keep_state(keep.ANCHOR, pack(resumed.anchor))
        aside = None if self._journal.set_aside is None else str(self._journal.set_aside)
        self._step(Started(resumed.down_s, resumed.sure, aside, self._journal.newer_aside), now)
        self._step(self._aides.self_test(), now)
        self._settle(now)

    def _close(self) -> None:
        """Take what has come in already, keep it, and leave in order."""
        self._supervisor.stopping()
        self._schedule.stop()
        self._aides.see_power(self._state)  # it may have been asked for since the last beat
        began_s = time.monotonic()
        while (unsaid := is_unsaid(self._state)) or not self._queue.empty():
            if time.monotonic() - began_s > (LAST_WORD_S if unsaid else DRAIN_S):
                break
            self._turn(0.2)
        self._settle(self._now())
        self._links.stop()
        self._aides.stop(STOP_S)
        self._worker.stop(STOP_S)
        now = self._now()
        self._keep_sight(now)
        self._books.tell(now, History("stop", self.site.name, "down", "asked to stop"))
        self._settle(now)
        self._journal.close()
        self._aides.let_power_go()
        log.info("stopped")

    # ---- the loop

    def _now(self) -> Now:
        return self._time.now()

    def _turn(self, most_s: float = BEAT_S) -> None:
        """Wait for one event or the next beat, take it, keep what is due to be kept."""
        self._aides.show(self._state, self._now())
        wait_s = self.clock.real_s(max(0.0, self._beat_t_s + BEAT_S - self._now().t_s))
        try:
            item = self._queue.get(timeout=min(wait_s, most_s))
        except queue.Empty:
            item = None
        now = self._now()
        if item is not None:
            self._guarded(lambda: self._take(item, now))
        if now.t_s >= self._beat_t_s + BEAT_S:
            self._beat_t_s = now.t_s
            self._guarded(self._beat)
        if self._books.due(now.t_s):
            self._settle(now)

    def _beat(self) -> None:
        now = self._watch_clock()
        for path, payload in self._books.waiting_notes():
            self._take_note(payload, f"inbox:{path.name}", now)
        self._step(Beat(), now)
        self._aides.beat(self._state, now)
        if now.t_s - self._sight_t_s >= SIGHT_EVERY_S:
            self._keep_sight(now)
        self._supervisor.alive()  # last, so that a beat that failed or hangs is no sign of life

    def _keep_sight(self, now: Now) -> None:
        """Not while the gap before this start is in doubt: once it is known, all since is read anew."""
        if not self._time.in_doubt:
            self._sight_t_s = now.t_s
            self._books.keep_sight(self._state.sight)

    def _watch_clock(self) -> Now:
        """A step of wall time is an event: it is noted, and every wall-clock event is set anew."""
        delta_s, now = self.clock.take_step_s(), self._now()
        if abs(delta_s) > CLOCK_STEP_S:  # a slow drift is no step
            self._step(ClockStepped(delta_s), now)
            self._schedule.restart()
        if not self._time.can_end_doubt(now):
            return now
        self._settle(now)
        return now if self._books.failing else self._end_doubt()

    def _end_doubt(self) -> Now:
        """One commit: watch time, the sight and all that was moved in it belong together."""
        found, now = self._time.end_doubt(self.site, self._journal), self._now()
        self._books.keep_state(keep.ANCHOR, pack(self._time.anchor))
        if found is not None:
            self._state = replace(self._state, sight=found.sight)
            self._beat_t_s, self._away_from_t_s = now.t_s, self._away_from_t_s + found.gap_s
            self._step(GapKnown(found.gap_s), now)
        self._keep_sight(now)
        self._settle(now)
        return now

    # ---- what comes in

    def _take(self, item: Posted, now: Now) -> None:
        match item:
            case Packet() | WiredSample() | Connected() | Lost() | Fault():
                self._take_heard(item, now)
            case Tick() | Bedtime() | Morning():
                self._by_the_clock(item, now)
            case Retain():
                self._retain()
            case Mark():
                self._books.keep_state(MIRROR, pack(item))
            case TapNote():
                self._take_note(item.payload, item.source, now)
            case History():
                self._carry(item, now)
            case None:
                pass
            case _:
                self._step(item, now)

    def _take_heard(self, item: Heard, now: Now) -> None:
        match item:
            case Packet():
                self._take_packet(item, now)
            case WiredSample():
                self._take_values(
                    self._door.wired(item.probe, item.celsius, item.fault, item.detail, now), now
                )
            case Connected():
                self._step(LinkUp(), now)
            case Lost():
                self._link_is_lost(item, now)
            case Fault():
                log.error("broker link: %s", item.detail)

    def _link_is_lost(self, lost: Lost, now: Now) -> None:
        if self._state.health.link_down_t_s is None:
            self._away_from_t_s = now.t_s - LOST_NOTICED_AFTER_S
        self._step(LinkDown(lost.detail), now)

    def _take_packet(self, packet: Packet, now: Now) -> None:
        """A queued packet may be as old as the loss of the link; a repeat was sent before that loss."""
        self._books.owe(packet.mid, now.t_s)
        if packet.topic == self._links.note_topic:
            if not packet.retained:
                self._take_note(packet.payload, packet.topic, now)
            return
        away_s = now.t_s - self._away_from_t_s if packet.queued else 0.0
        bound_s = away_s + (COMMIT_AFTER_S if packet.dup else 0.0)
        self._take_values(through(self._door, packet, bound_s, now), now)

    def _take_values(self, values: tuple[Reading | Refused, ...], now: Now) -> None:
        for value in values:
            self._books.take(value, now.t_s)
            if isinstance(value, Refused):
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
        if not self._books.knows_note(note.key):
            self._books.take(note, now.t_s)
            self._step(note, now)

    # ---- what goes out

    def _step(self, event: Event, now: Now) -> None:
        before = self._state
        self._state, acts = step(self.site, before, event, now)
        self._books.changed(before, self._state, now.t_s)
        for act in acts:
            self._carry(act, now)

    def _carry(self, act: Act, now: Now) -> None:
        """Take an act on: sends wait for the commit, the rest does not need one."""
        match act:
            case SendNow():
                self._books.order(act)
            case History():
                self._books.tell(now, act)
                log.log(level_of(act), "%s", logline(act))
            case ShowBox():
                self._links.show(act.box, act.body)
            case Sound():
                self._aides.sound(act)

    def _settle(self, now: Now) -> None:
        event = self._books.settle(now.t_s)
        if event is not None:
            self._step(event, now)
        if isinstance(event, JournalWell):
            self._books.keep_whole(self._state, self._time.anchor, now.t_s)

    # ---- housekeeping

    def _retain(self) -> None:
        if self._books.thin():
            self.post(Retain())

    def _by_the_clock(self, event: Tick | Bedtime | Morning, now: Now) -> None:
        self._step(self._aides.self_test(), now)
        self._step(event, now)
        if isinstance(event, Tick):
            self._hourly(now)

    def _hourly(self, now: Now) -> None:
        """The one line an hour that says all is well, or what is not."""
        for view in self._state.views.values():
            log.info("%s", boxline(view, now))
