"""A night outside the watch: true boxes, their weather, their probes, a keeper who knows only the messages.

It has no clock and no ear of its own: whoever plays it says how late it is and what came to the phone.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import partial

from sites import START_WALL_S, box_spec

from coldbrood.brooder.band import floor_by_age_c
from coldbrood.demo.keeper import Keeper
from coldbrood.probes import simulated
from coldbrood.probes.simulated import Chicks, Probe, TrueBox, Truth, Weather
from coldbrood.probes.simulated_weather import Night, NightPlan

HOUR_S = 3600.0
MINUTE_S = 60.0
DAY_S = 86_400.0
FIRST_BOX_C = 26.0
STARTS_WALL_S = START_WALL_S + 6 * HOUR_S  # 2026-04-11 16:00 UTC, the chicks' second day
SUNSET_S, SUNRISE_S = 2.8 * HOUR_S, 13.25 * HOUR_S  # of that day at 50 north, after 16:00

# What is true of the box and stated by nobody: it leaks more and the chicks give less than the config says.
TRUE = TrueBox(spec=box_spec(), leak_factor=1.1, heat_factor=0.7, structure_j_per_k=12_000.0)

COLD_WEATHER = NightPlan(
    sunset_s=SUNSET_S,
    sunrise_s=SUNRISE_S,
    dusk_c=9.0,
    low_c=-2.0,
    front_s=9 * HOUR_S,
    front_drop_k=4.0,
    front_takes_s=4 * HOUR_S,
    wind_after_m_s=1.5,
)
MILD_WEATHER = replace(COLD_WEATHER, dusk_c=14.0, low_c=9.0, front_s=40 * HOUR_S)


@dataclass(frozen=True)
class Story:
    """One night of 16 hours, in seconds after its start, when the keeper has just filled each jug.

    `silent_s` is from when a probe sends nothing more, `asleep_s` while the keeper hears no phone. A keeper
    who taps in refills has them in `PlayedNight.take_notes`.
    """

    weather: NightPlan = COLD_WEATHER
    seed: int = 7
    starts_wall_s: float = STARTS_WALL_S
    weather_from_wall_s: float = STARTS_WALL_S
    lasts_s: float = 16 * HOUR_S
    age_days: float = 1.0 + 16 / 24
    chicks: int = 16
    first_fill_c: float = 70.0
    fill_c: float = 70.0
    boxes: Mapping[str, TrueBox] = field(default_factory=lambda: {"a": TRUE})
    silent_s: Mapping[str, float] = field(default_factory=dict)
    asleep_s: tuple[float, float] = (0.0, 0.0)
    taps_in: bool = False


@dataclass
class House:
    """One true box with its probe and whoever tends it. Times are those of the story."""

    name: str
    truth: Truth
    probe: Probe
    keeper: Keeper = field(default_factory=Keeper)
    refills_s: list[float] = field(default_factory=list)
    under_floor_s: list[float] = field(default_factory=list)
    lowest_c: float = 99.0
    highest_c: float = -99.0

    def mark(self, now_s: float, age_days: float) -> None:
        """Keep what matters of the true air; called each minute, so `under_floor_s` counts minutes."""
        air_c = self.truth.air_c
        self.lowest_c, self.highest_c = min(self.lowest_c, air_c), max(self.highest_c, air_c)
        if air_c < floor_by_age_c(age_days):
            self.under_floor_s.append(now_s)


class PlayedNight:
    """The night as it goes on; `at_s` is how far it has come."""

    def __init__(self, story: Story) -> None:
        self.story = story
        self.at_s = 0.0
        self._notes: list[str] = []
        self._night = Night(story.weather, story.seed)
        first_c = self._weather(0.0).outdoor_c
        self._outdoor = Probe(story.seed + 1, at_c=first_c, wander_sd_c=0.05)
        self.houses = {
            name: House(
                name,
                simulated.start(box, first_c, FIRST_BOX_C, story.first_fill_c),
                Probe(story.seed + 2 + n, at_c=FIRST_BOX_C, offset_c=0.1),
            )
            for n, (name, box) in enumerate(sorted(story.boxes.items()))
        }

    def go_on(self, to_s: float) -> None:
        """Let a minute or so pass: the keeper does what is due, the boxes change, the probes follow."""
        dt_s, weather = to_s - self.at_s, self._weather(to_s)
        chicks = Chicks(self.story.chicks, self._age_days(to_s))
        for house in self.houses.values():
            house.keeper.carry_out(to_s, partial(self._do, house, to_s))
            house.truth.step(dt_s, weather, chicks)
            house.probe.follow(dt_s, house.truth.air_c)
            house.mark(to_s, chicks.age_days)
        self._outdoor.follow(dt_s, weather.outdoor_c)
        self.at_s = to_s

    def told(self, title: str, body: str) -> None:
        """A message on the keeper's phone; a title is about the box it names, a bedtime body about each."""
        from_s, to_s = self.story.asleep_s
        if from_s <= self.at_s < to_s:
            return
        for house in self.houses.values():
            name = house.name.upper()
            if f"box {name}" in title:
                house.keeper.told(title, self.at_s)
            elif f"Box {name}: one fill now" in body:
                house.keeper.told("One fill now", self.at_s)

    def readings(self) -> list[tuple[str, float]]:
        """What the probes send now, by probe."""
        probes = {f"box-{house.name}": house.probe for house in self.houses.values()} | {
            "outdoor": self._outdoor
        }
        silent_s = self.story.silent_s
        return [
            (name, probe.read_c())
            for name, probe in probes.items()
            if self.at_s < silent_s.get(name, float("inf"))
        ]

    def take_notes(self) -> list[str]:
        """Boxes whose refill the keeper has tapped in since the last look."""
        notes, self._notes = self._notes, []
        return notes

    def _weather(self, at_s: float) -> Weather:
        return self._night.at(at_s + self.story.starts_wall_s - self.story.weather_from_wall_s)

    def _age_days(self, at_s: float) -> float:
        return self.story.age_days + at_s / DAY_S

    def _do(self, house: House, now_s: float, act: str) -> None:
        """Only a refill changes a box here; a probe that fell silent is beyond the keeper's means."""
        if act == "refill":
            house.truth.refill(self.story.fill_c, wrapped=False)
            house.refills_s.append(now_s)
            if self.story.taps_in:
                self._notes.append(house.name)


def only_under_an_open_lid(house: House) -> bool:
    """Whether the true air was under the floor in no minute but those in which a jug was put in."""
    return set(house.under_floor_s) <= set(house.refills_s)
