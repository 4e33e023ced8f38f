"""Promise: every message ends accepted, refused or given up; until then it waits and is tried again."""

from collections.abc import Mapping
from dataclasses import replace

import msgspec
import pytest

from coldbrood.watch.events import SendDone, SendNow, SendOutcome
from coldbrood.watch.outbox import (
    AGAIN,
    FLOOD_MOST,
    GIVE_UP_S,
    KEEP_S,
    STUCK_S,
    Message,
    done,
    due,
    prune,
    put,
    resume,
    withdraw,
)

CHANNELS = ("phone", "second", "horn")
NUDGE = "refill-now/a"


def message(
    key: str = "refill-now/a#1.1@phone", urgency: int = 3, t_s: float = 0.0, about: str = NUDGE
) -> Message:
    channel = key.rpartition("@")[2]
    return Message(key, about, channel, "Refill now: box A 19.8 C", "Floor 21.", urgency, t_s, 1e9 + t_s, t_s)


class Box:
    """An outbox driven by hand."""

    def __init__(self, *messages: Message) -> None:
        self.rows: Mapping[str, Message] = {}
        for one in messages:
            self.rows = put(self.rows, one)

    def due(self, t_s: float) -> tuple[SendNow, ...]:
        self.rows, sends = due(self.rows, t_s)
        return sends

    def done(self, key: str, outcome: SendOutcome, t_s: float) -> None:
        self.rows = done(self.rows, SendDone(key, outcome, f"said {outcome}"), CHANNELS, t_s)

    def states(self) -> dict[str, str]:
        return {key: row.state for key, row in self.rows.items()}


KEY = message().key


def test_a_message_goes_out_once_and_is_accepted() -> None:
    box = Box(message())
    (send,) = box.due(0.0)
    assert send == SendNow(KEY, "phone", "Refill now: box A 19.8 C", "Floor 21.", 3, 1)
    assert box.due(1.0) == ()
    box.done(KEY, "accepted", 2.0)
    assert box.due(1e5) == ()
    row = box.rows[KEY]
    assert (row.state, row.last_detail, row.ended_t_s) == ("accepted", "said accepted", 2.0)


def test_a_key_counts_once() -> None:
    box = Box(message())
    before = box.rows
    assert put(before, replace(message(), title="Another")) is before


def test_not_before_it_is_due() -> None:
    box = Box(replace(message(), due_t_s=100.0))
    assert box.due(99.9) == ()
    assert len(box.due(100.0)) == 1


def test_back_off_doubles_from_15_s_to_10_min() -> None:
    box, t_s, waits = Box(message()), 0.0, []
    for _ in range(9):
        (send,) = [s for s in box.due(t_s) if s.key == KEY]
        box.done(KEY, "try-again", t_s)
        waits.append(box.rows[KEY].due_t_s - t_s)
        assert KEY not in [s.key for s in box.due(box.rows[KEY].due_t_s - 0.1)]
        t_s = box.rows[KEY].due_t_s
    assert waits == [15, 30, 60, 120, 240, 480, 600, 600, 600]
    assert send.attempt == 9


@pytest.mark.parametrize("outcome", ["try-again", "unknown"])
def test_the_next_channel_joins_after_three_failures_and_the_first_goes_on(outcome: SendOutcome) -> None:
    box, t_s = Box(message()), 0.0
    for _ in range(3):
        assert list(box.rows) == [KEY]
        box.due(t_s)
        box.done(KEY, outcome, t_s)
        t_s = box.rows[KEY].due_t_s
    second = "refill-now/a#1.1@second"
    assert box.states() == {KEY: "waiting", second: "waiting"}
    assert [s.channel for s in box.due(t_s)] == ["phone", "second"]
    assert box.rows[second].about == NUDGE
    box.done(KEY, outcome, t_s)
    assert len(box.rows) == 2, "it joins once"


def test_refused_goes_to_the_next_channel_at_once_and_ends_at_the_last() -> None:
    box = Box(message())
    for channel in CHANNELS:
        (send,) = box.due(5.0)
        assert (send.channel, send.attempt) == (channel, 1)
        box.done(send.key, "refused", 5.0)
    assert box.due(1e5) == ()
    assert set(box.states().values()) == {"refused"}
    assert len(box.rows) == 3


