"""From a reading to a line of the InfluxDB line protocol, which influxdb-client writes and escapes.

Measurement `reading`; tags site, probe, role, box; one field named as the quantity; time in milliseconds.
All of it follows from the kept reading and the config, so a reading that is sent twice is one point.
"""

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any, Final

from coldbrood.watch.events import Reading
from coldbrood.watch.site import Site

MEASUREMENT: Final = "reading"
FIRST_WALL_S: Final = 1_704_067_200.0  # 2024-01-01 UTC: earlier than this no clock that was set can be
AHEAD_MOST_S: Final = 86_400.0  # a server may drop what lies farther ahead, and answer as if it had not


@dataclass(frozen=True, slots=True)
class Lines:
    """What to send, and how many readings have no time that a server would take."""

    lines: list[str]
    timeless: int


def lines_of(site: Site, readings: Iterable[Reading], wall_s: float) -> Lines:
    """The lines of the readings whose wall time can be true at `wall_s`; the others are counted."""
    write, lines, timeless = _writer(site), list[str](), 0
    for reading in readings:
        if not FIRST_WALL_S <= reading.wall_s <= wall_s + AHEAD_MOST_S:
            timeless += 1
        elif math.isfinite(reading.value):
            lines.append(write(reading))
    return Lines(lines, timeless)


def _writer(site: Site) -> Callable[[Reading], str]:
    from influxdb_client import Point, WritePrecision  # type: ignore[attr-defined] # exported without __all__

    new: Any = Point  # the library has no types here

    def write(reading: Reading) -> str:
        point = new(MEASUREMENT).tag("site", site.name).tag("probe", reading.probe)
        spec = site.probes.get(reading.probe)
        if spec is not None:
            point = point.tag("role", spec.role)
        if spec is not None and spec.box is not None:
            point = point.tag("box", spec.box)
        if reading.late:
            point = point.tag("age", "unknown")
        point = point.field(reading.quantity, reading.value)
        return str(point.time(round(reading.wall_s * 1000.0), WritePrecision.MS).to_line_protocol())

    return write
