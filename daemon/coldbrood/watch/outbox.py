"""The outbox: what is to be sent, when to try again, when the next channel joins, when to give up.

A message is one text on one channel. Its key never changes, so a repeat is known as one. Each
message ends accepted, refused or given up, or it still waits: none is lost. What may have
been taken already (no answer came, or the daemon died in between) is sent again all the
same, with a mark in the title: a repeat is a nuisance, a loss may cost a brood.

All functions are pure and give the same object back where nothing changed; times are watch
time. The limit of 10 messages in 10 minutes is that
of an alarm flood (EEMUA 191 / ISA-18.2, reference/standards.md section 1: V for 10 in 10 min).
Back-off times and ages are our own choice, no source.
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Final, Literal

from coldbrood.watch.events import SendDone, SendNow

MessageState = Literal["waiting", "sending", "accepted", "refused", "gave-up"]

RETRY_FIRST_S: Final = 15.0
RETRY_MOST_S: Final = 600.0
JOIN_AFTER: Final = 3
GIVE_UP_S: Final = 24 * 3600.0
KEEP_S: Final = 48 * 3600.0
STUCK_S: Final = 900.0  # no worker takes this long: its thread died, so try again
FLOOD_MOST: Final = 10
FLOOD_WINDOW_S: Final = 600.0
CRITICAL_URGENCY: Final = 4
AGAIN: Final = " (again?)"


@dataclass(frozen=True, slots=True)
class Message:
    """One text for one channel. Plain fields.

    `about` is an alarm key or the name of a digest, `attempts` counts failed or doubtful
    tries, `reached_t_s` holds when it may have reached a person within the flood window,
    `withdrawn` marks one that is being sent while its cause ended.
    """

    key: str
    about: str
    channel: str
    title: str
    body: str
    urgency: int
    created_t_s: float
    created_wall_s: float
    due_t_s: float
    attempts: int = 0
    state: MessageState = "waiting"
    may_repeat: bool = False
    last_detail: str = ""
    title_max: int = 60
    sent_t_s: float | None = None
    ended_t_s: float | None = None
    reached_t_s: tuple[float, ...] = ()
    withdrawn: bool = False


Outbox = Mapping[str, Message]


def put(outbox: Outbox, message: Message) -> Outbox:
    """Add a message that waits. A key counts once: what is there already stays as it is.

    An older one that still waits on the same channel about the same thing is overtaken, so
    that hours without a network do not end in a storm.
    """
    if message.key in outbox:
        return outbox
    after = dict(outbox)
    for other in outbox.values():
        if other.state == "waiting" and (other.about, other.channel) == (message.about, message.channel):
            after[other.key] = _end(other, "gave-up", f"overtaken by {message.key}", message.created_t_s)
    after[message.key] = message
    return after


def _none(_message: Message) -> bool:
    return False


def due(
    outbox: Outbox, t_s: float, rests: Callable[[Message], bool] = _none
) -> tuple[Outbox, tuple[SendNow, ...]]:
    """What to hand out now, most urgent first; each is marked as being sent. What `rests` stays as it is.

    At most 10 in any 10 minutes may reach people; what is over waits, but nothing critical does.
    """
    after = _tidy(outbox, t_s)
    reached = sum(len(_within(m.reached_t_s, t_s)) for m in after.values())
    sends: list[SendNow] = []
    for message in _ready(after.values(), t_s):
        if rests(message):
            continue
        if message.urgency < CRITICAL_URGENCY and reached >= FLOOD_MOST:
            held = f"held back: {FLOOD_MOST} messages in {FLOOD_WINDOW_S / 60:.0f} min"
            if message.last_detail != held:  # a copy of each at every event is dear when hundreds wait
                after[message.key] = replace(message, last_detail=held)
            continue
        reached += 1
        after[message.key] = replace(
            message,
            state="sending",
            sent_t_s=t_s,
            attempts=message.attempts + 1,
            reached_t_s=(*_within(message.reached_t_s, t_s), t_s),
        )
        sends.append(_send_now(after[message.key]))
    return _unless_same(outbox, after), tuple(sends)


def done(outbox: Outbox, sent: SendDone, channels: tuple[str, ...], t_s: float) -> Outbox:
    """Take the outcome of one attempt. `channels` in the order of escalation.

    An outcome for a message that is not being sent any more is ignored, unless it says accepted.
    """
    message = outbox.get(sent.key)
    if message is None or not (message.state == "sending" or _late_success(message, sent)):
        return outbox
    if sent.outcome == "accepted":
        return {**outbox, sent.key: _end(message, "accepted", sent.detail, t_s)}
    if sent.outcome == "refused":
        after = {**outbox, sent.key: _end(_not_reached(message), "refused", sent.detail, t_s)}
        return after if message.withdrawn else _join_next(after, message, channels, t_s)
    again = _again(message, sent, t_s)
    after = {**outbox, sent.key: again}
    if again.state == "waiting" and again.attempts >= JOIN_AFTER:
        return _join_next(after, message, channels, t_s)
    return after


def withdraw(outbox: Outbox, about: str, t_s: float) -> Outbox:
    """The cause has ended: drop what waits about it, and do not repeat what is being sent."""
    after = dict(outbox)
    for message in outbox.values():
        if message.about == about and message.state == "waiting":
            after[message.key] = _end(message, "gave-up", "settled before it was sent", t_s)
        elif message.about == about and message.state == "sending":
            after[message.key] = replace(message, withdrawn=True)
    return _unless_same(outbox, after)


def resume(outbox: Outbox, t_s: float) -> Outbox:
    """After a restart: what was being sent may have gone out, so it waits again with the mark."""
    after = {key: _doubt(m, t_s) if m.state == "sending" else m for key, m in outbox.items()}
    return _unless_same(outbox, after)


def prune(outbox: Outbox, t_s: float) -> Outbox:
    """Forget what ended more than 48 h ago."""
    after = {k: m for k, m in outbox.items() if m.ended_t_s is None or t_s - m.ended_t_s < KEEP_S}
    return _unless_same(outbox, after)


def _unless_same(outbox: Outbox, after: Outbox) -> Outbox:
    """The old object where nothing changed, so that the caller sees it at a glance."""
    return outbox if after == outbox else after


def _base(message: Message) -> str:
    return message.key.removesuffix(f"@{message.channel}")


def _ready(messages: Iterable[Message], t_s: float) -> list[Message]:
    ready = [m for m in messages if m.state == "waiting" and m.due_t_s <= t_s]
    return sorted(ready, key=lambda m: (-m.urgency, m.created_t_s, m.key))


def _tidy(outbox: Outbox, t_s: float) -> dict[str, Message]:
    """Give up what is too old, and take back what a worker never answered for."""
    after = dict(outbox)
    for message in outbox.values():
        if message.state == "sending" and message.sent_t_s is not None and t_s - message.sent_t_s >= STUCK_S:
            after[message.key] = _doubt(message, t_s)
        elif message.state == "waiting" and t_s - message.created_t_s >= GIVE_UP_S:
            after[message.key] = _end(message, "gave-up", f"24 h: {message.last_detail}", t_s)
    return after


def _within(times_s: tuple[float, ...], t_s: float) -> tuple[float, ...]:
    return tuple(at for at in times_s if t_s - at < FLOOD_WINDOW_S)


def _send_now(message: Message) -> SendNow:
    title = message.title
    if message.may_repeat:
        title = title[: max(0, message.title_max - len(AGAIN))].rstrip() + AGAIN
    return SendNow(message.key, message.channel, title, message.body, message.urgency, message.attempts)


def _late_success(message: Message, sent: SendDone) -> bool:
    return sent.outcome == "accepted" and message.state == "waiting" and message.sent_t_s is not None


def _not_reached(message: Message) -> Message:
    return replace(message, reached_t_s=message.reached_t_s[:-1])


def _end(message: Message, state: MessageState, detail: str, t_s: float) -> Message:
    return replace(message, state=state, last_detail=detail, ended_t_s=t_s)


def _again(message: Message, sent: SendDone, t_s: float) -> Message:
    doubtful = sent.outcome == "unknown"
    kept = message if doubtful else _not_reached(message)
    if message.withdrawn:
        return _end(kept, "gave-up", f"settled while being sent: {sent.detail}", t_s)
    wait_s = min(RETRY_FIRST_S * 2.0 ** min(message.attempts - 1, 16), RETRY_MOST_S)
    return replace(
        kept,
        state="waiting",
        due_t_s=t_s + wait_s,
        may_repeat=message.may_repeat or doubtful,
        last_detail=sent.detail,
    )


def _doubt(message: Message, t_s: float) -> Message:
    if message.withdrawn:
        return _end(message, "gave-up", "settled while being sent, outcome not known", t_s)
    return replace(message, state="waiting", may_repeat=True, due_t_s=t_s, last_detail="outcome not known")


def _join_next(outbox: Outbox, message: Message, channels: tuple[str, ...], t_s: float) -> Outbox:
    """Put the same text on the channel after this one, unless it is there already."""
    place = channels.index(message.channel) + 1 if message.channel in channels else 0
    if place >= len(channels):
        return outbox
    key = f"{_base(message)}@{channels[place]}"
    if key in outbox:
        return outbox
    joined = Message(
        key=key,
        about=message.about,
        channel=channels[place],
        title=message.title,
        body=message.body,
        urgency=message.urgency,
        created_t_s=t_s,
        created_wall_s=message.created_wall_s + (t_s - message.created_t_s),
        due_t_s=t_s,
        last_detail=f"joined after {message.channel}",
        title_max=message.title_max,
    )
    return put(outbox, joined)
