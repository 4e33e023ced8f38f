"""A gap that only a later setting of the clock revealed: what happened since the start moves up to it."""

from dataclasses import replace

from coldbrood.watch.alarms import Alarm
from coldbrood.watch.events import GapKnown, History
from coldbrood.watch.outbox import Message
from coldbrood.watch.site import Site
from coldbrood.watch.state import State


def redate(site: Site, state: State, event: GapKnown) -> tuple[State, tuple[History, ...]]:
    """Watch time has gone `gap_s` ahead: move what belongs to this start along, so that no duration changes.

    The sight has been read anew by the service. What lies before the start is older now, as it should be.
    """
    health, gap_s = state.health, event.gap_s
    since_s = health.started_t_s
    alarms = {key: _alarm(alarm, since_s, gap_s) for key, alarm in state.alarms.items()}
    messages = {key: _message(message, since_s, gap_s) for key, message in state.outbox.items()}
    night_t_s = _moved(state.ledger.night_t_s, since_s, gap_s)
    health = replace(
        health,
        started_t_s=since_s + gap_s,
        link_down_t_s=_moved(health.link_down_t_s, since_s, gap_s),
        beat_t_s=_moved(health.beat_t_s, since_s, gap_s),
        down_s=(health.down_s or 0.0) + gap_s,
        down_sure=True,
    )
    line = History("clock", site.name, "gap-known", "", f"was down {health.down_s or 0.0:.0f} s")
    asks = tuple(
        replace(a, ask=replace(a.ask, t_s=_moved(a.ask.t_s, since_s, gap_s) or 0.0))
        for a in state.ledger.asks
    )
    ledger = replace(state.ledger, night_t_s=night_t_s, asks=asks)
    state = replace(state, sight=replace(state.sight, asks=asks))
    return replace(state, health=health, alarms=alarms, outbox=messages, ledger=ledger, views={}), (line,)


def _moved(t_s: float | None, since_s: float, gap_s: float) -> float | None:
    return t_s if t_s is None or t_s < since_s else t_s + gap_s


def _alarm(alarm: Alarm, since_s: float, gap_s: float) -> Alarm:
    shelved_here = alarm.since_t_s is not None and alarm.since_t_s >= since_s
    return replace(
        alarm,
        raised_t_s=_moved(alarm.raised_t_s, since_s, gap_s),
        since_t_s=_moved(alarm.since_t_s, since_s, gap_s),
        off_since_t_s=_moved(alarm.off_since_t_s, since_s, gap_s),
        last_told_t_s=_moved(alarm.last_told_t_s, since_s, gap_s),
        shelved_until_t_s=_moved(alarm.shelved_until_t_s, since_s, gap_s)
        if shelved_here
        else alarm.shelved_until_t_s,
    )


def _message(message: Message, since_s: float, gap_s: float) -> Message:
    """Its due time stays: what waited for another try is tried now."""
    return replace(
        message,
        created_t_s=_moved(message.created_t_s, since_s, gap_s) or 0.0,
        sent_t_s=_moved(message.sent_t_s, since_s, gap_s),
        ended_t_s=_moved(message.ended_t_s, since_s, gap_s),
        reached_t_s=tuple(at if at < since_s else at + gap_s for at in message.reached_t_s),
    )
