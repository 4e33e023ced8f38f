"""The one step of the watch: state and event in, state and acts out.

Pure: the same state, event and time give the same result. The service commits the new state
before it carries out the acts.
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from typing import Any

from coldbrood.brooder.refills import Refill
from coldbrood.watch import alarms as machine
from coldbrood.watch import (
    batches,
    calibrated,
    chicks,
    lastword,
    outbox,
    refillline,
    rounds,
    sounding,
    tell,
    trial,
    verdicts,
)
from coldbrood.watch.assess import assess_boxes, look_is_due
from coldbrood.watch.boxstate import shown
from coldbrood.watch.events import (
    Act,
    Beat,
    Bedtime,
    ClockStepped,
    Event,
    GapKnown,
    GoingDown,
    History,
    JournalFailed,
    JournalWell,
    LinkDown,
    LinkUp,
    Morning,
    Note,
    Now,
    Reading,
    Refused,
    Retain,
    SelfTested,
    SendDone,
    ShowBox,
    Started,
    Tick,
)
from coldbrood.watch.localtime import is_night
from coldbrood.watch.outage import network_back
from coldbrood.watch.redate import redate
from coldbrood.watch.rest import woken
from coldbrood.watch.sight import IDLE_REFUSALS, absorb
from coldbrood.watch.site import ProbeSpec, Site
from coldbrood.watch.state import State
from coldbrood.watch.swapped import swapped
from coldbrood.watch.turnover import turn_over
from coldbrood.watch.unsay import unsay

FRESH_S = 120.0
SHELVE_MIN = 60.0

Stepped = tuple[State, tuple[Act, ...]]


def step(site: Site, state: State, event: Event, now: Now) -> Stepped:
    """Take one event. Raises nothing for any event of the Event union; time in `now` never runs back."""
    whole = isinstance(event, (Reading, Refused, Note, Started))  # these also tell of what is not in use
    at_hand = site if whole else batches.in_use(site, state.sight, now.t_s)
    state, acts = HANDLERS[type(event)](at_hand, state, event, now)
    state, sends = _send_due(site, state, now)
    state, sounds = sounding.sound(site, state, now)
    return state, (*acts, *sends, *sounds)


def _send_due(site: Site, state: State, now: Now) -> Stepped:
    box, sends = outbox.due(state.outbox, now.t_s, lambda m: tell.waits_for_the_day(site, m, now))
    return (state if box is state.outbox else replace(state, outbox=box)), tuple(sends)


def _judge(site: Site, state: State, found: Iterable[machine.Verdict], now: Now) -> Stepped:
    """Advance the alarms by verdicts, note each change, and put what must be told into the outbox."""
    changed, changes = machine.advance(state.alarms, tuple(found), now.t_s, now.wall_s)
    state = replace(state, alarms=changed)
    return tell.tell(site, tell.withdraw_settled(state, changes, now), now), tell.changes_history(changes)


def _reading(site: Site, state: State, event: Reading, now: Now) -> Stepped:
    seen = absorb(site, state.sight, event)
    state = replace(state, sight=seen.sight)
    site = batches.in_use(site, seen.sight, now.t_s)
    spec = site.probes.get(event.probe)
    if spec is None or event.late:
        return state, ()
    acts: tuple[Act, ...] = ()
    if seen.refill is not None:
        state, acts = _refilled(site, state, *seen.refill, now)
    if spec.box is not None and spec.box not in state.views:
        state, looked = _assess(site, state, [spec.box], now)
        acts = (*acts, *looked)
    state = _fresher_view(state, spec, event, now)
    view = state.views.get(spec.box or "")
    found = verdicts.of_reading(site, state.sight, view, spec, event)
    state, judged = _judge(site, state, found, now)
    shows = () if view is None else (ShowBox(view.box, shown(site, state, view, now)),)
    return state, (*acts, *judged, *shows)


def _fresher_view(state: State, spec: ProbeSpec, reading: Reading, now: Now) -> State:
    """Put a reading's figure into the view of its box; the forecast waits for the next beat."""
    view = state.views.get(spec.box or "")
    if view is None or reading.quantity != "temperature_c" or now.t_s - reading.t_s > FRESH_S:
        return state
    view = replace(view, box_c=reading.value, read_t_s=reading.t_s, estimated=False, blind=False)
    return replace(state, views={**state.views, view.box: view})


