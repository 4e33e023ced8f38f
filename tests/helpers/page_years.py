"""Two years of a journal, made without waiting for them: readings, refills, look-ins, lines of alarms."""

import math
from collections.abc import Iterator
from pathlib import Path

from coldbrood import keep
from coldbrood.codec import pack
from coldbrood.journal.rows import Batch
from coldbrood.journal.store import Journal
from coldbrood.watch.events import History, Note, Now, Reading
from coldbrood.watch.sight import first_sight
from coldbrood.watch.site import Site

BATCH_ROWS = 50_000
REFILL_S = 6 * 3600.0
SEND_S = 1800.0


def write(path: Path, site: Site, end_wall_s: float, days: float, step_s: float) -> int:
    """A journal of `days` days up to `end_wall_s`, a reading each `step_s` from every probe; its readings.

    The sight is kept at its end, as a daemon that stopped in order leaves it.
    """
    journal = Journal.open(path, now_label="made")
    begin_s, count = end_wall_s - days * 86_400.0, 0
    for readings, from_s, to_s in _spans(site, begin_s, end_wall_s, step_s):
        count += len(readings)
        journal.commit(Batch(taken=[*readings, *_notes(from_s, to_s)], history=list(_history(from_s, to_s))))
    journal.commit(Batch(states={keep.SIGHT: pack(first_sight(site))}))
    journal.close()
    return count


def _spans(
    site: Site, begin_s: float, end_s: float, step_s: float
) -> Iterator[tuple[list[Reading], float, float]]:
    at_s, from_s, found = begin_s, begin_s, list[Reading]()
    while at_s < end_s:
        for n, probe in enumerate(site.probes.values()):
            swing = math.sin(2 * math.pi * at_s / 86_400.0 + n)
            value = 8.0 + 5.0 * swing if probe.role == "outdoor" else 24.0 + 3.0 * swing
            found.append(Reading(probe.name, "temperature_c", value, value, at_s - begin_s, at_s, True))
        at_s += step_s
        if len(found) >= BATCH_ROWS:
            yield found, from_s, at_s
            from_s, found = at_s, []
    yield found, from_s, at_s


def _notes(from_s: float, to_s: float) -> Iterator[Note]:
    for n in range(math.ceil(from_s / REFILL_S), math.ceil(to_s / REFILL_S)):
        at_s = n * REFILL_S
        yield Note(f"made-{n}", "look-in", "a", at_s - from_s, at_s, look_in="spread")


def _history(from_s: float, to_s: float) -> Iterator[tuple[Now, History]]:
    for n in range(math.ceil(from_s / SEND_S), math.ceil(to_s / SEND_S)):
        now = Now(n * SEND_S - from_s, n * SEND_S, synced=True)
        yield now, History("send", f"refill-now/a#{n}.1@phone", "accepted", "refill-now/a")
        if n % 12 == 0:
            yield now, History("refill", "a", "seen", "rise", "4.0 C")
