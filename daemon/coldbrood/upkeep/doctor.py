"""The doctor: every part of one site looked at from outside, in the order in which one rests on the other."""

import importlib.util
import math
import sqlite3
from collections.abc import Iterator
from pathlib import Path

from coldbrood import selftest
from coldbrood.clock import Clock
from coldbrood.codec import CannotRead, unpack
from coldbrood.deliver.channel import ChannelUrl, usable
from coldbrood.journal.errors import JournalError, is_damage
from coldbrood.journal.prepare import check
from coldbrood.journal.reader import JournalReader
from coldbrood.peek import Peek, is_running, peek
from coldbrood.settings.records import Config
from coldbrood.upkeep import brokercheck
from coldbrood.upkeep.finding import Finding, caution, fault, in_order, well
from coldbrood.watch.assess import silent_after_s
from coldbrood.watch.outbox import Message


def examine(config: Config, clock: Clock) -> list[Finding]:
    """Look at everything; what to do first comes first. Sends no message to anyone."""
    running = is_running(config.journal_path)
    return in_order(
        [
            *_disk(config.journal_path.parent),
            *_journal(config.journal_path),
            _daemon(running),
            _clock(clock),
            *_secrets(config),
            *_broker(config, running),
            *_probes(config, clock),
            *_channels(config),
            *_aides(config),
        ]
    )


def _disk(folder: Path) -> Iterator[Finding]:
    if not folder.is_dir():
        yield fault("disk", f"the folder {folder} for the journal does not exist", f"mkdir -p {folder}")
        return
    found = list(selftest.disk(folder))
    do = f"free some space, or give {folder} to the user that runs this"
    yield from (fault("disk", text, do) for text in found)
    if not found:
        yield well("disk", f"{folder} has room and may be written")


def _journal(path: Path) -> Iterator[Finding]:
    try:
        with JournalReader.open(path) as reader:
            check(reader.db)
            yield well("journal", f"sound, {reader.last_seq()} entries, {path.stat().st_size / 1e6:.1f} MB")
    except JournalError as error:
        yield fault("journal", error.what, error.what_to_do)
    except sqlite3.Error as error:
        damaged = is_damage(error)
        do = "restart the daemon: it sets the file aside and goes on" if damaged else "check the disk"
        yield fault("journal", "damaged" if damaged else f"cannot be read ({error})", do)


def _daemon(running: bool) -> Finding:
    if running:
        return well("daemon", "runs")
    return fault(
        "daemon", "does not run, so nothing is watched", "systemctl start coldbrood, or coldbrood run"
    )


def _clock(clock: Clock) -> Finding:
    if clock.synced():
        return well("clock", "set from outside since the board came up")
    means = "not known to be right: bedtime and the hour in messages may be off; alarms do not depend on it"
    return caution("clock", means, "let a time service such as chrony or systemd-timesyncd set it")


def _secrets(config: Config) -> Iterator[Finding]:
    for found in config.cautions:
        if "others on this machine" in found.text:
            yield caution(
                "rights", f"{found.field}: others on this machine may read the secret", "chmod 600 it"
            )


def _broker(config: Config, running: bool) -> Iterator[Finding]:
    if config.broker is None:
        yield well("broker", "none is needed, every probe is wired")
        return
    answer = brokercheck.ask(config.broker, config.site.name)
    if answer.fault:
        means, _, do = answer.fault.partition(": ")
        yield fault("broker", means, do or "check the broker's own log")
        return
    yield well("broker", "reached, and it lets coldbrood in")
    if not answer.echoed:
        topic = f"coldbrood/{config.site.name}/daemon"
        do = f"let the daemon's user read and write {topic}: see deploy/broker/coldbrood.acl"
        yield fault("access list", f"what is said on {topic} does not come back", do)
    else:
        yield well("access list", "coldbrood may speak and hear on its own topic")
    if running and answer.status != "online":
        do = "look at the daemon's log; another program may use its client id"
        yield fault("link", "the daemon runs, but has not told this broker that it is there", do)


