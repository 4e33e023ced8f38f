"""Puts the demo together: broker, phone, probes, the real service, and the screen in front of them."""

import json
import logging
import math
import os
import threading
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any, Final

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion

from coldbrood.clock import Clock
from coldbrood.deliver.channel import ChannelUrl, send
from coldbrood.demo import account, scenario
from coldbrood.demo.broker import LocalBroker
from coldbrood.demo.packets import BatteryProbe
from coldbrood.demo.receiver import Arrived, Receiver
from coldbrood.demo.scenario import Files
from coldbrood.demo.screen import Screen, hour, phone_lines, wrapped
from coldbrood.demo.world import World
from coldbrood.inbox import drop
from coldbrood.journal.reader import JournalReader
from coldbrood.notes import NoteForm, write_note
from coldbrood.service import Service
from coldbrood.settings.load import load
from coldbrood.settings.records import Config
from coldbrood.watch.boxstate import rfc3339
from coldbrood.watch.events import History
from coldbrood.watch.wording import box_title

START_LIMIT_S: Final = 20.0
LOOK_EVERY_S: Final = 0.05  # real seconds between two looks into the journal
LAST_PACKETS_S: Final = 3.0  # real seconds that the last packets may take


class DemoError(Exception):
    """The demo cannot go on; the text says why."""


@dataclass(frozen=True, slots=True)
class Wishes:
    """What the command line asked for."""

    directory: Path
    seconds: float
    seed: int
    keep: bool


class Daemon:
    """The real service in a thread, with what became of it."""

    def __init__(self, config: Config, clock: Clock) -> None:
        self.service = Service(config, clock)
        self.fault: Exception | None = None
        self._thread = threading.Thread(target=self._run, name="daemon", daemon=True)

    def start(self) -> None:
        """Start and wait until it watches. Raises DemoError if it does not."""
        self._thread.start()
        while not self.service.ready.wait(0.05):
            self.check()

    def stop(self) -> None:
        """Let it make its last commit."""
        self.service.stop()
        self._thread.join(10.0)

    def check(self) -> None:
        """Raise DemoError if it has ended by itself."""
        if self.fault is not None or not self._thread.is_alive():
            raise DemoError(f"the daemon ended: {self.fault}") from self.fault

    def _run(self) -> None:
        try:
            self.service.run()
        except Exception as fault:  # noqa: BLE001 -- told to the main thread, which ends the demo
            self.fault = fault


class Stage:
    """Everything that is said on the screen, with the time of the story."""

    def __init__(self, clock: Clock, screen: Screen) -> None:
        self._clock, self._screen = clock, screen
        self._history_wall_s, self._history_seq = -math.inf, 0
        self._open = True

    def close(self) -> None:
        """The story is over: what the daemon makes of the probes' end is not part of it."""
        self._open = False

    def phone(self, arrived: Arrived) -> None:
        """A message as it stands on the phone; a repeat by its title only."""
        if not self._open:
            return
        repeat = arrived.body.startswith("Still so since")
        lines = phone_lines(self._clock_text(), arrived, repeat, self._screen.width)
        self._screen.tell(lines, strong=not repeat)

    def happened(self, text: str) -> None:
        """Something in the world that the daemon is not told."""
        self._screen.tell(wrapped(f"{self._clock_text()}  {text}", self._screen.width, 7))

    def show_history(self, reader: JournalReader) -> None:
        """Refills seen and alarms that are over, as they reach the journal."""
        for entry in reader.history(self._history_wall_s, math.inf):
            if entry.seq <= self._history_seq:
                continue
            self._history_wall_s, self._history_seq = entry.wall_s, entry.seq
            said = _said(entry.line)
            if said:
                clock = hour(rfc3339(entry.wall_s))
                self._screen.tell(wrapped(f"{clock}  {said}", self._screen.width, 7))

    def _clock_text(self) -> str:
        return hour(rfc3339(self._clock.wall_s()))


class Tally:
    """Counts the values in the journal as they come. Those of one packet bear one time and share a commit."""

    def __init__(self) -> None:
        self.kept = self.refused = 0
        self._from_wall_s = -math.inf

    def count(self, reader: JournalReader) -> int:
        """Values kept and refused by now: all that the daemon has dealt with."""
        new = [reading.wall_s for reading in reader.readings(self._from_wall_s, math.inf)]
        if new:
            self.kept += len(new)
            self._from_wall_s = math.nextafter(max(new), math.inf)
        self.refused = sum(reader.refused_counts().values())
        return self.kept + self.refused


def _said(line: History) -> str:
    """What is worth a line on the screen, else nothing."""
    if line.kind == "refill" and line.state == "seen":
        return f"Refill of {box_title(line.subject)} seen by itself: the box rose {line.detail}."
    if line.kind != "alarm" or not line.detail.startswith("clear"):
        return ""
    condition, _, of = line.subject.partition("/")
    subject = box_title(of) if of == scenario.STATED.name else of
    return f"Over: {condition.replace('-', ' ')}, {subject}."


