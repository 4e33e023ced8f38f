"""The rounds of the day: bedtime, morning, dusk, and what is said only once."""

from collections.abc import Mapping
from dataclasses import replace

from coldbrood.brooder.estimate import Ask
from coldbrood.brooder.plan import NIGHT_MAX_S, NightPlan, night
from coldbrood.watch import alarms as machine
from coldbrood.watch import chicks
from coldbrood.watch.assess import BoxView, outdoor_ahead
from coldbrood.watch.bands import end_of_band
from coldbrood.watch.conditions import CONDITIONS
from coldbrood.watch.digest import (
    NightForecast,
    bedtime_words,
    dusk_words,
    morning_words,
    rests_on_timetable,
    waiting_line,
)
from coldbrood.watch.events import History, Now
from coldbrood.watch.localtime import (
    age_days,
    local,
    next_wall_s,
    night_ahead,
    night_sun,
    watch_of,
)
from coldbrood.watch.nightline import line_of
from coldbrood.watch.sight import flock_of
from coldbrood.watch.site import Site
from coldbrood.watch.state import State, asking
from coldbrood.watch.tell import digest, view_of
from coldbrood.watch.wellness import digest_lines
from coldbrood.watch.whereabouts import there_of
from coldbrood.watch.wording import Words, words

DUSK_BEFORE_BED_S = 1800.0
NIGHT_S = 10 * 3600.0
SHORTEST_NIGHT_S = 1800.0
FIRST_THING_S = 5400.0
JUST_FILLED_S = 2700.0


def bedtime(site: Site, state: State, now: Now) -> tuple[State, tuple[History, ...]]:
    """Tonight's plan, sent once, and kept so that the morning and the report can say what came of it."""
    plans = night_plans(site, state, now)
    spoken = bedtime_words(site, now, state.views, plans)
    asked = [*chicks.low_line(site, state, now), *chicks.follow_ups(state, now)]
    spoken = Words(spoken.title, " ".join([*digest_lines(site, state, now), spoken.body, *asked]))
    forecasts = tuple(_forecast(state.views[box], plan) for box, plan in plans.items())
    ledger = replace(state.ledger, forecasts=forecasts, night_t_s=now.t_s, wakings=0)
    state = asking(replace(state, ledger=ledger), _asks(site, plans, now))
    return digest(site, state, f"bedtime/{_date(site, now)}", spoken, now), _lines(site, state, plans, now)


def _lines(site: Site, state: State, plans: Mapping[str, NightPlan], now: Now) -> tuple[History, ...]:
    ahead, rising_s = outdoor_ahead(site, state.sight, now), _rising_s(site, now)
    views = state.views
    return tuple(
        line_of(box, plan, not rests_on_timetable(views[box]), views[box].band.floor_c, ahead, rising_s, now)
        for box, plan in plans.items()
    )


def _rising_s(site: Site, now: Now) -> float:
    """Watch time at which the night that begins now ends."""
    rising_s = watch_of(now, next_wall_s(site, now.wall_s, site.keeper.rising_s))
    return min(max(rising_s, now.t_s + SHORTEST_NIGHT_S), now.t_s + NIGHT_MAX_S)


def night_plans(site: Site, state: State, now: Now) -> Mapping[str, NightPlan]:
    """The plan of each box for the night that begins now."""
    ahead = outdoor_ahead(site, state.sight, now)
    rising_s = _rising_s(site, now)
    age = age_days(site, now.wall_s)
    return {
        name: night(
            seen.estimate,
            site.boxes[name],
            now.t_s,
            now.t_s,
            rising_s,
            ahead,
            flock_of(site, state.sight, name, now.wall_s),
            end_of_band(site, seen.look_ins, age, now.t_s, "floor_c"),
            site.keeper.risk,
            site.boxes[name].fill_c,
            end_of_band(site, seen.look_ins, age, now.t_s, "ceiling_c"),
            there_of(site, now),
        )
        for name, seen in state.sight.boxes.items()
    }


