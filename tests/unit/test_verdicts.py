"""Promise: each condition has its own threshold and its own way back, and silence is never comfort."""

from dataclasses import replace

import pytest
from sites import START_WALL_S, make_site
from views import T_S, make_view

from coldbrood.watch import verdicts
from coldbrood.watch.alarms import Alarm, Verdict
from coldbrood.watch.events import Reading
from coldbrood.watch.sight import ProbeSight, Sight, first_sight
from coldbrood.watch.verdicts import Health

SITE = make_site()
LEAD_S = SITE.keeper.lead_s
HEALTH = Health(started_t_s=T_S - 10_000.0)


def one(found: object, condition: str) -> Verdict:
    chosen = [verdict for verdict in found if verdict.condition == condition]  # type: ignore[attr-defined] # an iterator of verdicts
    assert len(chosen) == 1
    return chosen[0]  # type: ignore[no-any-return] # chosen from verdicts


def sight_with(**probes: ProbeSight) -> Sight:
    return replace(
        first_sight(SITE), probes={name.replace("_", "-"): probe for name, probe in probes.items()}
    )


def heard(ago_s: float, **other: object) -> ProbeSight:
    at = T_S - ago_s
    probe = ProbeSight(
        heard_t_s=at, taken_t_s=at, taken_wall_s=at, temperature_c=20.0, raw=20.0, same_since_t_s=at
    )
    return replace(probe, **other)  # type: ignore[arg-type] # any field of ProbeSight


def of_reading(box_c: float, **view: object) -> list[Verdict]:
    sight = sight_with(box_a=heard(0.0))
    reading = Reading("box-a", "temperature_c", box_c, box_c, T_S, START_WALL_S, True)
    return list(verdicts.of_reading(SITE, sight, make_view(**view), SITE.probes["box-a"], reading))


@pytest.mark.parametrize(
    ("box_c", "holds", "clear"),
    [(14.99, True, False), (15.0, False, False), (15.49, False, False), (15.5, False, True)],
)
def test_hard_floor_has_half_a_degree_on_the_way_back(box_c: float, holds: bool, clear: bool) -> None:
    verdict = one(of_reading(box_c), "under-hard-floor")
    assert (verdict.holds, verdict.clear) == (holds, clear)


@pytest.mark.parametrize(
    ("box_c", "holds", "clear"),
    [(32.0, True, False), (31.9, False, False), (31.01, False, False), (31.0, False, True)],
)
def test_ceiling_has_a_degree_on_the_way_back(box_c: float, holds: bool, clear: bool) -> None:
    verdict = one(of_reading(box_c), "too-hot")
    assert (verdict.holds, verdict.clear) == (holds, clear)


@pytest.mark.parametrize(
    ("box_c", "holds", "reason"),
    [(33.9, False, "above-ceiling"), (34.0, True, "over-hard-ceiling"), (36.0, True, "over-hard-ceiling")],
)
def test_a_sleeper_is_woken_by_heat_two_degrees_over_the_ceiling(
    box_c: float, holds: bool, reason: str
) -> None:
    verdict = one(of_reading(box_c, heat_worth_it=False), "too-hot")
    assert (verdict.holds, verdict.reason) == (holds, reason)


@pytest.mark.parametrize(("box_c", "clear"), [(33.9, True), (34.0, False), (30.0, True)])
def test_heat_that_passes_by_itself_ends_the_alarm_of_a_sleeper(box_c: float, clear: bool) -> None:
    assert one(of_reading(box_c, heat_worth_it=False), "too-hot").clear is clear


@pytest.mark.parametrize(
    ("left_min", "holds", "clear"),
    [(120.0, False, True), (46.0, False, True), (44.0, False, False), (30.0, True, False)],
)
def test_the_nudge_comes_the_keepers_lead_before_refill_by(left_min: float, holds: bool, clear: bool) -> None:
    verdict = verdicts.refill_now(make_view(refill_by_s=T_S + left_min * 60.0), LEAD_S, T_S)
    assert (verdict.holds, verdict.clear, verdict.reason) == (holds, clear, "forecast")


def test_under_the_floor_is_due_whatever_the_forecast_says() -> None:
    verdict = verdicts.refill_now(make_view(box_c=17.9, refill_by_s=None), LEAD_S, T_S)
    assert (verdict.holds, verdict.reason) == (True, "under-floor")