def _refilled(site: Site, state: State, box: str, refill: Refill, now: Now) -> Stepped:
    """The box's own rise is the acknowledgement, and asks for a new look at the box.

    That look may end what suppressed another alarm of the box: the same refill answers that one too.
    """
    state, acts = _answered(state, box, now)
    state, looked = _assess(site, state, [box], now)
    state, more = _answered(state, box, now)
    return state, (refillline.line_of(box, refill, now), *acts, *looked, *more)


def _answered(state: State, box: str, now: Now) -> Stepped:
    settled, changes = machine.refill_seen(state.alarms, box, now.t_s, now.wall_s)
    state = tell.withdraw_settled(replace(state, alarms=settled), changes, now)
    return state, tell.changes_history(changes)


def _assess(site: Site, state: State, boxes: Iterable[str], now: Now) -> Stepped:
    """Look at boxes, judge what only time and forecast decide, show the boxes."""
    views = assess_boxes(site, state.sight, boxes, state.health.started_t_s, now)
    state = replace(state, views={**state.views, **views})
    found: list[machine.Verdict] = []
    for box, view in views.items():
        found.extend(verdicts.of_box(site, view, state.sight.boxes[box], state.alarms, now.t_s))
        found.append(swapped(site, state.sight, view, now))
    state, acts = _judge(site, state, found, now)
    shows = tuple(ShowBox(box, shown(site, state, view, now)) for box, view in views.items())
    return state, (*acts, *shows)


def _beat(site: Site, state: State, _event: Beat, now: Now) -> Stepped:
    expired, changes = machine.expire(state.alarms, now.t_s, now.wall_s)
    state = replace(state, alarms=expired, health=woken(state.health, now))
    acts = tell.changes_history(changes)
    due = [box for box in site.boxes if look_is_due(state.views.get(box), site.keeper.lead_s, now.t_s)]
    state, looked = _assess(site, state, due, now) if due else (state, ())
    found = (
        *verdicts.of_silence(site, state.sight, state.health, now.t_s, is_night(site, now.wall_s)),
        *(verdicts.of_health(site, state.health, now.t_s) if site.boxes else ()),
    )
    state, judged = _judge(site, state, found, now)
    state = lastword.stayed_up(site, trial.take_back(state, now), now)
    return rounds.dusk(site, chicks.weak_boxes(site, state, now), now), (*acts, *looked, *judged)


def _note(site: Site, state: State, event: Note, now: Now) -> Stepped:
    seen = absorb(site, state.sight, event)
    if seen.repeated:
        return state, ()
    before, state = state, replace(state, sight=seen.sight)
    acts: tuple[Act, ...] = (
        History("note", event.box or site.name, event.kind, event.look_in or "", event.text),
    )
    if event.kind in batches.KINDS:
        state, more = turn_over(site, before, state, event, now)
        acts = (*acts, *more)
    site = batches.in_use(site, state.sight, now.t_s)
    if seen.refill is not None:
        state, more = _refilled(site, state, *seen.refill, now)
        acts = (*acts, *more)
    if event.kind == "withdraw":
        state, more = unsay(state, event, seen.undone, now)
        acts = (*acts, *more)
    if event.kind == "test":
        return trial.ask(site, state, event, now), acts
    state, answered = _answer(state, event, now)
    state, looked = _assess(site, state, site.boxes, now)
    return state, (*acts, *answered, *looked)


def _answer(state: State, note: Note, now: Now) -> Stepped:
    """What a person says to an alarm: acknowledge, shelve for a time, take the shelf back."""
    about = note.alarm or note.box or ""
    try:
        if note.kind == "acknowledge":
            after, changes = machine.acknowledge(state.alarms, about, now.t_s, now.wall_s)
        elif note.kind == "shelve":
            shelved_s = 60.0 * (SHELVE_MIN if note.minutes is None else note.minutes)
            after, changes = machine.shelve(state.alarms, about, shelved_s, now.t_s, now.wall_s)
        elif note.kind == "unshelve":
            after, changes = machine.unshelve(state.alarms, about, now.t_s, now.wall_s)
        else:
            return state, ()
    except (machine.ImpossibleEvent, ValueError) as error:
        return state, (History("note", about, "not-done", note.kind, str(error)),)
    state = tell.withdraw_settled(replace(state, alarms=after), changes, now)
    return state, tell.changes_history(changes)


def _refused(site: Site, state: State, event: Refused, now: Now) -> Stepped:
    state = replace(state, sight=absorb(site, state.sight, event).sight)
    spec = batches.in_use(site, state.sight, now.t_s).probes.get(event.probe or "")
    probe = state.sight.probes.get(event.probe or "")
    if spec is None or probe is None or event.reason in IDLE_REFUSALS:
        return state, ()
    return _judge(site, state, [verdicts.wrong(spec, probe)], now)