def test_the_unknown_is_sent_again_with_a_mark_and_the_same_key() -> None:
    box = Box(message())
    box.due(0.0)
    box.done(KEY, "unknown", 10.0)
    (send,) = box.due(25.0)
    assert (send.key, send.title) == (KEY, "Refill now: box A 19.8 C" + AGAIN)
    box.done(KEY, "try-again", 30.0)
    (send,) = box.due(60.0)
    assert send.title.endswith(AGAIN), "the doubt does not end by a later failure"


def test_the_mark_fits_the_channels_title() -> None:
    box = Box(replace(message(), title="x" * 60, may_repeat=True))
    (send,) = box.due(0.0)
    assert len(send.title) == 60
    assert send.title.endswith("x" + AGAIN)


def test_after_a_restart_what_was_being_sent_waits_with_the_mark() -> None:
    box = Box(message(), message("digest/1@phone", 1, about="digest/1"))
    box.due(0.0)
    box.done("digest/1@phone", "accepted", 1.0)
    before = box.rows
    box.rows = resume(before, 50.0)
    assert box.rows["digest/1@phone"] is before["digest/1@phone"]
    (send,) = box.due(50.0)
    assert send.title.endswith(AGAIN)
    assert box.states()[KEY] == "sending"


def test_a_worker_that_never_answers_is_not_waited_for_for_ever() -> None:
    box = Box(message())
    box.due(0.0)
    assert box.due(STUCK_S - 1.0) == ()
    (send,) = box.due(STUCK_S)
    assert send.title.endswith(AGAIN)


def test_an_answer_that_comes_late_counts_only_if_it_says_accepted() -> None:
    box = Box(message())
    box.due(0.0)
    box.rows = resume(box.rows, 5.0)
    box.done(KEY, "refused", 6.0)
    assert box.states() == {KEY: "waiting"}
    box.done(KEY, "accepted", 7.0)
    assert box.states() == {KEY: "accepted"}
    box.done(KEY, "unknown", 8.0)
    assert box.states() == {KEY: "accepted"}
    before = box.rows
    box.done("never/heard@phone", "accepted", 9.0)
    assert box.rows is before


def test_it_is_given_up_after_24_h_with_the_last_reason() -> None:
    box = Box(message())
    t_s = 0.0
    while box.rows[KEY].state == "waiting":
        if any(s.key == KEY for s in box.due(t_s)):
            box.done(KEY, "try-again", t_s)
        t_s = max(t_s + 1.0, box.rows[KEY].due_t_s)
    assert box.rows[KEY].last_detail == "24 h: said try-again"
    assert GIVE_UP_S <= (box.rows[KEY].ended_t_s or 0.0) <= GIVE_UP_S + 600.0


def test_what_is_settled_is_not_sent_and_not_repeated() -> None:
    other = message("refill-now/b#1.1@phone", about="refill-now/b")
    box = Box(message(), replace(message("refill-now/a#1.1@second"), due_t_s=100.0), other)
    box.due(0.0)
    box.rows = withdraw(box.rows, NUDGE, 5.0)
    assert box.states() == {KEY: "sending", "refill-now/a#1.1@second": "gave-up", other.key: "sending"}
    box.done(KEY, "unknown", 6.0)
    assert box.states()[KEY] == "gave-up"
    assert box.due(800.0) == ()


@pytest.mark.parametrize("outcome", ["accepted", "refused"])
def test_settled_while_being_sent_ends_as_it_ends_and_wakes_no_other_channel(outcome: SendOutcome) -> None:
    box = Box(message())
    box.due(0.0)
    box.rows = withdraw(box.rows, NUDGE, 5.0)
    box.done(KEY, outcome, 6.0)
    assert box.states() == {KEY: outcome}


def test_settled_while_the_daemon_was_down_is_not_repeated() -> None:
    box = Box(message())
    box.due(0.0)
    box.rows = resume(withdraw(box.rows, NUDGE, 5.0), 50.0)
    assert box.states() == {KEY: "gave-up"}


def test_a_newer_nudge_overtakes_an_older_that_still_waits() -> None:
    box = Box(message())
    box.due(0.0)
    box.done(KEY, "try-again", 0.0)
    newer = message("refill-now/a#1.2@phone", t_s=10.0)
    box.rows = put(box.rows, newer)
    assert box.states() == {KEY: "gave-up", newer.key: "waiting"}
    assert box.rows[KEY].last_detail == f"overtaken by {newer.key}"
    box.rows = put(box.rows, message("refill-now/a#1.2@second", t_s=10.0))
    assert box.states()[newer.key] == "waiting", "another channel is no newer word on this one"