def test_a_fresh_refill_is_given_time_and_no_longer() -> None:
    cold = make_view(box_c=17.0, refill_by_s=T_S, refill_t_s=T_S - 600.0, trend_c_per_h=3.0)
    assert verdicts.refill_now(cold, LEAD_S, T_S).clear
    later = replace(cold, refill_t_s=T_S - 2701.0)
    assert verdicts.refill_now(later, LEAD_S, T_S).holds


def test_no_refill_foreseen_and_warm_is_clear() -> None:
    verdict = verdicts.refill_now(make_view(refill_by_s=None), LEAD_S, T_S)
    assert (verdict.holds, verdict.clear) == (False, True)


def test_a_nudge_unanswered_for_45_minutes_is_a_refill_not_seen() -> None:
    nudge = Alarm(
        condition="refill-now",
        subject="a",
        state="unacknowledged",
        active=True,
        told=1,
        raised_t_s=T_S - 2701.0,
    )
    seen = first_sight(SITE).boxes["a"]
    found = verdicts.of_box(SITE, make_view(), seen, {nudge.key: nudge}, T_S)
    assert one(found, "refill-not-seen").holds
    fresh = replace(nudge, raised_t_s=T_S - 2699.0)
    assert one(verdicts.of_box(SITE, make_view(), seen, {fresh.key: fresh}, T_S), "refill-not-seen").clear


def test_a_noted_refill_without_a_rise_is_said() -> None:
    noted_t_s = T_S - 2500.0
    track = tuple((T_S - 3600.0 + 300.0 * n, 19.0 - 0.05 * n) for n in range(12))
    seen = replace(
        first_sight(SITE).boxes["a"], track=track, refill_t_s=noted_t_s, noted_refill_t_s=noted_t_s
    )
    verdict = one(verdicts.of_box(SITE, make_view(box_c=18.4), seen, {}, T_S), "refill-not-seen")
    assert (verdict.holds, verdict.reason) == (True, "noted-no-rise")
    risen = replace(seen, track=(*track, (T_S - 10.0, 20.0)))
    assert one(verdicts.of_box(SITE, make_view(box_c=18.4), risen, {}, T_S), "refill-not-seen").clear


@pytest.mark.parametrize(("ago_s", "holds"), [(899.0, None), (901.0, True)])
def test_silence_is_three_intervals_and_only_a_reading_ends_it(ago_s: float, holds: bool | None) -> None:
    found = list(verdicts.of_silence(SITE, sight_with(box_a=heard(ago_s)), HEALTH, T_S))
    verdict = one(found, "probe-silent")
    assert (verdict.holds, verdict.clear, verdict.reason) == (holds, False, "silent")
    assert one(of_reading(20.0), "probe-silent").clear


def test_a_probe_never_heard_and_one_that_only_lies_are_told_apart() -> None:
    never = one(verdicts.of_silence(SITE, sight_with(), HEALTH, T_S), "probe-silent")
    assert (never.holds, never.reason) == (True, "never-heard")
    liar = heard(2000.0, heard_t_s=T_S - 10.0, refused_run=4, refused_reason="power-on-value")
    lying = one(verdicts.of_silence(SITE, sight_with(box_a=liar), HEALTH, T_S), "probe-silent")
    assert (lying.holds, lying.reason, lying.detail) == (True, "only-refused", "power-on-value")


def test_a_daemon_just_started_gives_its_probes_time() -> None:
    fresh = Health(started_t_s=T_S - 60.0)
    old = sight_with(box_a=heard(50_000.0), outdoor=heard(50_000.0))
    assert [v.holds for v in verdicts.of_silence(SITE, old, fresh, T_S)] == [None, None]


def test_no_outdoor_needs_every_outdoor_probe_silent() -> None:
    silent = one(verdicts.of_silence(SITE, sight_with(outdoor=heard(901.0)), HEALTH, T_S), "no-outdoor")
    assert silent.holds
    alive = one(verdicts.of_silence(SITE, sight_with(outdoor=heard(10.0)), HEALTH, T_S), "no-outdoor")
    assert alive.holds is None


