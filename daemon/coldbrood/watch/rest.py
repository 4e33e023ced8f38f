"""Until when the board may sleep on a solar battery: never in doubt, never past what may need the keeper.

Cautious throughout: it must see every box and know it, hear every probe, owe nobody a word, and be awake
again well before the earliest time at which a refill may fall due. What a sleeping board cannot see is warmth
that comes quickly, so it stays awake where a box is near its ceiling or rising by day. The margins are our
own choice.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Final

from coldbrood.watch.assess import BoxView
from coldbrood.watch.events import Now
from coldbrood.watch.localtime import is_night, next_wall_s, watch_of
from coldbrood.watch.site import Site
from coldbrood.watch.state import State
from coldbrood.watch.verdicts import Health

CEILING_NEAR_C: Final = 4.0
RISING_C_PER_H: Final = 1.5
FRESH_INTERVALS: Final = 1.5
LOOKED_S: Final = 900.0
SLEPT_S: Final = 600.0


@dataclass(frozen=True, slots=True)
class RestLimits:
    """The keeper's wishes: shortest sleep worth it, longest, and how long before a need it must be over."""

    least_s: float
    most_s: float
    margin_s: float


@dataclass(frozen=True, slots=True)
class Rest:
    """Safe until `until_t_s`, None for awake; the reason of either."""

    until_t_s: float | None
    reason: str


def rest(site: Site, state: State, limits: RestLimits, now: Now) -> Rest:
    """Whether and until when the board may sleep from now on; `site` is the one in use."""
    stays = next(_reasons_to_stay(site, state, now), "")
    if stays:
        return Rest(None, stays)
    until_t_s, reason = min(_ends(site, state, limits, now))
    if until_t_s - now.t_s < limits.least_s:
        return Rest(None, f"too short: {reason}")
    return Rest(until_t_s, reason)


def _reasons_to_stay(site: Site, state: State, now: Now) -> Iterator[str]:
    """Each reason alone is enough."""
    health = state.health
    if not now.synced:
        yield "the clock is not set"
    if health.link_down_t_s is not None or health.journal_detail is not None or health.found:
        yield "the board itself is not well"
    for alarm in state.alarms.values():
        if alarm.state != "out-of-service" and (alarm.active or alarm.state == "returned-unacknowledged"):
            yield f"alarm {alarm.key}"
    if any(message.state in ("waiting", "sending") for message in state.outbox.values()):
        yield "a message is on its way"
    yield from _not_heard(site, state, now)
    for box in site.boxes:
        yield from _not_sure(site, state.views.get(box), box, now)


def _not_heard(site: Site, state: State, now: Now) -> Iterator[str]:
    """A board that has just woken waits for every probe before it sleeps again."""
    for spec in site.probes.values():
        probe = state.sight.probes.get(spec.name)
        taken_t_s = None if probe is None else probe.taken_t_s
        if taken_t_s is None or now.t_s - taken_t_s > FRESH_INTERVALS * spec.interval_s:
            yield f"probe {spec.name} not heard just now"


def _not_sure(site: Site, view: BoxView | None, box: str, now: Now) -> Iterator[str]:
    if view is None or view.box_c is None or now.t_s - view.t_s > LOOKED_S:
        yield f"box {box} not looked at"
        return
    if view.blind or view.estimated or view.sureness != "known":
        yield f"box {box} not known"
    if view.box_c > view.band.ceiling_c - CEILING_NEAR_C:
        yield f"box {box} is warm"
    if (view.trend_c_per_h or 0.0) > RISING_C_PER_H and not is_night(site, now.wall_s):
        yield f"box {box} is rising"


def _ends(site: Site, state: State, limits: RestLimits, now: Now) -> Iterator[tuple[float, str]]:
    """Every time at which it must be awake, with its reason."""
    yield now.t_s + limits.most_s, "longest sleep"
    for second, name in ((site.keeper.bedtime_s, "bedtime"), (site.keeper.rising_s, "morning")):
        if site.boxes:
            yield watch_of(now, next_wall_s(site, now.wall_s, second)) - limits.margin_s, name
    for box in site.boxes:
        view = state.views[box]
        for at_s in (view.refill_by_s, view.hold.early_s, _timetable_s(view)):
            if at_s is not None:
                yield at_s - site.keeper.lead_s - limits.margin_s, f"refill of box {box}"


def _timetable_s(view: BoxView) -> float | None:
    """In the first three days each refill is a look-in, so the timetable's time counts too."""
    return view.timetable_due_s if view.timetable.look_in else None


def woken(health: Health, now: Now) -> Health:
    """A beat long after the last one means that the board slept: the probes get their time anew to speak."""
    slept = health.beat_t_s is not None and now.t_s - health.beat_t_s > SLEPT_S
    if not slept:
        return replace(health, beat_t_s=now.t_s)
    return replace(health, beat_t_s=now.t_s, started_t_s=now.t_s, down_s=None, down_sure=True)
