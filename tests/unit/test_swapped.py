"""Promise: a box colder than the air round it for two hours is said to be swapped probes, and only then."""

import math
from collections.abc import Callable
from dataclasses import replace

import pytest
from bench import senml
from sites import START_WALL_S, make_site
from views import make_view

from coldbrood.brooder import outdoor
from coldbrood.entry import Entry
from coldbrood.watch.alarms import Verdict
from coldbrood.watch.events import Act, Now, SendNow
from coldbrood.watch.localtime import night_sun
from coldbrood.watch.sight import Sight, first_sight
from coldbrood.watch.swapped import AFTER_SUNSET_S, swapped

HOUR_S = 3600.0
SITE = make_site(channels=1)
MIDNIGHT_WALL_S = START_WALL_S + 14 * HOUR_S
Air = Callable[[float], float]


def seen(box: Air | None, outside: Air, hours: float, t_s: float, step_s: float = 300.0) -> Sight:
    """The sight of both probes over the last hours; `hours` back is the argument of each."""
    sight = first_sight(SITE)
    habit, track = sight.habit, []
    for n in range(round(hours * HOUR_S / step_s), -1, -1):
        at_s = t_s - n * step_s
        habit = outdoor.learn(habit, at_s, outside(n * step_s / HOUR_S), None, None)
        if box is not None:
            track.append((at_s, box(n * step_s / HOUR_S)))
    held = replace(sight.boxes["a"], track=tuple(track))
    return replace(sight, habit=habit, boxes={"a": held})


def look(box: Air | None, outside: Air, wall_s: float, hours: float = 3.9, step_s: float = 300.0) -> Verdict:
    now = Now(400_000.0, wall_s, synced=True)
    view = replace(make_view(), box="a", blind=False)
    return swapped(SITE, seen(box, outside, hours, now.t_s, step_s), view, now)


def at(celsius: float) -> Air:
    return lambda _ago_h: celsius


def found(verdict: Verdict) -> tuple[bool | None, bool, str]:
    return verdict.holds, verdict.clear, verdict.reason if verdict.holds else ""


@pytest.mark.parametrize(
    ("box_c", "outdoor_c", "expected"),
    [
        (10.0, 24.0, (True, False, "colder-by-night")),
        (20.9, 24.0, (True, False, "colder-by-night")),
        (21.1, 24.0, (False, False, "")),
        (23.1, 24.0, (False, True, "")),
        (24.0, 6.0, (False, True, "")),
        (24.0, 38.0, (True, False, "too-hot-if-swapped")),
    ],
)
def test_by_night_three_degrees_under_for_two_hours(
    box_c: float, outdoor_c: float, expected: tuple[bool, bool, str]
) -> None:
    assert found(look(at(box_c), at(outdoor_c), MIDNIGHT_WALL_S)) == expected


@pytest.mark.parametrize(
    ("box_c", "outdoor_c", "expected"),
    [
        (18.0, 25.0, (False, False, "")),
        (18.0, 26.5, (True, False, "far-colder-by-day")),
        (18.0, 40.0, (True, False, "far-colder-by-day")),
        (28.0, 25.0, (False, True, "")),
    ],
)
def test_by_day_it_takes_eight_and_no_heat_of_the_sun_is_critical(
    box_c: float, outdoor_c: float, expected: tuple[bool, bool, str]
) -> None:
    assert found(look(at(box_c), at(outdoor_c), START_WALL_S)) == expected


def test_the_dark_begins_two_hours_after_sunset_for_both_hours_and_ends_with_the_sun() -> None:
    sunset_s, sunrise_s = night_sun(SITE, MIDNIGHT_WALL_S)
    assert sunset_s is not None
    assert sunrise_s is not None
    first_s = sunset_s + AFTER_SUNSET_S
    reasons = {
        wall_s: look(at(14.0), at(24.0), wall_s).reason
        for wall_s in (first_s + HOUR_S, first_s + 3.9 * HOUR_S, sunrise_s - 60.0, sunrise_s + 60.0)
    }
    assert list(reasons.values()) == [
        "far-colder-by-day",
        "colder-by-night",
        "colder-by-night",
        "far-colder-by-day",
    ]


