"""The first glance: must I act, and when. One card a box, the box that asks most on top."""

from dataclasses import dataclass

from coldbrood.page import jug
from coldbrood.page.desk import Desk
from coldbrood.page.forms import SHELVE_MIN, Forms
from coldbrood.page.markup import Child, Html, html, tag
from coldbrood.page.night_words import night_words
from coldbrood.page.phrases import ALARM_REASONS, ALARM_STATES, ALARMS, REFILL_REASONS, STATES
from coldbrood.page.speech import Speech
from coldbrood.watch.alarms import Alarm
from coldbrood.watch.assess import BoxView
from coldbrood.watch.boxstate import state_words
from coldbrood.watch.localtime import wall_of
from coldbrood.watch.siteview import SiteView
from coldbrood.watch.wording import TREND_WORTH_SAYING_C_PER_H, box_title, sentence

URGENT = ("too cold", "too hot", "refill now", "cannot see", "refill soon")
ANSWERABLE = ("unacknowledged", "returned-unacknowledged")


@dataclass(frozen=True, slots=True)
class Now:
    """All that the page of now is made from."""

    desk: Desk
    view: SiteView
    speech: Speech
    forms: Forms


def body(page: Now) -> list[Child]:
    """Cards, then alarms, then what else can be told."""
    views = sorted(page.view.state.views.values(), key=lambda view: _rank(page, view))
    cards = [card(page, view) for view in views] or [tag("p", page.speech.say("No box is in use."))]
    return [stopped(page.speech, page.view), *cards, alarms(page)]


def stopped(speech: Speech, view: SiteView) -> Html | None:
    """Said on top of everything when the loop that watches does not move."""
    if view.running:
        return None
    text = speech.say("The watch has stopped: these figures are old. Look at the boxes, then at the board.")
    return tag("p", text, class_="cry-out", role="alert")


def _rank(page: Now, view: BoxView) -> tuple[int, float]:
    state = state_words(page.view.state, view, page.view.site.keeper.lead_s)
    place = URGENT.index(state) if state in URGENT else len(URGENT)
    return place, float("inf") if view.refill_by_s is None else view.refill_by_s


def card(page: Now, view: BoxView) -> Html:
    """One box."""
    state = state_words(page.view.state, view, page.view.site.keeper.lead_s)
    left_s = None if view.refill_by_s is None else view.refill_by_s - page.view.now.t_s
    speech = page.speech
    asks = state in URGENT
    head = tag(
        "div",
        jug.sign(
            jug.share_left(left_s), alert=asks and not view.blind, blind=view.blind or view.box_c is None
        ),
        tag(
            "div",
            tag("h1", sentence(box_name(speech, view.box)), _state(speech, state)),
            *_headline(page, view, state),
        ),
        class_="head",
    )
    return tag(
        "article",
        head,
        _figures(page, view),
        _tonight(page, view),
        _acts(page, view, state),
        class_="box asks" if asks else "box",
        id=f"box-{view.box}",
    )


def _state(speech: Speech, state: str) -> Html | None:
    """The state in a word or two, where the answer below does not say it already."""
    return None if state == "refill now" else tag("small", speech.say(STATES.get(state, state)))


def box_name(speech: Speech, box: str) -> str:
    """A box as it is called: box A."""
    return speech.say("box {name}", name=box_title(box).removeprefix("box "))


def _headline(page: Now, view: BoxView, state: str) -> list[Child]:
    """The answer: what to do, and by when, with its range."""
    speech, now = page.speech, page.view.now

    def clock(t_s: float) -> str:
        return speech.clock_near(wall_of(now, t_s), now.wall_s)

    said = {
        "too cold": speech.say("Warm them, refill now"),
        "too hot": speech.say("Open the box now"),
        "refill now": speech.say("Refill now"),
        "no reading yet": speech.say("No reading yet"),
    }.get(state)
    by = view.refill_by_s
    if said is None:
        if by is None:
            said = speech.say("No refill within a day")
        elif by <= now.t_s:
            said = speech.say("Refill now")
        else:
            said = speech.say("Refill by {time}", time=clock(by))
    return [tag("p", said, class_="answer"), tag("p", _range(page, view), class_="range")]


