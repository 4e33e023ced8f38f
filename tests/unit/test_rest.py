"""Promise: the board is told to sleep only when every box is seen and known and nobody is owed a word, and
never past the earliest refill less lead and margin; a wake-up grants the probes their time to speak.
"""

from collections.abc import Callable
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sites import START_WALL_S, make_site
from views import T_S, make_hold, make_view
from watching import Watching

from coldbrood.watch.alarms import Verdict, advance
from coldbrood.watch.batches import in_use
from coldbrood.watch.events import Beat, Note, Now
from coldbrood.watch.outbox import Message
from coldbrood.watch.rest import Rest, RestLimits, rest, woken
from coldbrood.watch.sight import ProbeSight
from coldbrood.watch.state import State, first_state
from coldbrood.watch.verdicts import Health

SITE = make_site()
LIMITS = RestLimits(least_s=1200.0, most_s=3600.0, margin_s=1200.0)
LEAD_S = SITE.keeper.lead_s
NOW = Now(T_S, START_WALL_S, synced=True)  # ten in the morning
MIN_S = 60.0


def well(**view: object) -> State:
    """A site of which all is known: refill by in two hours."""
    state = first_state(SITE, T_S - 86_400.0)
    heard = ProbeSight(heard_t_s=T_S - 60.0, taken_t_s=T_S - 60.0, temperature_c=19.8)
    sight = replace(state.sight, probes=dict.fromkeys(SITE.probes, heard))
    health = replace(state.health, link_seen=True)
    table = replace(make_view().timetable, look_in=False)
    return replace(state, sight=sight, health=health, views={"a": make_view(**{"timetable": table, **view})})


def test_all_is_well_and_the_earliest_need_less_lead_and_margin_ends_it() -> None:
    """Refill by in 120 min, less 30 of lead, less 20 of margin: 70; the longest sleep is 60."""
    assert rest(SITE, well(), LIMITS, NOW) == Rest(T_S + 3600.0, "longest sleep")
    longer = replace(LIMITS, most_s=4 * 3600.0)
    assert rest(SITE, well(), longer, NOW) == Rest(T_S + 70 * MIN_S, "refill of box a")
    sooner = well(hold=make_hold(120, 100, 180, 230))
    assert rest(SITE, sooner, longer, NOW) == Rest(T_S + 50 * MIN_S, "refill of box a")


def test_in_the_first_days_the_look_in_of_the_timetable_ends_it_too() -> None:
    found = rest(SITE, well(timetable=make_view().timetable, timetable_due_s=T_S + 85 * MIN_S), LIMITS, NOW)
    assert found == Rest(T_S + 35 * MIN_S, "refill of box a")


def test_bedtime_and_morning_find_it_awake() -> None:
    far = {"refill_by_s": None, "hold": make_hold(None, None, None, None)}
    evening = Now(T_S, START_WALL_S + 11 * 3600.0, synced=True)  # nine at night, bedtime at ten
    assert rest(SITE, well(**far), LIMITS, evening) == Rest(T_S + 40 * MIN_S, "bedtime")
    later = replace(evening, wall_s=evening.wall_s + 1500.0)
    assert rest(SITE, well(**far), LIMITS, later) == Rest(None, "too short: bedtime")


def alarmed(state: State) -> State:
    rows, _ = advance({}, [Verdict("refill-now", "a", True, False, "forecast")] * 5, T_S, START_WALL_S)
    return replace(state, alarms=rows)


def in_state(name: str, *, active: bool) -> Callable[[State], State]:
    """The same alarm in another of its states."""

    def changed(state: State) -> State:
        rows = alarmed(state).alarms
        return replace(
            state,
            alarms={key: replace(row, state=name, active=active) for key, row in rows.items()},  # type: ignore[arg-type] # by name
        )

    return changed


def owing(state: State) -> State:
    message = Message("k", "k", "phone-1", "t", "b", 3, T_S, START_WALL_S, T_S, 60)
    return replace(state, outbox={"k": message})


