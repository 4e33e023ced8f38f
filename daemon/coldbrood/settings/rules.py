"""What no single key can tell: the rules between keys, each a few lines, all of them checked each time."""

import difflib
from collections.abc import Callable, Iterable, Iterator
from datetime import date, timedelta
from typing import Final
from zoneinfo import ZoneInfo, available_timezones

import jsonpointer

from coldbrood.settings.records import Problem
from coldbrood.settings.schema import File
from coldbrood.settings.setting import settings_of
from coldbrood.settings.tables_box import BatchTable, SiteTable
from coldbrood.settings.tables_link import PointersTable, ProbeTable
from coldbrood.settings.walk import Walk, show

Rule = Callable[[File, Walk], Iterator[Problem]]

AGE_MAX: Final = timedelta(days=60)
"""Chicks older than this need no jug (feathered at 4 to 6 weeks, M): a slip in the year or the month."""


def check(walk: Walk) -> Iterator[Problem]:
    """Every fault between keys. What rests on a key that is itself faulty is left out: it was reported."""
    for rule in RULES:
        for problem in rule(walk.file, walk):
            if walk.sound(problem.field):
                yield problem


def _names(file: File, _walk: Walk) -> Iterator[Problem]:
    names = {
        "box": [box.name for box in file.box],
        "probe": [probe.name for probe in file.probe],
        "channel": [channel.name for channel in file.channel],
    }
    for kind, given in names.items():
        entries = [(f"{kind}[{index}].name", name) for index, name in enumerate(given)]
        yield from _repeats(entries, f"a name no other {kind} has")


def _sensor_ids(file: File, _walk: Walk) -> Iterator[Problem]:
    entries = [(f"probe[{index}].sensor_id", probe.sensor_id) for index, probe in enumerate(file.probe)]
    yield from _repeats([(field, found) for field, found in entries if found], "a sensor no other probe has")


def _topics(file: File, walk: Walk) -> Iterator[Problem]:
    """One topic belongs to one probe. A board may send several in SenML: there each value has its name."""
    if not walk.sound("site.name"):
        return
    mqtt = [(index, probe) for index, probe in enumerate(file.probe) if probe.source == "mqtt"]
    uses: dict[str, list[bool]] = {topic: [False] for topic in daemon_topics(file)}
    for _, probe in mqtt:
        if probe.topic is None:
            uses.setdefault(topic_of(file, probe), []).append(probe.format == "senml")
    allowed = "a topic that coldbrood itself does not use, and another probe only if both send SenML"
    for index, probe in mqtt:
        if probe.topic is not None:
            sharers = uses.setdefault(probe.topic, [])
            sharers.append(probe.format == "senml")
            if len(sharers) > 1 and not all(sharers):
                yield Problem(f"probe[{index}].topic", show(probe.topic), allowed)


def _repeats(entries: Iterable[tuple[str, str]], allowed: str) -> Iterator[Problem]:
    seen: set[str] = set()
    for field, value in entries:
        if value in seen:
            yield Problem(field, show(value), allowed)
        seen.add(value)


def topic_of(file: File, probe: ProbeTable) -> str:
    """The topic a probe's messages come on."""
    return probe.topic or f"coldbrood/{file.site.name}/{probe.name}/reading"


def daemon_topics(file: File) -> list[str]:
    """The topics the daemon itself uses; a probe may not speak on them."""
    root = f"coldbrood/{file.site.name}"
    return [f"{root}/note", f"{root}/daemon", *{f"{root}/{box.name}/state" for box in file.box}]


def _homes(file: File, walk: Walk) -> Iterator[Problem]:
    """Each box probe names its box, an outdoor probe none."""
    sure = all(walk.sound(f"box[{index}].name") for index in range(len(file.box)))
    names = sorted({box.name for box in file.box})
    for index, probe in enumerate(file.probe):
        if not walk.sound(f"probe[{index}].role"):
            continue
        field = f"probe[{index}].box"
        if probe.role == "outdoor" and probe.box is not None:
            yield Problem(field, show(probe.box), "no box for an outdoor probe")
        if probe.role == "box" and probe.box is None:
            yield Problem(field, "missing", f"the name of a [[box]]: {', '.join(names)}")
        if probe.role == "box" and probe.box is not None and sure and probe.box not in names:
            yield Problem(field, show(probe.box), f"the name of a [[box]]: {', '.join(names)}")


def _watched(file: File, walk: Walk) -> Iterator[Problem]:
    """Each box has a probe. Where a probe's box is in doubt, that was reported and is not echoed here."""
    sure = all(walk.sound(f"probe[{i}].role", f"probe[{i}].box") for i in range(len(file.probe)))
    homes = {probe.box for probe in file.probe if probe.role == "box"}
    if not sure or homes - {box.name for box in file.box}:
        return
    for index, box in enumerate(file.box):
        if box.name not in homes:
            value = f"{show(box.name)} has no probe"
            yield Problem(f"box[{index}].name", value, 'a [[probe]] with role = "box" that names it')