def _range(page: Now, view: BoxView) -> str:
    """Between which times the box would go under its floor, or what the time rests on instead."""
    speech, now, held = page.speech, page.view.now, view.hold
    if view.refill_reason.startswith("timetable") or held.early_s is None:
        return speech.say(REFILL_REASONS.get(view.refill_reason, view.refill_reason))
    early = speech.clock(wall_of(now, held.early_s))
    if held.early_s <= now.t_s:
        early = speech.say("now")
    if held.late_s is None:
        return speech.say("else under floor from {early} on", early=early)
    late = speech.clock(wall_of(now, held.late_s))
    return speech.say("else under floor {early} to {late}", early=early, late=late)


def _figures(page: Now, view: BoxView) -> Html:
    speech = page.speech
    if view.box_c is None:
        box = html(speech.say("not known"))
    elif view.estimated:
        box = html([tag("small", speech.say("about")), " ", speech.degrees(view.box_c)])
    else:
        box = html(speech.degrees(view.box_c))
    return tag(
        "dl",
        _figure(speech.say("Box"), tag("b", box), _trend(speech, view)),
        _figure(speech.say("Floor"), speech.bare_degrees(view.band.floor_c)),
        _figure(
            speech.say("Outside"), "?" if view.outdoor_c is None else speech.bare_degrees(view.outdoor_c)
        ),
        _figure(speech.say("Read"), _age(page, view)),
        class_="figures",
    )


def _figure(name: str, *value: Child) -> Html:
    return tag("div", tag("dt", name), tag("dd", value))


def _trend(speech: Speech, view: BoxView) -> Html | None:
    trend = view.trend_c_per_h
    if trend is None or abs(trend) < TREND_WORTH_SAYING_C_PER_H:
        return None
    way = speech.say("falling") if trend < 0 else speech.say("rising")
    arrow = "\N{SOUTH EAST ARROW}" if trend < 0 else "\N{NORTH EAST ARROW}"
    text = speech.say("{value}/h", value=speech.difference(abs(trend)))
    return tag("span", tag("span", way, class_="unseen"), f" {arrow}\N{NO-BREAK SPACE}{text}", class_="trend")


def _age(page: Now, view: BoxView) -> str:
    if view.read_t_s is None:
        return page.speech.say("never")
    return page.speech.ago(page.view.now.t_s - view.read_t_s)


def _tonight(page: Now, view: BoxView) -> Html:
    """Tonight's plan in one line."""
    return tag(
        "p",
        tag("span", page.speech.say("Tonight"), class_="name"),
        " ",
        tonight_words(page, view),
        class_="plan",
    )


def tonight_words(page: Now, view: BoxView) -> str:
    """What the night asks of the keeper."""
    plan = page.desk.outlook(page.view, view.box).plan
    return night_words(page.speech, page.view.site, page.view.now, view, plan)


def _acts(page: Now, view: BoxView, state: str) -> Html | None:
    """The one act that is due as the one large button; the others small, and two taps away.

    They unfold on this very page, so that they work while the board is out of reach.
    """
    if page.forms.guest:
        return None
    say, forms, box = page.speech.say, page.forms, view.box
    large: Child = None
    if state == "too hot":
        large = forms.button("acknowledge", say("I am opening it"), "large", alarm=f"too-hot/{box}")
    elif state in URGENT and state != "cannot see":
        large = forms.refilled(box, say("Refilled"), "large")
    small = None if large and state != "too hot" else forms.refilled(box, say("Refilled"))
    looks = "tells large" if state == "cannot see" else "tells"
    look_in = tag(
        "details", tag("summary", say("Look-in")), forms.look_in(box), class_=looks, id=f"look-in-{box}"
    )
    more = tag(
        "details",
        tag("summary", say("More")),
        forms.refilled_before(box),
        forms.loss(box),
        forms.count(box, view.chicks),
        forms.low(),
        forms.words(box),
        tag("a", say("All that was told"), href=f"/tell/{box}", class_="button"),
        class_="tells",
        id=f"more-{box}",
    )
    return tag("div", large, tag("div", small, look_in, more, class_="taps"), class_="acts")