def unheard(state: State) -> State:
    stale = replace(state.sight.probes["outdoor"], taken_t_s=T_S - 500.0)
    return replace(state, sight=replace(state.sight, probes={**state.sight.probes, "outdoor": stale}))


def never_heard(state: State) -> State:
    return replace(state, sight=replace(state.sight, probes={}))


def sending(state: State) -> State:
    return replace(
        owing(state),
        outbox={key: replace(row, state="sending") for key, row in owing(state).outbox.items()},
    )


def with_health(**changes: object) -> Callable[[State], State]:
    return lambda state: replace(state, health=replace(state.health, **changes))  # type: ignore[arg-type] # by name


@pytest.mark.parametrize(
    ("spoil", "reason"),
    [
        (alarmed, "alarm refill-now/a"),
        (owing, "a message is on its way"),
        (sending, "a message is on its way"),
        (in_state("acknowledged", active=True), "alarm refill-now/a"),
        (in_state("returned-unacknowledged", active=False), "alarm refill-now/a"),
        (in_state("suppressed", active=True), "alarm refill-now/a"),
        (unheard, "probe outdoor not heard just now"),
        (never_heard, "probe box-a not heard just now"),
        (with_health(link_down_t_s=T_S), "the board itself is not well"),
        (with_health(journal_detail="full"), "the board itself is not well"),
        (with_health(found=("the disk",)), "the board itself is not well"),
        (lambda state: replace(state, views={}), "box a not looked at"),
    ],
)
def test_any_trouble_keeps_it_awake(spoil: Callable[[State], State], reason: str) -> None:
    assert rest(SITE, spoil(well()), LIMITS, NOW) == Rest(None, reason)


@pytest.mark.parametrize("spoil", [in_state("out-of-service", active=True), in_state("normal", active=False)])
def test_an_alarm_that_is_over_or_taken_out_of_service_does_not(spoil: Callable[[State], State]) -> None:
    assert rest(SITE, spoil(well()), LIMITS, NOW) == Rest(T_S + 3600.0, "longest sleep")


def test_of_two_boxes_the_one_that_needs_the_keeper_first_ends_it() -> None:
    site = make_site("ab")
    one = well()
    probes = dict.fromkeys(site.probes, next(iter(one.sight.probes.values())))
    table = replace(make_view().timetable, look_in=False)
    sooner = make_view(box="b", timetable=table, hold=make_hold(100, 95, 180, 230))
    both = replace(one, sight=replace(one.sight, probes=probes), views={**one.views, "b": sooner})
    assert rest(site, both, LIMITS, NOW) == Rest(T_S + 45 * MIN_S, "refill of box b")
    blind = replace(both, views={**both.views, "b": replace(sooner, blind=True)})
    assert rest(site, blind, LIMITS, NOW) == Rest(None, "box b not known")
    half = replace(both, views=one.views)
    assert rest(site, half, LIMITS, NOW) == Rest(None, "box b not looked at")


@pytest.mark.parametrize(
    ("changes", "allowed"),
    [
        ({"box_c": 27.9}, True),
        ({"box_c": 28.1}, False),
        ({"trend_c_per_h": 1.5}, True),
        ({"trend_c_per_h": 1.6}, False),
        ({"trend_c_per_h": None}, True),
        ({"t_s": T_S - 900.0}, True),
        ({"t_s": T_S - 901.0}, False),
    ],
)
def test_each_limit_holds_on_either_side(changes: dict[str, object], allowed: bool) -> None:
    """4 C under a ceiling of 32, 1.5 C an hour by day, a look of the last quarter of an hour."""
    assert (rest(SITE, well(**changes), LIMITS, NOW).until_t_s is not None) is allowed