def test_two_hours_without_a_network_end_in_one_message_per_alarm_and_channel() -> None:
    box = Box()
    for minute in range(0, 120, 5):
        for name in "abc":
            key = f"refill-now/{name}#1.{minute}@phone"
            box.rows = put(box.rows, message(key, t_s=minute * 60.0, about=f"refill-now/{name}"))
        for beat in range(0, 300, 15):
            for send in box.due(minute * 60.0 + beat):
                box.done(send.key, "try-again", minute * 60.0 + beat)
    sent: list[SendNow] = []
    for beat in range(7200, 9000, 15):
        for send in box.due(float(beat)):
            box.done(send.key, "accepted", float(beat))
            sent.append(send)
    told = sorted((send.channel, send.key.partition("#")[0]) for send in sent)
    assert told == sorted((channel, f"refill-now/{name}") for channel in CHANNELS for name in "abc")
    assert all(state in ("accepted", "gave-up") for state in box.states().values())


def test_never_over_ten_in_ten_minutes_and_nothing_critical_held() -> None:
    many = [message(f"battery-low/p{n}#1.1@phone", 1, about=f"battery-low/p{n}") for n in range(25)]
    box, sent = Box(*many), []
    for t_s in range(0, 3600, 15):
        if t_s == 60:
            for n in range(3):
                about = f"under-hard-floor/{n}"
                box.rows = put(box.rows, message(f"{about}#1.1@phone", 4, 60.0, about))
        for send in box.due(float(t_s)):
            sent.append((t_s, send.urgency))
            box.done(send.key, "accepted", float(t_s))
        if t_s == 0:
            held = [row for row in box.rows.values() if row.state == "waiting"]
            assert {row.last_detail for row in held} == {"held back: 10 messages in 10 min"}
            assert len(held) == 25 - FLOOD_MOST
    assert len(sent) == 28, "held, not lost"
    assert [t for t, urgency in sent if urgency == 4] == [60, 60, 60]
    for t_s, urgency in sent:
        if urgency < 4:
            assert sum(1 for at, _ in sent if t_s - 600 < at <= t_s) <= FLOOD_MOST


def test_what_reached_nobody_takes_no_place_in_the_window() -> None:
    box = Box(*(message(f"battery-low/p{n}#1.1@phone", 1, about=f"battery-low/p{n}") for n in range(10)))
    for send in box.due(0.0):
        box.done(send.key, "try-again", 0.0)
    assert len(box.due(15.0)) == FLOOD_MOST


def test_the_most_urgent_goes_first_then_the_oldest() -> None:
    box = Box(
        message("b@phone", 2, 0.0, "b"),
        message("c@phone", 4, 2.0, "c"),
        message("a@phone", 2, 1.0, "a"),
        message("d@phone", 1, 0.0, "d"),
    )
    assert [send.key[0] for send in box.due(5.0)] == ["c", "b", "a", "d"]


def test_what_ended_is_forgotten_after_48_h_and_what_waits_is_not() -> None:
    box = Box(message(), message("d@phone", about="d", t_s=0.0))
    box.due(0.0)
    box.done(KEY, "accepted", 10.0)
    assert prune(box.rows, 10.0 + KEEP_S - 1.0) is box.rows
    assert list(prune(box.rows, 10.0 + KEEP_S)) == ["d@phone"]


def test_what_did_not_change_is_the_same_object() -> None:
    box = Box(message())
    box.due(0.0)
    before = box.rows
    assert box.due(1.0) == ()
    assert box.rows is before
    assert withdraw(before, "too-hot/z", 1.0) is before
    assert resume({}, 1.0) == {}


def test_a_channel_no_longer_in_the_config_leads_to_the_first() -> None:
    box = Box(message("refill-now/a#1.1@pager"))
    box.due(0.0)
    box.done("refill-now/a#1.1@pager", "refused", 1.0)
    assert [send.channel for send in box.due(1.0)] == ["phone"]


def test_messages_survive_the_journal() -> None:
    box = Box(message())
    box.due(0.0)
    (row,) = box.rows.values()
    assert row.reached_t_s == (0.0,)
    assert msgspec.json.decode(msgspec.json.encode(row), type=Message) == row
