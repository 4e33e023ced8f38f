"""Will the box hold? Said at once, from the box on paper, with what would help if it does not."""

from collections.abc import Mapping
from typing import Any, Final

from coldbrood.brooder.band import band
from coldbrood.brooder.sizing import Help, Sizing, helps, median_or_day_h, size
from coldbrood.brooder.specs import BoxSpec, Flock
from coldbrood.setup.ask import COLUMNS, Asker, wrapped

FIRST_INTERVAL_H: Final = 4.0
"""The age timetable of the first three days: common practice, no source."""
SHOWN_HELPS: Final = 4


def tell(asker: Asker, row: Mapping[str, Any], age_days: float, outdoor_c: float) -> bool:
    """Say how long a fill holds in this box on a night of `outdoor_c`; False if it is too weak."""
    spec, flock = _spec(row), Flock(int(row["chicks"]), age_days, "layer")
    floor_c = band(age_days, (), 0.0).floor_c
    held = size(spec, flock, outdoor_c, floor_c)
    strong = median_or_day_h(held) >= FIRST_INTERVAL_H
    asker.say("", *wrapped(_sentence(spec.name, held, outdoor_c, floor_c, age_days)))
    if not strong:
        asker.say(
            *wrapped(
                f"TOO WEAK: the usual first timetable is a refill each {FIRST_INTERVAL_H:g} h. "
                "What would help most:"
            )
        )
        asker.say(*(_line(one) for one in helps(spec, flock, outdoor_c, floor_c)[:SHOWN_HELPS]))
    asker.say(
        *wrapped(
            "On paper the range is wide. The first night's readings narrow it: try one night with "
            "the jug before the chicks come."
        )
    )
    return strong


def _spec(row: Mapping[str, Any]) -> BoxSpec:
    return BoxSpec(
        name=str(row["name"]),
        length_m=row["length_m"],
        width_m=row["width_m"],
        height_m=row["height_m"],
        insulation_mm=row["insulation_mm"],
        insulation_w_per_mk=row["insulation_w_per_mk"],
        air_changes_per_h=row.get("air_changes_per_h", 10.0),
        jugs=row["jugs"],
        jug_litres=row["jug_litres"],
        fill_c=row["fill_c"],
        jug_wrapped=row["jug_wrapped"],
    )


def _sentence(name: str, held: Sizing, outdoor_c: float, floor_c: float, age_days: float) -> str:
    return (
        f"Box {name} at {outdoor_c:g} C outside, chicks of day {age_days:.0f}: one fill {_holds(held)} above "
        f"the floor of {floor_c:.1f} C ({_hours(held.early_h)} to {_hours(held.late_h)}). "
        f"With the jug cold it ends near {held.resting_c:.0f} C."
    )


def _holds(held: Sizing) -> str:
    if held.median_h == 0.0:
        return "cannot hold it"
    return f"holds it for {'more than' if held.median_h is None else 'about'} {_hours(held.median_h)}"


def _hours(hours: float | None) -> str:
    if hours is None:
        return "24 h"
    return f"{hours:.1f} h"


def _line(one: Help) -> str:
    """One change and the hold with it."""
    return f"    {one.change}: {_holds(one.after)}"[:COLUMNS]
