"""What chicks and box on paper give to tell: milestones, who to ask after, a box too weak for tonight."""

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from coldbrood.brooder import outdoor
from coldbrood.brooder.advice import advice
from coldbrood.brooder.band import band
from coldbrood.brooder.estimate import bank_at
from coldbrood.brooder.look_ins import nights_without_huddle
from coldbrood.brooder.milestones import BoxFacts, Weather
from coldbrood.brooder.sizing import Help, Sizing, alone_c, helps, median_or_day_h, size, too_weak
from coldbrood.brooder.specs import OutdoorCurve
from coldbrood.brooder.timetable import interval
from coldbrood.brooder.typed_low import trust
from coldbrood.watch.assess import outdoor_ahead
from coldbrood.watch.events import Now
from coldbrood.watch.localtime import (
    DAY_S,
    age_days,
    degrees_text,
    difference_text,
    local,
    night_ahead,
    watch_of,
)
from coldbrood.watch.sight import BoxSight, flock_of, seen_huddled
from coldbrood.watch.site import Site
from coldbrood.watch.state import State
from coldbrood.watch.tell import asked_after, digest, is_quiet
from coldbrood.watch.wording import Words, box_title, sentence

COLD_END = 1.2816
"""Deviations from the middle of a normal to its 10 % end."""
LOOKED_LATELY_S = 48 * 3600.0
OUTDOOR_WAIT_S = 1800.0
SHOWN_HELPS = 3


def low_ahead(site: Site, now: Now, ahead: OutdoorCurve) -> tuple[float, float]:
    """Mean and deviation of the lowest outdoor air of the night that is on, or the next one."""
    begin_s, end_s = (watch_of(now, at) for at in night_ahead(site, now.wall_s))
    tonight = np.flatnonzero((ahead.t_s >= begin_s) & (ahead.t_s <= end_s + 3600.0))
    at = int(tonight[np.argmin(ahead.mean_c[tonight])]) if len(tonight) else -1
    return float(ahead.mean_c[at]), float(ahead.sd_c[at])


def advice_lines(site: Site, state: State, now: Now) -> tuple[State, list[str]]:
    """Milestones and habits of the trade. Said once, and again only if it was otherwise in between."""
    counts = {name: box.chicks for name, box in state.sight.boxes.items()}
    found = advice(age_days(site, now.wall_s), counts, *facts(site, state, now))
    fresh = [one.text for one in found if one.key not in state.ledger.advice_keys]
    ledger = replace(state.ledger, advice_keys=tuple(one.key for one in found))
    return replace(state, ledger=ledger), fresh


def facts(site: Site, state: State, now: Now) -> tuple[Weather, Mapping[str, BoxFacts]]:
    """Weather behind and ahead, and of each box what its look-ins and its readings say."""
    ahead, habit = outdoor_ahead(site, state.sight, now), state.sight.habit
    pairs = [outdoor.day_night(habit, now.t_s - days * DAY_S) for days in (0, 1)]
    highs, lows = (pairs[0][0], pairs[1][0]), (pairs[0][1], pairs[1][1])
    if outdoor.last(habit) is None:
        weather = Weather(highs, lows)
        return weather, {name: _facts(site, state, name, now, None) for name in state.sight.boxes}
    low_c, sd_c = low_ahead(site, now, ahead)
    weather = Weather(highs, lows, low_c, low_c - COLD_END * sd_c)
    return weather, {name: _facts(site, state, name, now, ahead) for name in state.sight.boxes}


def _facts(site: Site, state: State, name: str, now: Now, ahead: OutdoorCurve | None) -> BoxFacts:
    box, view = state.sight.boxes[name], state.views.get(name)
    age = age_days(site, now.wall_s)
    floor_c = band(age, box.look_ins, now.t_s, site.batch.floors).floor_c
    alone = None
    if ahead is not None and view is not None and view.sureness != "unknown" and not view.blind:
        flock = flock_of(site, state.sight, name, now.wall_s)
        bank = bank_at(box.estimate, site.boxes[name], now.t_s, ahead, flock)
        alone = alone_c(bank, flock, *low_ahead(site, now, ahead))
    return BoxFacts(_quiet_nights(box, now.t_s), floor_c, seen_huddled(box, now.t_s), alone)


