"""Promise: of a flood of one topic the newest comes in at a steady pace, the rest is counted and let go.

No other topic waits for it, nothing that waited at the broker is dropped, and a true probe never notices.
"""

from queue import Empty

import pytest
from sites import make_site

from coldbrood.clock import Clock
from coldbrood.inlet import BURST, PER_S, TELL_EVERY_S, Inlet, through
from coldbrood.probes.door import Door
from coldbrood.probes.mqtt import Packet
from coldbrood.watch.events import Beat, Now, Reading, Refused

SITE = make_site()
TOPIC, OTHER = (SITE.probes[name].topic for name in ("box-a", "outdoor"))


class HandClock(Clock):
    """Goes on when told to."""

    t_s = 100.0

    def mono_s(self) -> float:
        return self.t_s

    def real_s(self, seconds: float) -> float:
        return seconds


class Bench:
    """An inlet with a clock by hand; `let_go` are the numbers acknowledged unkept."""

    def __init__(self) -> None:
        self.clock = HandClock()
        self.let_go: list[int] = []
        self.inlet: Inlet[Beat | None] = Inlet(SITE, self.clock, self.let_go.append)
        self.number = 0

    def flood(self, count: int, topic: str = TOPIC, *, queued: bool = False, retained: bool = False) -> None:
        for _ in range(count):
            self.number += 1
            self.inlet.put(Packet(self.number, topic, b"24", retained, False, queued))

    def drain(self) -> list[Packet]:
        found: list[Packet] = []
        while True:
            try:
                item = self.inlet.get(0.0)
            except Empty:
                return found
            assert isinstance(item, Packet)
            found.append(item)


def test_a_burst_comes_in_whole_and_in_order() -> None:
    bench = Bench()
    bench.flood(int(BURST))
    assert [packet.mid for packet in bench.drain()] == list(range(1, int(BURST) + 1))
    assert bench.let_go == []


def test_over_the_burst_only_the_newest_waits_and_the_older_are_let_go() -> None:
    bench = Bench()
    bench.flood(int(BURST) + 5)
    assert len(bench.drain()) == BURST
    assert bench.let_go == [601, 602, 603, 604]
    bench.clock.t_s += 1.0 / PER_S
    (newest,) = bench.drain()
    assert (newest.mid, newest.overtook) == (605, 4)
    assert bench.inlet.empty()


def test_each_of_a_long_flood_is_taken_or_counted_once_and_none_twice() -> None:
    bench = Bench()
    taken: list[Packet] = []
    for _ in range(600):
        bench.flood(50)
        bench.clock.t_s += 0.1
        taken += bench.drain()
    bench.clock.t_s += TELL_EVERY_S
    taken += bench.drain()
    bench.flood(1)
    taken += bench.drain()
    assert sum(packet.overtook for packet in taken) == len(bench.let_go)
    assert len(taken) + len(bench.let_go) == bench.number
    assert {packet.mid for packet in taken}.isdisjoint(bench.let_go)
    assert len(taken) <= BURST + 61.0 * PER_S + 2
    told = [packet for packet in taken if packet.overtook]
    assert len(told) <= 60.0 / TELL_EVERY_S + 2, "the count is told once a minute, not with each"


def test_the_other_topics_and_everything_else_pass_the_flood_by() -> None:
    bench = Bench()
    bench.flood(2000)
    bench.drain()
    bench.flood(3, topic=OTHER)
    bench.flood(3, topic="coldbrood/larch-lane/note")
    bench.inlet.put(Beat())
    assert [bench.inlet.get(0.0) for _ in range(6)] == [
        Packet(n, topic, b"24", False, False, False)
        for n, topic in enumerate([OTHER] * 3 + ["coldbrood/larch-lane/note"] * 3, 2001)
    ]
    assert bench.inlet.get(0.0) == Beat()


@pytest.mark.parametrize(("queued", "retained"), [(True, False), (False, True)])
def test_what_waited_at_the_broker_is_never_dropped(queued: bool, retained: bool) -> None:
    bench = Bench()
    bench.flood(3000, queued=queued, retained=retained)
    assert len(bench.drain()) == 3000
    assert bench.let_go == []


def test_two_days_of_readings_each_five_minutes_sent_one_by_one_are_no_flood() -> None:
    assert BURST >= 2 * 86_400 / 300


def test_a_probe_that_comes_to_its_senses_has_its_burst_again() -> None:
    bench = Bench()
    bench.flood(1000)
    bench.drain()
    bench.clock.t_s += BURST / PER_S + 1.0
    bench.drain()
    bench.flood(int(BURST) - 1)
    assert len(bench.drain()) == BURST - 1


def test_get_waits_for_what_waits_for_its_measure() -> None:
    """With the machine's own clock: the wait is that of the measure, not of the caller."""
    inlet: Inlet[None] = Inlet(SITE, Clock(scale=1000.0), lambda _mid: None)
    for number in range(1, 20_000):
        inlet.put(Packet(number, TOPIC, b"24", False, False, False))
    last = 0
    while last != 19_999:
        item = inlet.get(60.0)
        assert isinstance(item, Packet)
        assert item.mid > last
        last = item.mid
    with pytest.raises(Empty):
        inlet.get(0.01)


def test_the_count_comes_through_the_door_as_a_refusal_beside_the_reading() -> None:
    packet = Packet(7, TOPIC, b'[{"n":"t","u":"Cel","v":24}]', False, False, False, overtook=41)
    reading, refused = through(Door(SITE.probes), packet, 0.0, Now(1.0, 1.7e9, synced=True))
    assert isinstance(reading, Reading)
    assert (reading.value, reading.mid) == (24.0, 7)
    assert isinstance(refused, Refused)
    assert (refused.probe, refused.reason) == ("box-a", "too-often")
    assert refused.detail.startswith("41 ")


def test_what_a_signal_puts_between_the_look_and_the_wait_is_taken(monkeypatch: pytest.MonkeyPatch) -> None:
    """Its handler runs in the thread that waits; put so, they wake nobody, and the wait is an hour."""
    inlet, put = Inlet[Beat | None](SITE, HandClock(), lambda _mid: None), [Beat()]

    def interrupted(_: object) -> float:
        if put:
            inlet.put(put.pop())
        return 3600.0

    monkeypatch.setattr(Inlet, "_next_release_s", interrupted)
    assert inlet.get(3600.0) == Beat()
