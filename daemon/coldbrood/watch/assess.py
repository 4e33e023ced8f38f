"""One look at one box: what it is, what it will be, when a refill is due, and why."""

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass

import numpy as np

from coldbrood.brooder import estimate as box_estimate
from coldbrood.brooder import outdoor, typed_low
from coldbrood.brooder.band import Band, band
from coldbrood.brooder.bank import Array
from coldbrood.brooder.cooler import night_fill_c
from coldbrood.brooder.hold import Hold, cold_kh, hold
from coldbrood.brooder.paths import Paths
from coldbrood.brooder.plan import is_better_later, waking_cost_kh
from coldbrood.brooder.specs import OutdoorCurve
from coldbrood.brooder.sureness import sureness as sureness_of
from coldbrood.brooder.timetable import Interval, interval
from coldbrood.brooder.waking import heat_is_worth_waking, is_worth_waking
from coldbrood.watch.bands import band_ahead, end_of_band
from coldbrood.watch.events import Now
from coldbrood.watch.localtime import age_days, is_night, next_wall_s, night_sun, wall_of, watch_of
from coldbrood.watch.sight import BoxSight, ProbeSight, Sight, drive_at, flock_of, seen_huddled, trend_c_per_h
from coldbrood.watch.site import ProbeSpec, Site
from coldbrood.watch.whereabouts import last_at_hand_wall_s, there_of

HORIZON_S = 86_400.0
LOOK_LEAST_S = 60.0
LOOK_MOST_S = 900.0
LOOKS_LEFT = 12.0
NEAR_S = 3600.0
NEAR_C = 1.0
BEFORE_BED_S = 7200.0
BEFORE_BED_KH = 0.5
GETTING_UP_S = 900.0
SILENT_FLOOR_S = 900.0
SILENT_INTERVALS = 3.0
OUTDOOR_LOST_S = 3600.0  # a burst of lost messages is shorter
RESTS_S = 2700.0
RESTS_AHEAD_S = 7200.0


@dataclass(frozen=True, slots=True)
class BoxView:
    """What is known of one box at one time, in watch time; `estimated` marks a box reckoned, not read.

    `worth_it` says whether a refill soon saves more than the coming of the keeper costs, see `is_worth_it`;
    `heat_worth_it` the same of heat. `fill_c` is how hot the water of a refill now should be, None for as
    usual.
    """

    box: str
    t_s: float
    box_c: float | None
    box_sd_c: float
    read_t_s: float | None
    estimated: bool
    blind: bool
    trend_c_per_h: float | None
    outdoor_c: float | None
    band: Band
    sureness: str
    hold: Hold
    timetable: Interval
    timetable_due_s: float | None
    refill_by_s: float | None
    refill_reason: str
    refill_t_s: float | None
    chicks: int
    age_days: float
    worth_it: bool = True
    heat_worth_it: bool = True
    fill_c: float | None = None


def silent_after_s(interval_s: float) -> float:
    """How long a probe may say nothing: three of its intervals, and never under a quarter of an hour."""
    return max(SILENT_FLOOR_S, SILENT_INTERVALS * interval_s)


def is_silent(spec: ProbeSpec, probe: ProbeSight | None, started_t_s: float, t_s: float) -> bool:
    """Whether a probe has given no temperature for longer than it may; a start grants it its time anew."""
    taken_t_s = None if probe is None else probe.taken_t_s
    since_t_s = started_t_s if taken_t_s is None else max(taken_t_s, started_t_s)
    return t_s - since_t_s > silent_after_s(spec.interval_s)


def is_blind(site: Site, sight: Sight, box: str, started_t_s: float, t_s: float) -> bool:
    """Whether every probe of the box is silent."""
    specs = [spec for spec in site.probes.values() if spec.box == box and spec.role == "box"]
    return all(is_silent(spec, sight.probes.get(spec.name), started_t_s, t_s) for spec in specs)


def outdoor_is_seen(site: Site, sight: Sight, t_s: float) -> bool:
    """Whether any outdoor probe is heard as it should be."""
    return any(
        (probe := sight.probes.get(spec.name)) is not None
        and probe.taken_t_s is not None
        and t_s - probe.taken_t_s <= silent_after_s(spec.interval_s)
        for spec in site.probes.values()
        if spec.role == "outdoor"
    )


def outdoor_ahead(site: Site, sight: Sight, now: Now) -> OutdoorCurve:
    """Outdoor air over the next day, with the low that the keeper typed in it."""
    sunset, sunrise = night_sun(site, now.wall_s)
    own = outdoor.curve(
        sight.habit,
        now.t_s,
        None if sunset is None else watch_of(now, sunset),
        None if sunrise is None else watch_of(now, sunrise),
        horizon_s=HORIZON_S,
    )
    return typed_low.bent(own, sight.lows)


def outdoor_seen_c(sight: Sight, t_s: float) -> float | None:
    """The last outdoor reading of the past three hours."""
    last = outdoor.last(sight.habit)
    return None if last is None or t_s - last[0] > 3 * 3600.0 else last[1]