def _quiet_nights(box: BoxSight, t_s: float) -> float:
    """Nights without a huddle as far as look-ins show it: from the first one kept, with one in two days."""
    if not box.look_ins or t_s - box.look_ins[-1].t_s > LOOKED_LATELY_S:
        return 0.0
    return nights_without_huddle(box.look_ins, t_s, box.look_ins[0].t_s)


def low_line(site: Site, state: State, now: Now) -> list[str]:
    """What became of the low that the keeper typed for tonight; nothing if none was."""
    lows, keeper = state.sight.lows, site.keeper
    if lows.tonight is None or now.t_s > lows.tonight.until_t_s:
        return []
    low_c, _ = low_ahead(site, now, outdoor_ahead(site, state.sight, now))
    typed, counted = degrees_text(keeper, lows.tonight.low_c), degrees_text(keeper, low_c)
    nights = len(lows.errors_c)
    bias_c, _ = trust(lows)
    off = (
        f", since {nights} such were {difference_text(keeper, abs(bias_c))} too {_way(bias_c)}"
        if nights
        else ""
    )
    return [f"You typed a low of {typed}; with my own readings I count on {counted}{off}."]


def _way(bias_c: float) -> str:
    return "high" if bias_c > 0.0 else "low"


def follow_ups(state: State, now: Now) -> list[str]:
    """For each box the question after a chick seen weak, loud or apart."""
    asked = ((name, asked_after(state, name, now)) for name in state.sight.boxes)
    return [f"{sentence(box_title(name))}: {words}" for name, words in asked if words]


def weak_boxes(site: Site, state: State, now: Now) -> State:
    """On day 0, once: a box that on paper is too weak for its first night, and what helps most."""
    due = [name for name in state.sight.boxes if name not in state.ledger.sized]
    if not due or not _is_day_0(site, now) or is_quiet(site, now) or _outdoor_may_come(state, now):
        return state
    state = replace(state, ledger=replace(state.ledger, sized=(*state.ledger.sized, *due)))
    low_c, _ = low_ahead(site, now, outdoor_ahead(site, state.sight, now))
    for name in due:
        spoken = weak_words(site, state, name, now, low_c)
        if spoken is not None:
            state = digest(site, state, f"sizing-{name}/{local(site, now.wall_s).date()}", spoken, now)
    return state


def _is_day_0(site: Site, now: Now) -> bool:
    """Whether it is the day of arrival: after that the readings tell more than paper."""
    return local(site, now.wall_s).date() == site.batch.arrival


def _outdoor_may_come(state: State, now: Now) -> bool:
    nothing = outdoor.last(state.sight.habit) is None
    return nothing and now.t_s - state.health.started_t_s < OUTDOOR_WAIT_S


def weak_words(site: Site, state: State, name: str, now: Now, low_c: float) -> Words | None:
    """What to say of a box for a night with this low; nothing if it holds the timetable's hours.

    It stands on paper, or as it was learned with the batches before.
    """
    spec, flock = site.boxes[name], flock_of(site, state.sight, name, now.wall_s)
    bank = state.sight.boxes[name].estimate.bank
    floor_c = band(flock.age_days, floors=site.batch.floors).floor_c
    hours = interval(flock.age_days, None, None).hours
    if hours is None:
        return None
    held = size(spec, flock, low_c, floor_c, bank)
    if not too_weak(held, hours):
        return None
    at = f"at {degrees_text(site.keeper, low_c)} outside"
    best = [_help(one) for one in helps(spec, flock, low_c, floor_c, bank) if one.gain_h > 0.0][:SHOWN_HELPS]
    body = (
        f"By what is known of it a fill holds {_hours(held)} over the floor of "
        f"{degrees_text(site.keeper, floor_c)} {at}; the timetable asks for {hours:g} h, and some to spare. "
        f"{_best(best)}The readings will tell; until then fill by what the chicks show. Never seal the box: "
        "they must breathe."
    )
    return Words(f"Too weak for tonight: {box_title(name)}", body)


def _best(best: list[str]) -> str:
    return f"What helps most: {'; '.join(best)}. " if best else "No one change is enough: add two. "


def _help(one: Help) -> str:
    return f"{one.change}, {_hours(one.after)}"


def _hours(held: Sizing) -> str:
    late = "24 or more" if held.late_h is None else f"{held.late_h:.0f}"
    middle_h = median_or_day_h(held)
    about = f"about {middle_h:.1f} h" if middle_h > 0.0 else "less than 1 h"
    return f"{about} ({held.early_h or 0.0:.0f} to {late})"
