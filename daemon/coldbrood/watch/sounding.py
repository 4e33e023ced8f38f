"""When the noise on the board itself is due: for what is critical at once, else for a nudge unanswered.

It needs no network, so it is the last to fail. Critical: an hour on end, then a while with each repeat; any
other alarm that may wake: a while with each repeat, once it has gone unanswered as long as the config says.
The lengths are our own choice, no source: noise that never ends in an empty house helps no chick.
"""

from collections.abc import Mapping
from dataclasses import replace
from typing import Final

from coldbrood.watch.alarms import Alarm
from coldbrood.watch.events import Act, History, Now, Sound
from coldbrood.watch.site import Site
from coldbrood.watch.state import State

SOUNDS_S: Final = 300.0
CRITICAL_SOUNDS_S: Final = 3600.0
TRIAL_S: Final = 10.0
TRIAL: Final = "test"


def due(alarms: Mapping[str, Alarm], after_s: float, t_s: float) -> tuple[str, ...]:
    """The keys of the alarms for which there should be noise now."""
    return tuple(sorted(key for key, alarm in alarms.items() if _is_due(alarm, after_s, t_s)))


def _is_due(alarm: Alarm, after_s: float, t_s: float) -> bool:
    if alarm.state != "unacknowledged" or alarm.since_t_s is None:
        return False
    unanswered_s = t_s - alarm.since_t_s
    repeated = alarm.last_told_t_s is not None and t_s - alarm.last_told_t_s < SOUNDS_S
    if alarm.priority == "critical":
        return unanswered_s < CRITICAL_SOUNDS_S or repeated
    return alarm.row.wakes and repeated and unanswered_s >= after_s


def sound(site: Site, state: State, now: Now) -> tuple[State, tuple[Act, ...]]:
    """Begin, change or end the noise; no act while all stays as it is. Without a sounder it does nothing."""
    if site.sounder_after_s is None:
        return state, ()
    wanted = due(state.alarms, site.sounder_after_s, now.t_s)
    if state.trial_t_s is not None and now.t_s - state.trial_t_s < TRIAL_S:
        wanted = (*wanted, TRIAL)
    if wanted == state.sounding:
        return state, ()
    line = History(
        "sounder", site.name, "sounding" if wanted else "silent", " ".join(wanted) or "no cause left"
    )
    return replace(state, sounding=wanted), (Sound(wanted), line)
