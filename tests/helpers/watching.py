"""Drives the pure watch by hand: bytes through the door, one step an event, every message taken at once."""

from collections.abc import Iterator
from dataclasses import dataclass, field

from bench import senml

from coldbrood.probes.door import Door
from coldbrood.watch.events import (
    Act,
    Beat,
    Bedtime,
    Event,
    History,
    LinkUp,
    Morning,
    Now,
    Reading,
    SendDone,
    SendNow,
    ShowBox,
    Started,
)
from coldbrood.watch.localtime import second_of_day
from coldbrood.watch.site import Site
from coldbrood.watch.state import State, first_state
from coldbrood.watch.step import step

BEAT_S = 15.0
START_T_S = 1000.0


@dataclass
class Told:
    """One message that reached a channel."""

    t_s: float
    wall_s: float
    send: SendNow


@dataclass
class Watching:
    """One site watched without threads. `run_to` lets time pass in beats, with bedtime and morning."""

    site: Site
    wall_s: float
    t_s: float = START_T_S
    state: State = field(init=False)
    door: Door = field(init=False)
    told: list[Told] = field(default_factory=list)
    history: list[History] = field(default_factory=list)
    taken: list[Reading] = field(default_factory=list)
    shown: dict[str, dict[str, object]] = field(default_factory=dict)
    outcome: str = "accepted"

    def __post_init__(self) -> None:
        self.state = first_state(self.site, self.t_s)
        self.door = Door(self.site.probes)
        self.do(Started(None, sure=True))
        self.do(LinkUp())

    @property
    def now(self) -> Now:
        """The moment."""
        return Now(self.t_s, self.wall_s, synced=True)

    def do(self, event: Event) -> tuple[Act, ...]:
        """One event, and the outcome of whatever it sends."""
        self.state, acts = step(self.site, self.state, event, self.now)
        for act in acts:
            if isinstance(act, SendNow):
                self.told.append(Told(self.t_s, self.wall_s, act))
                self.do(SendDone(act.key, self.outcome, ""))  # type: ignore[arg-type] # one of SendOutcome
            elif isinstance(act, History):
                self.history.append(act)
            elif isinstance(act, ShowBox):
                self.shown[act.box] = act.body
        return acts

    def send_c(self, probe: str, celsius: float) -> None:
        """A SenML pack through the door."""
        self.packet(probe, senml(celsius).encode())

    def packet(self, probe: str, payload: bytes) -> None:
        """Any payload through the door."""
        topic = self.site.probes[probe].topic
        for value in self.door.packet(topic, payload, False, 0.0, self.now):
            if isinstance(value, Reading):
                self.taken.append(value)
            self.do(value)

    def pass_s(self, seconds: float) -> None:
        """Let time pass."""
        self.run_to(self.t_s + seconds)

    def run_to(self, until_t_s: float) -> None:
        """Let time pass in beats."""
        for _ in self.beats(until_t_s):
            pass

    def beats(self, until_t_s: float) -> Iterator[float]:
        """Let time pass in beats, giving the watch time after each."""
        while self.t_s < until_t_s:
            before = second_of_day(self.site, self.wall_s)
            self.t_s += BEAT_S
            self.wall_s += BEAT_S
            after = second_of_day(self.site, self.wall_s)
            for second, event in (
                (self.site.keeper.bedtime_s, Bedtime()),
                (self.site.keeper.rising_s, Morning()),
            ):
                if before < second <= after:
                    self.do(event)
            self.do(Beat())
            yield self.t_s

    def titles(self) -> list[str]:
        """Titles told so far, on the first channel."""
        return [told.send.title for told in self.told if told.send.channel == self.site.channels[0].name]