def alarms(page: Now) -> Html | None:
    """Every alarm that is not normal: what waits for an answer, and folded away what has it."""
    rows = [row for row in page.view.state.alarms.values() if row.state not in ("normal", "suppressed")]
    if not rows:
        return None
    rows.sort(key=lambda row: (-row.urgency, row.key))
    waiting = [row for row in rows if row.state in ANSWERABLE]
    answered = [row for row in rows if row.state not in ANSWERABLE]
    say = page.speech.say
    rest = tag(
        "details",
        tag("summary", say("Answered: {n}", n=len(answered))),
        [_alarm(page, row) for row in answered],
        class_="tells",
        id="answered",
    )
    return tag(
        "section",
        tag("h2", say("Alarms"), class_="unseen"),
        [_alarm(page, row) for row in waiting],
        rest if answered else None,
        class_="quiet",
    )


def _alarm(page: Now, row: Alarm) -> Html:
    """One line to unfold: what is due stands in large in the card, and two voices at once are none."""
    speech, forms = page.speech, page.forms
    title, act = ALARMS.get(row.condition, (row.condition, ""))
    reason = speech.say(ALARM_REASONS.get(row.reason, row.reason))
    since = "" if row.raised_wall_s is None else speech.clock_near(row.raised_wall_s, page.view.now.wall_s)
    shelved = row.shelved_until_wall_s if row.state == "shelved" else None
    state = speech.say(ALARM_STATES.get(row.state, row.state))
    if shelved is not None:
        state = speech.say("shelved until {time}", time=speech.clock(shelved))
    answer = None
    if row.state in ANSWERABLE:
        answer = forms.button("acknowledge", speech.say("Acknowledge"), alarm=row.key)
    back = None
    if row.state == "shelved":
        back = forms.button("unshelve", speech.say("End the shelf"), alarm=row.key)
    why = speech.say("{reason}, since {time}; {state}", reason=reason, time=since, state=state)
    about = subject(page, row.subject)
    return tag(
        "details",
        tag("summary", tag("h3", speech.say(title), f": {about}" if about else None)),
        tag("p", speech.say(act), _water(page, row)) if act and row.state in ANSWERABLE else None,
        tag("p", why, class_="why"),
        tag("div", answer, back, None if back else _shelves(page, row), class_="taps"),
        class_=f"alarm {row.priority}",
        id=f"alarm-{row.key}",
    )


def _water(page: Now, row: Alarm) -> str:
    """How hot the water should be, where the usual heat would be too much, as the message had it."""
    view = (
        page.view.state.views.get(row.subject) if row.condition in ("refill-now", "refill-not-seen") else None
    )
    if view is None or view.fill_c is None:
        return ""
    water = page.speech.degrees(view.fill_c)
    return " " + page.speech.say("Fill with water of {water}: hotter is too hot.", water=water)


def _shelves(page: Now, row: Alarm) -> Html | None:
    """For how long it may be put away."""
    if page.forms.guest:
        return None
    speech = page.speech
    buttons = [
        page.forms.button("shelve", speech.say("{n} min", n=minutes), alarm=row.key, minutes=minutes)
        for minutes in SHELVE_MIN
    ]
    shown = tag("div", buttons, class_="taps")
    return tag("details", tag("summary", speech.say("Shelve")), shown, class_="tells", id=f"shelve-{row.key}")


def subject(page: Now, name: str) -> str:
    """Whom an alarm is about; nothing where it can be about one thing only."""
    if name == page.view.site.name or list(page.view.site.boxes) == [name]:
        return ""
    if name in page.view.site.boxes:
        return box_name(page.speech, name)
    if name in page.view.site.probes:
        return page.speech.say("probe {name}", name=name)
    return name
