"""Promise: noise comes at once for what is critical, for a nudge when unanswered; an answer ends it.

What is critical is never hidden by the night, by a noise that is missing, or by a network that is gone.
"""

from dataclasses import replace

import pytest
from sites import START_WALL_S, make_site
from watching import Watching

from coldbrood.watch import alarms as machine
from coldbrood.watch.alarmstates import STATES, Alarm, AlarmState, blank
from coldbrood.watch.conditions import CONDITIONS
from coldbrood.watch.events import Act, Event, Note, Sound
from coldbrood.watch.sounding import CRITICAL_SOUNDS_S, SOUNDS_S, due

AFTER_S = 600.0
NIGHT_WALL_S = START_WALL_S + 14 * 3600.0  # midnight


def raised(condition: str, t_s: float = 0.0, reason: str = "x", told_t_s: float | None = None) -> Alarm:
    row = CONDITIONS[condition]
    return replace(
        blank(condition, "a"),
        state="unacknowledged",
        active=True,
        priority=row.priority_for(reason),
        raised_t_s=t_s,
        since_t_s=t_s,
        told=0 if told_t_s is None else 1,
        last_told_t_s=told_t_s,
        raises=1,
    )


def sounds(alarm: Alarm, t_s: float, after_s: float = AFTER_S) -> bool:
    return due({alarm.key: alarm}, after_s, t_s) == (alarm.key,)


def test_what_is_critical_sounds_at_once_and_for_an_hour() -> None:
    alarm = raised("under-hard-floor")
    assert sounds(alarm, 0.0)
    assert sounds(alarm, CRITICAL_SOUNDS_S - 1.0)
    assert not sounds(alarm, CRITICAL_SOUNDS_S)
    again = replace(alarm, last_told_t_s=CRITICAL_SOUNDS_S + 100.0)
    assert sounds(again, CRITICAL_SOUNDS_S + 100.0 + SOUNDS_S - 1.0)
    assert not sounds(again, CRITICAL_SOUNDS_S + 100.0 + SOUNDS_S)


def test_a_nudge_sounds_only_when_unanswered_for_the_time_in_the_config() -> None:
    alarm = raised("refill-now", told_t_s=AFTER_S)
    assert not sounds(alarm, AFTER_S - 1.0)
    assert sounds(alarm, AFTER_S)
    assert not sounds(alarm, AFTER_S + SOUNDS_S)
    assert sounds(raised("refill-now", told_t_s=0.0), 0.0, after_s=0.0)


@pytest.mark.parametrize("state", STATES)
def test_only_an_unanswered_alarm_sounds(state: AlarmState) -> None:
    alarm = replace(raised("under-hard-floor"), state=state)
    assert sounds(alarm, 10.0) == (state == "unacknowledged")


@pytest.mark.parametrize("condition", sorted(CONDITIONS))
def test_what_may_not_wake_makes_no_noise(condition: str) -> None:
    row = CONDITIONS[condition]
    heard = sounds(raised(condition, told_t_s=AFTER_S), AFTER_S)
    assert heard == (row.wakes or row.priority == "critical")


CRITICAL = [
    (row.name, reason)
    for row in CONDITIONS.values()
    for reason in ("x", *sorted(row.critical_reasons))
    if row.priority_for(reason) == "critical"
]


@pytest.mark.parametrize(("condition", "reason"), CRITICAL)
def test_quiet_hours_cannot_hide_a_critical_one(condition: str, reason: str) -> None:
    alarm = raised(condition, reason=reason)
    ((key, nudge, _),) = machine.to_tell({alarm.key: alarm}, 1.0, True)
    assert (key, nudge) == (alarm.key, 1)


def test_there_is_something_critical_to_hide() -> None:
    assert {condition for condition, _ in CRITICAL} >= {"under-hard-floor", "too-hot"}


class Listening(Watching):
    """Keeps every act."""

    def __post_init__(self) -> None:
        self.acts: list[Act] = []
        super().__post_init__()

    def do(self, event: Event) -> tuple[Act, ...]:
        acts = super().do(event)
        self.acts += acts
        return acts


def noises(watching: Listening) -> list[tuple[str, ...]]:
    return [act.alarms for act in watching.acts if isinstance(act, Sound)]


def listening(wall_s: float = NIGHT_WALL_S, after_s: float | None = AFTER_S) -> Listening:
    return Listening(replace(make_site(), sounder_after_s=after_s), wall_s)


def freeze(watching: Watching) -> None:
    """A box far under its hard floor, seen twice."""
    for celsius in (24.0, 10.0, 9.9, 9.8):
        watching.send_c("box-a", celsius)
        watching.pass_s(300.0)


def test_the_cold_box_at_midnight_is_heard_and_an_answer_ends_it() -> None:
    watching = listening()
    freeze(watching)
    assert noises(watching)[-1] == ("under-hard-floor/a",)
    watching.do(Note("k", "acknowledge", "a", watching.t_s, watching.wall_s, alarm="under-hard-floor/a"))
    assert noises(watching)[-1] == ()
    said = [line.state for line in watching.history if line.kind == "sounder"]
    assert said == ["sounding", "silent"] * (len(said) // 2)


def test_no_network_at_all_changes_nothing_about_the_noise() -> None:
    online, offline = listening(), listening()
    offline.outcome = "try-again"
    freeze(online)
    freeze(offline)
    assert noises(offline) == noises(online)
    assert noises(offline)


def test_without_a_sounder_there_is_no_noise() -> None:
    watching = listening(after_s=None)
    freeze(watching)
    assert noises(watching) == []
