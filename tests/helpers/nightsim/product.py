"""The watch under test, driven through its pure entry: bytes of probes in, messages out, nothing else."""

import json
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta, timezone

from nightsim.lane import START_MIN, Ask, Lane
from nightsim.scenario import BEDTIME_MIN, RISING_MIN, YEAR, Scenario

from coldbrood.brooder.estimate import in_doubt
from coldbrood.entry import Entry
from coldbrood.settings.sun import sun_days
from coldbrood.watch.events import Act, History, SendNow
from coldbrood.watch.site import BatchSpec, ChannelSpec, Keeper, ProbeSpec, Site

BOX_TOPIC, OUTDOOR_TOPIC = "coldbrood/larch-lane/box-a/reading", "coldbrood/larch-lane/outdoor/reading"
# The daemon beats each 15 s and looks each minute where a nudge is near. Here it beats with the readings: a
# look costs 14 ms, and without a new reading it sees nothing new. Nudges come up to 5 min later for it.
BEAT_S = 300.0
FILLS = {
    ("bedtime", "One fill"),
    ("morning", "Fill now"),
}  # digests that ask for a fill while the keeper is up
ASKS_FOR_WATER = {"bedtime", "morning", "refill-now", "under-hard-floor", "refill-not-seen"}
FILL_WITH = re.compile(r"Fill with water of (\d+) C")
WAKES = {"refill-now": "refill", "under-hard-floor": "refill", "refill-not-seen": "refill", "too-hot": "heat"}


def site_of(s: Scenario, risk: float, floors: tuple[tuple[float, float], ...] = ()) -> Site:
    """What the keeper states: nothing of the truth but place, box on paper, chicks and habits."""
    place = s.place
    probes = (
        ProbeSpec("box-a", "box", "a", "mqtt", 300.0, topic=BOX_TOPIC),
        ProbeSpec("outdoor", "outdoor", None, "mqtt", 300.0, topic=OUTDOOR_TOPIC),
    )
    return Site(
        name="larch-lane",
        zone=timezone(timedelta(hours=place.utc_h)),
        latitude_deg=place.latitude_deg,
        longitude_deg=place.longitude_deg,
        keeper=Keeper(BEDTIME_MIN * 60, RISING_MIN * 60, 1800.0, risk),
        batch=BatchSpec(s.day0, None, "layer", {"a": s.chicks}, floors),
        boxes={"a": s.spec},
        probes={probe.name: probe for probe in probes},
        channels=(ChannelSpec("phone"),),
        sun=sun_days(place.latitude_deg, place.longitude_deg, YEAR),
    )


def wall_at(s: Scenario, minute: int) -> float:
    """Unix time of a minute of the batch."""
    midnight = datetime(s.day0.year, s.day0.month, s.day0.day, tzinfo=UTC).timestamp()
    return midnight - 3600.0 * s.place.utc_h + 60.0 * minute


def senml(celsius: float) -> bytes:
    """A SenML pack of one value (RFC 8428)."""
    return json.dumps([{"n": "t", "u": "Cel", "v": celsius}]).encode()


@dataclass
class Product:
    """The daemon's side. `every_min` is how often the box probe speaks; outdoors it is every five minutes."""

    scenario: Scenario
    site: Site
    every_min: int = 5
    silent: frozenset[str] = frozenset()
    silent_from_min: int = 0
    silent_until_min: int = 0
    seen: list[int] = field(default_factory=list)
    seen_surely: list[int] = field(default_factory=list)
    sends: list[tuple[int, SendNow]] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.entry = Entry(self.site, wall_at(self.scenario, START_MIN), beat_s=BEAT_S)
        self.readings: list[tuple[int, float]] = []

    def minute(self, lane: Lane) -> Iterable[Ask]:
        """Feed what the probes send this minute, let the minute pass, and hand on what is said."""
        acts = [*self.entry.pass_s(60.0)]
        for topic, celsius in self._packets(lane):
            acts += self.entry.packet(topic, senml(celsius))
        return list(self._asks(acts, lane))

    def t_s(self, minute: int) -> float:
        """Watch time of a minute."""
        return self.entry.t_s + 60.0 * (minute - self._minute_now())

    def _minute_now(self) -> int:
        return round((self.entry.wall_s - wall_at(self.scenario, 0)) / 60.0)

    def _packets(self, lane: Lane) -> Iterator[tuple[str, float]]:
        now, s = lane.minute, self.scenario
        mute = self.silent if self.silent_from_min <= now < self.silent_until_min else frozenset[str]()
        if (now + 1) % self.every_min == 0 and not s.box_probe.lost[now] and "box" not in mute:
            self.readings.append((now, lane.read_c()))
            yield BOX_TOPIC, self.readings[-1][1]
        if now % 5 == 2 and not s.outdoor_lost[now] and "outdoor" not in mute:
            yield OUTDOOR_TOPIC, lane.read_outdoor_c()

    def _asks(self, acts: Iterable[Act], lane: Lane) -> Iterator[Ask]:
        minute = lane.minute
        for act in acts:
            if isinstance(act, History) and act.kind == "refill":
                self.seen.append(minute)
                if not in_doubt(self.entry.state.sight.boxes["a"].estimate):
                    self.seen_surely.append(minute)
            if isinstance(act, SendNow):
                self.sends.append((minute, act))
                if act.key.split("/")[0] in ASKS_FOR_WATER:
                    told = FILL_WITH.search(act.body)
                    lane.told_fill_c = float(told[1]) if told else None
                yield from _heard(act)


def _heard(send: SendNow) -> Iterator[Ask]:
    """As the keeper takes a message: by its condition, or at bedtime and at rising by its title."""
    condition = send.key.split("/")[0]
    if condition in WAKES:
        yield WAKES[condition]  # type: ignore[misc] # the values are asks
    elif send.urgency >= 3:
        yield "look"
    elif (condition, send.title.split(",")[0][:8]) in FILLS:
        yield "fill-now"
