"""From alarms to messages: what is due to be said is worded and put into the outbox."""

from collections.abc import Iterable, Sequence
from dataclasses import replace

from coldbrood.brooder.look_ins import to_follow_up
from coldbrood.brooder.refills import Ask
from coldbrood.watch import alarms as machine
from coldbrood.watch import outbox
from coldbrood.watch.alarms import Alarm
from coldbrood.watch.assess import BoxView
from coldbrood.watch.conditions import CONDITIONS
from coldbrood.watch.events import History, Now
from coldbrood.watch.localtime import is_night
from coldbrood.watch.outbox import CRITICAL_URGENCY, Message
from coldbrood.watch.site import ChannelSpec, Site
from coldbrood.watch.state import State, asking
from coldbrood.watch.wording import Words, fit, follow_up, words

QUIET_LINGERS_S = 120.0  # so that what waited is told by the morning digest, not one by one just before it
DIGEST_URGENCY = 1


def is_quiet(site: Site, now: Now) -> bool:
    """Whether only what needs an act now may make a sound."""
    return is_night(site, now.wall_s - QUIET_LINGERS_S) or is_night(site, now.wall_s)


def waits_for_the_day(site: Site, message: Message, now: Now) -> bool:
    """Whether a message of the day that is still on its way may make no sound before the morning."""
    row = CONDITIONS.get(message.about.partition("/")[0])
    held = row is not None and not row.wakes and message.urgency < CRITICAL_URGENCY
    return held and is_quiet(site, now)


def tell(site: Site, state: State, now: Now) -> State:
    """Put every nudge that is due into the outbox, on as many channels as its repeats have reached."""
    quiet = is_quiet(site, now)
    for key, nudge, channels in machine.to_tell(state.alarms, now.t_s, quiet):
        alarm = state.alarms[key]
        view = view_of(site, state, alarm.subject)
        spoken = words(site, now, alarm, view)
        if alarm.condition == "refill-now":
            spoken = replace(spoken, body=f"{spoken.body} {asked_after(state, alarm.subject, now)}".rstrip())
        name = f"{key}#{alarm.raises}.{nudge}"
        state = enqueue(state, name, key, spoken, alarm.urgency, reached(site.channels, channels), now)
        state = replace(state, alarms=machine.told(state.alarms, key, now.t_s))
        if alarm.row.settled_by == "refill":
            state = asking(state, {alarm.subject: Ask(now.t_s, _water_c(alarm, view))})
        if quiet and nudge == 1:
            state = replace(state, ledger=replace(state.ledger, wakings=state.ledger.wakings + 1))
    return state


def _water_c(alarm: Alarm, view: BoxView | None) -> float | None:
    """How hot the water is asked for, None for as usual; under the hard floor nothing is too hot."""
    return None if view is None or alarm.condition == "under-hard-floor" else view.fill_c


def asked_after(state: State, box: str, now: Now) -> str:
    """The question after a chick of this box seen weak, loud or apart; "" when there is none."""
    seen = state.sight.boxes.get(box)
    return "" if seen is None else follow_up(to_follow_up(seen.look_ins, now.t_s, seen.loss_t_s))


def reached(channels: Sequence[ChannelSpec], steps: int) -> tuple[ChannelSpec, ...]:
    """The channels of the first `steps` people. A channel without a person is a step of its own."""
    people = list(dict.fromkeys(channel.person or (channel.name,) for channel in channels))[:steps]
    return tuple(channel for channel in channels if (channel.person or (channel.name,)) in people)


def view_of(site: Site, state: State, subject: str) -> BoxView | None:
    """The view of the box that an alarm's subject is, or whose probe it is."""
    if subject in state.views:
        return state.views[subject]
    spec = site.probes.get(subject)
    return None if spec is None or spec.box is None else state.views.get(spec.box)


def digest(site: Site, state: State, name: str, spoken: Words, now: Now) -> State:
    """Put a message that asks for no act into the outbox, for the first channel."""
    return enqueue(state, name, name, spoken, DIGEST_URGENCY, site.channels[:1], now)


def enqueue(
    state: State,
    name: str,
    about: str,
    spoken: Words,
    urgency: int,
    channels: Sequence[ChannelSpec],
    now: Now,
) -> State:
    """Put one message for each channel into the outbox, cut to the channel's limits. Its key is said once."""
    box = state.outbox
    for channel in channels:
        message = Message(
            key=f"{name}@{channel.name}",
            about=about,
            channel=channel.name,
            title=fit(spoken.title, channel.title_max),
            body=fit(spoken.body, channel.body_max),
            urgency=urgency,
            created_t_s=now.t_s,
            created_wall_s=now.wall_s,
            due_t_s=now.t_s,
            title_max=channel.title_max,
        )
        box = outbox.put(box, message)
    return replace(state, outbox=box)


def withdraw_settled(state: State, changes: Iterable[machine.Change], now: Now) -> State:
    """Messages still waiting about an alarm that was answered or is over are taken back."""
    box = state.outbox
    for change in changes:
        if change.event in ("acknowledge", "clear", "shelve", "suppress", "remove"):
            box = outbox.withdraw(box, change.key, now.t_s)
    return state if box is state.outbox else replace(state, outbox=box)


def changes_history(changes: Iterable[machine.Change]) -> tuple[History, ...]:
    """One line of the journal for each change of an alarm."""
    return tuple(
        History("alarm", c.key, c.after.state, c.reason, f"{c.event or 'reason'} from {c.before.state}")
        for c in changes
    )
