"""Whether the probe of a box and the outdoor one were swapped: the box would be colder than the air round it.

Chicks and jug give heat and the sun gives none to a box that has stood through two hours of dark, so by the
balance of energy its air is then not under that outside: two full hours of it, each with a mean at least 3 K
under, mean swapped probes (or water filled in cold, which is as well worth a look). By day an outdoor probe
in the sun can read 10 K too high (common practice, no source) and a box lags behind a warm morning, so there
8 K are asked for and the words name the sun too. The figures are our own choice, no source: probes are good
to half a degree, a box with sixteen chicks stands some 15 K over the outside.

Both means are of the same hours. Nothing is judged of a box not seen, or of hours without both probes.
"""

from collections.abc import Iterator
from typing import Final

from coldbrood.watch.alarms import Verdict
from coldbrood.watch.assess import BoxView
from coldbrood.watch.events import Now
from coldbrood.watch.localtime import night_sun
from coldbrood.watch.sight import Sight
from coldbrood.watch.site import Site

CONDITION: Final = "probes-swapped"
HOUR_S: Final = 3600.0
HOURS: Final = 2
DARK_K: Final = 3.0
DAY_K: Final = 8.0
CLEAR_K: Final = 1.0
POINTS_LEAST: Final = 3
OLD_S: Final = 1.5 * HOUR_S  # the last full hour ended no longer ago than this
AFTER_SUNSET_S: Final = 2 * HOUR_S  # the night trend begins here, brooder/habit.py


def swapped(site: Site, sight: Sight, view: BoxView, now: Now) -> Verdict:
    """One look at one box. No sample while either probe is silent or two full hours of both are not there."""
    pairs = tuple(_hours(sight, view.box))[-HOURS:]
    if view.blind or len(pairs) < HOURS or now.t_s - (pairs[-1][0] + HOUR_S) > OLD_S:
        return Verdict(CONDITION, view.box, holds=None, clear=False, reason="")
    under_k = min(outdoor_c - box_c for _, outdoor_c, box_c in pairs)
    dark = _is_dark(site, now, now.t_s - pairs[0][0])
    hot = dark and pairs[-1][1] >= view.band.ceiling_c
    return Verdict(
        CONDITION,
        view.box,
        holds=under_k >= (DARK_K if dark else DAY_K),
        clear=pairs[-1][1] - pairs[-1][2] <= CLEAR_K,
        reason="too-hot-if-swapped" if hot else "colder-by-night" if dark else "far-colder-by-day",
        detail=f"{under_k:.0f}",
    )


def _hours(sight: Sight, box: str) -> Iterator[tuple[float, float, float]]:
    """Start, outdoor mean and box mean of the newest full hours that have both, oldest first."""
    track, habit, newest = sight.boxes[box].track, sight.habit, HOURS + 1
    for start_t_s, outdoor_c in zip(habit.hour_t_s[-newest:], habit.hour_c[-newest:], strict=True):
        seen = [box_c for t_s, box_c in track if start_t_s <= t_s < start_t_s + HOUR_S]
        if len(seen) >= POINTS_LEAST:
            yield start_t_s, outdoor_c, sum(seen) / len(seen)


def _is_dark(site: Site, now: Now, since_s: float) -> bool:
    """Whether the sun has been down, and the evening over, for all of the last `since_s`."""
    sunset_s, sunrise_s = night_sun(site, now.wall_s)
    if sunset_s is None or sunrise_s is None:
        return False
    return sunset_s + AFTER_SUNSET_S <= now.wall_s - since_s and now.wall_s <= sunrise_s
