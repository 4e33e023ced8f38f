"""The night that the demo plays: one box, two battery probes, a front, and the files it is played in.

An invented site. The daemon reads its config from a real file, as it would anywhere.
"""

import math
import shutil
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Final

from coldbrood.brooder.specs import BoxSpec
from coldbrood.probes.simulated import TrueBox
from coldbrood.probes.simulated_weather import NightPlan
from coldbrood.settings.explain import toml

HOUR_S: Final = 3600.0
STARTS: Final = datetime(2026, 4, 11, 18, 0, tzinfo=UTC)
STORY_S: Final = 15 * HOUR_S
ENDS_WALL_S: Final = STARTS.timestamp() + STORY_S
READING_EVERY_S: Final = 60.0
BATTERY_EVERY: Final = 15  # readings between two battery values
CHICKS: Final = 14
AGE_DAYS: Final = 1.75
FILL_C: Final = 65.0

# What the keeper stated of the box, and what is true of it.
STATED: Final = BoxSpec(
    name="a",
    length_m=0.60,
    width_m=0.45,
    height_m=0.35,
    insulation_mm=40.0,
    insulation_w_per_mk=0.038,
    air_changes_per_h=8.0,
    jugs=1,
    jug_litres=3.8,
    fill_c=FILL_C,
    jug_wrapped=False,
)
TRUE: Final = TrueBox(spec=STATED, leak_factor=1.1, heat_factor=0.7, structure_j_per_k=12_000.0, pane_m2=0.06)
NIGHT: Final = NightPlan(
    sunset_s=0.8 * HOUR_S,
    sunrise_s=11.25 * HOUR_S,
    dusk_c=9.0,
    low_c=1.5,
    front_s=7.5 * HOUR_S,
    front_drop_k=4.0,
    front_takes_s=4.0 * HOUR_S,
    wind_after_m_s=1.5,
    sun_most_w_m2=500.0,
)

CONFIG_NAME: Final = "coldbrood.toml"
URL_NAME: Final = "phone-url"
LOG_NAME: Final = "daemon.log"
JOURNAL_NAME: Final = "journal.db"
HEAD: Final = "# Written by coldbrood demo. The next demo in this directory replaces it."
SITE: Final = "demo"
BOX_PROBE: Final = "box-a"
OUTDOOR_PROBE: Final = "outdoor"
PROBES: Final = (BOX_PROBE, OUTDOOR_PROBE)


class DirectoryError(Exception):
    """The demo's directory cannot be used; the text says why and what to do."""


@dataclass(frozen=True, slots=True)
class Files:
    """Where the demo keeps what it leaves behind."""

    directory: Path

    @property
    def config(self) -> Path:
        """The config file."""
        return self.directory / CONFIG_NAME

    @property
    def journal(self) -> Path:
        """The log of the night."""
        return self.directory / JOURNAL_NAME

    @property
    def log(self) -> Path:
        """What the daemon itself has to say, as it would to systemd's journal."""
        return self.directory / LOG_NAME

    @property
    def phone_url(self) -> Path:
        """Where the channel's URL lies, as a secret does on a real site."""
        return self.directory / URL_NAME


def opening(seconds: float) -> str:
    """What the viewer should know before the night begins."""
    return (
        f"A made-up night, 18:00 to 09:00 in {seconds:.0f} seconds: {CHICKS} chicks on their second day in "
        f"an insulated box with a jug of {STATED.jug_litres:g} L. Probes, weather and keeper are simulated; "
        "the broker, the daemon, the journal and the messages are real. Hot water scalds: not shown here."
    )


def prepare(directory: Path, keep: bool) -> Files:
    """Make an empty directory for the demo, in place of an earlier demo's unless `keep`.

    Raises DirectoryError if what is there was not made by a demo, or cannot be written.
    """
    try:
        if keep:
            directory = _unused(directory)
        elif directory.exists():
            _clear(directory)
        directory.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise DirectoryError(f"{directory}: {error.strerror}: name another with --dir") from error
    return Files(directory)


def _unused(directory: Path) -> Path:
    number = 1
    tried = directory
    while tried.exists():
        number += 1
        tried = directory.with_name(f"{directory.name}-{number}")
    return tried


def _clear(directory: Path) -> None:
    if not directory.is_dir():
        raise DirectoryError(f"{directory}: not a directory: name another with --dir")
    held = list(directory.iterdir())
    if not held:
        return
    config = directory / CONFIG_NAME
    if not config.is_file() or not config.read_text(errors="replace").startswith(HEAD):
        raise DirectoryError(f"{directory}: holds files that no demo made: name another with --dir")
    shutil.rmtree(directory)


def write(files: Files, broker_port: int, phone_url: str) -> None:
    """Write the config and the secret it names."""
    files.phone_url.touch(mode=0o600)
    files.phone_url.write_text(f"{phone_url}\n")
    files.config.write_text(config_text(broker_port))


def config_text(broker_port: int) -> str:
    """The config file of the demo's site."""
    day0 = datetime.fromtimestamp(STARTS.timestamp() - math.floor(AGE_DAYS) * 86_400.0, UTC).date()
    tables: list[tuple[str, Mapping[str, object]]] = [
        ("[site]", {"name": SITE, "time_zone": "Etc/UTC", "latitude_deg": 50.0, "longitude_deg": 0.0}),
        ("[keeper]", {"bedtime": "22:00", "rising": "06:30"}),
        ("[batch]", {"arrival": day0}),
        ("[[box]]", {"name": STATED.name, "chicks": CHICKS, **_stated_box()}),
        ("[[probe]]", {"name": BOX_PROBE, "role": "box", "box": STATED.name, "interval_min": 5.0}),
        ("[[probe]]", {"name": OUTDOOR_PROBE, "role": "outdoor", "interval_min": 5.0}),
        ("[broker]", {"host": "127.0.0.1", "port": broker_port}),
        ("[[channel]]", {"name": "phone", "url_file": URL_NAME}),
        ("[page]", {"enabled": False}),
        ("[journal]", {"path": JOURNAL_NAME}),
    ]
    return "\n".join([HEAD, *(_table(head, keys) for head, keys in tables)])


def _stated_box() -> Mapping[str, object]:
    names = ("length_m", "width_m", "height_m", "insulation_mm", "air_changes_per_h", "jug_litres", "fill_c")
    return {name: getattr(STATED, name) for name in names}


def _table(head: str, keys: Mapping[str, object]) -> str:
    lines = [f"{key} = {toml(value)}" for key, value in keys.items()]
    return "\n".join(["", head, *lines, ""])
