"""What lies ahead of a box: its forecast with the range, outdoor air, floor and ceiling, tonight's plan.

Worked out by the trade's own functions, on the page's thread, from a state that nothing changes. It takes
some hundred milliseconds, and several times that on a board, so it is kept, and renewed behind the reader's
back; at once only when something happened that changes the plan.
"""

import threading
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np

from coldbrood.brooder import estimate as box_estimate
from coldbrood.brooder.bank import Array
from coldbrood.brooder.hold import LEAST_SD_C, normal_cdf
from coldbrood.brooder.paths import Paths
from coldbrood.brooder.plan import NIGHT_MAX_S, NightPlan, night
from coldbrood.brooder.specs import OutdoorCurve
from coldbrood.watch.assess import outdoor_ahead
from coldbrood.watch.bands import band_ahead, end_of_band
from coldbrood.watch.digest import rests_on_timetable
from coldbrood.watch.events import Now
from coldbrood.watch.localtime import night_ahead, watch_of
from coldbrood.watch.sight import flock_of
from coldbrood.watch.site import Site
from coldbrood.watch.state import State
from coldbrood.watch.whereabouts import there_of

KEPT_S: Final = 600.0
LEVELS: Final = (0.1, 0.5, 0.9)
OUTDOOR_Z: Final = 1.2816  # 80 % of a normal spread, as the levels of the box
BISECTIONS: Final = 18
SHORTEST_NIGHT_S: Final = 1800.0


@dataclass(frozen=True, slots=True, eq=False)
class Outlook:
    """Ahead of `t_s`: times (n,) and at each the box's 10, 50 and 90 % points (3, n), outdoors the same,
    floor and ceiling (n,). `plan` is None where the box rests on the timetable."""

    t_s: float
    at_s: Array
    box_c: Array
    outdoor_c: Array
    floor_c: Array
    ceiling_c: Array
    plan: NightPlan | None


def quantiles(paths: Paths, levels: tuple[float, ...] = LEVELS) -> Array:
    """Points (levels, n) of the mixture of the samples' normals at each time, by bisection to 1 mK."""
    sd_c = np.maximum(paths.sd_c, LEAST_SD_C)
    low = np.min(paths.box_c - 5.0 * sd_c, axis=0)
    high = np.max(paths.box_c + 5.0 * sd_c, axis=0)
    found = []
    for level in levels:
        below, above = low.copy(), high.copy()
        for _ in range(BISECTIONS):
            mid = 0.5 * (below + above)
            under = paths.weights @ normal_cdf((mid - paths.box_c) / sd_c) < level
            below, above = np.where(under, mid, below), np.where(under, above, mid)
        found.append(0.5 * (below + above))
    return np.stack(found)


def look_ahead(site: Site, state: State, box: str, now: Now) -> Outlook:
    """Work it out."""
    seen, spec = state.sight.boxes[box], site.boxes[box]
    flock = flock_of(site, state.sight, box, now.wall_s)
    ahead = outdoor_ahead(site, state.sight, now)
    paths = box_estimate.forecast(seen.estimate, spec, now.t_s, ahead, flock)
    out_c, out_sd_c = ahead.at(paths.t_s)
    floor_c, ceiling_c = band_ahead(site, seen, flock.age_days, now.t_s, paths.t_s)
    return Outlook(
        t_s=now.t_s,
        at_s=paths.t_s,
        box_c=quantiles(paths),
        outdoor_c=np.stack([out_c - OUTDOOR_Z * out_sd_c, out_c, out_c + OUTDOOR_Z * out_sd_c]),
        floor_c=floor_c,
        ceiling_c=ceiling_c,
        plan=_plan(site, state, box, now, ahead),
    )


def _plan(site: Site, state: State, box: str, now: Now, ahead: OutdoorCurve) -> NightPlan | None:
    """The night that is on or the next; in the morning's last half hour there is none left to plan."""
    view, seen = state.views.get(box), state.sight.boxes[box]
    if view is None or rests_on_timetable(view):
        return None
    bedtime_s, rising_s = (watch_of(now, at) for at in night_ahead(site, now.wall_s))
    begin_s = max(now.t_s, bedtime_s)
    if rising_s - begin_s < SHORTEST_NIGHT_S:
        return None
    flock = flock_of(site, state.sight, box, now.wall_s)
    age = flock.age_days
    return night(
        seen.estimate,
        site.boxes[box],
        now.t_s,
        bedtime_s,
        min(rising_s, begin_s + NIGHT_MAX_S),
        ahead,
        flock,
        end_of_band(site, seen.look_ins, age, now.t_s, "floor_c"),
        site.keeper.risk,
        site.boxes[box].fill_c,
        end_of_band(site, seen.look_ins, age, now.t_s, "ceiling_c"),
        there_of(site, now),
    )


def marks(state: State, box: str) -> tuple[object, ...]:
    """What changes a plan at once when it changes."""
    view, seen = state.views.get(box), state.sight.boxes[box]
    known = None if view is None else (view.blind, view.sureness == "unknown")
    return (seen.refill_t_s, seen.look_ins, seen.chicks, known)


@dataclass(frozen=True, slots=True, eq=False)
class _Kept:
    outlook: Outlook
    marks: tuple[object, ...]


class Outlooks:
    """The newest outlook of each box, shared by the page's threads."""

    def __init__(self, work: Callable[[Site, State, str, Now], Outlook] = look_ahead) -> None:
        self._work = work
        self._lock = threading.Lock()
        self._kept: dict[str, _Kept] = {}
        self._renewing: set[str] = set()

    def of(self, site: Site, state: State, box: str, now: Now) -> Outlook:
        """The outlook of a box that is in use, at most some minutes old."""
        kept = self._kept.get(box)
        if kept is not None and kept.marks == marks(state, box) and now.t_s >= kept.outlook.t_s:
            if now.t_s - kept.outlook.t_s > KEPT_S:
                self._renew_behind(site, state, box, now)
            return kept.outlook
        with self._lock:
            kept = self._kept.get(box)
            if kept is not None and kept.marks == marks(state, box) and kept.outlook.t_s <= now.t_s:
                return kept.outlook
            return self._renew(site, state, box, now)

    def _renew(self, site: Site, state: State, box: str, now: Now) -> Outlook:
        outlook = self._work(site, state, box, now)
        self._kept[box] = _Kept(outlook, marks(state, box))
        return outlook

    def _renew_behind(self, site: Site, state: State, box: str, now: Now) -> None:
        with self._lock:
            if box in self._renewing:
                return
            self._renewing.add(box)

        def work() -> None:
            try:
                self._renew(site, state, box, now)
            finally:
                self._renewing.discard(box)

        threading.Thread(target=work, name=f"outlook-{box}", daemon=True).start()