def _sources(file: File, walk: Walk) -> Iterator[Problem]:
    for index, probe in enumerate(file.probe):
        field = f"probe[{index}]"
        if not walk.sound(f"{field}.source"):
            continue
        if probe.source == "mqtt" and probe.sensor_id is not None:
            yield Problem(f"{field}.sensor_id", show(probe.sensor_id), 'only with source = "onewire"')
        if probe.source == "onewire":
            yield from _wired(probe, field)


def _wired(probe: ProbeTable, field: str) -> Iterator[Problem]:
    if probe.sensor_id is None:
        allowed = settings_of(ProbeTable)["sensor_id"].allowed
        yield Problem(f"{field}.sensor_id", "missing", allowed)
    if probe.topic is not None:
        yield Problem(f"{field}.topic", show(probe.topic), 'only with source = "mqtt"')
    if probe.format != "senml":
        yield Problem(f"{field}.format", show(probe.format), 'only with source = "mqtt"')
    if probe.pointers is not None and probe.format == "senml":
        yield Problem(f"{field}.pointers", "a table", 'only with source = "mqtt"')


def _formats(file: File, walk: Walk) -> Iterator[Problem]:
    for index, probe in enumerate(file.probe):
        field = f"probe[{index}]"
        if probe.source == "onewire" or not walk.sound(f"{field}.source", f"{field}.format"):
            continue
        if probe.format == "pointers" and probe.pointers is None:
            yield Problem(f"{field}.pointers", "missing", 'a [probe.pointers] table for format = "pointers"')
        if probe.format != "pointers" and probe.pointers is not None:
            yield Problem(f"{field}.pointers", "a table", 'only with format = "pointers"')


def _units(file: File, walk: Walk) -> Iterator[Problem]:
    for index, probe in enumerate(file.probe):
        field = f"probe[{index}]"
        if probe.unit == "F" and probe.format == "senml" and walk.sound(f"{field}.format", f"{field}.source"):
            allowed = '"C": SenML and wired probes carry their own unit'
            yield Problem(f"{field}.unit", show(probe.unit), allowed)


def _pointers(file: File, _walk: Walk) -> Iterator[Problem]:
    for index, probe in enumerate(file.probe):
        for key, setting in settings_of(PointersTable).items():
            pointer = getattr(probe.pointers, key, None)
            if pointer is not None and not _is_pointer(pointer):
                yield Problem(f"probe[{index}].pointers.{key}", show(pointer), setting.allowed)


def _is_pointer(text: str) -> bool:
    try:
        jsonpointer.JsonPointer(text)
    except jsonpointer.JsonPointerException:
        return False
    return True


def _dates(file: File, walk: Walk) -> Iterator[Problem]:
    batch, known = file.batch, settings_of(BatchTable)
    if not date(2000, 1, 1) <= batch.arrival <= date(2099, 12, 31):
        yield Problem("batch.arrival", show(batch.arrival), known["arrival"].allowed)
        return
    age = batch.arrival - (batch.hatched or batch.arrival)
    if not timedelta(0) <= age <= AGE_MAX and walk.sound("batch.arrival"):
        yield Problem("batch.hatched", show(batch.hatched), known["hatched"].allowed)


def _night(file: File, walk: Walk) -> Iterator[Problem]:
    if file.keeper.bedtime == file.keeper.rising and walk.sound("keeper.bedtime"):
        yield Problem("keeper.rising", show(file.keeper.rising), "another time than bedtime")


def _away(file: File, _walk: Walk) -> Iterator[Problem]:
    for index, text in enumerate(file.keeper.away or ()):
        from_, _, to = text.split(" ")[1].partition("-")
        if from_ == to:
            yield Problem(f"keeper.away[{index}]", show(text), "a time to other than the time from")


def _zone(file: File, _walk: Walk) -> Iterator[Problem]:
    name = file.site.time_zone
    try:
        ZoneInfo(name)
    except (LookupError, ValueError, OSError):  # not known; no file of that kind; a directory
        near = difflib.get_close_matches(name, available_timezones(), n=1)
        hint = f", perhaps {show(near[0])}" if near else ""
        yield Problem("site.time_zone", show(name), settings_of(SiteTable)["time_zone"].allowed + hint)


def _broker(file: File, walk: Walk) -> Iterator[Problem]:
    if file.broker is None and walk.sound("broker"):
        for index, probe in enumerate(file.probe):
            if probe.source == "mqtt" and walk.sound(f"probe[{index}].source"):
                yield Problem("broker", "missing", f"a [broker] table, since probe[{index}] speaks MQTT")
                return


def _login(file: File, _walk: Walk) -> Iterator[Problem]:
    broker = file.broker
    if broker is None or broker.username is not None:
        return
    if broker.password_env is not None or broker.password_file is not None:
        yield Problem("broker.username", "missing", "a name to go with the password")


RULES: Final[tuple[Rule, ...]] = (
    _away,
    _zone,
    _night,
    _dates,
    _names,
    _homes,
    _watched,
    _sources,
    _sensor_ids,
    _topics,
    _formats,
    _units,
    _pointers,
    _broker,
    _login,
)
