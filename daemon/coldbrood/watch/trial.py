"""The keeper's test: one message on every channel at once and a short noise, to try the whole chain.

It goes the way of a nudge: outbox, commit, worker, outcome. What did not get through in a few minutes is
taken back, for a test must not come in the night.
"""

from dataclasses import replace
from typing import Final

from coldbrood.watch import outbox
from coldbrood.watch.events import Note, Now
from coldbrood.watch.localtime import clock_text
from coldbrood.watch.site import Site
from coldbrood.watch.state import State
from coldbrood.watch.tell import enqueue
from coldbrood.watch.wording import Words

URGENCY: Final = 3  # that of a refill nudge: the test must make the sound that has to wake
TAKEN_BACK_S: Final = 180.0
PREFIX: Final = "test/"


def about(note_key: str) -> str:
    """What the messages of a test are about."""
    return f"{PREFIX}{note_key}"


def ask(site: Site, state: State, note: Note, now: Now) -> State:
    """Put the test on every channel."""
    title = f"Test at {clock_text(site, now.wall_s)}: nothing to do"
    body = "If you read this, this channel works. At night a nudge must wake you: did this one make a sound?"
    state = replace(state, trial_t_s=now.t_s)
    return enqueue(state, about(note.key), about(note.key), Words(title, body), URGENCY, site.channels, now)


def take_back(state: State, now: Now) -> State:
    """Drop what of a test has waited too long."""
    box = state.outbox
    for message in state.outbox.values():
        old = now.t_s - message.created_t_s >= TAKEN_BACK_S
        if old and message.about.startswith(PREFIX) and message.state in ("waiting", "sending"):
            box = outbox.withdraw(box, message.about, now.t_s)
    return state if box is state.outbox else replace(state, outbox=box)
