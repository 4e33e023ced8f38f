"""Puts the demo together: broker, phone, probes, the real service, and the screen in front of them."""

import json
import logging
import math
import os
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
from coldbrood.demo.daemon import Daemon, DemoError, log_to
from coldbrood.demo.packets import BatteryProbe
from coldbrood.demo.receiver import Arrived, Receiver
from coldbrood.demo.scenario import Files
from coldbrood.demo.screen import Screen, wrapped
from coldbrood.demo.stage import Stage, Tally
from coldbrood.demo.world import World
from coldbrood.inbox import drop
from coldbrood.journal.reader import JournalReader
from coldbrood.notes import NoteForm, write_note
from coldbrood.settings.load import load
from coldbrood.settings.records import Config

START_LIMIT_S: Final = 20.0
LOOK_EVERY_S: Final = 0.05  # real seconds between two looks into the journal
LAST_PACKETS_S: Final = 3.0  # real seconds that the last packets may take


@dataclass(frozen=True, slots=True)
class Wishes:
    """What the command line asked for."""

    directory: Path
    seconds: float
    seed: int
    keep: bool


def play(wishes: Wishes, screen: Screen) -> int:
    """Play the night: 0 when played to its end, 130 when stopped. Raises DemoError and the like."""
    files = scenario.prepare(wishes.directory, wishes.keep)
    with ExitStack() as stack:
        stack.enter_context(log_to(files.log))
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
                if not world.alive:
                    raise DemoError("the simulated site stopped")
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
