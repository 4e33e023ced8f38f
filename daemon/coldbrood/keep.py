"""Between the watch's state and the journal: what a step changed, and a state taken up again."""

import logging
from collections.abc import Iterable, Mapping
from dataclasses import replace

from coldbrood.clock import Anchor
from coldbrood.codec import CannotRead, T, pack, unpack
from coldbrood.journal.rows import Batch, Restored
from coldbrood.watch.alarms import CONDITIONS, Alarm
from coldbrood.watch.events import Note, Reading
from coldbrood.watch.outbox import Message
from coldbrood.watch.sight import Sight, absorb, first_sight, fitted_sight
from coldbrood.watch.site import Site
from coldbrood.watch.state import Ledger, State
from coldbrood.watch.verdicts import Health

log = logging.getLogger("coldbrood")

SIGHT = "sight"
LEDGER = "ledger"
ANCHOR = "anchor"


def gather(batch: Batch, before: State, after: State) -> bool:
    """Add what changed to the batch; True if it must not wait (an alarm, a message, what was said)."""
    changed = _differences(batch.alarms, before.alarms, after.alarms)
    changed |= _differences(batch.messages, before.outbox, after.outbox)
    if after.ledger != before.ledger:
        batch.states[LEDGER] = pack(after.ledger)
        changed = True
    return changed


def _differences(
    into: dict[str, bytes | None], before: Mapping[str, object], after: Mapping[str, object]
) -> bool:
    """Rows that are new, other or gone. The machine keeps unchanged rows as the same objects."""
    urgent = False
    if before is after:
        return urgent
    for key, row in after.items():
        old = before.get(key)
        if old is not row and old != row:
            into[key] = pack(row)
            urgent = urgent or not _only_counts(old, row)
    for key in before.keys() - after.keys():
        into[key] = None
    return urgent


def _only_counts(old: object, row: object) -> bool:
    """An alarm that merely counts samples towards a change can wait for the next batch."""
    return (
        isinstance(old, Alarm) and isinstance(row, Alarm) and (old.state, old.told) == (row.state, row.told)
    )


def keep_sight(batch: Batch, sight: Sight) -> None:
    """Add the whole sight, estimates included: some 20 kB a box, so seldom."""
    batch.states[SIGHT] = pack(sight)


def revive(site: Site, restored: Restored, since: Iterable[Reading | Note], t_s: float) -> State:
    """The state of a daemon that never stopped: what was kept, and the sight brought up to date.

    `since` are the readings and notes after the kept sight. What cannot be read (an upgrade changed it) is
    begun anew and said in the log; alarms are never given up for it.
    """
    ledger = _read(restored.states.get(LEDGER), Ledger) or Ledger()
    return State(
        sight=_sight(site, restored, since, ledger),
        health=Health(started_t_s=t_s),
        alarms=_known(_read_all(restored.alarms, Alarm)),
        outbox=_read_all(restored.messages, Message),
        ledger=ledger,
    )


def _sight(site: Site, restored: Restored, since: Iterable[Reading | Note], ledger: Ledger) -> Sight:
    kept = _read(restored.states.get(SIGHT), Sight)
    sight = first_sight(site) if kept is None else fitted_sight(site, kept)
    sight = replace(sight, asks=ledger.asks)
    for event in since:
        try:
            sight = absorb(site, sight, event).sight
        except Exception:  # damage may have left any value in a row: it must not end each start
            log.warning("passed over, not to be made sense of: %s", event, exc_info=True)
    return sight


def moved(event: Reading | Note, gap_s: float) -> Reading | Note:
    """The same at a later watch time: the gap before it became known after it was taken."""
    return replace(event, t_s=event.t_s + gap_s)


def anchor_of(restored: Restored) -> Anchor | None:
    """How watch time hung on the last boot, None if not known."""
    return _read(restored.states.get(ANCHOR), Anchor)


def first_seq(restored: Restored) -> int:
    """The seq after which a revival must read on."""
    kept = restored.states.get(SIGHT)
    return restored.covers.get(SIGHT, 0) if kept is not None and _read(kept, Sight) is not None else 0


def _read_all(bodies: Mapping[str, bytes], kind: type[T]) -> dict[str, T]:
    found = ((key, _read(body, kind)) for key, body in bodies.items())
    return {key: row for key, row in found if row is not None}


def _read(body: bytes | None, kind: type[T]) -> T | None:
    if body is None:
        return None
    try:
        return unpack(body, kind)
    except CannotRead as error:
        log.warning("kept state begun anew: %s", error)
        return None


def _known(alarms: dict[str, Alarm]) -> dict[str, Alarm]:
    """Alarms of conditions that this version knows, each under its own key: another is damage."""
    return {key: row for key, row in alarms.items() if row.condition in CONDITIONS and row.key == key}