def assess(site: Site, sight: Sight, box: str, started_t_s: float, now: Now, ahead: OutdoorCurve) -> BoxView:
    """Look at one box once."""
    seen, spec = sight.boxes[box], site.boxes[box]
    blind = is_blind(site, sight, box, started_t_s, now.t_s)
    age = age_days(site, now.wall_s)
    flock = flock_of(site, sight, box, now.wall_s)
    paths = box_estimate.forecast(seen.estimate, spec, now.t_s, ahead, flock, horizon_s=HORIZON_S)
    floors, ceilings = band_ahead(site, seen, age, now.t_s, paths.t_s)
    held = hold(paths, floors, site.keeper.risk)
    sureness = sureness_of(seen.estimate, now.t_s)
    day_c, night_c = outdoor.day_night(sight.habit, now.t_s)
    table = interval(age, day_c, night_c, seen_huddled(seen, now.t_s))
    due_s = timetable_due_s(seen, table, now.t_s)
    rests = blind and sureness == "known" and may_rest(seen, held, site.keeper.risk, now.t_s)
    unsure = why_unsure(site, sight, sureness, blind and not rests, now.t_s)
    refill_by_s, reason = refill_by(held, due_s, unsure)
    refill_by_s = before_leaving(site, now, refill_by_s)

    def filled(fill_c: float = spec.fill_c) -> Paths:
        fill = (now.t_s + site.keeper.lead_s, fill_c)
        return box_estimate.forecast(
            seen.estimate, spec, now.t_s, ahead, flock, horizon_s=HORIZON_S, refills=(fill,)
        )

    worth_it = is_worth_it(site, paths, filled, floors, held.chance_under, now)
    due = refill_by_s is not None and refill_by_s - site.keeper.lead_s <= now.t_s
    under = seen.newest is not None and seen.newest[1] < floors[0]
    if not worth_it and timetable_asks(due_s, unsure, site.keeper.lead_s, now.t_s):
        reason = reason.replace("forecast-", "timetable-")
    fill_c = None
    if worth_it and (due or under) and is_night(site, now.wall_s):
        fill_c = _fill_c(site, spec.fill_c, filled, floors, ceilings, now)
        if not blind and _later(site, sight, box, now, ahead, fill_c or spec.fill_c):
            worth_it = False
    mean_c, sd_c, estimated = _box_now(site, sight, box, now, blind)
    return BoxView(
        box=box,
        t_s=now.t_s,
        box_c=mean_c,
        box_sd_c=sd_c,
        read_t_s=None if seen.newest is None else seen.newest[0],
        estimated=estimated,
        blind=blind,
        trend_c_per_h=None if blind else trend_c_per_h(seen),
        outdoor_c=outdoor_seen_c(sight, now.t_s),
        band=band(age, seen.look_ins, now.t_s, site.batch.floors),
        sureness=sureness,
        hold=held,
        timetable=table,
        timetable_due_s=due_s,
        refill_by_s=refill_by_s,
        refill_reason=reason,
        refill_t_s=seen.refill_t_s,
        chicks=seen.chicks,
        age_days=age,
        worth_it=worth_it or reason.startswith("timetable"),
        heat_worth_it=is_heat_worth_it(site, paths, ceilings, now),
        fill_c=fill_c,
    )


def _later(site: Site, sight: Sight, box: str, now: Now, ahead: OutdoorCurve, fill_c: float) -> bool:
    """Whether a sleeping keeper is better woken later."""
    seen, age = sight.boxes[box], age_days(site, now.wall_s)
    rising_s = watch_of(now, next_wall_s(site, now.wall_s, site.keeper.rising_s))
    return is_better_later(
        seen.estimate,
        site.boxes[box],
        now.t_s,
        rising_s,
        ahead,
        flock_of(site, sight, box, now.wall_s),
        end_of_band(site, seen.look_ins, age, now.t_s, "floor_c"),
        site.keeper.risk,
        fill_c,
        end_of_band(site, seen.look_ins, age, now.t_s, "ceiling_c"),
        there_of(site, now),
    )


def _fill_c(
    site: Site,
    usual_c: float,
    filled: Callable[[float], Paths],
    floors: Array,
    ceilings: Array,
    now: Now,
) -> float | None:
    """How hot the water of a refill at this hour of the night should be, None for as usual."""
    up_s = watch_of(now, next_wall_s(site, now.wall_s, site.keeper.rising_s)) + GETTING_UP_S
    fill_c = night_fill_c(filled, floors, ceilings, usual_c, up_s, waking_cost_kh(site.keeper.risk))
    return fill_c if fill_c < usual_c else None


def _box_now(site: Site, sight: Sight, box: str, now: Now, blind: bool) -> tuple[float | None, float, bool]:
    seen = sight.boxes[box]
    if seen.newest is None:
        return None, 0.0, True
    if not blind:
        return seen.newest[1], 0.0, False
    drive = drive_at(site, sight, box, now.t_s, now.wall_s)
    mean_c, sd_c = box_estimate.now_box(seen.estimate, site.boxes[box], now.t_s, drive)
    return mean_c, sd_c, True


