"""Whether a refill is to be expected: asked for, near the floor, or at the keeper's own hours."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from statistics import median

from coldbrood.brooder.band import Band
from coldbrood.brooder.bends import Prior
from coldbrood.brooder.refills import (
    ANSWERED_WITHIN_S,
    ASKED,
    ASKED_AT_NIGHT,
    LIKELY,
    LIKELY_AT_NIGHT,
    TOO_HOT,
    UNASKED,
    UNASKED_AT_NIGHT,
    Ask,
)
from coldbrood.watch.localtime import is_night, second_of_day
from coldbrood.watch.site import Site

DAY_S = 86_400.0
# A lid lifted within so long of a box so near its floor, or of the keeper's own hours, is a refill more often
# than not (own choice): a nudge comes half an hour before the floor.
NEAR_S = 2400.0
NEAR_POINTS = 8
NEAR_C = 1.5
OWN_HOUR_S = 2700.0
SAME_ONE_S = 900.0  # a refill seen so shortly before its ask is the answer to it: readings are minutes apart


@dataclass(frozen=True, slots=True)
class BoxAsk:
    """A fill asked for in a box."""

    box: str
    ask: Ask


def last_ask(asks: Iterable[BoxAsk], box: str, t_s: float) -> Ask | None:
    """The last fill that was asked for in a box by a time."""
    some = [one.ask for one in asks if one.box == box and one.ask.t_s <= t_s]
    return max(some, key=lambda ask: ask.t_s, default=None)


def is_open(ask: Ask | None, refill_t_s: float | None, t_s: float, *, in_doubt: bool = False) -> bool:
    """Whether a fill was asked for lately and none has come since, or, `in_doubt`, perhaps none."""
    if ask is None or t_s - ask.t_s >= ANSWERED_WITHIN_S:
        return False
    return in_doubt or refill_t_s is None or refill_t_s < ask.t_s - SAME_ONE_S


def prior_of_refill(
    site: Site, track: Sequence[tuple[float, float]], around: Band, asked: bool, t_s: float, wall_s: float
) -> Prior:
    """How far a refill is to be expected.

    `track` are points (t_s, box_c), `around` is the band that the box should be in; `asked` says that a
    refill was asked for.
    """
    night = is_night(site, wall_s)
    lately = [box_c for at, box_c in track[-NEAR_POINTS:] if t_s - at < NEAR_S]
    if lately and median(lately) > around.ceiling_c:
        return TOO_HOT
    if asked:
        return ASKED_AT_NIGHT if night else ASKED
    second, keeper = second_of_day(site, wall_s), site.keeper
    own = any((second - hour) % DAY_S < OWN_HOUR_S for hour in (keeper.bedtime_s, keeper.rising_s))
    if own or (lately and median(lately) < around.floor_c + NEAR_C):
        return LIKELY_AT_NIGHT if night else LIKELY
    return UNASKED_AT_NIGHT if night else UNASKED
