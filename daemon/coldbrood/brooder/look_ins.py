"""Chicks as instruments: what a look-in says of the floor and the ceiling, how far, and for how long.

The chicks outrank the thermometer, and a look-in taken with a reading says at which reading they felt so:

- Huddled at x: x is too cold for them. The floor rises above x, by one zone of comfort at least, at most by
  what the huddle itself gains, so that one look-in cannot ask what no jug can give. Of several the highest
  counts.
- Spread at y: y is the middle of their zone of comfort, so its lower end lies half a zone under y. Where
  that is under the floor, the floor is let down to it: by 1 C at most to day 3, since a newborn cannot make
  up what it lacks (V: Barott, Byerly, Pringle 1936), by one zone after that. Spread in a warm box says
  nothing of the floor: nobody lets tonight's floor down since the chicks lie spread in the sun at noon. With
  the reading not known it lets nothing down.
- Panting at z: z is too hot. The ceiling comes down under z.

A later look-in takes an earlier one back only where the two cannot both be right: spread or panting at a
reading that the huddle called too cold, huddled or spread at one that the panting called too hot. Where a
reading is not known, the later one counts. The need falls with age as the age's own line does, so a verdict
moves the line.

How long (own choice, a rule of the trade without a source): a huddle of the first week holds for 12 h, so
that one seen at bedtime holds to the morning, and fades to nothing at 36 h, over the next night: what was
too cold last night is about as cold tonight, and before day 4 to 6 they cannot keep their own warmth (V: AVI
2021). From day 14 it holds for 6 h and is gone at 24 h: by then they regulate in full (10 to 14 days, M),
sleep in a heap out of habit, and the next look-in tells more. Spread and panting hold for 6 h and are gone
at 24 h: one night.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True, slots=True)
class SeenLookIn:
    """What the keeper saw at `t_s` (watch time), with the box reading then if there was one."""

    kind: str
    t_s: float
    box_c: float | None = None


LOOK_IN_KINDS = ("huddled", "spread", "panting", "drinking", "loud", "apart", "weak")

HUDDLE_GAIN_C = 5.0
"""What a group in a box is warmer than the air about it: C, 36.6 less 31, lower critical temperature
of single chicks (V: PREF 2014) and of a group in a box (V: Xin and Harmon 1996), rounded down."""

COMFORT_WIDTH_C = 2.2
"""Width of a young chick's zone of comfort, 4 F (V: Czarick): one verdict moves an end by this much."""

HOUR_S = 3600.0
DAY_S = 86_400.0
_MARGIN_C = 0.5
_YOUNG_TO_DAY = 3.0
_YOUNG_LETS_DOWN_C = 1.0
_HOLDS_H = ((7.0, 12.0), (14.0, 6.0))
_GONE_H = ((7.0, 36.0), (14.0, 24.0))
_OTHER_HOLDS_S, _OTHER_GONE_S = 6 * HOUR_S, 24 * HOUR_S

Line = Callable[[float], float]
Seen = tuple[SeenLookIn, ...]


@dataclass(frozen=True, slots=True)
class Moved:
    """How far an end of the band is moved, in K, and why in plain words; nothing where it is not."""

    by_c: float = 0.0
    why: str = ""


@dataclass(frozen=True, slots=True)
class Moment:
    """When the band is asked for, and the age's own lines of floor and ceiling, from age in days to C."""

    age_days: float
    t_s: float
    floor_c: Line
    ceiling_c: Line

    def age_at(self, seen: SeenLookIn) -> float:
        """Age when this was seen."""
        return self.age_days - (self.t_s - seen.t_s) / DAY_S


def floor_moved(look_ins: Seen, moment: Moment) -> Moved:
    """How the look-ins move the floor."""
    raised_c = _most(look_ins, "huddled", moment, _huddle_raises_c)
    if raised_c > 0.0:
        return Moved(raised_c, "; floor raised, chicks seen huddled")
    let_down_c = _newest(look_ins, "spread", moment, _spread_lets_down_c)
    return Moved(-let_down_c, "; floor let down, chicks seen spread") if let_down_c > 0.0 else Moved()


def ceiling_moved(look_ins: Seen, moment: Moment) -> Moved:
    """How the look-ins move the ceiling."""
    lowered_c = _most(look_ins, "panting", moment, _panting_lowers_c)
    return Moved(-lowered_c, "; ceiling lowered, chicks seen panting") if lowered_c > 0.0 else Moved()


def _most(look_ins: Seen, kind: str, moment: Moment, amount: Callable[[SeenLookIn, Moment], float]) -> float:
    return max((amount(seen, moment) for seen in _standing(look_ins, kind, moment.t_s)), default=0.0)


def _newest(
    look_ins: Seen, kind: str, moment: Moment, amount: Callable[[SeenLookIn, Moment], float]
) -> float:
    seen = max(_standing(look_ins, kind, moment.t_s), key=lambda one: one.t_s, default=None)
    return 0.0 if seen is None else amount(seen, moment)


