"""Whether every part is well: what the all-well signal rests on, and what the self-test has to tell.

A part is well when it was seen to work, not when nobody complained: a probe never heard is not well. Alarms
about the chicks do not count here; a watch that sees a cold box is a watch that works.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass

from coldbrood.watch.assess import is_silent
from coldbrood.watch.events import Now
from coldbrood.watch.outbox import Message
from coldbrood.watch.site import Site
from coldbrood.watch.state import State


@dataclass(frozen=True, slots=True)
class Trouble:
    """A part that is not well, and why. `has_alarm`: an alarm of its own tells of it."""

    part: str
    detail: str
    has_alarm: bool = False

    def __str__(self) -> str:
        return f"{self.part}: {self.detail}"


def troubles(site: Site, state: State, now: Now) -> tuple[Trouble, ...]:
    """Every part that is not well: link, journal, probes, channels, and what the board's own test found."""
    return (
        *_link(site, state),
        *_journal(state),
        *_probes(site, state, now),
        *_channels(site, state),
        *(Trouble("board", found) for found in state.health.found),
        *(
            ()
            if state.health.going_down_t_s is None
            else (Trouble("board", "is to shut down", has_alarm=True),)
        ),
    )


def digest_lines(site: Site, state: State, now: Now) -> list[str]:
    """What the self-test adds to a digest: nothing when all is well, and nothing that an alarm tells."""
    lines = [str(trouble) for trouble in troubles(site, state, now) if not trouble.has_alarm]
    return [f"Self-test: {line}." for line in (*lines, *state.health.asides)]


def _link(site: Site, state: State) -> Iterator[Trouble]:
    if all(spec.source != "mqtt" for spec in site.probes.values()):
        return
    if state.health.link_down_t_s is not None:
        yield Trouble("broker", state.health.link_detail or "no link", has_alarm=True)
    elif not state.health.link_seen:
        yield Trouble("broker", "not connected yet", has_alarm=True)


def _journal(state: State) -> Iterator[Trouble]:
    if state.health.journal_detail is not None:
        yield Trouble("journal", state.health.journal_detail, has_alarm=True)


def _probes(site: Site, state: State, now: Now) -> Iterator[Trouble]:
    for spec in site.probes.values():
        if is_silent(spec, state.sight.probes.get(spec.name), -math.inf, now.t_s):
            yield Trouble(f"probe {spec.name}", "not heard", has_alarm=True)


def _channels(site: Site, state: State) -> Iterator[Trouble]:
    if not site.channels and site.sounder_after_s is None:
        yield Trouble("channels", "none, so nothing can reach anyone")
    for channel in site.channels:
        last = last_tried(state, channel.name)
        if last is not None and last.state != "accepted":
            yield Trouble(
                f"channel {channel.name}", f"its last message did not get through, {last.last_detail}"
            )


def last_tried(state: State, channel: str) -> Message | None:
    """The message last tried on a channel; a first try that is under way does not tell yet."""
    tried = [
        message
        for message in state.outbox.values()
        if message.channel == channel
        and message.sent_t_s is not None
        and (message.state != "sending" or message.attempts > 1)
    ]
    return max(tried, key=lambda message: message.sent_t_s or 0.0, default=None)
