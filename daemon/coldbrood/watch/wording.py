"""What an alarm says: the act first, then the reason, in the keeper's units and words.

Read on a lock screen with half-closed eyes: the title carries the act and the figures, the body the reason.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from coldbrood.watch.alarms import Alarm
from coldbrood.watch.assess import BoxView
from coldbrood.watch.events import Now
from coldbrood.watch.localtime import clock_text, degrees_text, difference_text, wall_of
from coldbrood.watch.site import Keeper, Site
from coldbrood.watch.whereabouts import whereabouts

TREND_WORTH_SAYING_C_PER_H = 0.2
SCALD = "Carry the jug closed: the water scalds."
REASON_WORDS: Mapping[str, str] = {
    "forecast": "by forecast",
    "forecast-learning": "by forecast, of a box not known yet",
    "forecast-blind": "by estimate, the box probe is silent",
    "timetable-learning": "by the age timetable, the box is not known yet",
    "timetable-blind": "by the age timetable, the box probe is silent",
    "forecast-no-outdoor": "by estimate, no outdoor reading",
    "timetable-no-outdoor": "by the age timetable, no outdoor reading",
}
LOOK_IN = "A look-in too: set the chicks by the jug; look for the weak, the loud, the one apart."


VET = "If it gets no better, ask a vet."


@dataclass(frozen=True, slots=True)
class Words:
    """One message before any channel's limits."""

    title: str
    body: str


@dataclass(frozen=True, slots=True)
class Scene:
    """All that a message may speak of."""

    site: Site
    now: Now
    alarm: Alarm
    view: BoxView | None

    @property
    def keeper(self) -> Keeper:
        """Whose units and clock the words use."""
        return self.site.keeper

    def clock(self, t_s: float) -> str:
        """Time of day of a watch time."""
        return clock_text(self.site, wall_of(self.now, t_s))


def fit(text: str, longest: int) -> str:
    """Cut at a word so that `text` has at most `longest` characters, with three dots where it was cut."""
    if len(text) <= longest:
        return text
    room = text[: longest - 3]
    return (room.rsplit(" ", 1)[0] if " " in room else room).rstrip(" ,;:") + "..."


def box_title(name: str) -> str:
    """How a box is called in a message: box A, box by-the-door."""
    return f"box {name.upper() if len(name) == 1 else name}"


def sentence(text: str) -> str:
    """Text that begins a sentence: box A as Box A."""
    return text[:1].upper() + text[1:]


def follow_up(whom: str) -> str:
    """The question after a chick seen weak, loud or apart: "and the weak one?"; nothing for nobody."""
    return f"And {whom}: up, warm, drinking? {VET}" if whom else ""


def range_text(
    site: Site, now: Now, early_s: float | None, middle_s: float | None, late_s: float | None
) -> str:
    """A time with its range: about 03:10 (02:40 to 03:50), open where it lies beyond what is foreseen."""
    early, middle, late = (
        None if at is None else clock_text(site, wall_of(now, at)) for at in (early_s, middle_s, late_s)
    )
    if middle is None:
        return f"{early} at the earliest" if early else "not within a day"
    return f"about {middle} ({early or 'now'} to {late or 'much later'})"


def words(site: Site, now: Now, alarm: Alarm, view: BoxView | None) -> Words:
    """What to say of an alarm. Every condition of the table has its own speaker."""
    scene = Scene(site, now, alarm, view)
    spoken = SPEAKERS[alarm.condition](scene)
    if alarm.told == 0:
        return spoken
    since = scene.clock(now.t_s if alarm.raised_t_s is None else alarm.raised_t_s)
    return Words(spoken.title, f"Still so since {since}, told {alarm.told} times. {spoken.body}")


def _box_figures(scene: Scene) -> str:
    view = scene.view
    if view is None or view.box_c is None:
        return ""
    about = "about " if view.estimated else ""
    return f" {about}{degrees_text(scene.keeper, view.box_c)}"