def _standing(look_ins: Seen, kind: str, t_s: float) -> Iterable[SeenLookIn]:
    """The look-ins of a kind up to `t_s` that no later one takes back."""
    past = [seen for seen in look_ins if seen.t_s <= t_s]
    return [
        seen
        for seen in past
        if seen.kind == kind and not any(later.t_s > seen.t_s and _takes_back(later, seen) for later in past)
    ]


def _takes_back(later: SeenLookIn, earlier: SeenLookIn) -> bool:
    """Whether two verdicts cannot both be right, so that the later one counts."""
    colder, warmer = {
        "huddled": ("spread", "panting"),
        "spread": ("huddled", "panting"),
        "panting": ("huddled", "spread"),
    }[earlier.kind]
    if later.kind not in (colder, warmer):
        return False
    if earlier.kind == "spread" or later.box_c is None or earlier.box_c is None:
        return True
    if earlier.kind == "huddled":
        return later.box_c <= earlier.box_c + _MARGIN_C
    return later.box_c >= earlier.box_c - _MARGIN_C


def _faded(since_s: float, holds_s: float, gone_s: float) -> float:
    """Whole while it holds, then straight down to nothing."""
    return min(1.0, max(0.0, (gone_s - since_s) / (gone_s - holds_s)))


def _by_age(age_days: float, table: tuple[tuple[float, float], ...]) -> float:
    days, values = zip(*table, strict=True)
    return float(np.interp(age_days, days, values))


def huddle_weight(age_days: float, since_s: float) -> float:
    """How much of a huddle seen at this age still counts this long after."""
    holds_s, gone_s = (HOUR_S * _by_age(age_days, table) for table in (_HOLDS_H, _GONE_H))
    return _faded(since_s, holds_s, gone_s)


def _huddle_raises_c(seen: SeenLookIn, moment: Moment) -> float:
    age = moment.age_at(seen)
    short_c = -HUDDLE_GAIN_C if seen.box_c is None else seen.box_c + _MARGIN_C - moment.floor_c(age)
    raise_c = min(HUDDLE_GAIN_C, max(COMFORT_WIDTH_C, short_c))
    return raise_c * huddle_weight(age, moment.t_s - seen.t_s)


def _spread_lets_down_c(seen: SeenLookIn, moment: Moment) -> float:
    """To half a zone under the reading they were well at, where that lies under the floor."""
    if seen.box_c is None:
        return 0.0
    age = moment.age_at(seen)
    most_c = _YOUNG_LETS_DOWN_C if age < _YOUNG_TO_DAY else COMFORT_WIDTH_C
    let_down_c = moment.floor_c(age) - (seen.box_c - 0.5 * COMFORT_WIDTH_C)
    faded = _faded(moment.t_s - seen.t_s, _OTHER_HOLDS_S, _OTHER_GONE_S)
    return min(most_c, max(0.0, let_down_c)) * faded


def _panting_lowers_c(seen: SeenLookIn, moment: Moment) -> float:
    age = moment.age_at(seen)
    over_c = -HUDDLE_GAIN_C if seen.box_c is None else moment.ceiling_c(age) - seen.box_c + _MARGIN_C
    lower_c = min(HUDDLE_GAIN_C, max(COMFORT_WIDTH_C, over_c))
    return lower_c * _faded(moment.t_s - seen.t_s, _OTHER_HOLDS_S, _OTHER_GONE_S)


FOLLOWED = ("weak", "loud", "apart")
_FOLLOW_AFTER_S = 0.5 * HOUR_S
_FOLLOW_FOR_S = 48 * HOUR_S


def to_follow_up(look_ins: Seen, t_s: float, loss_t_s: float | None = None) -> str:
    """Of a chick seen weak, loud or apart: what to ask at the next look-in, "" when there is nothing to ask.

    Asked from half an hour after for two days, until any later look-in or a loss answers it: whoever looked
    in again has seen that chick. Half an hour since the same visit may be told in several taps; two days as
    a chick that is not dead or well by then is a case for a vet (own choice, no source).
    """
    past = [seen for seen in look_ins if seen.t_s <= t_s]
    open_ = [seen for seen in past if seen.kind in FOLLOWED and _is_open(seen, past, t_s, loss_t_s)]
    kinds = [kind for kind in FOLLOWED if any(seen.kind == kind for seen in open_)]
    return " and ".join(f"the {'one apart' if kind == 'apart' else f'{kind} one'}" for kind in kinds)


def _is_open(seen: SeenLookIn, past: list[SeenLookIn], t_s: float, loss_t_s: float | None) -> bool:
    if not _FOLLOW_AFTER_S <= t_s - seen.t_s <= _FOLLOW_FOR_S:
        return False
    answered = loss_t_s is not None and loss_t_s > seen.t_s
    return not answered and not any(later.t_s - seen.t_s >= _FOLLOW_AFTER_S for later in past)


def nights_without_huddle(look_ins: Seen, t_s: float, since_s: float | None) -> float:
    """Nights (days of 24 h) since the last huddle, or since the chicks have been watched at all.

    Silence is no proof: it counts only as far back as something of them was seen (`since_s`).
    """
    huddles = [seen.t_s for seen in look_ins if seen.kind == "huddled" and seen.t_s <= t_s]
    last_s = max(huddles, default=since_s)
    return 0.0 if last_s is None else (t_s - last_s) / DAY_S
