"""Promise: alarms move only along the table, silence clears none, each speaks when and where its row says."""

import itertools
import math
from collections.abc import Callable, Mapping
from dataclasses import replace

import msgspec
import pytest

from coldbrood.watch.alarms import (
    CRITICAL_SHELVE_MAX_S,
    SHELVE_MAX_S,
    Alarm,
    Change,
    ImpossibleEvent,
    UnknownAlarm,
    Verdict,
    acknowledge,
    advance,
    expire,
    refill_seen,
    remove,
    restore,
    shelve,
    to_tell,
    told,
    unshelve,
)
from coldbrood.watch.alarmstates import (
    EVENTS,
    IMPOSSIBLE,
    STATES,
    TRANSITIONS,
    AlarmEvent,
    AlarmState,
    diagram,
    next_state,
    possible,
)
from coldbrood.watch.conditions import CONDITIONS, SUPPRESSED_BY, URGENCY

Result = tuple[Mapping[str, Alarm], tuple[Change, ...]]

WALL0_S = 1_800_000_000.0
NUDGE, FLOOR, HOT = "refill-now/a", "under-hard-floor/a", "too-hot/a"


class Site:
    """Alarms driven by hand, with all changes kept."""

    def __init__(self) -> None:
        self.alarms: Mapping[str, Alarm] = {}
        self.changes: list[Change] = []
        self.t_s = 0.0

    def take(self, result: Result) -> tuple[Change, ...]:
        self.alarms = result[0]
        self.changes += result[1]
        return result[1]

    def look(
        self,
        key: str,
        holds: bool | None,
        clear: bool = False,
        after_s: float = 300.0,
        reason: str = "cooling",
    ) -> tuple[Change, ...]:
        self.t_s += after_s
        condition, _, subject = key.partition("/")
        verdict = Verdict(condition, subject, holds, clear, reason, "19.8 C")
        return self.take(advance(self.alarms, [verdict], self.t_s, WALL0_S + self.t_s))

    def raise_(self, key: str, reason: str = "cooling") -> None:
        for _ in range(CONDITIONS[key.partition("/")[0]].on_samples):
            self.look(key, True, reason=reason)
        assert self.alarms[key].active

    def clear(self, key: str) -> None:
        row = CONDITIONS[key.partition("/")[0]]
        for _ in range(row.off_samples):
            self.look(key, False, clear=True)
        if self.alarms[key].active:
            self.look(key, False, clear=True, after_s=row.off_after_s)
        assert not self.alarms[key].active

    def wait(self, seconds: float) -> tuple[Change, ...]:
        self.t_s += seconds
        return self.take(expire(self.alarms, self.t_s, WALL0_S + self.t_s))

    def do(self, act: Callable[..., Result], *rest: object) -> tuple[Change, ...]:
        return self.take(act(self.alarms, *rest, self.t_s, WALL0_S + self.t_s))

    def tell(self, quiet: bool = True) -> tuple[tuple[str, int, int], ...]:
        wanted = to_tell(self.alarms, self.t_s, quiet)
        for key, _, _ in wanted:
            self.alarms = told(self.alarms, key, self.t_s)
        return wanted

    def state(self, key: str) -> AlarmState:
        return self.alarms[key].state


@pytest.fixture
def site() -> Site:
    return Site()


def in_state(site: Site, state: AlarmState) -> None:
    """Bring too-hot/a into a state by the events of the table alone."""
    if state == "suppressed":
        site.raise_(FLOOR)
        site.raise_(NUDGE)
        return
    if state != "normal":
        site.raise_(HOT)
    if state == "acknowledged":
        site.do(acknowledge, HOT)
    elif state == "shelved":
        site.do(shelve, HOT, 600.0)
    elif state == "out-of-service":
        site.do(remove, HOT)


# The table


def test_every_pair_is_in_the_table_or_named_impossible_and_in_one_only() -> None:
    pairs = {(state, event) for state in STATES for event in EVENTS}
    assert set(TRANSITIONS) | IMPOSSIBLE == pairs
    assert not set(TRANSITIONS) & IMPOSSIBLE


@pytest.mark.parametrize(("state", "event"), sorted(IMPOSSIBLE))
def test_an_impossible_event_names_state_event_and_alarm(state: AlarmState, event: AlarmEvent) -> None:
    alarm = Alarm("too-hot", "a", state)
    with pytest.raises(ImpossibleEvent, match=f"{HOT}.*{event}.*{state}"):
        next_state(alarm, event)
    assert not possible(state, event)


