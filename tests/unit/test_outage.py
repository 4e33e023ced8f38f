"""Promise: after hours without a network one message an alarm goes out, and one summary of what is over."""

from dataclasses import replace

import pytest
from sites import START_WALL_S, make_site
from watching import Watching

from coldbrood.watch.events import SendDone
from coldbrood.watch.outage import OUTAGE_S, hurry
from coldbrood.watch.outbox import Message

HOUR_S = 3600.0


def cut_off(boxes: str = "a") -> Watching:
    """A site whose only channel reaches nobody."""
    watching = Watching(make_site(boxes=boxes, channels=1), START_WALL_S)
    watching.outcome = "try-again"
    return watching


def keep_warm(watching: Watching, seconds: float, celsius: dict[str, float]) -> None:
    """Readings of all probes each five minutes, with the least of motion."""
    until_t_s, number = watching.t_s + seconds, 0
    while watching.t_s < until_t_s:
        number += 1
        for probe, value in {**celsius, "outdoor": 9.0}.items():
            watching.send_c(probe, value + 0.0625 * (number % 2))
        watching.pass_s(300.0)


def since(watching: Watching, count: int) -> list[str]:
    return [told.send.title for told in watching.told[count:]]


def test_two_hours_without_a_network_end_in_one_message_and_one_summary() -> None:
    watching = cut_off()
    keep_warm(watching, 2 * HOUR_S, {"box-a": 12.0})
    tried = len(watching.told)
    assert tried > 10, "it went on trying"
    watching.outcome = "accepted"
    keep_warm(watching, 600.0, {"box-a": 12.0})
    cold = [title for title in since(watching, tried) if title.startswith("Too cold")]
    (summary,) = [title for title in since(watching, tried) if not title.startswith("Too cold")]
    assert summary.startswith("No message could leave from 10:0")
    assert 1 <= len(cold) <= 3, "one at once, then the repeats of its own pace"


def test_what_came_and_went_meanwhile_is_in_the_summary() -> None:
    watching = cut_off()
    keep_warm(watching, 900.0, {"box-a": 34.5})
    keep_warm(watching, HOUR_S, {"box-a": 30.0})
    tried = len(watching.told)
    watching.outcome = "accepted"
    keep_warm(watching, 12 * HOUR_S, {"box-a": 30.0})
    (summary,) = [told.send for told in watching.told[tried:] if told.send.title.startswith("No message")]
    assert "Too hot: box A" in summary.body
    assert "Over by now" in summary.body
    assert not any(title.startswith("Too hot") for title in since(watching, tried)), "it is over: no alarm"


def test_a_short_break_needs_no_summary() -> None:
    watching = cut_off()
    keep_warm(watching, OUTAGE_S / 2, {"box-a": 12.0})
    tried = len(watching.told)
    watching.outcome = "accepted"
    keep_warm(watching, HOUR_S, {"box-a": 12.0})
    assert not any(title.startswith("No message") for title in since(watching, tried))


def test_the_summary_is_said_once() -> None:
    watching = cut_off()
    keep_warm(watching, HOUR_S, {"box-a": 12.0})
    watching.outcome = "accepted"
    keep_warm(watching, 6 * HOUR_S, {"box-a": 12.0})
    assert sum(title.startswith("No message") for title in watching.titles()) == 1


@pytest.mark.parametrize(("channel", "due_t_s"), [("phone", 50.0), ("other", 600.0)])
def test_a_success_hurries_what_waits_on_its_own_channel_only(channel: str, due_t_s: float) -> None:
    waiting = Message("x@phone", "x", "phone", "x", "", 3, 0.0, 0.0, 600.0, attempts=4)
    assert hurry({"x@phone": waiting}, channel, 50.0)["x@phone"].due_t_s == due_t_s


def test_a_first_try_that_is_not_due_yet_is_left_alone() -> None:
    waiting = Message("x@phone", "x", "phone", "x", "", 3, 0.0, 0.0, 600.0)
    box = {"x@phone": waiting, "y@phone": replace(waiting, key="y@phone", attempts=1, state="accepted")}
    assert hurry(box, "phone", 50.0) is box


def test_an_outcome_that_comes_twice_makes_no_second_summary() -> None:
    watching = cut_off()
    keep_warm(watching, HOUR_S, {"box-a": 12.0})
    watching.outcome = "accepted"
    keep_warm(watching, 600.0, {"box-a": 12.0})
    key = next(m.key for m in watching.state.outbox.values() if m.state == "accepted")
    before = len(watching.told)
    watching.do(SendDone(key, "accepted", ""))
    assert len(watching.told) == before