def _asks(site: Site, plans: Mapping[str, NightPlan], now: Now) -> Mapping[str, Ask]:
    """The fills that the plans ask for at bedtime."""
    filled = {box: plan.bedtime_fill_c for box, plan in plans.items() if plan.fill_at_bedtime}
    return {box: Ask(now.t_s, c if c < site.boxes[box].fill_c else None) for box, c in filled.items()}


def _forecast(view: BoxView, plan: NightPlan) -> NightForecast:
    return NightForecast(view.box, plan.low_c, len(plan.wake_s), known=not rests_on_timetable(view))


def morning(site: Site, state: State, now: Now) -> State:
    """What came of the night, and what made no sound in it."""
    state, waiting = _waiting(site, state, now)
    waiting = [*digest_lines(site, state, now), *waiting]
    state, advice = chicks.advice_lines(site, state, now)
    advice = [*chicks.follow_ups(state, now), *advice]
    since = state.ledger.night_t_s
    night_s = NIGHT_S if since is None else min(now.t_s - since, 24 * 3600.0)
    ledger = state.ledger
    first = [box for box, view in state.views.items() if _first_thing(view, now.t_s)]
    spoken = morning_words(
        site,
        now,
        state.sight.boxes,
        ledger.forecasts,
        night_s,
        ledger.wakings,
        waiting,
        advice,
        first,
    )
    state = replace(state, ledger=replace(state.ledger, forecasts=(), night_t_s=None, wakings=0))
    state = asking(state, {box: Ask(now.t_s) for box in first})
    return digest(site, state, f"morning/{_date(site, now)}", spoken, now)


def _first_thing(view: BoxView, t_s: float) -> bool:
    """Whether a box wants a refill so soon that who rises now may as well see to it first."""
    due_s, filled_s = view.refill_by_s, view.refill_t_s
    just_filled = filled_s is not None and t_s - filled_s < JUST_FILLED_S
    return due_s is not None and due_s - t_s < FIRST_THING_S and not just_filled


def _waiting(site: Site, state: State, now: Now) -> tuple[State, list[str]]:
    """Alarms that may not wake and were not told yet: told now, in one line each."""
    lines, after = [], state.alarms
    for key, alarm in state.alarms.items():
        if alarm.told or alarm.raises == 0 or CONDITIONS[alarm.condition].wakes:
            continue
        if alarm.state in ("unacknowledged", "returned-unacknowledged"):
            title = words(site, now, alarm, view_of(site, state, alarm.subject)).title
            lines.append(waiting_line(alarm, title))
            after = machine.told(after, key, now.t_s)
    return replace(state, alarms=after), lines


def dusk(site: Site, state: State, now: Now) -> State:
    """With more than one box: a count of heads at sunset, or half an hour before bed if that is earlier."""
    if len(site.boxes) < 2 or state.ledger.dusk_date == _date(site, now):
        return state
    bedtime_wall_s, _ = night_ahead(site, now.wall_s)
    sunset_wall_s, _ = night_sun(site, now.wall_s)
    latest_s = bedtime_wall_s - DUSK_BEFORE_BED_S
    due_s = latest_s if sunset_wall_s is None else min(sunset_wall_s, latest_s)
    if not due_s <= now.wall_s < bedtime_wall_s:
        return state
    state = replace(state, ledger=replace(state.ledger, dusk_date=_date(site, now)))
    return digest(site, state, f"dusk/{_date(site, now)}", dusk_words(state.sight.boxes), now)


def set_aside(site: Site, state: State, where: str, newer: bool, now: Now) -> State:
    """The journal could not be used: said once, with where the old one lies."""
    spoken = Words(
        "The old journal is of a newer coldbrood" if newer else "The old journal was damaged",
        f"It is kept at {where}. A new one is in use; what could not be read is learned anew.",
    )
    return digest(site, state, f"journal-set-aside/{_date(site, now)}", spoken, now)


def _date(site: Site, now: Now) -> str:
    return local(site, now.wall_s).date().isoformat()