@pytest.mark.parametrize("active", [True, False])
@pytest.mark.parametrize(("state", "event"), [k for k, v in TRANSITIONS.items() if v == "by-condition"])
def test_what_was_hidden_comes_back_as_its_condition_says(
    state: AlarmState, event: AlarmEvent, active: bool
) -> None:
    back = next_state(Alarm("too-hot", "a", state, active=active), event)
    assert back == ("unacknowledged" if active else "normal")


def test_every_state_can_be_reached_and_left() -> None:
    reached = {"normal", "unacknowledged"} | set(TRANSITIONS.values())
    assert set(STATES) <= reached
    assert {state for state, _ in TRANSITIONS} == set(STATES)


def test_the_diagram_has_one_line_for_each_transition() -> None:
    lines = diagram().splitlines()
    assert len(lines) == len(TRANSITIONS)
    for line, ((state, event), following) in zip(lines, TRANSITIONS.items(), strict=True):
        assert line.startswith(state)
        assert f"--{event}-" in line
        assert line.endswith(f" {following}")


def test_the_rows_are_complete_and_sane() -> None:
    assert set(CONDITIONS) == {
        "refill-now",
        "under-hard-floor",
        "too-hot",
        "probe-silent",
        "no-outdoor",
        "probe-wrong",
        "probes-swapped",
        "battery-low",
        "refill-not-seen",
        "daemon-was-down",
        "broker-gone",
        "journal-failing",
    }
    for row in CONDITIONS.values():
        assert row.on_samples >= 1
        assert row.off_samples >= 1
        assert row.next_channel_after >= 1
        assert row.wakes or row.priority != "critical"
        assert row.repeat_s is None or row.repeat_s >= 240.0
    for below, covers in SUPPRESSED_BY.items():
        for above in covers:
            assert CONDITIONS[above].wakes
            assert URGENCY[CONDITIONS[above].priority] >= URGENCY[CONDITIONS[below].priority]
            hidden_by = set(SUPPRESSED_BY.get(above, ()))
            assert hidden_by <= set(covers), f"{below} would be hidden by what is hidden itself"


# Raising and clearing


def test_on_delay_counts_samples_and_one_good_one_begins_it_anew(site: Site) -> None:
    site.look(NUDGE, True)
    site.look(NUDGE, False)
    assert site.look(NUDGE, True) == ()
    (change,) = site.look(NUDGE, True)
    assert (change.event, change.after.state, change.reason) == ("raise", "unacknowledged", "cooling")
    assert (change.after.raised_t_s, change.after.raised_wall_s) == (1200.0, WALL0_S + 1200.0)


def test_silence_neither_raises_nor_clears_nor_begins_anything_anew(site: Site) -> None:
    site.look(NUDGE, True)
    for _ in range(50):
        assert site.look(NUDGE, None) == ()
    site.look(NUDGE, True)
    assert site.state(NUDGE) == "unacknowledged"
    site.look(NUDGE, False, clear=True)
    before = site.alarms
    for _ in range(50):
        site.look(NUDGE, None, after_s=3600.0)
    assert site.alarms == before
    site.look(NUDGE, False, clear=True)
    assert not site.alarms[NUDGE].active


def test_a_verdict_that_would_clear_without_a_good_sample_can_not_be_made() -> None:
    for holds in (None, True):
        with pytest.raises(ValueError, match="clear"):
            Verdict("too-hot", "a", holds, clear=True)
    with pytest.raises(UnknownAlarm, match="condition: too-wet: one of refill-now"):
        Verdict("too-wet", "a", True, clear=False)


def test_clearing_needs_its_own_threshold_samples_and_time(site: Site) -> None:
    site.raise_(HOT)
    for _ in range(20):
        site.look(HOT, False)  # under the limit, within the deadband
    assert site.alarms[HOT].active
    site.look(HOT, False, clear=True)
    site.look(HOT, False, clear=True, after_s=60.0)
    assert site.alarms[HOT].active, "two samples, but not yet ten minutes"
    site.look(HOT, False, after_s=60.0)
    site.look(HOT, False, clear=True, after_s=600.0)
    assert site.alarms[HOT].active, "a look in the deadband began the time anew"
    site.look(HOT, False, clear=True, after_s=600.0)
    assert not site.alarms[HOT].active