def _circumstances(scene: Scene) -> str:
    """Trend, outdoors and the last refill, each said only where known."""
    view = scene.view
    if view is None:
        return ""
    said = []
    trend = view.trend_c_per_h
    if trend is not None and abs(trend) >= TREND_WORTH_SAYING_C_PER_H:
        way = "Falling" if trend < 0 else "Rising"
        said.append(f"{way} {difference_text(scene.keeper, abs(trend))} an hour.")
    if view.outdoor_c is not None:
        said.append(f"Outside {degrees_text(scene.keeper, view.outdoor_c)}.")
    if view.refill_t_s is not None:
        said.append(f"Last refill {scene.clock(view.refill_t_s)}.")
    return " ".join(said)


def _why_refill(scene: Scene) -> str:
    view, reason = scene.view, scene.alarm.reason
    if view is None:
        return ""
    held = view.hold
    when = range_text(scene.site, scene.now, held.early_s, held.median_s, held.late_s)
    due = "now" if view.timetable_due_s is None else scene.clock(view.timetable_due_s)
    table = f"The age timetable ({view.timetable.reason}) asks for a refill at {due}."
    return {
        "under-floor": "The box is under its floor.",
        "forecast": f"It goes under the floor {when}.",
        "forecast-learning": f"This box is not known yet; an estimate: under the floor {when}.",
        "forecast-blind": f"The box probe is silent; an estimate: under the floor {when}.",
        "timetable-learning": f"This box is not known yet. {table}",
        "timetable-blind": f"The box probe is silent. {table}",
        "forecast-no-outdoor": f"No outdoor reading for an hour; an estimate: under the floor {when}.",
        "timetable-no-outdoor": f"No outdoor reading for an hour. {table}",
    }[reason]


def _leaving(scene: Scene) -> str:
    """Why a refill is asked for so early: the one who could make it leaves."""
    due_s = None if scene.view is None else scene.view.refill_by_s
    if due_s is None or not scene.keeper.away:
        return ""
    leaves = whereabouts(scene.site, wall_of(scene.now, due_s) + 1.0) == "away"
    return f"Nobody is there from {scene.clock(due_s)}." if leaves and due_s > scene.now.t_s else ""


def cooler_water(keeper: Keeper, fill_c: float, whose: str = "") -> str:
    """How hot the water should be, where the usual heat would be too much."""
    return f"Fill with water of {degrees_text(keeper, fill_c)}{whose}: hotter is too hot."


def _water(scene: Scene) -> str:
    fill_c = None if scene.view is None else scene.view.fill_c
    return "" if fill_c is None else cooler_water(scene.keeper, fill_c)


def _refill(scene: Scene) -> Words:
    view = scene.view
    floor = f", floor {degrees_text(scene.keeper, view.band.floor_c)[:-2]}" if view else ""
    title = f"Refill now: {box_title(scene.alarm.subject)}{_box_figures(scene)}{floor}"
    look_in = LOOK_IN if view is not None and view.timetable.look_in else ""
    said = _leaving(scene), _why_refill(scene), _water(scene), _circumstances(scene)
    return Words(title, _join(*said, look_in, SCALD))


def _hard_floor(scene: Scene) -> Words:
    title = f"Too cold: {box_title(scene.alarm.subject)}{_box_figures(scene)}, refill now"
    limit = "" if scene.view is None else degrees_text(scene.keeper, scene.view.band.hard_floor_c)
    first = f"Under the hard floor of {limit}. Warm the chicks first, in your hands if need be; then the jug."
    return Words(title, _join(first, _circumstances(scene), SCALD))


def _too_hot(scene: Scene) -> Words:
    title = f"Too hot: {box_title(scene.alarm.subject)}{_box_figures(scene)}, open it"
    limit = "" if scene.view is None else degrees_text(scene.keeper, scene.view.band.ceiling_c)
    first = f"Over the ceiling of {limit}. Lift the lid a little or take the jug out; shade, water."
    return Words(title, _join(first, "Panting or spread wings: do it at once.", _circumstances(scene)))


def _probe_silent(scene: Scene) -> Words:
    spec = scene.site.probes[scene.alarm.subject]
    title = f"Cannot see {box_title(spec.box or '')}: probe {spec.name} silent"
    why = {
        "silent": "Nothing heard from it for too long.",
        "never-heard": "Nothing heard from it since the start.",
        "only-refused": f"It sends only values that cannot be true ({scene.alarm.detail}).",
    }[scene.alarm.reason]
    go_on = "I go on from an estimate and the age timetable. Look at the box; then battery, cable, Wi-Fi."
    return Words(title, _join(why, _last_known(scene), go_on))


