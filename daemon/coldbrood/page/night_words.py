"""What a night's plan asks of the keeper, in the few words of the first glance."""

from coldbrood.brooder.plan import NightPlan
from coldbrood.page.speech import Speech
from coldbrood.watch.assess import BoxView
from coldbrood.watch.events import Now
from coldbrood.watch.localtime import is_night, wall_of
from coldbrood.watch.site import Site


def night_words(speech: Speech, site: Site, now: Now, view: BoxView, plan: NightPlan | None) -> str:
    """Fills and wakings of the night that is on, or the next; without a plan, the timetable's."""
    if plan is None:
        if view.timetable.hours is None:
            return speech.say("no refill, by the timetable")
        return speech.say("every {hours} h, by the timetable", hours=speech.number(view.timetable.hours))
    asleep = is_night(site, now.wall_s)
    times = speech.say(" and ").join(speech.clock(wall_of(now, at)) for at in plan.wake_s)
    if plan.fill_at_bedtime:
        fill = _fill(speech, cooler_c(site, view, plan), asleep)
        if plan.wake_s:
            return speech.say("{fill}, up at {times}", fill=fill, times=times)
        return speech.say("{fill}, then sleep", fill=fill)
    if plan.wake_s:
        return speech.say("up at {times}", times=times)
    return speech.say("sleep on") if asleep else speech.say("sleep through")


def cooler_c(site: Site, view: BoxView, plan: NightPlan) -> float | None:
    """How hot the water of the fill at bedtime should be where the usual is too much; else None."""
    if not plan.fill_at_bedtime or plan.bedtime_fill_c >= site.boxes[view.box].fill_c:
        return None
    return plan.bedtime_fill_c


def _fill(speech: Speech, cooler: float | None, asleep: bool) -> str:
    if cooler is None:
        return speech.say("fill now") if asleep else speech.say("fill at bedtime")
    water = speech.degrees(cooler)
    if asleep:
        return speech.say("fill now ({water})", water=water)
    return speech.say("fill at bedtime ({water})", water=water)