def is_worth_it(
    site: Site, paths: Paths, filled: Callable[[], Paths], floors: Array, chance: Array, now: Now
) -> bool:
    """Whether a refill soon saves more than the coming of the keeper costs.

    By day it is whenever it is due, but shortly before bed the fill at bedtime will do, unless half a
    degree-hour of cold comes first.
    """
    keeper = site.keeper
    if is_night(site, now.wall_s):
        up_s = watch_of(now, next_wall_s(site, now.wall_s, keeper.rising_s)) + GETTING_UP_S
        return is_worth_waking(paths, filled, floors, chance, up_s, keeper.risk, keeper.lead_s)
    bedtime_wall_s = next_wall_s(site, now.wall_s, keeper.bedtime_s)
    if bedtime_wall_s - now.wall_s > BEFORE_BED_S:
        return True
    until_s = watch_of(now, bedtime_wall_s) + GETTING_UP_S
    return float(paths.weights @ cold_kh(paths, floors, until_s)) > BEFORE_BED_KH


def is_heat_worth_it(site: Site, paths: Paths, ceilings: Array, now: Now) -> bool:
    """Whether heat over the ceiling is worth a coming: asleep by what is to come till rising, else always."""
    if not is_night(site, now.wall_s):
        return True
    up_s = watch_of(now, next_wall_s(site, now.wall_s, site.keeper.rising_s))
    return heat_is_worth_waking(paths, ceilings, up_s, site.keeper.risk, site.keeper.lead_s)


def timetable_due_s(seen: BoxSight, table: Interval, t_s: float) -> float | None:
    """When the age timetable asks for the next refill; None when it asks for none. Without a known refill it
    counts from the first reading, and with no reading at all it is due now."""
    if table.hours is None:
        return None
    since = seen.refill_t_s if seen.refill_t_s is not None else seen.first_t_s
    return t_s if since is None else since + table.hours * 3600.0


def why_unsure(site: Site, sight: Sight, sureness: str, blind: bool, t_s: float) -> str | None:
    """What keeps the forecast of a box from deciding alone, or None: silence, of its probe or of all
    outdoors, or that it is not known yet."""
    if blind:
        return "blind"
    if sureness == "unknown":
        return "learning"
    outdoors = any(spec.role == "outdoor" for spec in site.probes.values())
    last = outdoor.last(sight.habit)
    lost = last is None or t_s - last[0] > OUTDOOR_LOST_S
    return "no-outdoor" if outdoors and lost else None


def may_rest(seen: BoxSight, held: Hold, risk: float, t_s: float) -> bool:
    """Whether a known box that has just fallen silent may rest on its estimate: lost messages come back."""
    silent_s = math.inf if seen.newest is None else t_s - seen.newest[0]
    soon = float(np.interp(t_s + RESTS_AHEAD_S, held.at_s, held.chance_under))
    return silent_s <= RESTS_S and soon <= 0.5 * risk


def timetable_asks(due_s: float | None, unsure: str | None, lead_s: float, t_s: float) -> bool:
    """Whether the timetable alone asks for a refill now, of a box that rests on it.

    An earlier forecast that is not worth a waking must not outbid it: what is not seen keeps its timetable.
    """
    return unsure is not None and due_s is not None and due_s - lead_s <= t_s


def refill_by(held: Hold, due_s: float | None, unsure: str | None) -> tuple[float | None, str]:
    """The time by which to refill, with the one reason for it.

    With a box that is seen and known the forecast alone decides, else the earlier of forecast and timetable:
    the cautious end.
    """
    if unsure is None:
        return held.refill_by_s, "forecast"
    if due_s is not None and (held.refill_by_s is None or due_s <= held.refill_by_s):
        return due_s, f"timetable-{unsure}"
    return held.refill_by_s, f"forecast-{unsure}"


def before_leaving(site: Site, now: Now, due_s: float | None) -> float | None:
    """A refill due while nobody is there is due before they leave; who is away already cannot come sooner."""
    if due_s is None or not site.keeper.away:
        return due_s
    return watch_of(now, last_at_hand_wall_s(site, now.wall_s, wall_of(now, due_s)))


def assess_boxes(
    site: Site, sight: Sight, boxes: Iterable[str], started_t_s: float, now: Now
) -> Mapping[str, BoxView]:
    """Look at each of some boxes once, under one sky."""
    ahead = outdoor_ahead(site, sight, now)
    return {box: assess(site, sight, box, started_t_s, now, ahead) for box in boxes}


def look_is_due(view: BoxView | None, lead_s: float, t_s: float) -> bool:
    """Whether a box wants another look: each minute where a nudge is near, less often where it is hours off.

    A look costs some ten milliseconds here and ten times that on a small board on a battery, so beyond an
    hour it waits for a part of the time left; readings close to the floor ask for one at once.
    """
    if view is None or view.blind or view.box_c is None:
        return view is None or t_s - view.t_s >= LOOK_LEAST_S
    left_s = HORIZON_S if view.refill_by_s is None else view.refill_by_s - lead_s - t_s
    near = left_s < NEAR_S or view.box_c < view.band.floor_c + NEAR_C
    return t_s - view.t_s >= (LOOK_LEAST_S if near else min(LOOK_MOST_S, left_s / LOOKS_LEFT))