def test_wrong_is_a_run_of_refusals_or_a_value_that_never_moves() -> None:
    spec = SITE.probes["box-a"]
    assert verdicts.wrong(spec, heard(0.0, refused_run=3, refused_reason="jump")).reason == "refused"
    assert not verdicts.wrong(spec, heard(0.0, refused_run=2)).holds
    stuck = verdicts.wrong(spec, heard(0.0, same_since_t_s=T_S - 6 * 3600.0 - 1.0))
    assert (stuck.holds, stuck.reason) == (True, "stuck")
    assert verdicts.wrong(spec, heard(0.0)).clear


def test_two_tales_under_one_name_are_wrong_until_an_hour_without_a_leap() -> None:
    spec = SITE.probes["box-a"]
    leapt = verdicts.wrong(spec, heard(0.0, leapt_t_s=T_S - 3599.0))
    assert (leapt.holds, leapt.clear, leapt.reason) == (True, False, "leaps")
    assert verdicts.wrong(spec, heard(0.0, leapt_t_s=T_S - 3601.0)).clear


def test_a_battery_is_judged_by_each_of_its_readings() -> None:
    spec = SITE.probes["box-a"]
    sight = sight_with(box_a=heard(0.0))

    def judged(pct: float) -> Verdict:
        reading = Reading("box-a", "battery_pct", pct, pct, T_S, START_WALL_S, True)
        return one(verdicts.of_reading(SITE, sight, make_view(), spec, reading), "battery-low")

    assert judged(15.0).holds
    assert (judged(16.0).holds, judged(16.0).clear) == (False, False)
    assert judged(20.0).clear


def test_the_daemons_own_troubles() -> None:
    gone = replace(
        HEALTH, link_down_t_s=T_S - 301.0, link_detail="connection refused", journal_detail="disk full"
    )
    found = list(verdicts.of_health(SITE, gone, T_S))
    assert one(found, "broker-gone").detail == "connection refused"
    assert one(found, "broker-gone").holds
    assert one(found, "journal-failing").holds
    well = list(verdicts.of_health(SITE, HEALTH, T_S))
    assert all(verdict.clear for verdict in well)


@pytest.mark.parametrize(
    ("down_s", "sure", "reason"),
    [(601.0, True, "was-down"), (599.0, True, None), (0.0, False, "was-down-unknown")],
)
def test_a_gap_is_said_when_it_was_long_or_nobody_knows(
    down_s: float, sure: bool, reason: str | None
) -> None:
    health = Health(started_t_s=T_S - 30.0, down_s=down_s, down_sure=sure)
    verdict = one(verdicts.of_health(SITE, health, T_S), "daemon-was-down")
    assert verdict.holds is (reason is not None)
    if reason:
        assert verdict.reason == reason


@pytest.mark.parametrize(("ago_s", "holds"), [(901.0, None), (3599.0, None), (3601.0, True)])
def test_a_sleeping_keeper_is_not_woken_by_a_burst_of_lost_messages(ago_s: float, holds: bool | None) -> None:
    found = list(verdicts.of_silence(SITE, sight_with(box_a=heard(ago_s)), HEALTH, T_S, asleep=True))
    assert one(found, "probe-silent").holds == holds


def test_under_its_floor_a_box_wakes_nobody_who_would_come_too_dear() -> None:
    cold = make_view(box_c=17.9, refill_by_s=T_S, worth_it=False)
    assert not verdicts.refill_now(cold, LEAD_S, T_S).holds
    assert verdicts.refill_now(replace(cold, worth_it=True), LEAD_S, T_S).holds


@pytest.mark.parametrize(
    ("filled_min", "worth_it", "clear"),
    [(60.0, False, True), (60.0, True, False), (130.0, False, False)],
)
def test_a_sleeper_who_has_filled_is_not_asked_again_for_what_is_left(
    filled_min: float, worth_it: bool, clear: bool
) -> None:
    """A weak box goes under its floor with a jug just filled: another one would spare little."""
    view = make_view(
        box_c=19.0, refill_by_s=T_S, refill_t_s=T_S - 60.0 * filled_min, worth_it=worth_it, trend_c_per_h=-0.5
    )
    verdict = verdicts.refill_now(view, LEAD_S, T_S)
    assert (verdict.holds, verdict.clear) == (worth_it, clear)
