"""Promise: over days of a simulated box whose board sleeps whenever it is told that it may, the box never
goes under its floor in a sleep, no nudge has waited for the board to wake, and it does sleep for hours.
"""

import json
from dataclasses import dataclass, field, replace
from datetime import date

from box_days import DAY_S, STEP_S, BoxDays
from sites import make_site

from coldbrood.entry import Entry
from coldbrood.watch.batches import in_use
from coldbrood.watch.events import Act, Beat, SendNow
from coldbrood.watch.rest import RestLimits, rest
from coldbrood.watch.site import BatchSpec, Site

LIMITS = RestLimits(least_s=1200.0, most_s=3600.0, margin_s=1200.0)
READ_S = 300.0
FIRST_DAY = 4.25  # the sixth morning: the look-ins of the first three days are over
ARRIVAL = date(2026, 4, 10)
MIDNIGHT_S = 1_775_779_200.0  # 2026-04-10 00:00 UTC
SEED = 612


@dataclass
class Night:
    """One sleep of the board: how long, how cold the box was at its coldest above its floor, what waited."""

    hours: float
    spare_c: float
    said_on_waking: list[str] = field(default_factory=list)


@dataclass
class Yard:
    """The truth, the watch beside it, and a keeper who refills 15 min after a nudge, and at bedtime."""

    box: BoxDays
    entry: Entry
    told: list[str] = field(default_factory=list)
    sleeps: list[Night] = field(default_factory=list)
    waiting: list[tuple[float, float, float]] = field(default_factory=list)
    refill_at_s: float = float("inf")

    def minute(self, asleep: bool) -> None:
        """One minute of truth; the probes read each five, and keep what they cannot send."""
        self.box.step()
        if self.box.t_s >= self.refill_at_s:
            self.box.refill(6)
            self.refill_at_s = float("inf")
        if round(self.box.t_s / STEP_S) % round(READ_S / STEP_S) == 0:
            self.waiting.append((self.box.t_s, self.box.probe.read_c(), self.box.outdoor_c()))
        if not asleep:
            self.hear(self.send())
            self.hear(self.entry.pass_s(STEP_S))

    def send(self) -> tuple[Act, ...]:
        """Each probe sends what it kept, in one bundle with ages."""
        acts: tuple[Act, ...] = ()
        for probe, column in (("box-a", 1), ("outdoor", 2)):
            rows = [
                {"n": "t", "u": "Cel", "v": round(row[column], 4), "t": row[0] - self.box.t_s}
                for row in self.waiting
            ]
            if rows:
                topic = self.entry.site.probes[probe].topic
                acts = (*acts, *self.entry.packet(topic, json.dumps(rows).encode()))
        self.waiting.clear()
        return acts

    def hear(self, acts: tuple[Act, ...]) -> list[str]:
        """What reached the phone; a nudge or bedtime's plan brings the keeper."""
        titles = [act.title for act in acts if isinstance(act, SendNow)]
        self.told += titles
        if any(title.startswith(("Refill now", "One fill now", "Tonight by")) for title in titles):
            self.refill_at_s = min(self.refill_at_s, self.box.t_s + 900.0)
        return titles

    def sleep_if_told(self) -> None:
        """Sleep until the time told; then the first beat, and what the probes kept."""
        entry = self.entry
        found = rest(in_use(entry.site, entry.state.sight, entry.t_s), entry.state, LIMITS, entry.now)
        if found.until_t_s is None:
            return
        floor_c = entry.state.views["a"].band.floor_c
        minutes = int((found.until_t_s - entry.t_s) / STEP_S)
        lowest_c = 99.0
        for _ in range(minutes):
            self.minute(asleep=True)
            lowest_c = min(lowest_c, self.box.probe_c())
        entry.t_s += minutes * STEP_S
        entry.wall_s += minutes * STEP_S
        entry.beaten_t_s = entry.t_s
        said = [*self.hear(entry.event(Beat())), *self.hear(self.send())]
        self.sleeps.append(Night(minutes / 60.0, lowest_c - floor_c, said))


def yard() -> Yard:
    box = BoxDays(SEED, t_s=FIRST_DAY * DAY_S)
    site: Site = make_site(channels=1)
    chicks = {"a": box.chicks}
    site = replace(
        site, boxes={"a": replace(box.spec, name="a")}, batch=BatchSpec(ARRIVAL, None, "layer", chicks)
    )
    return Yard(box, Entry(site, MIDNIGHT_S + box.t_s, beat_s=300.0))  # to save time


def test_a_day_and_a_half_with_a_board_that_sleeps() -> None:
    here = yard()
    here.box.refill(6)
    while here.box.t_s < (FIRST_DAY + 1.6) * DAY_S:
        here.minute(asleep=False)
        here.sleep_if_told()
    hours = sum(night.hours for night in here.sleeps)
    print(f"{len(here.sleeps)} sleeps, {hours:.1f} h, spare {min(n.spare_c for n in here.sleeps):.2f} C")
    assert hours > 4.0, "it never sleeps: the rule is of no use"
    assert min(night.spare_c for night in here.sleeps) > 0.0, "under its floor in a sleep"
    assert max(night.hours for night in here.sleeps) <= LIMITS.most_s / 3600.0
    assert [night.said_on_waking for night in here.sleeps if night.said_on_waking] == []
    assert not any("Cannot see" in title or "outdoor" in title for title in here.told)
