"""What follows when a batch ends or begins, or a probe is set aside: alarms, ledger, the journal's line.

A batch that ends takes all its alarms out of service (the word of IEC 62682): with no chicks there is nothing
to wake for, and what is packed away must not cry out for being silent. The next batch puts those of its own
boxes back, as if they had never been raised.
"""

from collections.abc import Mapping
from dataclasses import replace

from coldbrood.brooder.estimate import learned
from coldbrood.watch import alarms as machine
from coldbrood.watch import batches, tell
from coldbrood.watch.alarmstates import Alarm, possible
from coldbrood.watch.boxstate import rfc3339
from coldbrood.watch.events import Act, History, Note, Now, ShowBox
from coldbrood.watch.site import Site
from coldbrood.watch.state import Ledger, State
from coldbrood.watch.verdicts import Health

TAUGHT = (("k_jug_w_per_k", "jug"), ("k_box_w_per_k", "loss"))

Stepped = tuple[State, tuple[Act, ...]]


def turn_over(site: Site, before: State, state: State, note: Note, now: Now) -> Stepped:
    """Take on what a note of `batches.KINDS` changed between two states; `site` is the whole one."""
    why_not = batches.refusal(site, before.sight, note)
    if why_not:
        return state, (History("batch", site.name, "not-done", note.kind, why_not),)
    if note.kind == "aside":
        return state, (_aside_line(note, now),)
    used = batches.in_use(site, state.sight, now.t_s)
    state, changes = _service(used, state, now)
    state = replace(state, views={name: view for name, view in state.views.items() if name in used.boxes})
    if note.kind == "batch-start":
        state = replace(state, ledger=Ledger(offsets=state.ledger.offsets), health=_begun(state.health, now))
    shows = tuple(ShowBox(box, _at_rest(box, now)) for box in state.sight.resting)
    return state, (_batch_line(site, used, before, state, note), *tell.changes_history(changes), *shows)


def _begun(health: Health, now: Now) -> Health:
    """A probe that lay in a drawer until now is given its time to speak, as at a start of the daemon."""
    return replace(health, started_t_s=now.t_s, down_s=None, down_sure=True)


def _service(used: Site, state: State, now: Now) -> tuple[State, tuple[machine.Change, ...]]:
    """Alarms of what is in use are in service, all others are not."""
    subjects = {*used.boxes, *used.probes, *([used.name] if used.boxes else ())}
    rows, changes = _as_new(state.alarms, subjects), list[machine.Change]()
    for key, alarm in rows.items():
        event: machine.AlarmEvent = "restore" if alarm.subject in subjects else "remove"
        if possible(alarm.state, event):
            act = machine.restore if event == "restore" else machine.remove
            rows, changed = act(rows, key, now.t_s, now.wall_s)
            changes.extend(changed)
    state = tell.withdraw_settled(replace(state, alarms=rows), changes, now)
    return state, tuple(changes)


def _as_new(alarms: Mapping[str, Alarm], subjects: set[str]) -> Mapping[str, Alarm]:
    """Alarms that come back into service hold nothing of the batch before; the count of raises goes on."""
    return {
        key: replace(alarm, active=False, on_count=0, off_count=0, off_since_t_s=None)
        if alarm.state == "out-of-service" and alarm.subject in subjects
        else alarm
        for key, alarm in alarms.items()
    }


def _batch_line(site: Site, used: Site, before: State, state: State, note: Note) -> History:
    if note.kind == "batch-close":
        arrival = batches.current(site, before.sight.batch).arrival
        taught = "; ".join(f"box {name}: {_taught(site, before, name)}" for name in before.sight.boxes)
        return History("batch", site.name, "closed", arrival.isoformat(), taught)
    counts = ", ".join(f"{name} {box.chicks}" for name, box in state.sight.boxes.items())
    day0 = used.batch.day0.isoformat()
    return History("batch", site.name, "started", used.batch.arrival.isoformat(), f"day 0 {day0}; {counts}")


def _taught(site: Site, state: State, box: str) -> str:
    """What the readings taught of a box, in W/K with one deviation."""
    estimate = state.sight.boxes[box].estimate
    if estimate.first_s is None:
        return "never read"
    found = learned(estimate, site.boxes[box])
    return ", ".join(f"{word} {found[name]:.2f} +- {found[f'{name}_sd']:.2f} W/K" for name, word in TAUGHT)


def _aside_line(note: Note, now: Now) -> History:
    if note.minutes is None:
        return History("probe", note.text, "in-use", "calibrated")
    until = rfc3339(now.wall_s + note.t_s - now.t_s + 60.0 * note.minutes)
    return History("probe", note.text, "aside", "calibration", f"until {until} at the latest")


def _at_rest(box: str, now: Now) -> dict[str, object]:
    return {"box": box, "at": rfc3339(now.wall_s), "state": "at rest"}
