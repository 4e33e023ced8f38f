"""The one place that says what may stand in the config file: each key, its unit, range, default and meaning.

Loading, `coldbrood check --explain`, the samples in config/ and the docs all read it from here.
The tables themselves are in the modules tables_*.py.
"""

from collections.abc import Iterator
from typing import Annotated

from msgspec import Meta, Struct, field

from coldbrood.settings.setting import Setting, about, settings_of
from coldbrood.settings.tables_aides import HeartbeatTable, MirrorTable, SleepTable, SounderTable
from coldbrood.settings.tables_box import BatchTable, BoxTable, KeeperTable, SiteTable
from coldbrood.settings.tables_link import BrokerTable, ChannelTable, JournalTable, ProbeTable
from coldbrood.settings.tables_page import PageTable

Boxes = Annotated[list[BoxTable], Meta(max_length=250)]
Probes = Annotated[list[ProbeTable], Meta(max_length=250)]
Channels = Annotated[list[ChannelTable], Meta(max_length=10)]


class File(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The whole file."""

    site: Annotated[SiteTable, about("Where the site is.")]
    keeper: Annotated[KeeperTable, about("The keeper's day and wishes.")] = field(default_factory=KeeperTable)
    batch: Annotated[BatchTable, about("The chicks: one group from arrival to move-out.")]
    box: Annotated[Boxes, about("A hen box with its jugs. One table for each.")]
    probe: Annotated[Probes, about("A temperature probe. One table for each: each box has one, outside one.")]
    broker: Annotated[BrokerTable | None, about("The MQTT broker. Not needed if every probe is wired.")] = (
        None
    )
    channel: Annotated[
        Channels, about("A way to reach a person. One table for each, in the order they are tried.")
    ] = field(default_factory=list)
    sounder: Annotated[
        SounderTable | None, about("A noise on this board, for when no message gets out. May be left out.")
    ] = None
    heartbeat: Annotated[
        HeartbeatTable | None,
        about("Tells a receiver elsewhere that all is well, so that a dead board is noticed by its silence."),
    ] = None
    sleep: Annotated[
        SleepTable | None,
        about("On a solar battery: tells until when the board may safely sleep. Left out, it never may."),
    ] = None
    mirror: Annotated[MirrorTable | None, about("A copy of the readings on a server for graphs.")] = None
    page: Annotated[PageTable, about("The page for the phone, shown by this board itself.")] = field(
        default_factory=PageTable
    )
    journal: Annotated[JournalTable, about("Where the log is kept.")] = field(default_factory=JournalTable)


def sections() -> Iterator[tuple[str, Setting, dict[str, Setting]]]:
    """Every table of the file, `probe.pointers` too: its dotted name, its own entry, its keys."""
    return _sections(File, "")


def _sections(table: type[Struct], prefix: str) -> Iterator[tuple[str, Setting, dict[str, Setting]]]:
    for setting in settings_of(table).values():
        if setting.table is not None:
            name = prefix + setting.key
            yield name, setting, settings_of(setting.table)
            yield from _sections(setting.table, f"{name}.")