def test_what_its_return_settles_goes_to_normal_and_the_rest_waits_for_an_answer(site: Site) -> None:
    site.raise_(HOT)
    site.clear(HOT)
    assert [(c.event, c.reason) for c in site.changes[-2:]] == [
        ("clear", "cooling"),
        ("acknowledge", "returned"),
    ]
    assert site.state(HOT) == "normal"
    site.raise_(NUDGE)
    site.clear(NUDGE)
    assert site.state(NUDGE) == "returned-unacknowledged"
    site.do(refill_seen, "a")
    assert site.state(NUDGE) == "normal"


def test_a_return_and_a_second_raise_count_as_two(site: Site) -> None:
    site.raise_(NUDGE)
    site.tell()
    site.clear(NUDGE)
    site.raise_(NUDGE)
    alarm = site.alarms[NUDGE]
    assert (alarm.state, alarm.raises, alarm.told) == ("unacknowledged", 2, 0)


def test_another_reason_changes_the_reason_only(site: Site) -> None:
    site.raise_(NUDGE)
    (change,) = site.look(NUDGE, True, reason="front-came")
    assert (change.event, change.before.reason, change.after.reason) == (None, "cooling", "front-came")
    assert change.after.state == "unacknowledged"
    assert site.look(NUDGE, True, reason="front-came") == ()


@pytest.mark.parametrize(
    ("hidden", "event"), [("acknowledged", "re-alarm"), ("shelved", "unshelve"), ("unacknowledged", None)]
)
def test_a_worse_reason_speaks_at_once(site: Site, hidden: AlarmState, event: AlarmEvent | None) -> None:
    in_state(site, hidden)
    site.tell()
    (change,) = site.look(HOT, True, after_s=1.0, reason="over-hard-ceiling")
    assert (change.event, change.after.state, change.after.priority) == (event, "unacknowledged", "critical")
    assert [key for key, _, _ in site.tell()] == [HOT]
    assert site.look(HOT, True, reason="hot") != ()
    assert site.alarms[HOT].priority == "critical", "it stays as bad as it was until it clears"
    site.clear(HOT)
    site.raise_(HOT, reason="hot")
    assert site.alarms[HOT].priority == "high"


def test_what_did_not_change_is_the_same_object(site: Site) -> None:
    site.raise_(HOT)
    before = site.alarms
    calm = [Verdict("too-hot", "b", False, True), Verdict("too-hot", "a", None, False)]
    after, changes = advance(before, calm, 9e9, 9e9)
    assert after is before
    assert changes == ()
    after, _ = advance(before, [Verdict("too-hot", "b", True, False)], 9e9, 9e9)
    assert after[HOT] is before[HOT]


# People


def test_acknowledging_by_key_and_by_box(site: Site) -> None:
    site.raise_(HOT)
    site.raise_(NUDGE)
    site.raise_("battery-low/probe-1")
    (change,) = site.do(acknowledge, HOT)
    assert (change.after.state, change.after.since_t_s) == ("acknowledged", site.t_s)
    (change,) = site.do(acknowledge, "a")
    assert change.key == NUDGE
    assert site.do(acknowledge, "a") == ()
    assert site.state("battery-low/probe-1") == "unacknowledged"


def test_an_answer_to_nothing_says_so_and_changes_nothing(site: Site) -> None:
    with pytest.raises(ImpossibleEvent, match="'acknowledge' can not happen while 'normal'"):
        site.do(acknowledge, HOT)
    with pytest.raises(UnknownAlarm, match="too-wet/a"):
        site.do(acknowledge, "too-wet/a")
    with pytest.raises(UnknownAlarm, match="too-hot/"):
        site.do(acknowledge, "too-hot/")
    assert site.alarms == {}


def test_a_refill_answers_for_its_own_box_only_and_not_for_heat(site: Site) -> None:
    keys = ("refill-not-seen/a", "refill-now/b", HOT)
    for key in keys:
        site.raise_(key)
    site.do(refill_seen, "a")
    assert [site.state(key) for key in keys] == [
        "acknowledged",
        "unacknowledged",
        "unacknowledged",
    ]


