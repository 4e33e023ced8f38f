"""Promise: a message says the act, then the reason, within a lock screen's limits, in the keeper's unit."""

import pytest
from sites import START_WALL_S, make_site
from views import T_S, make_view

from coldbrood.watch import wording
from coldbrood.watch.alarms import CONDITIONS, Alarm, Verdict, advance
from coldbrood.watch.assess import BoxView
from coldbrood.watch.events import Now
from coldbrood.watch.wording import SPEAKERS, Words, box_title, fit, range_text, words

NOW = Now(t_s=T_S, wall_s=START_WALL_S, synced=True)  # 10:00 UTC

REASONS = {
    "refill-now": (
        "under-floor",
        "forecast",
        "forecast-learning",
        "forecast-blind",
        "timetable-learning",
        "timetable-blind",
        "forecast-no-outdoor",
        "timetable-no-outdoor",
    ),
    "under-hard-floor": ("under-hard-floor",),
    "too-hot": ("above-ceiling", "over-hard-ceiling"),
    "probe-silent": ("silent", "never-heard", "only-refused"),
    "no-outdoor": ("silent",),
    "probe-wrong": ("refused", "stuck", "leaps"),
    "probes-swapped": ("colder-by-night", "far-colder-by-day", "too-hot-if-swapped"),
    "battery-low": ("battery_pct-low", "battery_v-low"),
    "refill-not-seen": ("no-rise-after-nudge", "noted-no-rise"),
    "daemon-was-down": ("was-down", "was-down-unknown"),
    "broker-gone": ("no-link",),
    "journal-failing": ("commit-failed",),
}
PAIRS = [(condition, reason) for condition, reasons in REASONS.items() for reason in reasons]


def raised(condition: str, reason: str, subject: str = "a", detail: str = "") -> Alarm:
    alarms: dict[str, Alarm] = {}
    for n in range(CONDITIONS[condition].on_samples):
        verdict = Verdict(condition, subject, holds=True, clear=False, reason=reason, detail=detail)
        alarms = dict(advance(alarms, [verdict], T_S + n, START_WALL_S + n)[0])
    return alarms[f"{condition}/{subject}"]


def say(condition: str, reason: str, view: BoxView | None = None, **site: object) -> Words:
    subject = {"probe-silent": "box-a", "probe-wrong": "box-a", "battery-low": "box-a"}.get(condition, "a")
    return words(make_site(**site), NOW, raised(condition, reason, subject, "12"), view)  # type: ignore[arg-type] # plain pass-through


def test_every_condition_of_the_table_has_a_speaker_and_no_speaker_is_left_over() -> None:
    assert set(SPEAKERS) == set(CONDITIONS) == set(REASONS)


def test_refill_says_act_box_figure_and_floor_then_why() -> None:
    said = say("refill-now", "forecast", make_view())
    assert said.title == "Refill now: box A 19.8 C, floor 18"
    assert said.body == (
        "It goes under the floor about 13:00 (12:30 to 13:50). Falling 1.2 C an hour. Outside 4 C. "
        "Last refill 06:30. A look-in too: set the chicks by the jug; look for the weak, the loud, the one "
        "apart. Carry the jug closed: the water scalds."
    )


def test_after_three_days_a_refill_is_no_look_in() -> None:
    table = make_view().timetable
    view = make_view(timetable=type(table)(6.0, "first week", look_in=False))
    assert wording.LOOK_IN not in say("refill-now", "forecast", view).body


def test_fahrenheit_and_the_twelve_hour_clock_go_all_the_way() -> None:
    said = say("refill-now", "forecast", make_view(), unit="F", clock_24h=False)
    assert said.title == "Refill now: box A 68 F, floor 64"
    assert "about 1:00 pm (12:30 pm to 1:50 pm)" in said.body
    assert "Falling 2.2 F an hour. Outside 39 F." in said.body
    assert " C" not in said.body.replace("Carry", "")


@pytest.mark.parametrize(("condition", "reason"), PAIRS)
@pytest.mark.parametrize("seen", [True, False])
def test_every_reason_has_words_that_fit_a_lock_screen(condition: str, reason: str, seen: bool) -> None:
    said = say(condition, reason, make_view() if seen else None)
    assert 10 <= len(said.title) <= 60
    assert 10 <= len(said.body) <= 500
    assert "None" not in said.title + said.body
    assert "  " not in said.title + said.body
    assert said.title.isascii()


@pytest.mark.parametrize(("condition", "reason"), PAIRS)
def test_what_hurts_is_said_where_hot_water_is_asked_for(condition: str, reason: str) -> None:
    asks_for_water = condition in ("refill-now", "under-hard-floor", "refill-not-seen")
    assert (wording.SCALD in say(condition, reason, make_view()).body) is asks_for_water


def test_blind_says_that_it_is_an_estimate() -> None:
    view = make_view(blind=True, estimated=True, trend_c_per_h=None, box_c=17.2)
    said = say("refill-now", "timetable-blind", view)
    assert said.title == "Refill now: box A about 17.2 C, floor 18"
    assert said.body.startswith(
        "The box probe is silent. The age timetable (first three days) asks for a refill at 10:30."
    )


def test_a_repeat_says_since_when_and_how_often() -> None:
    told = raised("refill-now", "forecast")
    told = type(told)(**{**{f: getattr(told, f) for f in told.__dataclass_fields__}, "told": 2})
    said = words(make_site(), Now(T_S + 1200.0, START_WALL_S + 1200.0, True), told, make_view())
    assert said.body.startswith("Still so since 10:00, told 2 times. It goes under the floor")


def test_a_range_is_open_where_nothing_is_foreseen() -> None:
    site = make_site()
    assert range_text(site, NOW, T_S, T_S + 3600, None) == "about 11:00 (10:00 to much later)"
    assert range_text(site, NOW, T_S + 3600, None, None) == "11:00 at the earliest"
    assert range_text(site, NOW, None, None, None) == "not within a day"


def test_fit_cuts_at_a_word() -> None:
    assert fit("one two three", 60) == "one two three"
    assert fit("one two three", 11) == "one two..."
    assert fit("x" * 30, 10) == "xxxxxxx..."
    assert all(len(fit("alpha beta gamma delta", n)) <= n for n in range(5, 30))


def test_box_names() -> None:
    assert box_title("a") == "box A"
    assert box_title("by-the-door") == "box by-the-door"
