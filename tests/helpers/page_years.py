"""Two years of a journal, made without waiting for them: readings, look-ins, refills, lines of alarms.

The readings are made inside SQLite, since two years of them through the daemon's own writer take minutes.
"""

import math
import sqlite3
from collections.abc import Iterator
from pathlib import Path

from coldbrood import keep
from coldbrood.codec import pack
from coldbrood.journal.rows import SYNCED, Batch
from coldbrood.journal.schema import QUANTITIES
from coldbrood.journal.store import Journal
from coldbrood.watch.events import History, Note, Now
from coldbrood.watch.sight import first_sight
from coldbrood.watch.site import Site

REFILL_S = 6 * 3600.0
SEND_S = 1800.0
# seq, probe, quantity, t_s, wall_s, raw, value, flags: all probes at one step, then all at the next
READINGS = """WITH RECURSIVE step(n) AS (SELECT 0 UNION ALL SELECT n + 1 FROM step WHERE n + 1 < :steps),
    at AS (SELECT n * :probes + p.id AS seq, p.id AS probe, n * :step_s AS t_s,
        CASE WHEN p.id = :outdoor THEN 8.0 + 5.0 * sin(2 * pi() * n * :step_s / 86400.0)
        ELSE 24.0 + 3.0 * sin(2 * pi() * n * :step_s / 86400.0 + p.id) END AS value
        FROM step CROSS JOIN probe p)
    INSERT INTO reading SELECT seq, probe, :quantity, t_s, :begin_s + t_s, value, value, :flags
    FROM at ORDER BY seq"""


def write(path: Path, site: Site, end_wall_s: float, days: float, step_s: float) -> int:
    """A journal of `days` days up to `end_wall_s`, a reading each `step_s` from every probe; its readings.

    The sight is kept at its end, as a daemon that stopped in order leaves it.
    """
    begin_s = end_wall_s - days * 86_400.0
    Journal.open(path, now_label="made").close()
    count = _readings(path, site, begin_s, math.ceil(days * 86_400.0 / step_s), step_s)
    journal = Journal.open(path, now_label="made")
    journal.commit(
        Batch(taken=list(_notes(begin_s, end_wall_s)), history=list(_history(begin_s, end_wall_s)))
    )
    journal.commit(Batch(states={keep.SIGHT: pack(first_sight(site))}))
    journal.close()
    return count


def _readings(path: Path, site: Site, begin_s: float, steps: int, step_s: float) -> int:
    probes = list(site.probes.values())
    outdoor = next(n for n, probe in enumerate(probes, 1) if probe.role == "outdoor")
    values = {
        "steps": steps,
        "step_s": step_s,
        "probes": len(probes),
        "outdoor": outdoor,
        "quantity": QUANTITIES.index("temperature_c") + 1,
        "begin_s": begin_s,
        "flags": SYNCED,
    }
    db = sqlite3.connect(path)
    with db:
        db.executemany("INSERT INTO probe VALUES (?, ?)", enumerate((p.name for p in probes), 1))
        db.execute(READINGS, values)
    db.close()
    return steps * len(probes)


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
