"""What a note taken back means for the alarms: what it had answered asks again."""

from dataclasses import replace

from coldbrood.watch import alarms as machine
from coldbrood.watch import tell
from coldbrood.watch.conditions import CONDITIONS
from coldbrood.watch.events import Act, History, Note, Now
from coldbrood.watch.state import State
from coldbrood.watch.takeback import Told

BY_REFILL = tuple(name for name, row in CONDITIONS.items() if row.settled_by == "refill")


def unsay(state: State, note: Note, told: Told | None, now: Now) -> tuple[State, tuple[Act, ...]]:
    """Let the alarms that the note `told` answered ask again. The sight is undone already."""
    if told is None:
        return state, (History("note", note.text, "not-done", "withdraw", "no such note to take back"),)
    acts: tuple[Act, ...] = ()
    for target in _targets(state, told):
        after, changes = machine.take_back(state.alarms, target, now.t_s, now.wall_s)
        state = replace(state, alarms=after)
        acts = (*acts, *tell.changes_history(changes))
    return state, acts


def _targets(state: State, told: Told) -> tuple[str, ...]:
    if told.kind in ("acknowledge", "shelve"):
        return (told.alarm or told.box or "",)
    if told.kind != "refill":
        return ()
    keys = (f"{condition}/{told.box}" for condition in BY_REFILL)
    return tuple(
        key for key in keys if key in state.alarms and (state.alarms[key].since_t_s or 0.0) >= told.t_s
    )
