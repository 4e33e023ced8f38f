"""One site at one moment, for whoever looks: the status screen, the page and the JSON interface share it.

It holds the state itself, which nothing can change, so that any thread may read it.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

from coldbrood.watch.boxstate import rfc3339, shown
from coldbrood.watch.events import Now
from coldbrood.watch.localtime import wall_of
from coldbrood.watch.site import Site
from coldbrood.watch.state import State


@dataclass(frozen=True, slots=True)
class SiteView:
    """`site` is the site as it is in use, `running` whether a daemon watches it, `refused` the count of
    refused values by probe and reason."""

    site: Site
    state: State
    now: Now
    running: bool = True
    refused: Mapping[tuple[str, str], int] = field(default_factory=dict)

    @property
    def boxes(self) -> tuple[dict[str, object], ...]:
        """Each box as plain values; see `shown`."""
        views = self.state.views.values()
        return tuple(shown(self.site, self.state, view, self.now) for view in views)

    @property
    def probes(self) -> tuple[dict[str, object], ...]:
        """Each probe as plain values: its newest temperature, when it was heard, battery, refusals."""
        return tuple(self._probe(name) for name in self.site.probes)

    @property
    def alarms(self) -> tuple[str, ...]:
        """Every alarm that is not normal: condition/subject, state, reason."""
        rows = self.state.alarms.values()
        return tuple(f"{row.key}: {row.state}: {row.reason}" for row in rows if row.state != "normal")

    def plain(self) -> dict[str, object]:
        """All of it as one JSON-ready object."""
        return {
            "site": self.site.name,
            "at": rfc3339(self.now.wall_s),
            "running": self.running,
            "boxes": self.boxes,
            "probes": self.probes,
            "alarms": self.alarms,
        }

    def _probe(self, name: str) -> dict[str, object]:
        probe = self.state.sight.probes.get(name)
        taken = None if probe is None else probe.taken_t_s
        return {
            "probe": name,
            "temperature_c": None if probe is None else probe.temperature_c,
            "heard_at": None if taken is None else rfc3339(wall_of(self.now, taken)),
            "heard_s_ago": None if taken is None else round(self.now.t_s - taken),
            "battery_v": None if probe is None else probe.battery_v,
            "battery_pct": None if probe is None else probe.battery_pct,
            "signal_dbm": None if probe is None else probe.signal_dbm,
            "refused": {reason: n for (probe_name, reason), n in self.refused.items() if probe_name == name},
        }
