"""From what is seen to verdicts: each alarm condition judged once, with its one named reason."""

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from coldbrood.brooder.band import hard_ceiling_c
from coldbrood.watch.alarms import Alarm, Verdict
from coldbrood.watch.assess import BoxView, is_silent, outdoor_is_seen, silent_after_s
from coldbrood.watch.events import Reading
from coldbrood.watch.sight import BoxSight, ProbeSight, Sight
from coldbrood.watch.site import ProbeSpec, Site

HARD_FLOOR_BACK_C = 0.5
CEILING_BACK_C = 1.0
REFILL_CLEAR_S = 900.0
REFILL_GRACE_S = 2700.0
ANSWERED_S = 7200.0
NOT_SEEN_AFTER_S = 2700.0
NO_RISE_WITHIN_S = 2400.0
NO_RISE_C = 0.3
REFUSED_RUN = 3
STUCK_S = 6 * 3600.0
LEAPT_S = 3600.0
BATTERY_BACK_V = 0.1
BATTERY_BACK_PCT = 5.0
LINK_GONE_S = 300.0
ASLEEP_SILENT_S = 3600.0
DOWN_S = 600.0


@dataclass(frozen=True, slots=True)
class Health:
    """What the service knows of itself: since when it runs, its link, its journal, its last gap.

    `found` and `asides` are of the last self-test, `going_down_t_s` is when the board was to shut down.
    """

    started_t_s: float
    link_down_t_s: float | None = None
    link_detail: str = ""
    journal_detail: str | None = None
    down_s: float | None = None
    down_sure: bool = True
    link_seen: bool = False
    found: tuple[str, ...] = ()
    asides: tuple[str, ...] = ()
    beat_t_s: float | None = None
    going_down_t_s: float | None = None


def of_reading(
    site: Site, sight: Sight, view: BoxView | None, spec: ProbeSpec, reading: Reading
) -> Iterator[Verdict]:
    """The conditions that one reading decides: it is a sample of them, and nothing else is."""
    probe = sight.probes[spec.name]
    if reading.quantity in ("battery_v", "battery_pct"):
        yield from _battery(spec, reading)
    if reading.quantity != "temperature_c":
        return
    yield wrong(spec, probe)
    if spec.role == "outdoor":
        yield Verdict("no-outdoor", site.name, holds=False, clear=True, reason="heard")
        return
    yield Verdict("probe-silent", spec.name, holds=False, clear=True, reason="heard")
    if view is not None:
        yield from _limits(view, reading.value)


def _limits(view: BoxView, box_c: float) -> Iterator[Verdict]:
    limits = view.band
    yield Verdict(
        "under-hard-floor",
        view.box,
        holds=box_c < limits.hard_floor_c,
        clear=box_c >= limits.hard_floor_c + HARD_FLOOR_BACK_C,
        reason="under-hard-floor",
    )
    far = box_c >= hard_ceiling_c(limits.ceiling_c)
    passing = not far and not view.heat_worth_it
    yield Verdict(
        "too-hot",
        view.box,
        holds=box_c >= limits.ceiling_c and not passing,
        clear=passing or box_c <= limits.ceiling_c - CEILING_BACK_C,
        reason="over-hard-ceiling" if far else "above-ceiling",
    )


def of_box(
    site: Site, view: BoxView, seen: BoxSight, alarms: Mapping[str, Alarm], t_s: float
) -> Iterator[Verdict]:
    """The conditions that one look at a box decides: refill now, and a refill asked for but not seen."""
    yield refill_now(view, site.keeper.lead_s, t_s)
    yield _refill_not_seen(view, seen, alarms.get(f"refill-now/{view.box}"), t_s)


def refill_now(view: BoxView, lead_s: float, t_s: float) -> Verdict:
    """Due when the keeper's lead before *refill by* has begun, or the box is under its floor.

    A sleeping keeper is asked only where the cold to come is worth it, and not again for what the fresh jug
    leaves. For 45 min after a refill the water is given time to tell.
    """
    if view.box_c is None and not view.blind:
        return Verdict("refill-now", view.box, holds=None, clear=False, reason="first-reading-awaited")
    under = not view.blind and view.box_c is not None and view.box_c < view.band.floor_c
    just_filled = view.refill_t_s is not None and 0.0 <= t_s - view.refill_t_s < REFILL_GRACE_S
    left_s = None if view.refill_by_s is None else view.refill_by_s - lead_s - t_s
    due = left_s is not None and left_s <= 0.0
    rising = (view.trend_c_per_h or 0.0) > 0.0
    clear = (left_s is None or left_s > REFILL_CLEAR_S or just_filled) and (
        not under or (just_filled and rising)
    )
    answered = view.refill_t_s is not None and 0.0 <= t_s - view.refill_t_s < ANSWERED_S
    return Verdict(
        "refill-now",
        view.box,
        holds=(due or under) and view.worth_it and not just_filled,
        clear=clear or (answered and not view.worth_it),
        reason="under-floor" if under else view.refill_reason,
    )


