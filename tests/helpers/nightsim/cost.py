"""What a look and a night's plan cost on this machine, at six probes: five boxes and the outdoors."""

import time
from dataclasses import replace
from statistics import median

from nightsim.product import OUTDOOR_TOPIC, senml, site_of, wall_at
from nightsim.scenario import draw

from coldbrood.entry import Entry
from coldbrood.watch.assess import assess_boxes
from coldbrood.watch.rounds import night_plans
from coldbrood.watch.site import ProbeSpec

BOXES = "abcde"
FED_H = 6


def cost_ms(seed: int, looks: int = 15) -> tuple[float, float, float]:
    """Median milliseconds of one look at one box, of one step with a reading, and of one box's night plan."""
    s = draw(seed)
    base = site_of(s, 0.1)
    probes = {"outdoor": base.probes["outdoor"]}
    for name in BOXES:
        topic = f"coldbrood/larch-lane/box-{name}/reading"
        probes[f"box-{name}"] = ProbeSpec(f"box-{name}", "box", name, "mqtt", 300.0, topic=topic)
    site = replace(
        base,
        probes=probes,
        boxes={name: replace(s.spec, name=name) for name in BOXES},
        batch=replace(base.batch, chicks=dict.fromkeys(BOXES, s.chicks)),
    )
    entry = Entry(site, wall_at(s, 15 * 60), beat_s=3600.0)
    steps = []
    for i in range(12 * FED_H):
        entry.pass_s(300.0)
        entry.packet(OUTDOOR_TOPIC, senml(8.0 - 0.05 * i))
        for name in BOXES:
            begun = time.perf_counter()
            entry.packet(site.probes[f"box-{name}"].topic, senml(26.0 - 0.08 * i + 0.0625 * (i % 3)))
            steps.append(1000.0 * (time.perf_counter() - begun))
    look, plan = [], []
    for _ in range(looks):
        begun = time.perf_counter()
        assess_boxes(site, entry.state.sight, BOXES, entry.state.health.started_t_s, entry.now)
        look.append(1000.0 * (time.perf_counter() - begun) / len(BOXES))
    for _ in range(3):
        begun = time.perf_counter()
        night_plans(site, entry.state, entry.now)
        plan.append(1000.0 * (time.perf_counter() - begun) / len(BOXES))
    return median(look), median(steps), median(plan)