def play(wishes: Wishes, screen: Screen) -> int:
    """Play the night: 0 when played to its end, 130 when stopped. Raises DemoError and the like."""
    files = scenario.prepare(wishes.directory, wishes.keep)
    with ExitStack() as stack:
        stack.enter_context(_log_to(files.log))
        broker = stack.enter_context(LocalBroker())
        receiver = stack.enter_context(Receiver(lambda _arrived: None))
        scenario.write(files, broker.port, receiver.url)
        config = load(files.config, os.environ)
        screen.tell([*wrapped(scenario.opening(wishes.seconds), screen.width, 0), ""])
        _try_phone(config)
        box, outdoor = (stack.enter_context(BatteryProbe(name, broker.port)) for name in scenario.PROBES)
        clock = Clock(scenario.STORY_S / wishes.seconds, scenario.STARTS.timestamp())
        stage = Stage(clock, screen)
        world = World(clock, wishes.seed, box, outdoor, stage.happened)
        receiver.told = partial(_arrives, stage, world)
        stack.enter_context(_watching(broker.port, screen))
        _note_the_fill(files, stage)
        whole = _run(Daemon(config, clock), world, stage, files)
        sent = box.sent + outdoor.sent
    screen.rest()
    _epilogue(files, config, screen, sent, whole)
    return 0 if whole else 130


def _note_the_fill(files: Files, stage: Stage) -> None:
    """The keeper has just filled the jug and says so, as `coldbrood note` does."""
    note = NoteForm(
        kind="refill",
        key="demo-first-fill",
        box=scenario.STATED.name,
        at=scenario.STARTS,
        fill_c=scenario.FILL_C,
    )
    drop(files.journal, note.key, write_note(note))
    stage.happened(f"The keeper has filled the jug, {scenario.FILL_C:.0f} C, and notes it.")


def _arrives(stage: Stage, world: World, arrived: Arrived) -> None:
    stage.phone(arrived)
    world.phone(arrived)


def _try_phone(config: Config) -> None:
    """One test message before the clock runs: it proves the way, and loads what a first send loads."""
    channel = config.channels[0]
    result = send(ChannelUrl(channel.name, channel.url.reveal()), "Test", "The phone is reached.", 1, 5.0)
    if result.outcome != "accepted":
        raise DemoError(f"the phone stand-in was not reached: {result.detail}")


def _run(daemon: Daemon, world: World, stage: Stage, files: Files) -> bool:
    """From dusk to morning; False if the person at the keyboard stopped it."""
    daemon.start()
    tally = Tally()
    with JournalReader.open(files.journal) as reader:
        try:
            _wait_for_link(daemon, reader)
            world.start()
            while world.story_s() < scenario.STORY_S:
                world.taken = tally.count(reader)
                stage.show_history(reader)
                daemon.check()
                time.sleep(LOOK_EVERY_S)
            return True
        except KeyboardInterrupt:
            return False
        finally:
            stage.close()
            _last_packets(reader, tally, world.stop())
            daemon.stop()


def _wait_for_link(daemon: Daemon, reader: JournalReader) -> None:
    """This broker keeps nothing for a daemon it has not met, so no probe sends before."""
    until_s = time.monotonic() + START_LIMIT_S
    while not any(entry.line.state == "up" for entry in reader.history(-math.inf, math.inf, "link")):
        daemon.check()
        if time.monotonic() > until_s:
            raise DemoError("the daemon did not reach the demo's broker")
        time.sleep(LOOK_EVERY_S)


def _last_packets(reader: JournalReader, tally: Tally, sent: int) -> None:
    """Let the daemon take what the broker still holds for it: this broker forgets when it ends."""
    until_s = time.monotonic() + LAST_PACKETS_S
    while tally.count(reader) < sent and time.monotonic() < until_s:
        time.sleep(LOOK_EVERY_S)


def _epilogue(files: Files, config: Config, screen: Screen, sent: int, whole: bool) -> None:
    width = screen.width
    with JournalReader.open(files.journal) as reader:
        told = account.asked(reader, scenario.ENDS_WALL_S)
        tally = Tally()
        tally.count(reader)
    screen.tell(["", *account.table_lines(config.site, told, width), ""])
    if whole:
        line = account.waking_line(config.site, told, scenario.STARTS.timestamp(), scenario.ENDS_WALL_S)
        screen.tell(wrapped(line, width, 0))
    copies = f", refused: {tally.refused}" if tally.refused else ""
    screen.tell(
        wrapped(f"Values sent by the probes: {sent}, in the journal: {tally.kept}{copies}.", width, 0)
    )
    screen.tell(
        [
            f"The log of the night: {files.journal}",
            f"As tables: coldbrood export --config {files.config} {files.directory / 'tables'}",
        ]
    )


@contextmanager
def _watching(port: int, screen: Screen) -> Iterator[None]:
    """Follow the state that the daemon publishes of its boxes."""
    client = mqtt.Client(CallbackAPIVersion.VERSION2, client_id="demo-screen")
    client.on_message = lambda _client, _data, message: _show(screen, message.payload)
    client.connect("127.0.0.1", port)
    client.subscribe(f"coldbrood/{scenario.SITE}/+/state")
    client.loop_start()
    try:
        yield
    finally:
        client.disconnect()
        client.loop_stop()


def _show(screen: Screen, payload: bytes | bytearray) -> None:
    try:
        shown: Any = json.loads(payload)
        screen.move(shown)
    except (ValueError, KeyError, TypeError) as fault:
        logging.getLogger("coldbrood").error("demo screen: %r", fault)


@contextmanager
def _log_to(path: Path) -> Iterator[None]:
    """Keep the daemon's own log off the screen, beside the journal."""
    log = logging.getLogger("coldbrood")
    handler = logging.FileHandler(path)
    handler.setFormatter(logging.Formatter("%(levelname)s %(message)s"))
    level, carries_on = log.level, log.propagate
    log.addHandler(handler)
    log.setLevel(logging.INFO)
    log.propagate = False
    try:
        yield
    finally:
        log.removeHandler(handler)
        log.setLevel(level)
        log.propagate = carries_on
        handler.close()
