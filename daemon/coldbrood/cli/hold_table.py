"""The answer of `coldbrood hold`: one screen of 80 columns, or plain values."""

from collections.abc import Iterator
from dataclasses import dataclass

from coldbrood.brooder.sizing import Help, Sizing, median_or_day_h
from coldbrood.brooder.timetable import interval
from coldbrood.cli.hold_case import Case

CELL = 17
HEADS = {
    "age": "day {:g}",
    "litres": "{:g} L",
    "jugs": "jugs: {:g}",
    "chicks": "chicks: {:g}",
    "insulation": "{:g} mm",
}


@dataclass(frozen=True)
class Grid:
    """What the table runs over: columns of one kind, rows outdoors; `outside_c` is that of what helps."""

    by: str
    values: tuple[float, ...]
    outdoors_c: tuple[float, ...]
    outside_c: float

    def cases(self, case: Case) -> tuple[Case, ...]:
        """One case a column."""
        return tuple(case.changed(self.by, value) for value in self.values)


def screen(base: Case, case: Case, grid: Grid) -> list[str]:
    """The lines of the screen. `base` is the box as it stands, `case` as it is asked for."""
    return [
        *_what(case),
        "",
        "Hold in h after a fill, and the range of 8 in 10:",
        *_table(case, grid),
        "",
        *_helps(base, case, grid.outside_c),
    ]


def _what(case: Case) -> Iterator[str]:
    spec, flock = case.spec, case.flock
    sides = " x ".join(f"{side:g}" for side in (spec.length_m, spec.width_m, spec.height_m))
    yield f"Box {spec.name}, {case.source}"
    yield f"  {sides} m inside, insulation {spec.insulation_mm:g} mm at {spec.insulation_w_per_mk:g} W/mK"
    jugs = f"{spec.jugs} jug{'s' if spec.jugs > 1 else ''} of {spec.jug_litres:g} L"
    towel = "in a towel" if spec.jug_wrapped else "bare"
    yield f"  {jugs} at {degrees(case, spec.fill_c)}, {towel}; {spec.air_changes_per_h:g} air changes an hour"
    yield f"  {flock.chicks} {flock.kind} chicks of day {flock.age_days:.0f}"


def _table(case: Case, grid: Grid) -> Iterator[str]:
    cases = grid.cases(case)
    yield _row("outside", [HEADS[grid.by].format(value) for value in grid.values])
    yield _row("floor", [degrees(case, one.floor_at(one.flock.age_days)) for one in cases])
    for outdoor_c in grid.outdoors_c:
        cells = [_cell(one, one.size(outdoor_c)) for one in cases]
        yield _row(degrees(case, outdoor_c), cells)
    yield "* more likely than not too weak for the age timetable, which is common"
    yield "practice: " + ", ".join(
        f"{timetable_h(age):g} h on day {age:g}" for age in sorted({one.flock.age_days for one in cases})
    )


def _row(head: str, cells: list[str]) -> str:
    return f"{head:>8}" + "".join(f"{cell:>{CELL}}" for cell in cells)


def _cell(case: Case, found: Sizing) -> str:
    weak = median_or_day_h(found) < timetable_h(case.flock.age_days)
    return with_range(found, "*" if weak else "")


def timetable_h(age_days: float) -> float:
    """The age timetable's hours between refills with weather not known (common practice, no source)."""
    return interval(age_days, None, None).hours or 24.0


def hours(value: float | None) -> str:
    """A hold in words: whole hours from ten on."""
    if value is None:
        return "24+"
    return f"{value:.0f}" if round(value, 1) >= 10.0 or value == 0.0 else f"{value:.1f}"


def with_range(found: Sizing, mark: str) -> str:
    """A hold with its mark and range; without a range where all of it lies beyond a day."""
    if found.early_h is None:
        return f"24+{mark}"
    return f"{hours(found.median_h)}{mark} ({hours(found.early_h)}-{hours(found.late_h)})"


def _helps(base: Case, case: Case, outside_c: float) -> Iterator[str]:
    found = case.size(outside_c)
    floor = degrees(case, case.floor_at(case.flock.age_days))
    yield f"At {degrees(case, outside_c)} outside, floor {floor}:"
    if (base.spec, base.flock) != (case.spec, case.flock):
        was = base.size(outside_c)
        yield _help_row("as it stands", was, None)
        yield _help_row("as asked", found, median_or_day_h(found) - median_or_day_h(was))
    else:
        yield _help_row("as it is", found, None)
    for one in case.helps(outside_c):
        yield _help_row(one.change, one.after, one.gain_h)
    yield f"With the jug cold the chicks alone keep it at about {degrees(case, found.resting_c)}."


def _help_row(words: str, found: Sizing, gain_h: float | None) -> str:
    gain = "" if gain_h is None else f"{gain_h:+.1f} h"
    return f"  {words:<38}{gain:>9}   {with_range(found, ' h')}"


def degrees(case: Case, celsius: float) -> str:
    """A temperature in the keeper's unit."""
    return f"{celsius * 1.8 + 32.0:.0f} F" if case.unit == "F" else f"{celsius:.3g} C"


def plain(case: Case, grid: Grid) -> dict[str, object]:
    """The same as one JSON-ready object, in C and h; null is beyond 24 h."""
    spec, flock = case.spec, case.flock
    return {
        "box": {name: getattr(spec, name) for name in spec.__slots__},
        "source": case.source,
        "chicks": flock.chicks,
        "kind": flock.kind,
        "age_days": round(flock.age_days, 2),
        "outside_c": grid.outside_c,
        "floor_c": round(case.floor_at(flock.age_days), 2),
        "hold": _plain(case.size(grid.outside_c)),
        "by": grid.by,
        "table": [
            {"outside_c": out_c, grid.by: value, **_plain(one.size(out_c))}
            for value, one in zip(grid.values, grid.cases(case), strict=True)
            for out_c in grid.outdoors_c
        ],
        "helps": [_plain_help(one) for one in case.helps(grid.outside_c)],
    }


def _plain(found: Sizing) -> dict[str, float | None]:
    values = {name: getattr(found, name) for name in found.__slots__}
    return {name: None if value is None else round(value, 2) for name, value in values.items()}


def _plain_help(one: Help) -> dict[str, object]:
    return {"key": one.key, "change": one.change, "gain_h": round(one.gain_h, 2), **_plain(one.after)}