def _bedtime(site: Site, state: State, _event: Bedtime, now: Now) -> Stepped:
    if not site.boxes:
        return state, ()
    state, acts = _assess(site, state, site.boxes, now)
    state, lines = rounds.bedtime(site, state, now)
    return state, (*acts, *lines)


def _morning(site: Site, state: State, _event: Morning, now: Now) -> Stepped:
    if not site.boxes:
        return state, ()
    state, acts = _assess(site, state, site.boxes, now)
    return rounds.morning(site, state, now), acts


def _started(site: Site, state: State, event: Started, now: Now) -> Stepped:
    health = verdicts.Health(started_t_s=now.t_s, down_s=event.down_s, down_sure=event.sure)
    state = replace(state, health=health, outbox=outbox.resume(state.outbox, now.t_s))
    down = "first start" if event.down_s is None else f"down {event.down_s:.0f} s"
    state, corrected = calibrated.news(site, lastword.back(site, state, now))
    acts = (History("start", site.name, "up", down, event.set_aside or ""), *corrected)
    if event.set_aside is not None:
        state = rounds.set_aside(site, state, event.set_aside, event.newer_aside, now)
    return state, acts


def _clock(site: Site, state: State, event: ClockStepped, _now: Now) -> Stepped:
    return state, (History("clock", site.name, "stepped", f"{event.delta_s:+.1f} s"),)


def _gap(site: Site, state: State, event: GapKnown, _now: Now) -> Stepped:
    return redate(site, state, event)


def _link_up(site: Site, state: State, _event: LinkUp, _now: Now) -> Stepped:
    health = replace(state.health, link_down_t_s=None, link_detail="", link_seen=True)
    return replace(state, health=health), (History("link", site.name, "up", ""),)


def _link_down(site: Site, state: State, event: LinkDown, now: Now) -> Stepped:
    since = state.health.link_down_t_s
    health = replace(
        state.health, link_down_t_s=now.t_s if since is None else since, link_detail=event.detail
    )
    acts = () if since is not None else (History("link", site.name, "down", event.detail),)
    return replace(state, health=health), acts


def _journal_failed(_site: Site, state: State, event: JournalFailed, _now: Now) -> Stepped:
    return replace(state, health=replace(state.health, journal_detail=event.detail)), ()


def _journal_well(site: Site, state: State, event: JournalWell, now: Now) -> Stepped:
    state = replace(state, health=replace(state.health, journal_detail=None))
    if event.set_aside is None:
        return state, ()
    line = History(
        "journal", site.name, "set-aside", "newer" if event.newer_aside else "damaged", event.set_aside
    )
    return rounds.set_aside(site, state, event.set_aside, event.newer_aside, now), (line,)


def _self_tested(_site: Site, state: State, event: SelfTested, _now: Now) -> Stepped:
    return replace(state, health=replace(state.health, found=event.found, asides=event.asides)), ()


def _send_done(site: Site, state: State, event: SendDone, now: Now) -> Stepped:
    channels = tuple(channel.name for channel in site.channels)
    message = state.outbox.get(event.key)
    box = outbox.done(state.outbox, event, channels, now.t_s)
    state = replace(state, outbox=box)
    if message is not None and event.outcome == "accepted" and message.state in ("waiting", "sending"):
        state = network_back(site, state, message, now)
    about = "" if message is None else message.about
    return state, (History("send", event.key, event.outcome, about, event.detail),)


def _tick(_site: Site, state: State, _event: Tick, now: Now) -> Stepped:
    return replace(state, outbox=outbox.prune(state.outbox, now.t_s)), ()


def _nothing(_site: Site, state: State, _event: Retain, _now: Now) -> Stepped:
    return state, ()


HANDLERS: Mapping[type, Callable[[Site, State, Any, Now], Stepped]] = {
    Reading: _reading,
    Refused: _refused,
    Note: _note,
    Beat: _beat,
    Tick: _tick,
    Bedtime: _bedtime,
    Morning: _morning,
    Retain: _nothing,
    Started: _started,
    ClockStepped: _clock,
    GapKnown: _gap,
    GoingDown: lastword.going_down,
    LinkUp: _link_up,
    LinkDown: _link_down,
    JournalFailed: _journal_failed,
    JournalWell: _journal_well,
    SelfTested: _self_tested,
    SendDone: _send_done,
}