def _refill_not_seen(view: BoxView, seen: BoxSight, nudge: Alarm | None, t_s: float) -> Verdict:
    no_rise = _noted_without_rise(view, seen, t_s)
    asked_t_s = nudge.raised_t_s if nudge is not None and nudge.active and nudge.told else None
    filled_t_s = -math.inf if view.refill_t_s is None else view.refill_t_s
    unanswered = asked_t_s is not None and filled_t_s < asked_t_s and t_s - asked_t_s > NOT_SEEN_AFTER_S
    return Verdict(
        "refill-not-seen",
        view.box,
        holds=unanswered or no_rise,
        clear=not unanswered and not no_rise,
        reason="noted-no-rise" if no_rise else "no-rise-after-nudge",
    )


def _noted_without_rise(view: BoxView, seen: BoxSight, t_s: float) -> bool:
    """A refill was noted, the box is not warm, yet it has not risen: the jug may have gone back cold."""
    noted = seen.noted_refill_t_s
    if noted is None or view.blind or view.box_c is None or seen.refill_t_s != noted:
        return False
    if not NO_RISE_WITHIN_S < t_s - noted < 2 * NO_RISE_WITHIN_S or view.box_c > view.band.floor_c + 3.0:
        return False
    before = [box_c for at, box_c in seen.track if at <= noted]
    since = [box_c for at, box_c in seen.track if at > noted]
    return bool(before and since) and max(since) < before[-1] + NO_RISE_C


def of_silence(
    site: Site, sight: Sight, health: Health, t_s: float, asleep: bool = False
) -> Iterator[Verdict]:
    """Silence, probe by probe, and of all outdoor probes together. Only a reading can clear it.

    While the keeper is asleep a box probe is given an hour: a burst of lost messages ends by itself, and a
    refill that falls due meanwhile, by timetable or estimate, is asked for in its own name.
    """
    for spec in site.probes.values():
        if spec.role == "box":
            patience_s = ASLEEP_SILENT_S - silent_after_s(spec.interval_s) if asleep else 0.0
            at_s = t_s - max(0.0, patience_s)
            yield _silent(spec, sight.probes.get(spec.name), health.started_t_s, at_s)
    outdoor = [spec for spec in site.probes.values() if spec.role == "outdoor"]
    if outdoor:
        longest_s = max(silent_after_s(spec.interval_s) for spec in outdoor)
        silent = not outdoor_is_seen(site, sight, t_s) and t_s - health.started_t_s > longest_s
        yield Verdict("no-outdoor", site.name, holds=silent or None, clear=False, reason="silent")


def _silent(spec: ProbeSpec, probe: ProbeSight | None, started_t_s: float, t_s: float) -> Verdict:
    silent = is_silent(spec, probe, started_t_s, t_s)
    never = probe is None or probe.taken_t_s is None
    refused = probe is not None and probe.refused_run > 0 and t_s - probe.heard_t_s <= spec.interval_s
    return Verdict(
        "probe-silent",
        spec.name,
        holds=silent or None,
        clear=False,
        reason="only-refused" if refused else "never-heard" if never else "silent",
        detail=probe.refused_reason if probe is not None and refused else "",
    )


def wrong(spec: ProbeSpec, probe: ProbeSight) -> Verdict:
    """Whether a probe sends what cannot be true, nothing new for hours, or two tales in turn."""
    leapt = probe.leapt_t_s is not None and probe.heard_t_s - probe.leapt_t_s < LEAPT_S
    refused = probe.refused_run >= REFUSED_RUN
    since = probe.same_since_t_s
    stuck = probe.taken_t_s is not None and since is not None and probe.taken_t_s - since > STUCK_S
    return Verdict(
        "probe-wrong",
        spec.name,
        holds=refused or stuck or leapt,
        clear=not stuck and not leapt and probe.refused_run == 0,
        reason="leaps" if leapt else "stuck" if stuck and not refused else "refused",
        detail=probe.refused_reason,
    )


def _battery(spec: ProbeSpec, reading: Reading) -> Iterator[Verdict]:
    volts = reading.quantity == "battery_v"
    low = spec.battery_low_v if volts else spec.battery_low_pct
    if low is not None:
        back = BATTERY_BACK_V if volts else BATTERY_BACK_PCT
        low_now, good_now = reading.value <= low, reading.value >= low + back
        yield Verdict(
            "battery-low", spec.name, holds=low_now, clear=good_now, reason=f"{reading.quantity}-low"
        )


def of_health(site: Site, health: Health, t_s: float) -> Iterator[Verdict]:
    """The daemon's own troubles: the broker, the journal, the time it was away."""
    gone_s = 0.0 if health.link_down_t_s is None else t_s - health.link_down_t_s
    yield Verdict(
        "broker-gone",
        site.name,
        holds=gone_s > LINK_GONE_S,
        clear=health.link_down_t_s is None,
        reason="no-link",
        detail=health.link_detail,
    )
    yield Verdict(
        "journal-failing",
        site.name,
        holds=health.journal_detail is not None,
        clear=health.journal_detail is None,
        reason="commit-failed",
        detail=health.journal_detail or "",
    )
    was_down = health.down_s is not None and (health.down_s > DOWN_S or not health.down_sure)
    fresh = t_s - health.started_t_s < DOWN_S
    yield Verdict(
        "daemon-was-down",
        site.name,
        holds=was_down and fresh,
        clear=not (was_down and fresh),
        reason="was-down" if health.down_sure else "was-down-unknown",
        detail="" if health.down_s is None else f"{health.down_s / 60:.0f}",
    )
