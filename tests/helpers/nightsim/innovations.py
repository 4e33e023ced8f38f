"""Normalised innovations of the estimate: each box reading against what was expected of it a moment before.

Source: Bar-Shalom, Li and Kirubarajan 2001, section 5.4 (from memory): of a consistent filter the squares of
innovations over their variance have the mean 1, and one in twenty is beyond 3.84 (chi-square of one degree).
"""

from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np
from nightsim.batch import DEFAULT_RISK
from nightsim.floors import DEMANDING
from nightsim.lane import Ask, Lane, live
from nightsim.product import Product, site_of
from nightsim.scenario import draw
from scipy import stats

from coldbrood.brooder.bank import reading_var
from coldbrood.brooder.estimate import now_box
from coldbrood.watch.sight import drive_at

BEYOND = float(stats.chi2.ppf(0.95, 1))
QUIET_MIN = 60
LEARNED_MIN = 36 * 60


@dataclass
class Innovations:
    """The product, with each box reading held against the estimate of the moment before."""

    product: Product
    found: list[tuple[bool, float]] = field(default_factory=list)

    def minute(self, lane: Lane) -> Iterable[Ask]:
        """One minute of the product; what it reads in it is scored first."""
        entry = self.product.entry
        sight, t_s, wall_s = entry.state.sight, entry.t_s + 60.0, entry.wall_s + 60.0
        before = len(self.product.readings)
        asks = self.product.minute(lane)
        estimate = sight.boxes["a"].estimate
        if len(self.product.readings) > before and estimate.last_s is not None and lane.minute > LEARNED_MIN:
            drive = drive_at(entry.site, sight, "a", t_s, wall_s)
            mean_c, sd_c = now_box(estimate, lane.scenario.spec, t_s, drive)
            var = sd_c**2 + reading_var(t_s - estimate.last_s)
            nis = (self.product.readings[-1][1] - mean_c) ** 2 / var
            self.found.append((_is_quiet(lane), nis))
        return asks


def _is_quiet(lane: Lane) -> bool:
    """Whether no lid was lifted of late."""
    opened = [*lane.scenario.look_ins, *lane.refills]
    return not any(0 <= lane.minute - at <= QUIET_MIN for at in opened)


def run(seed: int) -> list[tuple[bool, float]]:
    """Of one batch from a day and a half on: whether the box was quiet, and the normalised square."""
    s = draw(seed)
    policy = Innovations(Product(s, site_of(s, DEFAULT_RISK, DEMANDING)))
    live(s, policy)
    return policy.found


def table_rows(found: Iterable[tuple[bool, float]]) -> list[tuple[str, int, float, float, str]]:
    """Name, number, mean, share beyond 3.84, and the bounds of the mean of so many in 95 of 100 cases."""
    rows = list(found)
    quiet = np.array([q for q, _ in rows])
    nis = np.array([value for _, value in rows])
    out = []
    for name, some in (("all", nis), ("an hour from any lid", nis[quiet]), ("near a lid", nis[~quiet])):
        n = len(some)
        low, high = (float(stats.chi2.ppf(p, n)) / n for p in (0.025, 0.975))
        share = float(np.mean(some > BEYOND))
        out.append((name, n, float(some.mean()), share, f"{low:.2f} to {high:.2f}"))
    return out
