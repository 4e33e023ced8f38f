"""Nights without eyes: the box probe dead for six hours, the outdoor probe all night, both.

The answer must come no later than the age timetable asks for, and the box must be said to be an estimate.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field

from nightsim.batch import DEFAULT_RISK
from nightsim.floors import DEMANDING
from nightsim.lane import Ask, Lane, live
from nightsim.product import Product, site_of
from nightsim.scenario import draw

CASES: dict[str, tuple[frozenset[str], int]] = {
    "box probe dead 6 h": (frozenset({"box"}), 6),
    "outdoor probe dead all night": (frozenset({"outdoor"}), 10),
    "both": (frozenset({"box", "outdoor"}), 6),
}
FROM_MIN = 3 * 1440 - 90  # 22:30 of day 2
SLACK_MIN = 15
# By then it is known that a probe is dead, not late: what fell due before counts from then.
BOX_KNOWN_MIN, OUTDOOR_KNOWN_MIN = 45, 75


@dataclass
class Watched:
    """A product watched while it is blind: when the timetable was due, and whether it was said in time."""

    product: Product
    until_min: int
    late_min: float = 0.0
    estimated: list[bool] = field(default_factory=list)
    asked_min: int = -1

    def minute(self, lane: Lane) -> Iterable[Ask]:
        """One minute; nudges are noted with those that stand from before."""
        asks = list(self.product.minute(lane))
        if "refill" in asks:
            self.asked_min = lane.minute
        if self.from_min() <= lane.minute < self.until_min and lane.minute % 15 == 0:
            self._look(lane)
        return asks

    def from_min(self) -> int:
        """The minute from which silence is known for what it is."""
        return FROM_MIN + (BOX_KNOWN_MIN if "box" in self.product.silent else OUTDOOR_KNOWN_MIN)

    def _look(self, lane: Lane) -> None:
        """The timetable counts from the true last refill: what nobody told the daemon is not its lateness."""
        view = self.product.entry.state.views["a"]
        if "box" in self.product.silent:
            self.estimated.append(view.estimated)
        hours = view.timetable.hours
        if hours is None or self.asked_min > lane.refills[-1]:
            return
        due_min = max(lane.refills[-1] + 60.0 * hours, self.from_min())
        self.late_min = max(self.late_min, lane.minute - due_min)


def lateness_min(seed: int, case: str) -> tuple[float, bool]:
    """How late after the timetable the nudge was at worst, and whether each look was said an estimate."""
    s = draw(seed)
    silent, hours = CASES[case]
    product = Product(s, site_of(s, DEFAULT_RISK, DEMANDING), silent=silent)
    product.silent_from_min, product.silent_until_min = FROM_MIN, FROM_MIN + 60 * hours
    watched = Watched(product, product.silent_until_min)
    live(s, watched, product.silent_until_min)
    return watched.late_min, all(watched.estimated)
