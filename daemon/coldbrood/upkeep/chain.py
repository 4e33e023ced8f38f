"""The test of the whole chain: a note goes in as any note does, and what becomes of it is read hop by hop.

The daemon does the work; this only asks and watches the journal. Without a daemon the channels are tried from
here, and the chain counts as broken.
"""

import time
from collections.abc import Callable, Iterator
from typing import Final

from coldbrood.codec import unpack
from coldbrood.deliver.channel import ChannelUrl, send
from coldbrood.inbox import drop
from coldbrood.journal.errors import JournalError
from coldbrood.journal.reader import JournalReader
from coldbrood.notes import NoteForm, new_key, write_note
from coldbrood.peek import is_running
from coldbrood.settings.records import Config
from coldbrood.upkeep import brokercheck
from coldbrood.upkeep.finding import Finding, caution, fault, well
from coldbrood.watch import trial
from coldbrood.watch.outbox import Message

TAKEN_WITHIN_S: Final = 45.0
SENT_WITHIN_S: Final = 75.0
LOOK_S: Final = 0.25
SEND_S: Final = 10.0
WORDS: Final = ("Test: nothing to do", "Sent without the daemon. If you read this, this channel works.")


def run(config: Config) -> Iterator[Finding]:
    """Each hop as it is known, in the order in which a nudge passes them."""
    yield from _broker(config)
    if not is_running(config.journal_path):
        yield fault(
            "daemon", "does not run, so nothing is watched", "systemctl start coldbrood, or coldbrood run"
        )
        yield from (_send_from_here(config, index) for index in range(len(config.channels)))
        return
    key = new_key(time.time())
    drop(config.journal_path, key, write_note(NoteForm(kind="test", key=key)))
    if not _until(lambda: _is_kept(config, key), TAKEN_WITHIN_S):
        means = f"runs, but has not taken and kept the test in {TAKEN_WITHIN_S:.0f} s"
        yield fault("daemon", means, "look at its log, then: coldbrood doctor")
        return
    yield well("daemon", "runs, took the test and has it on the disk")
    yield from _channels(config, trial.about(key))
    yield from _sounder(config, key)


def _broker(config: Config) -> Iterator[Finding]:
    if config.broker is None:
        return
    answer = brokercheck.ask(config.broker, config.site.name)
    if answer.fault:
        means, _, do = answer.fault.partition(": ")
        yield fault("broker", means, do or "check the broker's own log")
    elif not answer.echoed:
        yield fault("broker", "does not let coldbrood speak and hear", "coldbrood doctor tells more")
    else:
        yield well("broker", "reached, and coldbrood may speak and hear")


def _channels(config: Config, about: str) -> Iterator[Finding]:
    if not config.channels:
        yield fault("channels", "none, so nothing can reach anyone", "add a [[channel]] to the config")
    ends = time.monotonic() + SENT_WITHIN_S
    for channel in config.channels:
        name = f"channel {channel.name}"
        _until(lambda name=channel.name: _outcome(config, about, name) is not None, ends - time.monotonic())  # type: ignore[misc] # mypy cannot type a default in a lambda
        message = _message(config, about, channel.name)
        if message is not None and message.state == "accepted":
            yield well(name, "its service took the test")
        else:
            why = "nothing was sent" if message is None else message.last_detail or message.state
            yield fault(name, f"the test did not get through: {why}", "check its URL and the network")


def _outcome(config: Config, about: str, channel: str) -> Message | None:
    """The test on this channel once it is known how it went: taken, refused, or tried and failed."""
    message = _message(config, about, channel)
    if message is None or (message.state in ("waiting", "sending") and not message.last_detail):
        return None
    return message


def _message(config: Config, about: str, channel: str) -> Message | None:
    try:
        with JournalReader.open(config.journal_path) as reader:
            body = reader.messages().get(f"{about}@{channel}")
    except JournalError:
        return None
    return None if body is None else unpack(body, Message)


def _is_kept(config: Config, key: str) -> bool:
    return _note_t_s(config, key) is not None


def _note_t_s(config: Config, key: str) -> float | None:
    try:
        with JournalReader.open(config.journal_path) as reader:
            notes = reader.notes(float("-inf"), float("inf"))
    except JournalError:
        return None
    return next((note.t_s for note in reversed(notes) if note.key == key), None)


def _sounder(config: Config, key: str) -> Iterator[Finding]:
    """What the sounder said of itself; the history may wait a minute for its commit."""
    if config.sounder is None:
        yield caution(
            "sounder", "none: if the network is down, nothing wakes you", "add a [sounder] to the config"
        )
        return
    _until(lambda: _sounded(config, key) is not None, SENT_WITHIN_S)
    said = _sounded(config, key)
    if said is None:
        yield fault("sounder", "the daemon has not said that it ran", "look at its log")
    elif said:
        yield fault("sounder", said, "install its program, or name another in sounder.command")
    else:
        yield well("sounder", "its program was started and runs")


def _sounded(config: Config, key: str) -> str | None:
    """ "" if it ran after the note, else what was wrong; None if nothing is known yet."""
    since_t_s = _note_t_s(config, key)
    with JournalReader.open(config.journal_path) as reader:
        lines = reader.history(float("-inf"), float("inf"), "sounder")
    for line in lines:
        if since_t_s is not None and line.t_s >= since_t_s and line.line.state in ("works", "failed"):
            return line.line.reason if line.line.state == "failed" else ""
    return None


def _send_from_here(config: Config, index: int) -> Finding:
    channel = config.channels[index]
    result = send(ChannelUrl(channel.name, channel.url.reveal()), *WORDS, trial.URGENCY, SEND_S)
    if result.outcome == "accepted":
        return well(f"channel {channel.name}", "its service took a test sent from here")
    do = "check its URL and the network"
    return fault(f"channel {channel.name}", f"a test sent from here did not get through: {result.detail}", do)


def _until(reached: Callable[[], bool], wait_s: float) -> bool:
    ends = time.monotonic() + wait_s
    while not reached():
        if time.monotonic() >= ends:
            return False
        time.sleep(LOOK_S)
    return True