def test_an_acknowledged_alarm_that_still_holds_speaks_again(site: Site) -> None:
    site.raise_(NUDGE)
    site.tell()
    site.do(refill_seen, "a")
    realarm_s = CONDITIONS["refill-now"].realarm_s
    assert realarm_s is not None
    assert site.wait(realarm_s - 1.0) == ()
    assert site.tell() == ()
    (change,) = site.wait(1.0)
    assert change.event == "re-alarm"
    assert site.tell() == ((NUDGE, 2, 1),)


def test_a_shelf_has_an_end_and_tracks_what_is_under_it(site: Site) -> None:
    site.do(shelve, HOT, 7200.0)
    site.raise_(HOT)
    assert (site.state(HOT), site.alarms[HOT].active) == ("shelved", True)
    assert site.tell(quiet=False) == ()
    site.wait(7200.0)
    assert site.state(HOT) == "unacknowledged"
    site.do(shelve, HOT, 7200.0)
    site.clear(HOT)
    assert site.state(HOT) == "shelved"
    site.wait(7200.0)
    assert site.state(HOT) == "normal"
    assert site.alarms[HOT].shelved_until_t_s is None


def test_shelves_are_cut_to_12_h_and_critical_ones_to_60_min(site: Site) -> None:
    site.raise_(HOT)
    site.raise_(FLOOR)
    site.do(shelve, "a", 1e6)
    assert site.alarms[HOT].shelved_until_t_s == site.t_s + SHELVE_MAX_S
    assert site.alarms[FLOOR].shelved_until_t_s == site.t_s + CRITICAL_SHELVE_MAX_S
    assert site.alarms[FLOOR].shelved_until_wall_s == WALL0_S + site.t_s + 3600.0


def test_shelving_a_box_does_not_hide_what_is_not_yet_there(site: Site) -> None:
    site.raise_(NUDGE)
    site.raise_(HOT)
    site.clear(HOT)
    site.do(shelve, "a", 3600.0)
    site.raise_(HOT)
    assert (site.state(NUDGE), site.state(HOT)) == ("shelved", "unacknowledged")


@pytest.mark.parametrize("for_s", [0.0, -60.0, math.nan, math.inf])
def test_a_shelf_of_no_length_is_refused(site: Site, for_s: float) -> None:
    with pytest.raises(ValueError, match="for_s"):
        site.do(shelve, HOT, for_s)


def test_unshelving_by_hand_and_out_of_service(site: Site) -> None:
    site.raise_(HOT)
    site.do(shelve, "a", 3600.0)
    site.do(unshelve, "a")
    assert site.state(HOT) == "unacknowledged"
    site.do(remove, HOT)
    site.wait(1e7)
    assert site.state(HOT) == "out-of-service", "no timer ends it"
    with pytest.raises(ImpossibleEvent):
        site.do(shelve, HOT, 60.0)
    site.do(restore, HOT)
    assert site.state(HOT) == "unacknowledged"


# Suppressed by design


@pytest.mark.parametrize("below", sorted(SUPPRESSED_BY))
def test_under_the_hard_floor_one_voice_speaks_for_the_box(site: Site, below: str) -> None:
    site.raise_(f"{below}/a")
    site.raise_(f"{below}/b")
    site.raise_(FLOOR)
    assert (site.state(f"{below}/a"), site.state(f"{below}/b")) == ("suppressed", "unacknowledged")
    assert [key for key, _, _ in site.tell()] == [FLOOR, f"{below}/b"]
    site.clear(FLOOR)
    assert site.state(f"{below}/a") == "unacknowledged", "it still holds"
    assert f"{below}/a" in [key for key, _, _ in site.tell()]


def test_a_raise_under_suppression_makes_no_sound_even_in_the_same_step(site: Site) -> None:
    both = [Verdict("refill-now", "a", True, False, "cooling"), Verdict("under-hard-floor", "a", True, False)]
    for _ in range(2):
        site.take(advance(site.alarms, both, site.t_s, WALL0_S))
    assert [key for key, _, _ in site.tell()] == [FLOOR]


def test_the_end_of_a_suppression_has_a_reason_even_for_what_was_never_raised() -> None:
    alarms, _ = advance({}, [Verdict("refill-now", "a", True, False, "cooling")], 0.0, WALL0_S)
    changes: tuple[Change, ...] = ()
    for t_s, cold in ((1.0, True), (2.0, True), (1000.0, False), (2000.0, False)):
        look = Verdict("under-hard-floor", "a", cold, not cold, "under-hard-floor")
        alarms, changes = advance(alarms, [look], t_s, WALL0_S)
    assert [(c.key, c.event) for c in changes] == [(FLOOR, "clear"), (NUDGE, "unsuppress")]
    assert all(change.reason for change in changes)


