"""The site as the pure rooms see it: what the config file says, in SI units, with no secret in it."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, tzinfo
from typing import Literal

from coldbrood.brooder.specs import BoxSpec, ChickKind

Role = Literal["box", "outdoor"]
Source = Literal["mqtt", "onewire"]
PayloadFormat = Literal["senml", "pointers", "plain"]
Quantity = Literal["temperature_c", "humidity_pct", "battery_v", "battery_pct", "signal_dbm"]
TemperatureUnit = Literal["C", "F"]


@dataclass(frozen=True, slots=True)
class ProbeSpec:
    """One probe. `interval_s` is the longest usual time between its messages.

    A temperature is what it sends times `gain` plus `offset_c`.
    """

    name: str
    role: Role
    box: str | None
    source: Source
    interval_s: float
    topic: str = ""
    format: PayloadFormat = "senml"
    pointers: Mapping[Quantity, str] = field(default_factory=dict)
    unit: TemperatureUnit = "C"
    sensor_id: str | None = None
    offset_c: float = 0.0
    gain: float = 1.0
    min_c: float = -55.0
    max_c: float = 125.0
    battery_low_v: float | None = None
    battery_low_pct: float | None = 15.0


@dataclass(frozen=True, slots=True)
class ChannelSpec:
    """One way to reach a person. The order in the site is the order of escalation.

    Channels of the same `person` are told together; one without a person is a step of its own.
    """

    name: str
    title_max: int = 60
    body_max: int = 500
    person: str | None = None


@dataclass(frozen=True, slots=True)
class Away:
    """When the keeper is not at hand: from one second of the day to another, on these weekdays.

    Monday is 0. To a second not later than from is over midnight, into the next day.
    """

    weekdays: tuple[int, ...]
    from_s: int
    to_s: int


@dataclass(frozen=True, slots=True)
class Keeper:
    """The keeper's day and wishes. Times of day are seconds after local midnight."""

    bedtime_s: int
    rising_s: int
    lead_s: float
    risk: float
    unit: TemperatureUnit = "C"
    clock_24h: bool = True
    away: tuple[Away, ...] = ()


@dataclass(frozen=True, slots=True)
class BatchSpec:
    """One group of chicks: day 0 is the hatch date if given, else the day of arrival.

    `floors` is the keeper's own floor as (day, C), straight between; empty: that of the trade by age.
    """

    arrival: date
    hatched: date | None
    kind: ChickKind
    chicks: Mapping[str, int]
    floors: tuple[tuple[float, float], ...] = ()

    @property
    def day0(self) -> date:
        """The date from which age is counted."""
        return self.hatched or self.arrival


@dataclass(frozen=True, slots=True)
class SunDay:
    """Sunrise and sunset of one day, in seconds after midnight UTC of its date; None where there is none."""

    sunrise_s: float | None
    sunset_s: float | None


@dataclass(frozen=True, slots=True)
class Site:
    """Everything the pure rooms need to know of a site. `sun` holds 366 days by day of the year, or none.

    `sounder_after_s` is how long a nudge goes unanswered before the noise; None where there is no sounder.
    """

    name: str
    zone: tzinfo
    latitude_deg: float
    longitude_deg: float
    keeper: Keeper
    batch: BatchSpec
    boxes: Mapping[str, BoxSpec]
    probes: Mapping[str, ProbeSpec]
    channels: tuple[ChannelSpec, ...]
    sun: tuple[SunDay, ...] = ()
    sounder_after_s: float | None = None