@pytest.mark.parametrize(
    ("box", "hours", "step_s"),
    [(None, 4.0, 300.0), (at(10.0), 1.0, 300.0), (at(10.0), 4.0, 1800.0)],
    ids=["box never seen", "not two full hours", "too few readings in an hour"],
)
def test_without_two_full_hours_of_both_there_is_no_sample(
    box: Air | None, hours: float, step_s: float
) -> None:
    assert look(box, at(24.0), MIDNIGHT_WALL_S, hours, step_s).holds is None


def test_a_probe_that_falls_silent_is_no_sample() -> None:
    now = Now(400_000.0, MIDNIGHT_WALL_S, synced=True)
    sight = seen(at(10.0), at(24.0), 4.0, now.t_s - 3 * HOUR_S)
    view = replace(make_view(), box="a", blind=False)
    assert swapped(SITE, sight, view, now).holds is None
    fresh = seen(at(10.0), at(24.0), 4.0, now.t_s)
    assert swapped(SITE, fresh, replace(view, blind=True), now).holds is None


def test_a_lid_open_for_half_an_hour_is_not_a_swap() -> None:
    assert look(lambda ago_h: 10.0 if ago_h < 0.5 else 24.0, at(14.0), MIDNIGHT_WALL_S).holds is False


@pytest.mark.parametrize("warming_k_per_h", [1.0, 2.0, 3.0, 4.0])
@pytest.mark.parametrize("since_dawn_h", [1.0, 2.0, 4.0, 6.0])
def test_a_dying_box_that_the_morning_overtakes_is_not_called_swapped(
    warming_k_per_h: float, since_dawn_h: float
) -> None:
    """At dawn the jug is cold and sixteen chicks hold the box 8 K over the outside; then it lags three hours.

    T' = (T_out + 8 - T) / 3 h with T_out = 4 + w t: T = T_out + 8 - 3 w (1 - exp(-t/3)), from the law itself.
    """

    def outside(ago_h: float) -> float:
        return 4.0 + warming_k_per_h * max(0.0, since_dawn_h - ago_h)

    def box(ago_h: float) -> float:
        t_h = max(0.0, since_dawn_h - ago_h)
        return outside(ago_h) + 8.0 - 3.0 * warming_k_per_h * (1.0 - math.exp(-t_h / 3.0))

    wall_s = START_WALL_S - 4.5 * HOUR_S + since_dawn_h * HOUR_S
    assert look(box, outside, wall_s).holds is not True


def play(entry: Entry, hours: float, box_c: float, outdoor_c: float) -> list[Act]:
    acts: list[Act] = []
    for n in range(round(hours * 4)):
        for name, celsius in (("box-a", box_c + n % 2 / 16), ("outdoor", outdoor_c + n % 2 / 16)):
            acts += entry.packet(entry.site.probes[name].topic, senml(celsius).encode())
        acts += entry.pass_s(900.0)
    return acts


def test_through_the_whole_watch_it_waits_for_the_morning_is_said_and_ends_with_the_swap() -> None:
    """By night the cold has its own voice; the morning digest names it, and after four hours it repeats."""
    entry = Entry(SITE, START_WALL_S + 13 * HOUR_S, beat_s=900.0)
    night = play(entry, 4.0, box_c=12.0, outdoor_c=24.0)
    alarm = entry.state.alarms["probes-swapped/a"]
    assert (alarm.state, alarm.reason, alarm.detail) == ("unacknowledged", "colder-by-night", "12")
    titles = [act.title for act in night if isinstance(act, SendNow)]
    assert any(title.startswith("Too cold") for title in titles)
    assert not any("swapped" in title for title in titles)
    morning = [act for act in play(entry, 5.0, 12.0, 24.0) if isinstance(act, SendNow)]
    (digest,) = [act for act in morning if act.key.startswith("morning/")]
    assert "Probes swapped? Box A reads colder than outside." in digest.body
    (again,) = [
        act for act in play(entry, 4.0, 12.0, 24.0) if isinstance(act, SendNow) and "swapped" in act.title
    ]
    assert "12 C and more under the outdoor one" in again.body
    assert "stands in the sun" in again.body
    play(entry, 3.0, box_c=24.0, outdoor_c=12.0)
    assert entry.state.alarms["probes-swapped/a"].state == "normal"
