"""What a keeper without a forecast does: the age timetable, and a bare alarm at the floor."""

from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np
from nightsim.floors import Floor
from nightsim.lane import Ask, Lane, Life, is_night
from nightsim.scenario import Scenario
from nightsim.weather import DAYS

from coldbrood.brooder.timetable import interval

GRACE_MIN = 45


def timetable_life(scenario: Scenario) -> Life:
    """Refills by age and by the last day's weather, each up to half an hour early or late."""
    rng = np.random.default_rng((scenario.seed, 5))
    lane, wakings = Lane(scenario), []
    due = _next_due(lane, rng)
    while lane.minute < DAYS * 1440:
        if lane.minute % 30 == 0:
            due = _next_due(lane, rng) if due is None else due
        if due is not None and lane.minute >= due:
            if is_night(lane.minute):
                wakings.append(lane.minute)
            lane.refill(rng)
            due = _next_due(lane, rng)
        lane.step()
    return Life(lane, wakings)


def _next_due(lane: Lane, rng: np.random.Generator) -> int | None:
    out_c = lane.scenario.weather.outdoor_c[max(0, lane.minute - 1440) : lane.minute + 1]
    hours = interval(lane.minute / 1440.0, float(out_c.max()), float(out_c.min())).hours
    if hours is None:
        return None
    return lane.refills[-1] + round(60.0 * hours) + int(rng.integers(-30, 31))


@dataclass
class Threshold:
    """Nudges at each reading under the floor; for 45 minutes after a refill it waits."""

    floor: Floor
    every_min: int = 5
    nudges: list[int] = field(default_factory=list)

    def minute(self, lane: Lane) -> Iterable[Ask]:
        """Look at the reading of this minute, if there is one."""
        now = lane.minute
        if now % self.every_min or lane.scenario.box_probe.lost[now] or now - lane.refills[-1] < GRACE_MIN:
            return ()
        return ("refill",) if lane.read_c() < self.floor(now / 1440.0) else ()
