"""Promise: states, transitions, deadband and delays are those of IEC 62682 / ISA-18.2, as restated."""

from collections.abc import Mapping

import pytest

from coldbrood.watch.alarms import Alarm, Verdict, advance
from coldbrood.watch.alarmstates import STATES, TRANSITIONS, AlarmEvent, AlarmState
from coldbrood.watch.conditions import CONDITIONS

# PyAutomation documentation, Alarms API, restating ISA-18.2 (reference/standards.md section 1,
# V: PA): the seven states without latching, and the transitions among the first four.
ISA_STATES = {
    "normal",
    "unacknowledged",
    "acknowledged",
    "returned-unacknowledged",
    "shelved",
    "suppressed",
    "out-of-service",
}
ISA_TRANSITIONS: dict[tuple[AlarmState, AlarmEvent], AlarmState] = {
    ("normal", "raise"): "unacknowledged",
    ("unacknowledged", "acknowledge"): "acknowledged",
    ("unacknowledged", "clear"): "returned-unacknowledged",
    ("acknowledged", "clear"): "normal",
    ("acknowledged", "re-alarm"): "unacknowledged",  # re-alarm time: OPC 10000-9 v1.05 section 4.8 (V: OPC)
    ("returned-unacknowledged", "acknowledge"): "normal",
    ("returned-unacknowledged", "raise"): "unacknowledged",
}


def test_the_states_are_the_seven_of_the_standard() -> None:
    assert set(STATES) == ISA_STATES


def test_the_transitions_among_the_first_four_are_the_standards_and_no_more() -> None:
    four = {"normal", "unacknowledged", "acknowledged", "returned-unacknowledged"}
    ours = {pair: to for pair, to in TRANSITIONS.items() if pair[0] in four and to in four}
    assert ours == ISA_TRANSITIONS


@pytest.mark.parametrize("state", ["normal", "unacknowledged", "acknowledged", "returned-unacknowledged"])
def test_each_of_them_can_be_shelved_suppressed_and_removed(state: AlarmState) -> None:
    # V: PA. Shelved by a person, suppressed by the system (V: OPC), out of service by maintenance.
    assert TRANSITIONS[state, "shelve"] == "shelved"
    assert TRANSITIONS[state, "suppress"] == "suppressed"
    assert TRANSITIONS[state, "remove"] == "out-of-service"


LIMIT_C, DEADBAND_C = 40.0, 0.5


def judge(value_c: float) -> Verdict:
    """A high alarm with deadband: on at x >= limit, off only at x <= limit - d (V: OPC)."""
    return Verdict("too-hot", "a", value_c >= LIMIT_C, value_c <= LIMIT_C - DEADBAND_C)


def test_the_worked_example_of_deadband_and_counted_samples() -> None:
    # reference/standards.md section 12 row 15 (C): on at the 4th, off at the 7th.
    assert (CONDITIONS["too-hot"].on_samples, CONDITIONS["too-hot"].off_samples) == (2, 2)
    alarms: Mapping[str, Alarm] = {}
    events = []
    period_s = CONDITIONS["too-hot"].off_after_s  # so that the time asks no more than the samples do
    for number, value_c in enumerate((40.1, 39.9, 40.0, 40.2, 39.6, 39.5, 39.5), start=1):
        alarms, changes = advance(alarms, [judge(value_c)], number * period_s, 0.0)
        events += [(number, change.event) for change in changes if change.event in ("raise", "clear")]
    assert events == [(4, "raise"), (7, "clear")]


@pytest.mark.parametrize(("crossed_s", "expected_s"), [(1.0, 599.0), (299.0, 301.0), (300.0, 300.0)])
def test_two_samples_at_300_s_alarm_300_to_600_s_after_the_crossing(
    crossed_s: float, expected_s: float
) -> None:
    # reference/standards.md section 1 (C): more than (n - 1) T, at most n T; a sample at the
    # crossing itself sees it at once, hence 300 exactly.
    alarms: Mapping[str, Alarm] = {}
    raised_s = None
    for sample in range(1, 6):
        t_s = 300.0 * sample
        alarms, changes = advance(alarms, [judge(41.0 if t_s >= crossed_s else 30.0)], t_s, 0.0)
        if changes and raised_s is None:
            raised_s = t_s
    assert raised_s is not None
    assert raised_s - crossed_s == expected_s


def test_a_missing_sample_is_not_a_no() -> None:
    # reference/standards.md section 1 (C): it neither completes nor resets the count.
    alarms, _ = advance({}, [judge(41.0)], 0.0, 0.0)
    alarms, changes = advance(alarms, [Verdict("too-hot", "a", None, False)], 300.0, 0.0)
    assert changes == ()
    _, changes = advance(alarms, [judge(41.0)], 600.0, 0.0)
    assert [change.event for change in changes] == ["raise"]


def test_one_alarm_at_300_s_goes_on_at_most_6_times_an_hour() -> None:
    # reference/standards.md section 1 (C): at T = 300 s at most 6 times an hour even with n = 1
    # both ways and no deadband. probe-silent has n = 1 on and n = 2 off: 12 samples / 3 = 4.
    alarms: Mapping[str, Alarm] = {}
    raises = 0
    for sample in range(12):
        holds = sample % 3 == 0
        verdict = Verdict("probe-silent", "p", holds, not holds)
        alarms, changes = advance(alarms, [verdict], 300.0 * sample, 0.0)
        raises += sum(change.event == "raise" for change in changes)
    assert raises == 4