def _last_known(scene: Scene) -> str:
    view = scene.view
    if view is None or view.read_t_s is None or view.box_c is None:
        return ""
    figure = degrees_text(scene.keeper, view.box_c)
    return f"Last reading {scene.clock(view.read_t_s)}; now about {figure} by estimate."


def _no_outdoor(_scene: Scene) -> Words:
    body = "No outdoor probe is heard. Forecasts go on with a wider range. Look at its battery and place."
    return Words("No outdoor reading", body)


def _probe_wrong(scene: Scene) -> Words:
    why = {
        "refused": f"Its last values cannot be true ({scene.alarm.detail}) and are not used.",
        "stuck": "Its value has not moved at all for 6 hours.",
        "leaps": "Its values leap to and fro: two senders under one name, or a loose contact.",
        "never-heard": "It has not been heard.",
    }[scene.alarm.reason]
    return Words(f"Probe {scene.alarm.subject} reads wrong", f"{why} Look at the sensor and its cable.")


def _swapped(scene: Scene) -> Words:
    box = box_title(scene.alarm.subject)
    colder = difference_text(scene.keeper, float(scene.alarm.detail))
    why = f"For two hours its probe has read {colder} and more under the outdoor one"
    return {
        "colder-by-night": Words(
            f"Probes swapped? {sentence(box)} reads colder than outside",
            f"{why}, by night. Look which probe hangs where; else, was the jug filled cold?",
        ),
        "far-colder-by-day": Words(
            f"Probes swapped? {sentence(box)} reads colder than outside",
            f"{why}. Look which probe hangs where, and whether the outdoor one stands in the sun.",
        ),
        "too-hot-if-swapped": Words(
            f"Feel {box} now: too hot if the probes are swapped",
            f"{why}, which is over the ceiling of the box. Feel the box; lift the lid if it is hot.",
        ),
    }[scene.alarm.reason]


def _battery(scene: Scene) -> Words:
    return Words(
        f"Battery low: probe {scene.alarm.subject}", "Change or charge it by day, before it goes silent."
    )


def _not_seen(scene: Scene) -> Words:
    title = f"No refill seen: {box_title(scene.alarm.subject)}{_box_figures(scene)}"
    why = {
        "no-rise-after-nudge": "A refill was asked for and the box has not risen since.",
        "noted-no-rise": "A refill was noted, but the box has not risen. Hot water? Jug in place?",
    }[scene.alarm.reason]
    return Words(title, _join(why, _water(scene), _circumstances(scene), SCALD))


def _was_down(scene: Scene) -> Words:
    body = {
        "was-down": f"For {scene.alarm.detail} minutes nothing was watched. Look at the box once.",
        "was-down-unknown": "The clock cannot tell for how long nothing was watched. Look at the box once.",
    }[scene.alarm.reason]
    return Words("I was down and am back", body)


def _broker_gone(scene: Scene) -> Words:
    body = f"No link to the broker, so no probe is heard: {scene.alarm.detail}"
    return Words(
        "Cannot hear any probe: broker gone", _join(body, "I go on from an estimate and the timetable.")
    )


def _journal(scene: Scene) -> Words:
    body = f"Readings are kept in memory only: {scene.alarm.detail}"
    return Words(
        "The journal cannot be written", _join(body, "Alarms go on. Make room on the disk or change it.")
    )


SPEAKERS: Mapping[str, Callable[[Scene], Words]] = {
    "refill-now": _refill,
    "under-hard-floor": _hard_floor,
    "too-hot": _too_hot,
    "probe-silent": _probe_silent,
    "no-outdoor": _no_outdoor,
    "probe-wrong": _probe_wrong,
    "probes-swapped": _swapped,
    "battery-low": _battery,
    "refill-not-seen": _not_seen,
    "daemon-was-down": _was_down,
    "broker-gone": _broker_gone,
    "journal-failing": _journal,
}


def _join(*parts: str) -> str:
    return " ".join(part for part in parts if part)
