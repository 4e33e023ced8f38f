"""Puts the demo together: broker, phone, probes, the real service, and the screen in front of them."""

import json
import logging
import math
import os
import threading
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion

from coldbrood.clock import Clock
from coldbrood.demo import account, scenario
from coldbrood.demo.broker import LocalBroker
from coldbrood.demo.packets import BatteryProbe
from coldbrood.demo.receiver import Arrived, Receiver
from coldbrood.demo.scenario import Files
from coldbrood.demo.screen import Screen, hour, phone_lines, wrapped
from coldbrood.demo.world import World
from coldbrood.journal.reader import JournalReader
from coldbrood.service import Service
from coldbrood.settings.load import load
from coldbrood.settings.records import Config
from coldbrood.watch.boxstate import rfc3339

START_LIMIT_S: Final = 20.0
LOOK_EVERY_S: Final = 0.1  # real seconds between two looks into the journal
LAST_PACKETS_S: Final = 3.0  # real seconds that the last packets may take
SHOWN_HISTORY: Final = ("refill", "alarm")


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
    """The clock, the screen and everything that speaks to it."""

    def __init__(self, clock: Clock, screen: Screen, world: World) -> None:
        self._clock, self._screen, self._world = clock, screen, world
        self._seq = 0

    def clock_text(self) -> str:
        """Time of day of the story."""
        return hour(rfc3339(self._clock.wall_s()))

    def phone(self, arrived: Arrived) -> None:
        """A message arrives: shown as it stands on the phone, and read by the keeper."""
        repeat = arrived.body.startswith("Still so since")
        lines = phone_lines(self.clock_text(), arrived, repeat, self._screen.width)
        self._screen.tell(lines, strong=not repeat)
        self._world.phone(arrived)

    def happened(self, text: str) -> None:
        """Something in the world that the daemon is not told."""
        self._screen.tell(wrapped(f"{self.clock_text()}  {text}", self._screen.width, 7))

    def show_history(self, reader: JournalReader) -> None:
        """Refills seen and alarms that are over, as they reach the journal."""
        for entry in reader.history(-math.inf, math.inf):
            if entry.seq <= self._seq or entry.line.kind not in SHOWN_HISTORY:
                continue
            self._seq = entry.seq
            said = _said(entry.line.kind, entry.line.subject, entry.line.state, entry.line.detail)
            if said:
                clock = hour(rfc3339(entry.wall_s))
                self._screen.tell(wrapped(f"{clock}  journal: {said}", self._screen.width, 7))


def _said(kind: str, subject: str, state: str, detail: str) -> str:
    if kind == "refill":
        return f"refill of box {subject.upper()} {state} by itself, rise {detail}"
    condition, _, of = subject.partition("/")
    return f"alarm over: {condition} {of}" if detail.startswith("clear") else ""


def play(wishes: Wishes, screen: Screen) -> int:
    """Play the night: 0 when played to its end, 130 when stopped. Raises DemoError and the like."""
    files = scenario.prepare(wishes.directory, wishes.keep)
    with ExitStack() as stack:
        stack.enter_context(_log_to(files.log))
        broker = stack.enter_context(LocalBroker())
        stage: list[Stage] = []
        receiver = stack.enter_context(Receiver(lambda arrived: stage[0].phone(arrived)))
        scenario.write(files, broker.port, receiver.url)
        config = load(files.config, os.environ)
        box, outdoor = (stack.enter_context(BatteryProbe(name, broker.port)) for name in scenario.PROBES)
        clock = Clock(scenario.STORY_S / wishes.seconds, scenario.STARTS.timestamp())
        world = World(clock, wishes.seed, box, outdoor, lambda text: stage[0].happened(text))
        stage.append(Stage(clock, screen, world))
        stack.enter_context(_watching(broker.port, screen))
        whole = _run(Daemon(config, clock), world, stage[0], files)
        sent = box.sent + outdoor.sent
    screen.rest()
    _epilogue(files, config, clock, screen, sent)
    return 0 if whole else 130


def _run(daemon: Daemon, world: World, stage: Stage, files: Files) -> bool:
    """From dusk to morning; False if the person at the keyboard stopped it."""
    daemon.start()
    world.start()
    try:
        with JournalReader.open(files.journal) as reader:
            while world.story_s() < scenario.STORY_S:
                threading.Event().wait(LOOK_EVERY_S)
                daemon.check()
                stage.show_history(reader)
        return True
    except KeyboardInterrupt:
        return False
    finally:
        sent = world.stop()
        _wait_for(files, sent)
        daemon.stop()


def _wait_for(files: Files, sent: int) -> None:
    """Let the daemon take what the broker still holds for it, as this broker forgets when it ends."""
    for _ in range(int(LAST_PACKETS_S / LOOK_EVERY_S)):
        with JournalReader.open(files.journal) as reader:
            if _kept(reader) >= sent:
                return
        threading.Event().wait(LOOK_EVERY_S)


def _kept(reader: JournalReader) -> int:
    return sum(1 for _ in reader.readings(-math.inf, math.inf))


def _epilogue(files: Files, config: Config, clock: Clock, screen: Screen, sent: int) -> None:
    width = screen.width
    begin_s = scenario.STARTS.timestamp()
    with JournalReader.open(files.journal) as reader:
        told = account.asked(reader)
        kept = _kept(reader)
    screen.tell(["", *account.table_lines(config.site, told, width), ""])
    screen.tell(wrapped(account.waking_line(config.site, told, begin_s, clock.wall_s()), width, 0))
    screen.tell(wrapped(f"Values sent by the probes: {sent}; in the journal: {kept}.", width, 0))
    screen.tell([f"The log of the night: {files.journal}"])


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