@pytest.mark.parametrize(
    ("view", "reason"),
    [
        ({"sureness": "unknown"}, "box a not known"),
        ({"sureness": "learning"}, "box a not known"),
        ({"blind": True}, "box a not known"),
        ({"estimated": True}, "box a not known"),
        ({"box_c": None}, "box a not looked at"),
        ({"t_s": T_S - 1000.0}, "box a not looked at"),
        ({"box_c": 28.5}, "box a is warm"),
        ({"trend_c_per_h": 2.0}, "box a is rising"),
        ({"refill_by_s": T_S + 60 * MIN_S}, "too short: refill of box a"),
        ({"refill_by_s": T_S - 60.0}, "too short: refill of box a"),
    ],
)
def test_a_box_in_any_doubt_keeps_it_awake(view: dict[str, object], reason: str) -> None:
    assert rest(SITE, well(**view), LIMITS, NOW) == Rest(None, reason)


def test_an_unset_clock_keeps_it_awake_and_a_warming_by_night_does_not() -> None:
    assert rest(SITE, well(), LIMITS, replace(NOW, synced=False)).until_t_s is None
    night = replace(NOW, wall_s=START_WALL_S + 13 * 3600.0)
    assert rest(SITE, well(trend_c_per_h=2.0), LIMITS, night).until_t_s == T_S + 3600.0


@settings(deadline=None, max_examples=60)
@given(
    by_min=st.floats(-100.0, 1440.0),
    early_min=st.floats(-100.0, 1440.0),
    most_min=st.floats(15.0, 240.0),
    margin_min=st.floats(10.0, 120.0),
)
def test_it_never_sleeps_past_the_earliest_refill_less_lead_and_margin(
    by_min: float, early_min: float, most_min: float, margin_min: float
) -> None:
    limits = RestLimits(900.0, most_min * MIN_S, margin_min * MIN_S)
    state = well(refill_by_s=T_S + by_min * MIN_S, hold=make_hold(by_min, early_min, None, None))
    found = rest(SITE, state, limits, NOW)
    latest_t_s = T_S + min(by_min, early_min) * MIN_S - LEAD_S - limits.margin_s
    if found.until_t_s is None:
        assert latest_t_s - T_S < limits.least_s or limits.most_s < limits.least_s
    else:
        assert found.until_t_s <= latest_t_s + 1e-6
        assert limits.least_s <= found.until_t_s - T_S <= limits.most_s + 1e-6


def test_with_no_batch_open_it_may_sleep_as_long_as_it_may() -> None:
    watching = Watching(SITE, START_WALL_S)
    watching.do(Note("n", "batch-close", None, watching.t_s, watching.wall_s))
    used = in_use(SITE, watching.state.sight, watching.t_s)
    assert rest(used, watching.state, LIMITS, watching.now) == Rest(watching.t_s + 3600.0, "longest sleep")


def test_a_wake_up_grants_the_probes_their_time_and_tells_no_gap_as_a_loss() -> None:
    watching = Watching(SITE, START_WALL_S)
    for value in (25.0, 24.9):
        watching.send_c("box-a", value)
        watching.send_c("outdoor", value - 20.0)
        watching.pass_s(300.0)
    watching.t_s += 3600.0  # asleep: no beat, and no probe gets through
    watching.wall_s += 3600.0
    watching.do(Beat())
    watching.pass_s(600.0)
    assert not any("Cannot see" in title or "outdoor" in title for title in watching.titles())
    watching.pass_s(600.0)  # a probe that stays away is told of, as ever
    assert any("Cannot see box A" in title for title in watching.titles())


def test_beats_as_usual_grant_nothing() -> None:
    health = Health(started_t_s=0.0, down_s=900.0)
    later = woken(woken(health, Now(15.0, 0.0, synced=True)), Now(315.0, 0.0, synced=True))
    assert (later.started_t_s, later.down_s, later.beat_t_s) == (0.0, 900.0, 315.0)
    slept = woken(later, Now(2000.0, 0.0, synced=True))
    assert (slept.started_t_s, slept.down_s) == (2000.0, None)
