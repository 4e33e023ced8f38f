"""The last word: the board shuts down, so nobody watches. And the next one, when somebody does again."""

from dataclasses import replace
from typing import Final

from coldbrood.watch import outbox
from coldbrood.watch.events import GoingDown, History, Now
from coldbrood.watch.localtime import clock_text
from coldbrood.watch.site import Site
from coldbrood.watch.state import State
from coldbrood.watch.tell import DIGEST_URGENCY, enqueue
from coldbrood.watch.wording import Words

URGENCY: Final = 4  # whatever the hour: from now on there is no alarm, and no flood can hold this one back
STAYED_S: Final = 600.0
PREFIX: Final = "last-word/"


def going_down(site: Site, state: State, event: GoingDown, now: Now) -> tuple[State, tuple[History, ...]]:
    """Say it on every channel, once."""
    if state.health.going_down_t_s is not None:
        return state, ()
    about = f"{PREFIX}{now.t_s:.0f}"
    spoken = Words(
        f"Nobody watches from {clock_text(site, now.wall_s)}: the board shuts down",
        f"Reason: {event.reason}. No alarm comes until it says that it watches again: go by the timetable.",
    )
    state = replace(state, health=replace(state.health, going_down_t_s=now.t_s))
    line = History("power", site.name, "going-down", event.reason)
    return enqueue(state, about, about, spoken, URGENCY, site.channels, now), (line,)


def is_unsaid(state: State) -> bool:
    """Whether a last word is still on its way."""
    return any(
        m.about.startswith(PREFIX) and m.state in ("waiting", "sending") for m in state.outbox.values()
    )


def stayed_up(site: Site, state: State, now: Now) -> State:
    """It did not shut down after all: the watch never stopped, and that must be said too."""
    since_t_s = state.health.going_down_t_s
    if since_t_s is None or now.t_s - since_t_s < STAYED_S:
        return state
    state = replace(state, health=replace(state.health, going_down_t_s=None))
    return back(site, state, now)


def back(site: Site, state: State, now: Now) -> State:
    """After a last word: take back what of it was not said, and say that the watch goes on."""
    words = [message for message in state.outbox.values() if message.about.startswith(PREFIX)]
    box = state.outbox
    for message in words:
        box = outbox.withdraw(box, message.about, now.t_s)
    state = replace(state, outbox=box)
    said = [message for message in words if message.sent_t_s is not None]
    if not said:
        return state
    last = max(said, key=lambda message: message.created_t_s).about
    spoken = Words(
        f"Watching again at {clock_text(site, now.wall_s)}", "The board is up. Alarms come as before."
    )
    name = f"watching-again/{last.removeprefix(PREFIX)}"  # a key counts once: said once for each last word
    return enqueue(state, name, name, spoken, DIGEST_URGENCY, site.channels, now)
