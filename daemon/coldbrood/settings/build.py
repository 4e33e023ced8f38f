"""From the checked file to what the pure rooms work with: SI units, seconds, no secret."""

from typing import Final, get_args
from zoneinfo import ZoneInfo

from coldbrood.brooder.specs import BoxSpec
from coldbrood.settings.rules import topic_of
from coldbrood.settings.schema import File
from coldbrood.settings.sun import sun_days
from coldbrood.settings.tables_box import BatchTable, BoxTable, KeeperTable
from coldbrood.settings.tables_link import PointersTable, ProbeTable
from coldbrood.watch.site import Away, BatchSpec, ChannelSpec, Keeper, ProbeSpec, Quantity, Site

WEEKDAYS: Final = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")


def site_of(file: File) -> Site:
    """Make the site of a file that has passed every check."""
    place = file.site
    return Site(
        name=place.name,
        zone=ZoneInfo(place.time_zone),
        latitude_deg=place.latitude_deg,
        longitude_deg=place.longitude_deg,
        keeper=_keeper(file.keeper),
        batch=_batch(file.batch, file.box),
        boxes={box.name: _box(box) for box in file.box},
        probes={probe.name: _probe(file, probe) for probe in file.probe},
        channels=tuple(
            ChannelSpec(table.name, table.title_max, table.body_max, table.person) for table in file.channel
        ),
        sounder_after_s=None if file.sounder is None else file.sounder.after_min * 60.0,
        sun=sun_days(place.latitude_deg, place.longitude_deg, file.batch.arrival.year),
    )


def seconds_of_day(text: str) -> int:
    """Seconds after midnight of a checked `HH:MM`."""
    hours, minutes = text.split(":")
    return int(hours) * 3600 + int(minutes) * 60


def _keeper(table: KeeperTable) -> Keeper:
    return Keeper(
        bedtime_s=seconds_of_day(table.bedtime),
        rising_s=seconds_of_day(table.rising),
        lead_s=table.lead_min * 60.0,
        risk=table.risk,
        unit=table.unit,
        clock_24h=table.clock == "24h",
        away=tuple(away_of(text) for text in table.away or ()),
    )


def away_of(text: str) -> Away:
    """The times in a checked text such as `mon-fri 07:30-16:30`; `fri-mon` goes over the week's end."""
    days, times = text.split(" ")
    first, _, last = days.partition("-")
    begin, end = WEEKDAYS.index(first), WEEKDAYS.index(last or first)
    from_, _, to = times.partition("-")
    weekdays = tuple((begin + n) % 7 for n in range((end - begin) % 7 + 1))
    return Away(weekdays, seconds_of_day(from_), seconds_of_day(to))


def _batch(table: BatchTable, boxes: list[BoxTable]) -> BatchSpec:
    chicks = {box.name: box.chicks for box in boxes}
    return BatchSpec(arrival=table.arrival, hatched=table.hatched, kind=table.kind, chicks=chicks)


def _box(table: BoxTable) -> BoxSpec:
    return BoxSpec(
        name=table.name,
        length_m=table.length_m,
        width_m=table.width_m,
        height_m=table.height_m,
        insulation_mm=table.insulation_mm,
        insulation_w_per_mk=table.insulation_w_per_mk,
        air_changes_per_h=table.air_changes_per_h,
        jugs=table.jugs,
        jug_litres=table.jug_litres,
        fill_c=table.fill_c,
        jug_wrapped=table.jug_wrapped,
    )


def _probe(file: File, table: ProbeTable) -> ProbeSpec:
    wired = table.source == "onewire"
    return ProbeSpec(
        name=table.name,
        role=table.role,
        box=table.box,
        source=table.source,
        interval_s=table.interval_min * 60.0,
        topic="" if wired else topic_of(file, table),
        format=table.format,
        pointers=_pointers(table.pointers),
        unit=table.unit,
        sensor_id=table.sensor_id,
        offset_c=table.offset_c,
        gain=table.gain,
        min_c=table.min_c,
        max_c=table.max_c,
        battery_low_v=None if wired else table.battery_low_v,
        battery_low_pct=None if wired else table.battery_low_pct,
    )


def _pointers(table: PointersTable | None) -> dict[Quantity, str]:
    """The pointers given; the table's keys are the quantities (a test holds the two together)."""
    quantities: tuple[Quantity, ...] = get_args(Quantity)
    found = {quantity: getattr(table, quantity) for quantity in quantities} if table else {}
    return {quantity: pointer for quantity, pointer in found.items() if pointer is not None}
