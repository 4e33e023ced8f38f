"""One pure way in for whoever wants to drive the watch from elsewhere: a simulator, a replay, a what-if.

Config in, packets and the passing of time in, acts out: no threads, files or clock. It is the path of
the service (door, step, the beat, bedtime and morning) without its broker, journal and senders.
"""

from dataclasses import dataclass, field

from coldbrood.probes.door import Door
from coldbrood.watch.events import (
    Act,
    Beat,
    Bedtime,
    Event,
    LinkUp,
    Morning,
    Now,
    SendDone,
    SendNow,
    SendOutcome,
    Started,
)
from coldbrood.watch.localtime import second_of_day
from coldbrood.watch.site import Site
from coldbrood.watch.state import State, first_state
from coldbrood.watch.step import step

FIRST_T_S = 1000.0


@dataclass
class Entry:
    """A site watched from its first start at Unix time `wall_s`. `outcome` is what becomes of each send."""

    site: Site
    wall_s: float
    beat_s: float = 15.0
    outcome: SendOutcome = "accepted"
    t_s: float = FIRST_T_S
    beaten_t_s: float = field(init=False)
    state: State = field(init=False)
    door: Door = field(init=False, repr=False)

    def __post_init__(self) -> None:
        self.beaten_t_s = self.t_s
        self.state = first_state(self.site, self.t_s)
        self.door = Door(self.site.probes)
        self.event(Started(None, sure=True))
        self.event(LinkUp())

    @property
    def now(self) -> Now:
        """The moment, by a clock that is set."""
        return Now(self.t_s, self.wall_s, synced=True)

    def event(self, event: Event) -> tuple[Act, ...]:
        """Any one event at this moment, such as a note of the keeper; the acts that follow from it."""
        self.state, acts = step(self.site, self.state, event, self.now)
        sends = [act for act in acts if isinstance(act, SendNow)]
        for send in sends:
            acts = (*acts, *self.event(SendDone(send.key, self.outcome, "")))
        return acts

    def packet(self, topic: str, payload: bytes) -> tuple[Act, ...]:
        """One message of a probe, as its bytes reach the broker at this moment."""
        taken = self.door.packet(topic, payload, False, 0.0, self.now)
        return tuple(act for value in taken for act in self.event(value))

    def pass_s(self, seconds: float) -> tuple[Act, ...]:
        """Let time pass: a beat whenever one is due, bedtime and morning at their hours."""
        acts: list[Act] = []
        until_t_s = self.t_s + seconds
        while self.beaten_t_s + self.beat_s <= until_t_s + 1e-6:
            acts += self._go(self.beaten_t_s + self.beat_s)
            self.beaten_t_s = self.t_s
            acts += self.event(Beat())
        if self.t_s < until_t_s:
            acts += self._go(until_t_s)
        return tuple(acts)

    def _go(self, to_t_s: float) -> list[Act]:
        """Move both clocks on, over bedtime and rising where they lie between."""
        before = second_of_day(self.site, self.wall_s)
        self.wall_s += to_t_s - self.t_s
        self.t_s = to_t_s
        passed_s = (second_of_day(self.site, self.wall_s) - before) % 86_400
        keeper = self.site.keeper
        acts: list[Act] = []
        for second, event in ((keeper.bedtime_s, Bedtime()), (keeper.rising_s, Morning())):
            if (second - before - 1) % 86_400 < passed_s:
                acts += self.event(event)
        return acts
