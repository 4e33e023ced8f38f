"""What a look and a night's plan cost on this machine, at six probes: five boxes and the outdoors."""

import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from statistics import median

from nightsim.product import OUTDOOR_TOPIC, senml, site_of, wall_at
from nightsim.scenario import Scenario, draw

from coldbrood.brooder import estimate
from coldbrood.entry import Entry
from coldbrood.watch.assess import assess_boxes
from coldbrood.watch.rounds import night_plans
from coldbrood.watch.site import ProbeSpec, Site

BOXES = "abcde"
FED_H = 6
LOOKS_A_READING = 5  # one each minute where a nudge is near, of a probe that speaks each five


@dataclass(frozen=True)
class Cost:
    """Median milliseconds: one look at one box, one just after a reading, a reading, a night plan."""

    look: float
    first_look: float
    step: float
    plan: float


def _timed_ms(what: Callable[[], object], boxes: int = 1) -> float:
    begun = time.perf_counter()
    what()
    return 1000.0 * (time.perf_counter() - begun) / boxes


def _site(s: Scenario) -> Site:
    base = site_of(s, 0.1)
    probes = {"outdoor": base.probes["outdoor"]}
    for name in BOXES:
        topic = f"coldbrood/larch-lane/box-{name}/reading"
        probes[f"box-{name}"] = ProbeSpec(f"box-{name}", "box", name, "mqtt", 300.0, topic=topic)
    return replace(
        base,
        probes=probes,
        boxes={name: replace(s.spec, name=name) for name in BOXES},
        batch=replace(base.batch, chicks=dict.fromkeys(BOXES, s.chicks)),
    )


def cost_ms(seed: int, rounds: int = 5) -> Cost:
    """Six hours of readings each five minutes, then so many rounds of one reading and a look each minute."""
    s = draw(seed)
    site = _site(s)
    entry = Entry(site, wall_at(s, 15 * 60), beat_s=3600.0)
    steps: list[float] = []

    def read(i: int) -> None:
        entry.pass_s(300.0)
        entry.packet(OUTDOOR_TOPIC, senml(8.0 - 0.05 * i))
        for name in BOXES:
            told = site.probes[f"box-{name}"].topic, senml(26.0 - 0.08 * i + 0.0625 * (i % 3))
            steps.append(_timed_ms(partial(entry.packet, *told)))

    def look() -> None:
        assess_boxes(site, entry.state.sight, BOXES, entry.state.health.started_t_s, entry.now)

    for i in range(12 * FED_H):
        read(i)
    firsts, looks = [], []
    for i in range(rounds):
        read(12 * FED_H + i)
        estimate._caught_up.cache_clear()
        firsts.append(_timed_ms(look, len(BOXES)))
        looks += [firsts[-1], *(_timed_ms(look, len(BOXES)) for _ in range(LOOKS_A_READING - 1))]
    plans = [_timed_ms(partial(night_plans, site, entry.state, entry.now), len(BOXES)) for _ in range(3)]
    return Cost(median(looks), median(firsts), median(steps), median(plans))
