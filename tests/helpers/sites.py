"""Invented sites for the tests: one box with two battery probes, or as many boxes as asked for."""

from datetime import date, tzinfo
from zoneinfo import ZoneInfo

from coldbrood.brooder.specs import BoxSpec
from coldbrood.settings.sun import sun_days
from coldbrood.watch.site import BatchSpec, ChannelSpec, Keeper, ProbeSpec, Site, TemperatureUnit

ARRIVAL = date(2026, 4, 10)
START_WALL_S = 1_775_901_600.0  # 2026-04-11 10:00 UTC, the second day


def box_spec(name: str = "a") -> BoxSpec:
    return BoxSpec(
        name=name,
        length_m=0.60,
        width_m=0.45,
        height_m=0.35,
        insulation_mm=40.0,
        insulation_w_per_mk=0.038,
        air_changes_per_h=8.0,
        jugs=1,
        jug_litres=3.8,
        fill_c=70.0,
        jug_wrapped=False,
    )


def box_probe(box: str = "a") -> ProbeSpec:
    topic = f"coldbrood/larch-lane/box-{box}/reading"
    return ProbeSpec(name=f"box-{box}", role="box", box=box, source="mqtt", interval_s=300.0, topic=topic)


def make_site(
    boxes: str = "a",
    channels: int = 2,
    unit: TemperatureUnit = "C",
    clock_24h: bool = True,
    zone: tzinfo | None = None,
    chicks: int = 16,
) -> Site:
    outdoor_topic = "coldbrood/larch-lane/outdoor/reading"
    outdoor = ProbeSpec("outdoor", "outdoor", None, "mqtt", 300.0, topic=outdoor_topic)
    probes = [*(box_probe(name) for name in boxes), outdoor]
    return Site(
        name="larch-lane",
        zone=zone or ZoneInfo("Etc/UTC"),
        latitude_deg=50.0,
        longitude_deg=0.0,
        keeper=Keeper(22 * 3600, 6 * 3600 + 1800, 1800.0, 0.1, unit=unit, clock_24h=clock_24h),
        batch=BatchSpec(ARRIVAL, None, "layer", dict.fromkeys(boxes, chicks)),
        boxes={name: box_spec(name) for name in boxes},
        probes={probe.name: probe for probe in probes},
        channels=tuple(ChannelSpec(f"phone-{n + 1}") for n in range(channels)),
        sun=sun_days(50.0, 0.0, 2026),
    )
