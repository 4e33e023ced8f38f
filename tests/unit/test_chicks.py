"""Through the whole step: a weak chick is asked after, milestones come mornings, a weak box on day 0."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from sites import START_WALL_S, make_site
from watching import Told, Watching

from coldbrood.brooder.sizing import size
from coldbrood.brooder.specs import Flock
from coldbrood.watch.assess import outdoor_ahead
from coldbrood.watch.chicks import low_ahead, weak_words
from coldbrood.watch.events import LookIn, Morning, Note
from coldbrood.watch.site import BatchSpec, Site

HOUR_S, DAY_S = 3600.0, 86_400.0


def told(watching: Watching, start: str) -> list[Told]:
    """Messages on the first channel whose key begins so."""
    channel = watching.site.channels[0].name
    return [one for one in watching.told if one.send.key.startswith(start) and one.send.channel == channel]


def look_in(watching: Watching, kind: LookIn, box: str = "a") -> None:
    key = f"{kind}-{watching.t_s}"
    watching.do(Note(key, "look-in", box, watching.t_s, watching.wall_s, look_in=kind))


def leap(watching: Watching, seconds: float) -> None:
    """Time goes by without beats."""
    watching.t_s, watching.wall_s = watching.t_s + seconds, watching.wall_s + seconds


def chill(watching: Watching) -> None:
    """The box falls under its floor, so that a refill is asked for."""
    for _ in range(3):
        watching.send_c("box-a", 17.0)
        watching.send_c("outdoor", 4.0)
        watching.pass_s(60.0)


ASKED = "And the weak one: up, warm, drinking? If it gets no better, ask a vet."


def test_the_next_refill_message_asks_after_the_weak_one() -> None:
    watching = Watching(make_site(), START_WALL_S)
    watching.send_c("box-a", 26.0)
    look_in(watching, "weak")
    leap(watching, HOUR_S)
    chill(watching)
    assert told(watching, "refill-now")[-1].send.body.endswith(f"the water scalds. {ASKED}")


def test_it_is_not_asked_in_the_same_visit_nor_after_an_answer() -> None:
    watching = Watching(make_site(), START_WALL_S)
    watching.send_c("box-a", 26.0)
    look_in(watching, "weak")
    chill(watching)
    assert ASKED not in told(watching, "refill-now")[0].send.body
    later = Watching(make_site(), START_WALL_S)
    look_in(later, "weak")
    leap(later, HOUR_S)
    look_in(later, "drinking")
    leap(later, HOUR_S)
    chill(later)
    assert ASKED not in told(later, "refill-now")[0].send.body


def test_a_loss_answers_and_a_loss_taken_back_asks_again() -> None:
    watching = Watching(make_site(), START_WALL_S)
    watching.send_c("box-a", 26.0)
    look_in(watching, "weak")
    leap(watching, HOUR_S)
    watching.do(Note("lost", "loss", "a", watching.t_s, watching.wall_s))
    leap(watching, HOUR_S)
    watching.do(Morning())
    assert ASKED not in told(watching, "morning")[0].send.body
    watching.do(Note("back", "withdraw", None, watching.t_s, watching.wall_s, text="lost"))
    leap(watching, DAY_S)
    watching.do(Morning())
    assert f"Box A: {ASKED}" in told(watching, "morning")[1].send.body


@pytest.mark.parametrize(("ago_h", "box_c"), [(0.0, 24.0), (0.3, 24.0), (2.0, 18.0), (6.0, None)])
def test_a_look_in_speaks_of_the_warmth_it_was_taken_in(ago_h: float, box_c: float | None) -> None:
    watching = Watching(make_site(), START_WALL_S)
    watching.send_c("box-a", 18.0)
    leap(watching, 2 * HOUR_S)
    watching.send_c("box-a", 24.0)
    leap(watching, 10.0)
    t_s, wall_s = watching.t_s - ago_h * HOUR_S, watching.wall_s - ago_h * HOUR_S
    watching.do(Note("seen", "look-in", "a", t_s, wall_s, look_in="huddled"))
    assert watching.state.sight.boxes["a"].look_ins[-1].box_c == box_c


def test_bedtime_and_morning_ask_by_box() -> None:
    watching = Watching(make_site("ab"), START_WALL_S + 11.9 * HOUR_S)
    for probe in ("box-a", "box-b", "outdoor"):
        watching.send_c(probe, 25.0)
    look_in(watching, "apart", "b")
    watching.pass_s(0.2 * HOUR_S)
    assert "the one apart" not in told(watching, "bedtime")[0].send.body  # told minutes ago: the same visit
    leap(watching, 8.0 * HOUR_S)
    watching.do(Morning())
    body = told(watching, "morning")[0].send.body
    assert "Box B: And the one apart: up, warm, drinking?" in body
    assert "Box A: And" not in body


def aged(days: int, boxes: str = "a") -> Site:
    """A site whose chicks are so many days old at the start."""
    made = make_site(boxes)
    arrival = datetime.fromtimestamp(START_WALL_S, UTC).date() - timedelta(days=days)
    return replace(made, batch=replace(made.batch, arrival=arrival))


def warm_days(watching: Watching, days: int, high_c: float, low_c: float) -> None:
    """Days of outdoor readings each half hour, the low at 05:00, without beats."""
    for _ in range(days * 48):
        hour = (watching.wall_s % DAY_S) / HOUR_S
        share = 1.0 - abs(((hour - 17.0 + 12.0) % 24.0) - 12.0) / 12.0
        watching.send_c("outdoor", low_c + (high_c - low_c) * share)
        watching.send_c("box-a", 22.0)
        leap(watching, 1800.0)


def test_a_milestone_is_told_once_and_again_when_it_was_otherwise() -> None:
    watching = Watching(aged(12), START_WALL_S - 3.5 * HOUR_S)
    warm_days(watching, 2, 22.0, 16.0)

    def morning(seen: LookIn = "spread") -> str:
        look_in(watching, seen)
        watching.send_c("box-a", 22.0)
        watching.do(Morning())
        body = told(watching, "morning")[-1].send.body
        leap(watching, 60.0)
        warm_days(watching, 1, 22.0, 16.0)
        return body

    first = morning()
    assert "Keep the jugs for now, or go back to them: no look-in shows" in first
    assert "Keep the jugs" not in morning()
    third = morning()
    assert "The jugs may stop: box a without a jug ends at" in third
    assert "The jugs may stop" not in morning()
    assert "go back to them: the chicks of box a were seen huddled" in morning("huddled")


def tonight_c(watching: Watching) -> float:
    ahead = outdoor_ahead(watching.site, watching.state.sight, watching.now)
    return low_ahead(watching.site, watching.now, ahead)[0]


def day_0(**box: float) -> Watching:
    made = make_site()
    today = datetime.fromtimestamp(START_WALL_S, UTC).date()
    spec = replace(made.boxes["a"], **box)  # type: ignore[arg-type] # numbers of the box
    batch = BatchSpec(today, None, "layer", {"a": 14})
    return Watching(replace(made, batch=batch, boxes={"a": spec}), START_WALL_S)


def test_a_box_too_weak_for_its_first_night_is_told_on_day_0_once_with_what_helps() -> None:
    watching = day_0(jug_litres=2.0, insulation_mm=10.0)
    watching.send_c("outdoor", 6.0)
    watching.pass_s(600.0)
    watching.send_c("outdoor", 6.0)
    watching.pass_s(600.0)
    (message,) = told(watching, "sizing")
    assert message.send.title == "Too weak for tonight: box A"
    assert "the timetable asks for 4 h, and some to spare. What helps most: " in message.send.body
    assert message.send.urgency == 1
    assert len(message.send.body) <= 500


def test_what_it_says_is_the_sizing_at_tonights_low() -> None:
    watching = day_0(jug_litres=3.0, insulation_mm=25.0)
    watching.send_c("outdoor", 6.0)
    watching.pass_s(30.0)
    low_c, _ = low_ahead(
        watching.site, watching.now, outdoor_ahead(watching.site, watching.state.sight, watching.now)
    )
    assert low_c < 6.0
    spoken = weak_words(watching.site, watching.state, "a", watching.now, low_c)
    bank = watching.state.sight.boxes["a"].estimate.bank
    held = size(watching.site.boxes["a"], Flock(14, 0.4, "layer"), low_c, 21.11, bank)
    assert spoken is not None
    assert held.median_h is not None
    assert 1.0 < held.median_h < 4.0
    assert f"a fill holds about {held.median_h:.1f} h (" in spoken.body
    assert f"at {low_c:.1f}".removesuffix(".0") in spoken.body


def test_a_jug_that_cannot_warm_the_box_is_said_to_hold_less_than_an_hour() -> None:
    watching = day_0(jug_litres=1.0, insulation_mm=0.0)
    spoken = weak_words(watching.site, watching.state, "a", watching.now, -5.0)
    assert spoken is not None
    assert "a fill holds less than 1 h (0 to 0)" in spoken.body
    assert "No one change is enough: add two." in spoken.body


def test_a_box_learned_before_is_judged_by_what_was_learned() -> None:
    watching = day_0(jug_litres=2.0, insulation_mm=10.0)
    box = watching.state.sight.boxes["a"]
    theta = box.estimate.bank.theta.copy()
    theta[1] -= 2.0  # the batch before taught that it loses little
    bank = replace(box.estimate.bank, theta=theta)
    box = replace(box, estimate=replace(box.estimate, bank=bank))
    watching.state = replace(watching.state, sight=replace(watching.state.sight, boxes={"a": box}))
    watching.send_c("outdoor", 6.0)
    watching.pass_s(600.0)
    assert told(watching, "sizing") == []


def test_a_strong_box_has_no_message() -> None:
    watching = day_0(jugs=3, jug_litres=6.0, insulation_mm=80.0)
    watching.send_c("outdoor", 12.0)
    watching.pass_s(1200.0)
    assert told(watching, "sizing") == []


def test_without_an_outdoor_probe_it_waits_half_an_hour_and_then_goes_on() -> None:
    watching = day_0(jug_litres=2.0, insulation_mm=10.0)
    watching.pass_s(1500.0)
    assert told(watching, "sizing") == []
    watching.pass_s(600.0)
    assert len(told(watching, "sizing")) == 1


def test_after_day_0_the_readings_speak() -> None:
    watching = Watching(aged(1), START_WALL_S)
    watching.send_c("outdoor", -10.0)
    watching.pass_s(1200.0)
    assert told(watching, "sizing") == []


def test_the_next_batch_is_sized_anew() -> None:
    watching = day_0(jug_litres=2.0, insulation_mm=10.0)
    watching.send_c("outdoor", 6.0)
    watching.pass_s(600.0)
    watching.do(Note("end", "batch-close", None, watching.t_s, watching.wall_s))
    today = datetime.fromtimestamp(watching.wall_s, UTC).date()
    text = f"arrival={today.isoformat()} kind=layer chicks.a=14"
    watching.do(Note("next", "batch-start", None, watching.t_s, watching.wall_s, text=text))
    assert len(watching.state.ledger.sized) == 0
    watching.pass_s(60.0)
    assert len(watching.state.ledger.sized) == 1


@pytest.mark.parametrize("hour", [22.5, 3.0])
def test_at_night_it_waits_for_the_morning(hour: float) -> None:
    watching = day_0(jug_litres=2.0, insulation_mm=10.0)
    midnight_s = START_WALL_S - START_WALL_S % DAY_S
    watching.wall_s = midnight_s + hour * HOUR_S
    watching.send_c("outdoor", 6.0)
    watching.pass_s(600.0)
    assert told(watching, "sizing") == []
