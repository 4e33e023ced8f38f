"""A whole batch in a real journal with no wait: true box and keeper of the nights benchmark, the pure watch.

All goes the service's way except threads: bytes through the door, one step an event, one commit an hour.
`python tests/helpers/played_batch.py FOLDER [DAYS]` leaves a folder to look at by hand.
"""

import math
import os
import sys
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
from nightsim.lane import START_MIN, Ask, Keeper, Lane
from nightsim.product import BEAT_S, BOX_TOPIC, OUTDOOR_TOPIC, WAKES, senml, wall_at
from nightsim.scenario import Scenario, draw

from coldbrood import keep
from coldbrood.entry import Entry
from coldbrood.journal.rows import Batch
from coldbrood.journal.store import Journal
from coldbrood.settings.load import load
from coldbrood.settings.records import Config
from coldbrood.watch.events import Act, Event, History, Note, NoteKind, Reading, Refused, SendNow
from coldbrood.watch.state import State

CONFIG = """
[site]
name = "larch-lane"
time_zone = "Etc/GMT{shift:+d}"
latitude_deg = {latitude}
longitude_deg = {longitude}
[keeper]
bedtime = "22:00"
rising = "06:30"
unit = "{unit}"
[batch]
arrival = {arrival}
[[box]]
name = "a"
chicks = {chicks}
length_m = {spec.length_m}
width_m = {spec.width_m}
height_m = {spec.height_m}
insulation_mm = {spec.insulation_mm}
insulation_w_per_mk = {spec.insulation_w_per_mk}
air_changes_per_h = {spec.air_changes_per_h}
jugs = {spec.jugs}
jug_litres = {spec.jug_litres}
fill_c = {spec.fill_c}
jug_wrapped = {wrapped}
[[probe]]
name = "box-a"
role = "box"
box = "a"
[[probe]]
name = "outdoor"
role = "outdoor"
[broker]
host = "127.0.0.1"
port = 1883
[[channel]]
name = "phone"
url_file = "phone-url"
[page]
enabled = false
[journal]
path = "journal.db"
"""


def write_config(folder: Path, s: Scenario, unit: str = "C") -> Config:
    """The site of a scenario as its keeper would state it."""
    (folder / "phone-url").touch(mode=0o600)
    (folder / "phone-url").write_text("json://127.0.0.1:9/\n")
    text = CONFIG.format(
        shift=-s.place.utc_h,  # POSIX counts westward: Etc/GMT+5 is five hours behind
        latitude=s.place.latitude_deg,
        longitude=s.place.longitude_deg,
        unit=unit,
        arrival=s.day0.isoformat(),
        chicks=s.chicks,
        spec=s.spec,
        wrapped=str(s.spec.jug_wrapped).lower(),
    )
    (folder / "coldbrood.toml").write_text(text)
    return load(folder / "coldbrood.toml", os.environ)


@dataclass
class Played:
    """The watch of a batch as it is lived, with each hour's doings kept in one commit."""

    scenario: Scenario
    config: Config
    noted: int = 0
    batch: Batch = field(default_factory=Batch)

    def __post_init__(self) -> None:
        self.journal = Journal.open(self.config.journal_path, now_label="played")
        self.entry = Entry(self.config.site, wall_at(self.scenario, START_MIN), beat_s=BEAT_S)
        self.kept: State = self.entry.state

    def minute(self, lane: Lane) -> Iterable[Ask]:
        """One minute: what the probes send, what the clock brings; gives what is asked of the keeper."""
        acts = self._take(self.entry.pass_s(60.0))
        s, now = self.scenario, lane.minute
        if (now + 1) % 5 == 0 and not s.box_probe.lost[now]:
            acts += self._packet(BOX_TOPIC, lane.read_c())
        if now % 5 == 2 and not s.outdoor_lost[now]:
            acts += self._packet(OUTDOOR_TOPIC, lane.read_outdoor_c())
        if now % 60 == 59:
            self.commit()
        return [ask for act in acts if isinstance(act, SendNow) for ask in _heard(act)]

    def _packet(self, topic: str, celsius: float) -> list[Act]:
        acts: list[Act] = []
        for value in self.entry.door.packet(topic, senml(celsius), False, 0.0, self.entry.now):
            acts += self.event(value)
        return acts

    def event(self, event: Event) -> list[Act]:
        """One event, kept where the books keep it."""
        if isinstance(event, Refused):
            self.batch.refused.append(event)
        elif isinstance(event, (Reading, Note)):
            self.batch.taken.append(event)
        return self._take(self.entry.event(event))

    def note(self, kind: NoteKind, **more: object) -> None:
        """The keeper tells something now."""
        self.noted += 1
        now = self.entry.now
        note = Note(f"note-{self.noted}", kind, "a", now.t_s, now.wall_s)
        self.event(replace(note, **more))  # type: ignore[arg-type] # fields of Note by their names

    def _take(self, acts: Iterable[Act]) -> list[Act]:
        now = self.entry.now
        self.batch.history.extend((now, act) for act in acts if isinstance(act, History))
        return list(acts)

    def commit(self) -> None:
        """Keep what has gathered."""
        keep.gather(self.batch, self.kept, self.entry.state)
        keep.keep_sight(self.batch, self.entry.state.sight)
        self.journal.commit(self.batch)
        self.batch, self.kept = Batch(), self.entry.state


def _heard(send: SendNow) -> Iterable[Ask]:
    condition = send.key.split("/")[0]
    if condition in WAKES:
        yield WAKES[condition]  # type: ignore[misc] # the values are asks
    elif send.urgency >= 3:
        yield "look"
    elif condition == "bedtime" and send.title.startswith("One fill now"):
        yield "fill-now"


def tell(played: Played, lane: Lane, chicks: int) -> int:
    """What a diligent keeper notes: two look-ins a day, and each loss when it is found at the next one."""
    of_day, day = lane.minute % 1440, lane.minute // 1440
    if of_day not in (9 * 60, 20 * 60):
        return chicks
    played.note("look-in", look_in="spread" if of_day < 720 or day > 2 else "drinking")
    alive = int(played.scenario.chicks) - LOSSES[: day + 1].count("x") if day < len(LOSSES) else chicks
    if alive < chicks and of_day < 720:
        played.note("loss", count=chicks - alive, text="found in the morning, weak since the journey")
        return alive
    return chicks


LOSSES = ".x..x........."


def play(folder: Path, seed: int = 3, days: float = 3.0, unit: str = "C") -> Config:
    """Live `days` days of the batch of a seed into `folder`; the config of its site, the journal closed."""
    s = draw(seed)
    config = write_config(folder, s, unit)
    played, lane = Played(s, config), Lane(s)
    keeper, chicks = Keeper(np.random.default_rng((seed, 77))), s.chicks
    played.note("count", count=s.chicks, text="all lively")
    played.note("refill", fill_c=s.spec.fill_c)
    fills = len(lane.refills)
    while lane.minute < math.floor(days * 1440):
        keeper.act(lane)
        if len(lane.refills) > fills:
            fills = len(lane.refills)
            if fills % 3 == 0:
                played.note("refill", fill_c=round(s.spec.fill_c))
        chicks = tell(played, lane, chicks)
        lane.step()
        for ask in played.minute(lane):
            keeper.hear(ask, lane.minute)
    played.commit()
    played.journal.close()
    return config


if __name__ == "__main__":
    out = Path(sys.argv[1])
    out.mkdir(parents=True, exist_ok=True)
    play(out, days=float(sys.argv[2]) if len(sys.argv) > 2 else 3.0)
