"""The network is back: what waited goes at once, and one summary says what could not be said."""

from collections.abc import Iterable
from dataclasses import replace

from coldbrood.watch.events import Now
from coldbrood.watch.localtime import clock_text, wall_of
from coldbrood.watch.outbox import Message, Outbox
from coldbrood.watch.site import Site
from coldbrood.watch.state import State
from coldbrood.watch.tell import DIGEST_URGENCY, enqueue
from coldbrood.watch.wording import Words

OUTAGE_S = 1800.0  # shorter ones are noise: the messages themselves come late, and that is all (our choice)
NAMED_MOST = 4


def network_back(site: Site, state: State, accepted: Message, now: Now) -> State:
    """A channel took a message: hurry what waits on it, and sum up a long time in which it took none."""
    state = replace(state, outbox=hurry(state.outbox, accepted.channel, now.t_s))
    failed = _failed_since(state.outbox, accepted)
    began_t_s = min((message.created_t_s for message in failed), default=now.t_s)
    if now.t_s - began_t_s < OUTAGE_S or _summed_up(state.outbox, accepted.channel, now.t_s):
        return state
    channels = [channel for channel in site.channels if channel.name == accepted.channel]
    name = f"outage/{accepted.channel}/{began_t_s:.0f}"
    spoken = _words(site, began_t_s, _unsaid(state.outbox, failed), now)
    return enqueue(state, name, name, spoken, DIGEST_URGENCY, channels, now)


def _summed_up(outbox: Outbox, channel: str, t_s: float) -> bool:
    """Whether this end of an outage has its summary: what waited goes one by one, and each was late."""
    about = f"outage/{channel}/"
    return any(m.about.startswith(about) and t_s - m.created_t_s < OUTAGE_S for m in outbox.values())


def hurry(outbox: Outbox, channel: str, t_s: float) -> Outbox:
    """What waits for another try on a channel need not wait longer."""
    late = {
        key: replace(message, due_t_s=t_s)
        for key, message in outbox.items()
        if message.channel == channel
        and message.state == "waiting"
        and message.attempts
        and message.due_t_s > t_s
    }
    return {**outbox, **late} if late else outbox


def _failed_since(outbox: Outbox, accepted: Message) -> list[Message]:
    """Messages of the channel that had no luck since the one accepted before this, its own tries too."""
    mine = [m for m in outbox.values() if m.channel == accepted.channel]
    before = [m.ended_t_s for m in mine if m.state == "accepted" and m.key != accepted.key and m.ended_t_s]
    since_t_s = max(before, default=float("-inf"))
    failed = [m for m in mine if m.state == "gave-up" and m.attempts and (m.ended_t_s or 0.0) > since_t_s]
    return [*failed, accepted] if accepted.attempts > 1 else failed


def _unsaid(outbox: Outbox, failed: Iterable[Message]) -> list[Message]:
    """The first message about each thing that no later message says or will say, on any channel."""
    said = {m.about for m in outbox.values() if m.state in ("accepted", "waiting", "sending")}
    first: dict[str, Message] = {}
    for message in sorted(failed, key=lambda m: (m.created_t_s, m.key)):
        if message.about not in said:
            first.setdefault(message.about, message)
    return list(first.values())


def _words(site: Site, began_t_s: float, unsaid: list[Message], now: Now) -> Words:
    since = clock_text(site, wall_of(now, began_t_s))
    title = f"No message could leave from {since} to {clock_text(site, now.wall_s)}"
    if not unsaid:
        return Words(title, "What still holds is told anew; nothing else was missed.")
    lines = [
        f"{clock_text(site, wall_of(now, message.created_t_s))} {message.title}."
        for message in unsaid[:NAMED_MOST]
    ]
    more = f" And {len(unsaid) - NAMED_MOST} more." if len(unsaid) > NAMED_MOST else ""
    return Words(title, f"Over by now: {' '.join(lines)}{more}")