def test_what_is_out_of_service_hides_nothing(site: Site) -> None:
    in_state(site, "suppressed")
    site.do(remove, FLOOR)
    assert site.state(NUDGE) == "unacknowledged"


# Telling


def test_repeats_and_channels_grow_until_answered(site: Site) -> None:
    site.raise_(NUDGE)
    got = []
    for _ in range(31):
        got += [(site.t_s, *nudge) for nudge in site.tell()]
        site.t_s += 60.0
    first = got[0][0]
    assert [(t - first, nudge, channels) for t, _, nudge, channels in got] == [
        (0.0, 1, 1),
        (600.0, 2, 1),
        (1200.0, 3, 2),
        (1800.0, 4, 2),
    ]
    site.do(acknowledge, NUDGE)
    site.t_s += 1200.0
    assert site.tell() == ()


def test_repeats_slow_down_for_a_keeper_who_is_not_there(site: Site) -> None:
    site.raise_(NUDGE)
    told: list[float] = []
    for _ in range(8 * 60):
        told += [site.t_s for _ in site.tell()]
        site.t_s += 60.0
    waits = [round((after - before) / 60.0) for before, after in itertools.pairwise(told)]
    assert waits[:18] == [10] * 5 + [20] * 6 + [40] * 6 + [60]
    site.raise_(FLOOR)
    told.clear()
    for _ in range(3 * 60):
        told += [site.t_s for key, _, _ in site.tell() if key == FLOOR]
        site.t_s += 60.0
    assert max(after - before for before, after in itertools.pairwise(told)) == 900.0


def test_what_is_on_its_way_back_is_not_repeated(site: Site) -> None:
    site.raise_(HOT)
    site.tell()
    site.t_s += 600.0
    back = Verdict("too-hot", "a", holds=False, clear=True)
    site.take(advance(site.alarms, [back], site.t_s, WALL0_S))
    assert site.state(HOT) == "unacknowledged"
    assert site.tell() == ()


def test_a_critical_alarm_alone_on_three_channels_stays_under_the_flood_limit(site: Site) -> None:
    site.raise_(FLOOR)
    sent: list[float] = []
    for _ in range(240):
        for _, _, channels in site.tell():
            sent += [site.t_s] * min(channels, 3)
        site.t_s += 15.0
    busiest = max(sum(1 for t in sent if at <= t < at + 600.0) for at in sent)
    assert busiest == 9, "EEMUA 191: a flood is 10 in 10 min (reference/standards.md section 1, V)"


@pytest.mark.parametrize("name", sorted(CONDITIONS))
def test_in_quiet_time_only_what_wakes(site: Site, name: str) -> None:
    site.raise_(f"{name}/a")
    assert bool(site.tell(quiet=True)) is CONDITIONS[name].wakes
    site.t_s += 86400.0
    assert bool(site.tell(quiet=False)) is (
        not CONDITIONS[name].wakes or CONDITIONS[name].repeat_s is not None
    )


def test_critical_by_its_reason_is_told_in_quiet_time_even_if_its_row_would_not_wake(
    site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(CONDITIONS, "too-hot", replace(CONDITIONS["too-hot"], wakes=False))
    site.raise_(HOT, reason="hot")
    assert site.tell(quiet=True) == ()
    site.look(HOT, True, reason="over-hard-ceiling")
    assert site.tell(quiet=True) == ((HOT, 1, 1),)
    assert site.alarms[HOT].urgency == 4


def test_what_came_and_went_in_the_quiet_hours_is_said_once(site: Site) -> None:
    key = "daemon-was-down/site"
    site.raise_(key)
    assert site.tell(quiet=True) == ()
    site.clear(key)
    assert site.tell(quiet=True) == ()
    assert site.tell(quiet=False) == ((key, 1, 1),)
    site.t_s += 86400.0
    assert site.tell(quiet=False) == ()


def test_alarms_survive_the_journal(site: Site) -> None:
    in_state(site, "suppressed")
    site.do(shelve, FLOOR, 600.0)
    for alarm in site.alarms.values():
        assert msgspec.json.decode(msgspec.json.encode(alarm), type=Alarm) == alarm
