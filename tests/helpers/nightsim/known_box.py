"""What no estimate can beat: the true box itself, carried on through the night as the watch foresees it.

It knows walls, leaks, jug, towel, chicks, wind and sun, and of the air outside only what the outdoor probe
has told the watch. Its score is the part of the forecast's error that is the weather's alone.
"""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from nightsim.floors import DEMANDING, FLOORS, Floor
from nightsim.lane import Ask, Lane, followed_c, live
from nightsim.product import Product, site_of
from nightsim.scenario import draw
from nightsim.scores import GRID_MIN, HORIZON_MIN, Array, Case, Scored, When, crps_h
from nightsim.truth import MANY, Acting

from coldbrood.brooder.bank import spread_normals
from coldbrood.watch.assess import outdoor_ahead

NIGHTS = 32
AFTER_DAYS = 1.5


@dataclass(frozen=True)
class Known:
    """One forecast: its CRPS in h, that of the box on paper, and that of the true box."""

    when: When
    ours_h: float
    prior_h: float
    known_h: float


def chance(product: Product, lane: Lane, floor: Floor) -> Array:
    """Distribution function of the crossing on the minutes of the horizon: the true box in many nights."""
    entry, s, now_s = product.entry, lane.scenario, product.t_s(lane.minute)
    ahead = outdoor_ahead(entry.site, entry.state.sight, entry.now)
    mean_c, sd_c = ahead.at(np.asarray(now_s + 60.0 * GRID_MIN[:-1], np.float64))
    night = np.sort(spread_normals(np.random.default_rng(0), 1, NIGHTS)[0])
    nodes = tuple(np.full(NIGHTS, float(node)) for node in lane.nodes)
    probe_c, came = np.full(NIGHTS, lane.probe_c), np.full(NIGHTS, np.inf)
    for i in range(HORIZON_MIN):
        minute = lane.minute + i
        true = s.acting(minute)
        acts = Acting(
            mean_c[i] + sd_c[i] * night,
            true.wind_m_s,
            true.sun_w_m2,
            true.heat_per_w_kg,
            true.vent_factor,
        )
        nodes = s.box.minute(MANY, nodes, lane.towel, acts, 60.0)
        probe_c = followed_c(s.box_probe, minute, nodes, probe_c)
        under = probe_c + s.box_probe.offset_c < floor((minute + 1) / 1440.0)
        came[under & np.isinf(came)] = i + 1
        if not np.isinf(came).any():
            break
    return np.asarray((came <= GRID_MIN[:, None]).mean(axis=1))


@dataclass
class Bound:
    """The scored product, with the true box's score beside each forecast."""

    scored: Scored

    def __post_init__(self) -> None:
        self.found: list[Known] = []

    def minute(self, lane: Lane) -> Iterable[Ask]:
        """One minute; whatever was scored in it is scored again with the box known."""
        before = len(self.scored.cases)
        asks = self.scored.minute(lane)
        for case in self.scored.cases[before:]:
            if case.age_days > AFTER_DAYS and case.when in ("1 h", "3 h"):
                self._again(case, lane)
        return asks

    def _again(self, case: Case, lane: Lane) -> None:
        foreseen = chance(self.scored.product, lane, self.scored.floor)
        known_h = crps_h(foreseen, case.came_min)
        self.found.append(Known(case.when, case.crps_h, case.prior_h, known_h))


def run(seed: int) -> list[Known]:
    """One batch of the product, scored beside the true box."""
    s = draw(seed)
    bound = Bound(Scored(Product(s, site_of(s, 0.1, DEMANDING)), FLOORS["demanding"]))
    live(s, bound)
    return bound.found


def table_rows(found: list[Known]) -> list[tuple[str, str, str, str, str]]:
    """By time of issue: how many, CRPS of ours and of the true box in h, and both against the prior's."""
    rows = []
    for when in ("1 h", "3 h"):
        some = [one for one in found if one.when == when]
        ours, prior, known = (sum(getattr(one, f"{w}_h") for one in some) for w in ("ours", "prior", "known"))
        n = len(some)
        rows.append((when, str(n), f"{ours / n:.2f}", f"{ours / prior:.2f}", f"{known / prior:.2f}"))
    return rows
