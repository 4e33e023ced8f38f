"""What came in and waits for the service's one thread, with a measure for each probe's topic.

A probe gone mad must neither fill the memory nor hold up the reading that matters. Each topic may bring a
burst, two days of a reading each five minutes sent one by one, and from then on two messages a second, far
more than any probe has to say. What is over waits as one, the newest: the older, which it makes needless, is
dropped, acknowledged and counted, and the count comes to the journal as a refusal. Nothing that waited at the
broker for the daemon is ever dropped: the broker hands it out no faster than it is acknowledged.
"""

import logging
import threading
import time
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, replace
from queue import Empty
from typing import Final, Generic, TypeVar

from coldbrood.clock import Clock
from coldbrood.probes.door import Door
from coldbrood.probes.mqtt import Packet
from coldbrood.watch.events import Now, Reading, Refused
from coldbrood.watch.site import Site

log = logging.getLogger("coldbrood")

BURST: Final = 600.0
PER_S: Final = 2.0
TELL_EVERY_S: Final = 60.0
# A signal's handler runs in the thread that waits: what it puts between the look and the wait wakes nobody.
LOOK_AGAIN_S: Final = 1.0

Item = TypeVar("Item")


@dataclass(slots=True)
class _Measure:
    """How much of one topic may come in now, what of it waits for that, and what was dropped for it.

    `inside` counts those let in and not yet taken: the newest goes in behind them.
    """

    left: float
    at_s: float
    inside: int = 0
    newest: Packet | None = None
    dropped: int = 0
    told_s: float | None = None

    def allows(self, now_s: float) -> bool:
        """Whether one more may come in; if so, it has."""
        self.left = min(BURST, self.left + (now_s - self.at_s) * PER_S)
        self.at_s = now_s
        if self.left < 1.0:
            return False
        self.left -= 1.0
        return True

    def due_s(self, now_s: float) -> float:
        """How long until the next may come in."""
        return max(0.0, (1.0 - self.left) / PER_S - (now_s - self.at_s))


class Inlet(Generic[Item]):
    """A queue of anything; `put` from any thread, `get` from one. The topics of the probes have a measure.

    `acknowledge` is given the number of each message dropped, on the thread that put it.
    """

    def __init__(self, site: Site, clock: Clock, acknowledge: Callable[[int], None]) -> None:
        self._acknowledge = acknowledge
        self._clock = clock
        self._news = threading.Condition()
        self._waiting: deque[Item | Packet] = deque()
        self._measures = {spec.topic: _Measure(BURST, clock.mono_s()) for spec in site.probes.values()}

    def put(self, item: Item | Packet) -> None:
        """Hand over; returns at once."""
        overtaken = None
        with self._news:
            measure = self._measure_of(item)
            if measure is None or not isinstance(item, Packet):
                self._waiting.append(item)
            else:
                overtaken = self._let_in(measure, item)
            self._news.notify()
        if overtaken is not None:
            self._acknowledge(overtaken.mid)

    def get(self, timeout: float) -> Item | Packet:
        """The next, waited for at most `timeout` real seconds. Raises queue.Empty."""
        until_s = time.monotonic() + timeout
        with self._news:
            while True:
                released = self._released()
                if released is not None:
                    return released
                if self._waiting:
                    return self._first()
                left_s = until_s - time.monotonic()
                if left_s <= 0:
                    raise Empty
                self._news.wait(min(left_s, self._next_release_s(), LOOK_AGAIN_S))

    def _first(self) -> Item | Packet:
        item = self._waiting.popleft()
        measure = self._measure_of(item)
        if measure is not None:
            measure.inside -= 1
        return item

    def empty(self) -> bool:
        """Whether nothing waits but for its measure."""
        with self._news:
            return not self._waiting

    def _measure_of(self, item: Item | Packet) -> _Measure | None:
        if isinstance(item, Packet) and not item.queued and not item.retained:
            return self._measures.get(item.topic)
        return None

    def _let_in(self, measure: _Measure, packet: Packet) -> Packet | None:
        """Into the queue, or the only one that waits; gives the one that it overtook."""
        now_s = self._clock.mono_s()
        if measure.newest is None and measure.allows(now_s):
            self._waiting.append(self._with_count(packet.topic, measure, packet, now_s))
            measure.inside += 1
            return None
        overtaken, measure.newest = measure.newest, packet
        if overtaken is not None:
            measure.dropped += 1
        return overtaken

    def _released(self) -> Packet | None:
        now_s = self._clock.mono_s()
        for topic, measure in self._measures.items():
            if measure.newest is not None and not measure.inside and measure.allows(now_s):
                packet, measure.newest = measure.newest, None
                return self._with_count(topic, measure, packet, now_s)
        return None

    def _with_count(self, topic: str, measure: _Measure, packet: Packet, now_s: float) -> Packet:
        fresh = measure.told_s is None or now_s - measure.told_s >= TELL_EVERY_S
        if not measure.dropped or not fresh:
            return packet
        log.warning("%s: more than %g messages a second: %d dropped", topic, PER_S, measure.dropped)
        packet = replace(packet, overtook=measure.dropped)
        measure.told_s, measure.dropped = now_s, 0
        return packet

    def _next_release_s(self) -> float:
        """Real seconds until something that waits for its measure may come in."""
        now_s = self._clock.mono_s()
        due = [measure.due_s(now_s) for measure in self._measures.values() if measure.newest is not None]
        return max(0.001, self._clock.real_s(min(due, default=3600.0)))


def through(door: Door, packet: Packet, age_bound_s: float, now: Now) -> tuple[Reading | Refused, ...]:
    """A packet through the door."""
    number, overtook = packet.number, packet.overtook
    return door.packet(packet.topic, packet.payload, packet.retained, age_bound_s, now, number, overtook)
