"""Messages that ask for no act at once: tonight's plan, the morning's account, the count at dusk."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from coldbrood.brooder.band import band
from coldbrood.brooder.plan import NightPlan
from coldbrood.watch.alarms import Alarm
from coldbrood.watch.assess import BoxView
from coldbrood.watch.events import Now
from coldbrood.watch.localtime import age_days, clock_text, degrees_text, next_wall_s, wall_of, watch_of
from coldbrood.watch.sight import BoxSight
from coldbrood.watch.site import Site
from coldbrood.watch.wording import SCALD, Words, box_title, cooler_water, range_text, sentence

WORTH_SAYING_S = 600.0


@dataclass(frozen=True, slots=True)
class NightForecast:
    """What bedtime said of one box, kept for the morning: lowest air at 10, 50, 90 %, wakings planned."""

    box: str
    low_c: tuple[float, float, float]
    wakings: int
    known: bool


def bedtime_words(
    site: Site, now: Now, views: Mapping[str, BoxView], plans: Mapping[str, NightPlan]
) -> Words:
    """Must I get up tonight, and when? One line a box, the box that asks most in the title."""
    several = len(plans) > 1
    lines = [_night_line(site, now, views[box], plan, several) for box, plan in plans.items()]
    worst = max(plans, key=lambda box: _demand(views[box], plans[box]))
    title = _night_title(site, now, views[worst], plans[worst])
    cooler = [_cooler_line(site, views[box], plan, several) for box, plan in plans.items()]
    lines += [line for line in cooler if line]
    scald = [SCALD] if any(plan.fill_at_bedtime for plan in plans.values()) else []
    return Words(title, " ".join([*lines, *scald]))


def _cooler_line(site: Site, view: BoxView, plan: NightPlan, several: bool) -> str:
    """How hot the water should be, where the usual heat would be too much; "" where it would not."""
    if not plan.fill_at_bedtime or plan.bedtime_fill_c >= site.boxes[view.box].fill_c:
        return ""
    whose = f" for {box_title(view.box)}" if several else ""
    return cooler_water(site.keeper, plan.bedtime_fill_c, whose)


def rests_on_timetable(view: BoxView) -> bool:
    """Whether no forecast of this box can carry a night's sleep yet."""
    return view.blind or view.sureness == "unknown"


def _demand(view: BoxView, plan: NightPlan) -> tuple[int, int, bool]:
    return (int(rests_on_timetable(view)), len(plan.wake_s), plan.fill_at_bedtime)


def _night_title(site: Site, now: Now, view: BoxView, plan: NightPlan) -> str:
    name = box_title(view.box)
    if rests_on_timetable(view):
        return f"Tonight by the timetable: {name}"
    return f"{_night_acts(site, now, plan)}: {name}"


def _night_acts(site: Site, now: Now, plan: NightPlan) -> str:
    """What the plan asks of the keeper."""
    if plan.wake_s:
        first = "One fill now" if plan.fill_at_bedtime else "No fill now"
        times = " and ".join(clock_text(site, wall_of(now, at)) for at in plan.wake_s)
        return f"{first}, up at {times}"
    return "One fill now, then sleep" if plan.fill_at_bedtime else "Sleep through"


def _night_line(site: Site, now: Now, view: BoxView, plan: NightPlan, several: bool) -> str:
    """One box in the body. With several the title names one only, so each line says what its box asks."""
    name, keeper = sentence(box_title(view.box)), site.keeper
    if rests_on_timetable(view):
        why = "its probe is silent" if view.blind else "not known yet"
        due = "now" if view.timetable_due_s is None else clock_text(site, wall_of(now, view.timetable_due_s))
        if view.timetable.hours is None:
            return f"{name}: {why}; the timetable asks for no refill."
        return f"{name}: {why}; next refill {due}, then every {view.timetable.hours:g} h."
    low, middle, high = (degrees_text(keeper, celsius) for celsius in plan.low_c)
    floor = degrees_text(keeper, view.band.floor_c)
    lowest = f"lowest tonight about {middle} ({low} to {high}), floor {floor}."
    acts = _night_acts(site, now, plan)
    said = [f"{name}: {acts[:1].lower()}{acts[1:]}. {sentence(lowest)}" if several else f"{name}: {lowest}"]
    if plan.wake_s:
        held = plan.sleep_through
        when = range_text(site, now, held.early_s, held.median_s, held.late_s)
        said.append(f"Sleeping through: under the floor {when}.")
        if plan.wake_window_s is not None:
            early, late = (clock_text(site, wall_of(now, at)) for at in plan.wake_window_s)
            said.append(f"Any time from {early} to {late} will do.")
    elif _may_go_under(site, now, plan):
        held = plan.holds_until
        when = range_text(site, now, held.early_s, held.median_s, held.late_s)
        said.append(f"It may go a little under its floor, {when}: not worth a waking.")
    return " ".join(said)


