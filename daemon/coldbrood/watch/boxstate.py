"""One box as the outside sees it: plain values under stable names, for the state topic and `status`."""

from datetime import UTC, datetime

from coldbrood.watch.assess import BoxView
from coldbrood.watch.events import Now
from coldbrood.watch.localtime import wall_of
from coldbrood.watch.site import Site
from coldbrood.watch.state import State

SOON_S = 3600.0


def state_words(state: State, view: BoxView, lead_s: float) -> str:
    """The box in two words: the worst that is true of it comes first."""
    active = {
        alarm.condition
        for alarm in state.alarms.values()
        if alarm.subject == view.box and alarm.active and alarm.state != "normal"
    }
    for condition, said in (
        ("under-hard-floor", "too cold"),
        ("too-hot", "too hot"),
        ("refill-now", "refill now"),
    ):
        if condition in active:
            return said
    if view.blind:
        return "cannot see"
    if view.box_c is None:
        return "no reading yet"
    if view.refill_by_s is not None and view.refill_by_s - lead_s - view.t_s < SOON_S:
        return "refill soon"
    return "learning" if view.sureness == "unknown" else "all right"


def shown(site: Site, state: State, view: BoxView, now: Now) -> dict[str, object]:
    """The view as plain values: degrees C, RFC 3339 UTC times, None for what is not known."""

    def at(t_s: float | None) -> str | None:
        return None if t_s is None else rfc3339(wall_of(now, t_s))

    return {
        "box": view.box,
        "at": at(view.t_s),
        "state": state_words(state, view, site.keeper.lead_s),
        "box_c": _rounded(view.box_c),
        "box_read_at": at(view.read_t_s),
        "estimated": view.estimated,
        "trend_c_per_h": _rounded(view.trend_c_per_h),
        "outdoor_c": _rounded(view.outdoor_c),
        "floor_c": _rounded(view.band.floor_c),
        "hard_floor_c": _rounded(view.band.hard_floor_c),
        "ceiling_c": _rounded(view.band.ceiling_c),
        "band_reason": view.band.reason,
        "sureness": view.sureness,
        "refill_by": at(view.refill_by_s),
        "refill_reason": view.refill_reason,
        "under_floor_early": at(view.hold.early_s),
        "under_floor_about": at(view.hold.median_s),
        "under_floor_late": at(view.hold.late_s),
        "timetable_due": at(view.timetable_due_s),
        "last_refill": at(view.refill_t_s),
        "chicks": view.chicks,
        "age_days": round(view.age_days, 2),
        "alarms": sorted(
            f"{alarm.condition}: {alarm.state}: {alarm.reason}"
            for alarm in state.alarms.values()
            if alarm.state != "normal" and _concerns(site, alarm.subject, view.box)
        ),
    }


def _concerns(site: Site, subject: str, box: str) -> bool:
    spec = site.probes.get(subject)
    return subject in (box, site.name) or (spec is not None and spec.box in (box, None))


def rfc3339(wall_s: float) -> str:
    """A Unix time as RFC 3339 in UTC, whole seconds."""
    return datetime.fromtimestamp(round(wall_s), UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 2)
