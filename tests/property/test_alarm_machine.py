"""Promise: whatever comes in any order, silence clears nothing, critical is told, and no message is lost."""

from collections.abc import Callable, Mapping

import pytest
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule

from coldbrood.watch import alarms as machine
from coldbrood.watch import outbox
from coldbrood.watch.alarms import Alarm, Change, ImpossibleEvent, Verdict
from coldbrood.watch.alarmstates import TRANSITIONS, AlarmEvent, possible
from coldbrood.watch.conditions import CONDITIONS, SUPPRESSED_BY
from coldbrood.watch.events import SendDone, SendOutcome
from coldbrood.watch.outbox import Message

Result = tuple[Mapping[str, Alarm], tuple[Change, ...]]

CHANNELS = ("phone", "second", "horn")
BOXES = ("a", "b")
KEYS = tuple(f"{name}/{box}" for name in CONDITIONS for box in BOXES)
ENDED = ("accepted", "refused", "gave-up")
OUTCOMES: tuple[SendOutcome, ...] = ("accepted", "try-again", "refused", "unknown")

keys = st.sampled_from(KEYS)
targets = st.sampled_from((*KEYS, *BOXES))
looks = st.sampled_from(((True, False), (True, False), (False, False), (False, True), (None, False)))
reasons = st.sampled_from(("cooling", "front-came", "over-hard-ceiling"))


def verdict(key: str, holds: bool | None, clear: bool, reason: str = "") -> Verdict:
    condition, _, subject = key.partition("/")
    return Verdict(condition, subject, holds, clear, reason)