def _may_go_under(site: Site, now: Now, plan: NightPlan) -> bool:
    """Whether the median forecast of the plan goes under the floor before the keeper rises."""
    crosses_s = plan.holds_until.median_s
    return crosses_s is not None and crosses_s < watch_of(
        now, next_wall_s(site, now.wall_s, site.keeper.rising_s)
    )


def morning_words(
    site: Site,
    now: Now,
    boxes: Mapping[str, BoxSight],
    forecasts: Sequence[NightForecast],
    night_s: float,
    wakings: int,
    waiting: Sequence[str],
    advice: Sequence[str],
    fills: Sequence[str] = (),
) -> Words:
    """What was forecast, what came, and what waited for the morning; `fills` are boxes to refill first."""
    told = {forecast.box: forecast for forecast in forecasts}
    lines = [
        _morning_line(site, now, name, box, told.get(name), night_s)
        for name, box in boxes.items()
        if any(at >= now.t_s - night_s for at, _ in box.track)
    ]
    if not lines:
        lines = ["No box was seen last night."]
    woken = "not at all" if wakings == 0 else "once" if wakings == 1 else f"{wakings} times"
    if not fills:
        return Words(f"Morning: woken {woken}", " ".join([*lines, *waiting, *advice]))
    title = f"Fill now, first thing: {', '.join(box_title(box) for box in fills)}"
    return Words(title, " ".join([f"Woken {woken}.", *lines, *waiting, *advice, SCALD]))


def _morning_line(
    site: Site, now: Now, name: str, box: BoxSight, forecast: NightForecast | None, night_s: float
) -> str:
    keeper = site.keeper
    low_t_s, low_c = min(
        ((at, box_c) for at, box_c in box.track if at >= now.t_s - night_s), key=lambda point: point[1]
    )
    came = f"{degrees_text(keeper, low_c)} at {clock_text(site, wall_of(now, low_t_s))}"
    said = f"{sentence(box_title(name))}: lowest {came}{_time_under(site, now, box, night_s)}"
    if forecast is None or not forecast.known:
        return f"{said}."
    low, middle, high = (degrees_text(keeper, celsius) for celsius in forecast.low_c)
    return f"{said}; forecast was {middle} ({low} to {high})."


def _time_under(site: Site, now: Now, box: BoxSight, night_s: float) -> str:
    """How long of the night the box stood under its floor, by its five-minute track; nothing if never."""
    points = [point for point in (*box.track, (now.t_s, math.inf)) if point[0] >= now.t_s - night_s]
    under_s = sum(
        after - at for (at, box_c), (after, _) in pairwise(points) if box_c < _floor_at(site, now, box, at)
    )
    return f", under its floor for {under_s / 60:.0f} min" if under_s >= WORTH_SAYING_S else ""


def _floor_at(site: Site, now: Now, box: BoxSight, t_s: float) -> float:
    age = age_days(site, wall_of(now, t_s))
    return band(age, box.look_ins, t_s, site.batch.floors).floor_c


def dusk_words(boxes: Mapping[str, BoxSight]) -> Words:
    """With more than one box chicks pile into one: count each at dusk (common practice, no source)."""
    counts = ", ".join(f"{box_title(name)} {box.chicks}" for name, box in boxes.items())
    return Words(
        "Head count: each box at dusk",
        f"They pile into one box. Should be: {counts}. Even them out before dark.",
    )


def waiting_line(alarm: Alarm, title: str) -> str:
    """One line of the morning digest for an alarm that made no sound in the night."""
    return f"{title}." if alarm.active else f"{title} (over by now)."
