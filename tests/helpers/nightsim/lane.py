"""One batch lived once: true box, probes, and a keeper who answers whoever nudges."""

from collections.abc import Iterable
from copy import copy
from dataclasses import dataclass, field
from typing import Literal, Protocol

import numpy as np
from nightsim.scenario import BEDTIME_MIN, RISING_MIN, ProbeDraw, Scenario
from nightsim.truth import ONE, Lanes
from nightsim.weather import DAYS

START_MIN = 10 * 60
END_MIN = DAYS * 1440
FELT_MIN = 10.0
STEP_C = 0.0625
# What a keeper woken for heat does: lid up so many seconds, and the jug into its towel until it is filled.
COOLED = (300.0, 1.0)

# What reaches the keeper: a nudge to refill, one for heat, one that only wakes, a fill asked for at bedtime.
Ask = Literal["refill", "heat", "look", "fill-now"]


def is_night(minute: int) -> bool:
    """Whether the keeper is in bed."""
    second = minute % 1440
    return second >= BEDTIME_MIN or second < RISING_MIN


class Policy(Protocol):
    """Whoever decides when the keeper is asked."""

    def minute(self, lane: "Lane") -> Iterable[Ask]:
        """One minute has passed; what is asked of the keeper now."""


@dataclass
class Lane:
    """The truth of one life of the batch. Cold is counted by `felt_c`, the box air over ten minutes.

    `told_fill_c` is how hot the water of the fill last asked for should be, None for as usual; `hotter_k` how
    much hotter each new jug was than the old, by minute.
    """

    scenario: Scenario
    minute: int = START_MIN
    nodes: tuple[float, ...] = ()
    towel: float = 0.0
    lid_s: float = 0.0
    probe_c: float = 0.0
    felt_now_c: float = 0.0
    told_fill_c: float | None = None
    refills: list[int] = field(default_factory=list)
    hotter_k: dict[int, float] = field(default_factory=dict)
    felt_c: list[float] = field(default_factory=list)
    lids: bool = True

    def __post_init__(self) -> None:
        if self.nodes:
            return
        s = self.scenario
        out_c = float(s.weather.outdoor_c[self.minute])
        box_c = 0.5 * (out_c + 25.0)
        self.nodes = (s.spec.fill_c, 0.5 * (s.spec.fill_c + box_c), box_c, box_c - 0.3 * (box_c - out_c))
        self.towel = float(s.towel_by_day[0])
        self.probe_c = self.felt_now_c = box_c
        self.refills.append(self.minute)

    def branch(self) -> "Lane":
        """The same moment, to be lived on otherwise."""
        other = copy(self)
        other.refills, other.hotter_k, other.felt_c = list(self.refills), dict(self.hotter_k), []
        return other

    def step(self) -> None:
        """One minute."""
        s = self.scenario
        if self.lids and self.minute in s.look_ins:
            self.lid_s = max(self.lid_s, 25.0 + self.minute % 40)
        acts = s.acting(self.minute, min(self.lid_s, 60.0) / 60.0)
        self.lid_s = max(0.0, self.lid_s - 60.0)
        self.nodes = s.box.minute(ONE, self.nodes, self.towel, acts)
        self._follow()
        self.felt_now_c += (self.nodes[2] - self.felt_now_c) / FELT_MIN
        self.felt_c.append(self.felt_now_c)
        self.minute += 1

    def _follow(self) -> None:
        self.probe_c = followed_c(self.scenario.box_probe, self.minute, self.nodes, self.probe_c)

    def shown_c(self) -> float:
        """What the probe would show without wander, noise and steps."""
        return self.probe_c + self.scenario.box_probe.offset_c

    def read_c(self) -> float:
        """One reading."""
        return _stepped(self.shown_c() + float(self.scenario.box_probe.error_c[self.minute]))

    def read_outdoor_c(self) -> float:
        """One reading outdoors."""
        s = self.scenario
        return _stepped(float(s.weather.outdoor_c[self.minute]) + float(s.outdoor_error_c[self.minute]))

    def refill(self, rng: np.random.Generator, fill_c: float | None = None) -> None:
        """A hot jug goes in: water near the usual heat or that asked for, the day's towel, the lid open."""
        s = self.scenario
        new_c = float(rng.normal(fill_c or s.spec.fill_c, 5.0))
        self.hotter_k[self.minute] = new_c - self.nodes[0]
        self.nodes = (new_c, *self.nodes[1:])
        self.towel = float(s.towel_by_day[self.minute // 1440])
        self.lid_s = float(rng.uniform(30.0, 100.0))
        self.refills.append(self.minute)


def followed_c(probe: ProbeDraw, minute: int, nodes: tuple[Lanes, ...], probe_c: Lanes) -> Lanes:
    """The probe a minute later: late in the air, near the jug's skin, or under the litter."""
    _, surface, air, structure = nodes
    around_c, lag_s = air + float(probe.jug_share[minute]) * (surface - air), probe.lag_s
    if probe.buried[minute]:
        around_c, lag_s = 0.5 * (air + structure), lag_s + 1500.0
    return probe_c + (around_c - probe_c) * (1.0 - float(np.exp(-60.0 / lag_s)))


def _stepped(celsius: float) -> float:
    return round(celsius / STEP_C) * STEP_C


@dataclass
class Keeper:
    """Comes 20 to 45 min after a nudge at night, 5 to 40 by day; one nudge in 25 at night is slept through.

    What reaches a keeper within 45 minutes after a refill is taken as answered.
    """

    rng: np.random.Generator
    visit_min: int | None = None
    visit: Ask = "refill"
    deaf_until_min: int = 0
    wakings: list[int] = field(default_factory=list)

    def hear(self, ask: Ask, minute: int) -> None:
        """One message."""
        if ask == "fill-now":
            self._plan(ask, minute + int(self.rng.integers(2, 10)))
            return
        if self.visit_min is not None:
            self.visit = "refill" if ask == "refill" else self.visit
            return
        if minute < self.deaf_until_min:
            return
        if not is_night(minute):
            self._plan(ask, minute + int(self.rng.integers(5, 41)))
            return
        self.wakings.append(minute)
        if self.rng.random() < 0.04:
            self.deaf_until_min = minute + 60
            return
        self._plan(ask, minute + int(self.rng.integers(20, 46)))

    def _plan(self, ask: Ask, minute: int) -> None:
        self.visit_min, self.visit = minute, ask

    def act(self, lane: Lane) -> None:
        """Come when due."""
        if self.visit_min is None or lane.minute < self.visit_min:
            return
        self.visit_min = None
        if self.visit in ("refill", "fill-now"):
            lane.refill(self.rng, lane.told_fill_c)
            self.deaf_until_min = lane.minute + 45  # the message is answered, and the jug needs its time
            return
        if self.visit == "heat":
            lane.lid_s, lane.towel = COOLED
        self.deaf_until_min = lane.minute + 15


@dataclass
class Life:
    """What came of one batch under one policy."""

    lane: Lane
    wakings: list[int]

    @property
    def refills(self) -> int:
        """Refills after the first fill."""
        return len(self.lane.refills) - 1


def live(scenario: Scenario, policy: Policy, until_min: int = END_MIN) -> Life:
    """One batch from the arrival at ten in the morning of day 0 to the end of day 13."""
    lane = Lane(scenario)
    keeper = Keeper(np.random.default_rng((scenario.seed, 77)))
    while lane.minute < until_min:
        keeper.act(lane)
        lane.step()
        for ask in policy.minute(lane):
            keeper.hear(ask, lane.minute)
    return Life(lane, keeper.wakings)
