"""Promise: the page's plan is the one that bedtime sends, cooler water included, in each language."""

from dataclasses import replace

import numpy as np
import pytest
from sites import START_WALL_S, make_site
from views import T_S, make_hold, make_view

from coldbrood.brooder.plan import NightPlan
from coldbrood.page.desk import Desk
from coldbrood.page.forms import Forms
from coldbrood.page.night_words import night_words
from coldbrood.page.now_page import Now as Page
from coldbrood.page.now_page import alarms
from coldbrood.page.outlook import Outlook
from coldbrood.page.speech import Speech
from coldbrood.page.tonight_page import sayings
from coldbrood.watch.alarms import Alarm
from coldbrood.watch.digest import bedtime_words
from coldbrood.watch.events import Now
from coldbrood.watch.siteview import SiteView
from coldbrood.watch.state import first_state

SITE = make_site()
BED = Now(T_S, START_WALL_S + 12 * 3600.0, synced=True)  # 22:00, when the keeper goes to bed
NOON = Now(T_S, START_WALL_S + 2 * 3600.0, synced=True)
UP_S = T_S + 5 * 3600.0  # 03:00 by the first, 17:00 by the second
NEVER = make_hold(None, None, None, None)
NBSP = "\N{NO-BREAK SPACE}"


def plan(fill: bool = True, fill_c: float = 70.0, wakes: tuple[float, ...] = ()) -> NightPlan:
    return NightPlan(fill, fill_c, wakes, None, NEVER, NEVER, (20.1, 21.0, 22.2), 0.0, 0.25, "")


def said(plan: NightPlan | None, language: str = "en", now: Now = BED, unit: str = "C") -> str:
    site = make_site(unit="F" if unit == "F" else "C")
    return night_words(Speech(site, language), site, now, make_view(), plan).replace(NBSP, " ")


@pytest.mark.parametrize(
    ("night", "now", "english", "german"),
    [
        (plan(), BED, "fill now, then sleep", "jetzt füllen, dann schlafen"),
        (plan(), NOON, "fill at bedtime, then sleep", "vor dem Schlafen füllen, dann schlafen"),
        (
            plan(fill_c=50.0),
            BED,
            "fill now (50 °C), then sleep",
            "jetzt füllen (50 °C), dann schlafen",
        ),
        (
            plan(fill_c=50.0),
            NOON,
            "fill at bedtime (50 °C), then sleep",
            "vor dem Schlafen füllen (50 °C), dann schlafen",
        ),
        (
            plan(fill_c=50.0, wakes=(UP_S,)),
            BED,
            "fill now (50 °C), up at 03:00",
            "jetzt füllen (50 °C), aufstehen um 03:00",
        ),
        (
            plan(False, wakes=(UP_S, UP_S + 3600.0)),
            BED,
            "up at 03:00 and 04:00",
            "aufstehen um 03:00 und 04:00",
        ),
        (plan(False, fill_c=50.0), BED, "sleep on", "weiterschlafen"),
        (plan(False, fill_c=50.0), NOON, "sleep through", "durchschlafen"),
        (None, NOON, "every 4 h, by the timetable", "alle 4 h, nach dem Zeitplan"),
    ],
)
def test_the_plan_in_few_words(night: NightPlan | None, now: Now, english: str, german: str) -> None:
    assert said(night, now=now) == english
    assert said(night, "de", now) == german


def test_water_is_in_the_keepers_unit() -> None:
    assert said(plan(fill_c=50.0), unit="F") == "fill now (122 °F), then sleep"


class Foreseen(Desk):
    """A desk that has looked ahead already."""

    def __init__(self, ahead: Outlook) -> None:
        self.ahead = ahead

    def outlook(self, view: SiteView, box: str) -> Outlook:
        return self.ahead


def told(night: NightPlan, language: str = "en") -> str:
    at_s = T_S + np.arange(0.0, 50_000.0, 600.0)
    flat = np.ones((3, len(at_s)))
    ahead = Outlook(T_S, at_s, 22.0 * flat, 3.0 * flat, 18.0 * flat[0], 32.0 * flat[0], night)
    speech = Speech(SITE, language)
    view = SiteView(SITE, first_state(SITE, 0.0), BED)
    page = Page(Foreseen(ahead), view, speech, Forms(speech, "", "/", BED.wall_s, True))
    return " ".join(sayings(page, make_view(), ahead)).replace(NBSP, " ")


def test_tonight_says_why_the_water_is_cooler_just_as_the_message_does() -> None:
    """The very sentence of the bedtime message, so that phone and page never differ."""
    cooler = plan(fill_c=50.0)
    message = bedtime_words(SITE, BED, {"a": make_view()}, {"a": cooler}).body
    assert "Fill with water of 50 C: hotter is too hot." in message
    assert "Fill with water of 50 °C: hotter is too hot." in told(cooler)
    assert "Mit Wasser von 50 °C füllen: heißer ist zu heiß." in told(cooler, "de")
    assert "Plan: fill now (50 °C), then sleep." in told(cooler)


@pytest.mark.parametrize("night", [plan(), plan(False, fill_c=50.0), replace(plan(), bedtime_fill_c=75.0)])
def test_water_as_hot_as_ever_needs_no_word(night: NightPlan) -> None:
    assert "hotter" not in told(night)


WIDE, FLAT = np.ones((3, 2)), np.ones(2)
AHEAD = Outlook(T_S, T_S + np.arange(2.0), WIDE, WIDE, FLAT, FLAT, None)


def alarm_text(fill_c: float | None, condition: str = "refill-now", language: str = "en") -> str:
    """The alarms of a page whose one box is to be filled with water of `fill_c`."""
    row = Alarm(
        condition, "a", state="unacknowledged", active=True, reason="forecast", raised_wall_s=BED.wall_s
    )
    state = replace(first_state(SITE, 0.0), alarms={row.key: row}, views={"a": make_view(fill_c=fill_c)})
    speech = Speech(SITE, language)
    page = Page(Foreseen(AHEAD), SiteView(SITE, state, BED), speech, Forms(speech, "", "/", BED.wall_s, True))
    return str(alarms(page)).replace(NBSP, " ")


def test_the_alarm_says_how_hot_the_water_should_be_as_its_message_does() -> None:
    assert "Carry it closed: the water scalds. Fill with water of 55 °C: hotter is too hot." in alarm_text(
        55.0
    )
    assert "Mit Wasser von 55 °C füllen: heißer ist zu heiß." in alarm_text(55.0, language="de")
    assert "hotter" not in alarm_text(None)
    assert "hotter" not in alarm_text(55.0, "under-hard-floor")