def _probes(config: Config, clock: Clock) -> Iterator[Finding]:
    try:
        seen = peek(config, clock)
    except JournalError:
        return  # told under journal
    yield from (_probe(config, seen, index) for index in range(len(seen.probes)))


def _probe(config: Config, seen: Peek, index: int) -> Finding:
    probe = seen.probes[index]
    name, ago, refused = str(probe["probe"]), probe["heard_s_ago"], probe["refused"]
    spec = config.site.probes[name]
    counted = refused if isinstance(refused, dict) else {}
    said = ", ".join(f"{reason} {count}" for reason, count in counted.items())
    ago_s = float(ago) if isinstance(ago, int) else math.inf
    if ago_s <= silent_after_s(spec.interval_s):
        pct = probe["battery_pct"]
        if isinstance(pct, float) and spec.battery_low_pct is not None and pct < spec.battery_low_pct:
            return caution(f"probe {name}", f"battery at {pct:.0f} %", "change it by day, not tonight")
        return well(f"probe {name}", f"heard {ago_s / 60:.0f} min ago")
    means = "never heard" if math.isinf(ago_s) else f"not heard for {ago_s / 60:.0f} min"
    if said:
        return fault(f"probe {name}", f"{means}; refused: {said}", "look at the format and unit it sends")
    if spec.source == "onewire":
        return fault(
            f"probe {name}", means, f"look for {spec.sensor_id} in /sys/bus/w1/devices and at its wires"
        )
    do = (
        f"its battery and Wi-Fi; then that it sends to {spec.topic}, under its own name and password: what "
        "the access list refuses vanishes without a word"
    )
    return fault(f"probe {name}", means, do)


def _channels(config: Config) -> Iterator[Finding]:
    if not config.channels:
        yield fault("channels", "none, so nothing can reach anyone", "add a [[channel]] to the config")
    last = _last_messages(config.journal_path)
    for channel in config.channels:
        name = f"channel {channel.name}"
        message = last.get(channel.name)
        if not usable(ChannelUrl(channel.name, channel.url.reveal())):
            yield fault(name, "its address cannot be used", "write the URL in the form that apprise takes")
        elif message is None:
            yield caution(name, "nothing was sent on it yet", "coldbrood alert --test")
        elif message.state != "accepted":
            means = f"its last message did not get through ({message.last_detail})"
            yield fault(name, means, "check its URL and the network, then coldbrood alert --test")
        else:
            yield well(name, "its last message was taken")


def _last_messages(path: Path) -> dict[str, Message]:
    """The message last tried on each channel; nothing if the journal cannot be read."""
    try:
        with JournalReader.open(path) as reader:
            found = [unpack(body, Message) for body in reader.messages().values()]
    except (JournalError, CannotRead):
        return {}
    tried = [message for message in found if message.sent_t_s is not None]
    return {message.channel: message for message in sorted(tried, key=lambda m: m.sent_t_s or 0.0)}


def _aides(config: Config) -> Iterator[Finding]:
    if config.sounder is not None:
        found = list(selftest.sounder(config.sounder.command[0]))
        yield from (
            fault("sounder", text, "install it, or name another in sounder.command") for text in found
        )
        if not found:
            yield well("sounder", "its program is there; coldbrood alert --test lets you hear it")
    else:
        means = "none: if the network is down, nothing wakes you"
        yield caution("sounder", means, "add a [sounder] to the config, or set an alarm clock")
    if config.heartbeat is None:
        means = "none: if this board dies, only its silence tells"
        yield caution("heartbeat", means, "add a [heartbeat] to the config, or look in")
    if config.mirror is not None and importlib.util.find_spec("influxdb_client") is None:
        yield fault("mirror", "influxdb-client is missing", "install coldbrood with its extra mirror")