class Night(RuleBasedStateMachine):
    """Alarms and outbox as the step drives them, with a person and a network that do as they like."""

    def __init__(self) -> None:
        super().__init__()
        self.t_s = 0.0
        self.quiet = True
        self.alarms: Mapping[str, Alarm] = {}
        self.box: Mapping[str, Message] = {}
        self.ever: dict[str, Message] = {}
        self.reached: list[tuple[str, float]] = []

    def take(self, result: Result) -> None:
        """Every change follows the table; what is answered or over is withdrawn, as the step does."""
        for change in result[1]:
            if change.event is None:
                assert change.before.state == change.after.state
                assert change.before.reason != change.after.reason or change.after.last_told_t_s is None
            else:
                to = TRANSITIONS[change.before.state, change.event]
                by_condition = "unacknowledged" if change.after.active else "normal"
                assert change.after.state == (by_condition if to == "by-condition" else to)
            if change.event in ("acknowledge", "clear", "shelve", "suppress", "remove"):
                self.box = outbox.withdraw(self.box, change.key, self.t_s)
        self.alarms = result[0]

    @rule(looked=st.lists(st.tuples(keys, looks, reasons), min_size=1, max_size=4))
    def look(self, looked: list[tuple[str, tuple[bool | None, bool], str]]) -> None:
        verdicts = [verdict(key, holds, clear, reason) for key, (holds, clear), reason in looked]
        before = self.alarms
        result = machine.advance(before, verdicts, self.t_s, self.t_s)
        self.take(result)
        good = {v.key for v in verdicts if v.clear}
        for change in result[1]:
            if change.event == "clear":
                assert change.key in good, "cleared without a sample that clears"
        for key, alarm in before.items():
            if alarm.active and key not in good:
                assert self.alarms[key].active, "what held ended without a word"

    @rule(silent=st.lists(keys, min_size=1, max_size=6), count=st.integers(1, 5))
    def silence(self, silent: list[str], count: int) -> None:
        verdicts = [verdict(key, None, False) for key in silent] * count
        before = self.alarms
        after, changes = machine.advance(before, verdicts, self.t_s, self.t_s)
        assert after is before
        assert changes == ()

    @rule(seconds=st.sampled_from((1.0, 15.0, 60.0, 300.0, 1800.0, 4000.0, 50_000.0)))
    def pass_time(self, seconds: float) -> None:
        self.t_s += seconds
        self.take(machine.expire(self.alarms, self.t_s, self.t_s))

    @rule(about=targets)
    def acknowledge(self, about: str) -> None:
        self.by_person(
            about, "acknowledge", lambda: machine.acknowledge(self.alarms, about, self.t_s, self.t_s)
        )

    @rule(about=targets, for_s=st.sampled_from((60.0, 3600.0, 1e9)))
    def shelve(self, about: str, for_s: float) -> None:
        self.by_person(about, "shelve", lambda: machine.shelve(self.alarms, about, for_s, self.t_s, self.t_s))

    @rule(about=targets)
    def unshelve(self, about: str) -> None:
        self.by_person(about, "unshelve", lambda: machine.unshelve(self.alarms, about, self.t_s, self.t_s))

    @rule(key=keys)
    def remove(self, key: str) -> None:
        self.by_person(key, "remove", lambda: machine.remove(self.alarms, key, self.t_s, self.t_s))

    @rule(key=keys)
    def restore(self, key: str) -> None:
        self.by_person(key, "restore", lambda: machine.restore(self.alarms, key, self.t_s, self.t_s))

    def by_person(self, about: str, event: AlarmEvent, act: Callable[[], Result]) -> None:
        """It happens, or the table forbids it and nothing has changed."""
        before = self.alarms
        held = {key: alarm.active for key, alarm in before.items()}
        state = before[about].state if about in before else "normal"
        if about in BOXES or possible(state, event):
            self.take(act())
        else:
            with pytest.raises(ImpossibleEvent) as refusal:
                act()
            assert (refusal.value.state, refusal.value.event, refusal.value.key) == (state, event, about)
            assert self.alarms is before
        assert {key: self.alarms[key].active for key in held} == held, "no word of a person mends a box"

    @rule(box=st.sampled_from(BOXES))
    def refill(self, box: str) -> None:
        self.take(machine.refill_seen(self.alarms, box, self.t_s, self.t_s))
        for alarm in self.alarms.values():
            if alarm.subject == box and alarm.row.settled_by == "refill":
                assert alarm.state not in ("unacknowledged", "returned-unacknowledged")

    @rule()
    def turn_the_day(self) -> None:
        self.quiet = not self.quiet

    @rule()
    def beat(self) -> None:
        """Tell what wants telling, hand out what is due."""
        for key, nudge, channels in machine.to_tell(self.alarms, self.t_s, self.quiet):
            alarm = self.alarms[key]
            for channel in CHANNELS[:channels]:
                name = f"{key}#{alarm.raises}.{nudge}@{channel}"
                assert name not in self.ever, "a key was used twice"
                text = Message(name, key, channel, key, "", alarm.urgency, self.t_s, self.t_s, self.t_s)
                self.box = outbox.put(self.box, text)
            self.alarms = machine.told(self.alarms, key, self.t_s)
        self.box, sends = outbox.due(self.box, self.t_s)
        for send in sends:
            assert self.box[send.key].state == "sending"
            self.reached.append((send.key, self.t_s))
        if any(send.urgency < 4 for send in sends):
            assert sum(1 for _, at_s in self.reached if self.t_s - at_s < 600.0) <= outbox.FLOOD_MOST
        for message in self.box.values():
            due_now = message.state == "waiting" and message.due_t_s <= self.t_s
            assert not (due_now and message.urgency == 4), "critical and held back"
        self.critical_is_told()

    def critical_is_told(self) -> None:
        for key, alarm in self.alarms.items():
            back = alarm.off_since_t_s is not None
            if alarm.state == "unacknowledged" and alarm.priority == "critical" and not back:
                assert alarm.last_told_t_s is not None, "critical and untold, quiet or not"
                assert self.t_s - alarm.last_told_t_s < (alarm.wait_s or 0.0)
                assert f"{key}#{alarm.raises}.{alarm.told}@phone" in {*self.box, *self.ever}

    @precondition(lambda self: any(m.state == "sending" for m in self.box.values()))
    @rule(outcome=st.sampled_from(OUTCOMES), which=st.integers(0, 99))
    def answer(self, outcome: SendOutcome, which: int) -> None:
        sending = sorted(key for key, m in self.box.items() if m.state == "sending")
        key = sending[which % len(sending)]
        self.box = outbox.done(self.box, SendDone(key, outcome, outcome), CHANNELS, self.t_s)
        assert self.box[key].state != "sending"
        if outcome in ("try-again", "refused"):  # it reached nobody, so it takes no place in the window
            last = max(i for i, (name, _) in enumerate(self.reached) if name == key)
            del self.reached[last]

    @rule()
    def die_and_come_back(self) -> None:
        before = self.box
        self.box = outbox.resume(before, self.t_s)
        for key, row in self.box.items():
            assert row.state != "sending"
            if before[key].state == "sending":
                assert row.may_repeat or row.state == "gave-up"

    @rule()
    def prune(self) -> None:
        before = self.box
        self.box = outbox.prune(before, self.t_s)
        for key in before.keys() - self.box.keys():
            assert before[key].state in ENDED, "only what ended may be forgotten"
            self.ever[key] = before[key]

    @invariant()
    def no_message_is_lost_and_each_end_is_final(self) -> None:
        for key, was in self.ever.items():
            now = self.box.get(key, was)
            assert now.state in ENDED or key in self.box
            if was.state in ENDED:
                assert now.state == was.state, "what ended came back"
        self.ever.update(self.box)

    @invariant()
    def an_end_has_its_time_and_reason(self) -> None:
        for message in self.box.values():
            assert (message.state in ENDED) is (message.ended_t_s is not None)
            assert message.state != "gave-up" or message.last_detail

    @invariant()
    def the_states_agree_with_their_conditions(self) -> None:
        for alarm in self.alarms.values():
            if alarm.state in ("unacknowledged", "acknowledged"):
                assert alarm.active
            if alarm.state in ("normal", "returned-unacknowledged"):
                assert not alarm.active
            assert (alarm.state == "shelved") is (alarm.shelved_until_t_s is not None)
            if alarm.priority == "critical" and alarm.shelved_until_t_s is not None:
                assert alarm.shelved_until_t_s <= self.t_s + 3600.0
            if alarm.state == "suppressed":
                covers = [f"{above}/{alarm.subject}" for above in SUPPRESSED_BY[alarm.condition]]
                assert any(key in self.alarms and self.alarms[key].active for key in covers)


TestNight = Night.TestCase
TestNight.settings = settings(
    max_examples=60,
    stateful_step_count=40,
    deadline=None,  # the machine is shared: no check of time
    suppress_health_check=[HealthCheck.too_slow],
    derandomize=True,
)
