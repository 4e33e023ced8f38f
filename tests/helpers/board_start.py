"""From the program's start to its first reading, and what the broker as deployed writes for a message."""

import os
import subprocess
import time
from pathlib import Path

from bench import PATIENCE_S, Bench, senml
from children import written_mb
from hardened_broker import HardenedBroker, Listener
from path_lag import DAEMON, box_names, logged_broker, more_boxes, sender, today, topic_of

ASK_EVERY_S = 0.02
MESSAGE_EVERY_S = 1.2  # the broker writes itself down once a second at most
BROKER_SETTLE_S = 2.5


def first_reading_s(folder: Path, probes: int, page: str) -> float:
    """Seconds from the start of the process to the first packet that the broker hands to the daemon.

    There is no session before it, so what is sent too early is not kept: a packet is sent every 20 ms, and
    the first one that goes on to the daemon is the first that it could have.
    """
    boxes = more_boxes(box_names(probes)[1:])
    with (
        logged_broker(folder / "broker") as broker,
        sender(broker.port) as out,
        Bench(folder, broker, arrival=today(), probes=boxes, page=page) as bench,
    ):
        began_s = time.monotonic()
        bench.launch()
        while not (handed := [c for c in broker.crossings.get(DAEMON, []) if c.topic == topic_of("a")]):
            assert time.monotonic() < began_s + PATIENCE_S, f"nothing heard: {bench.log_text()[-2000:]}"
            out.send(topic_of("a"), senml(30.0))
            time.sleep(ASK_EVERY_S)
        took_s = handed[0].came_s - began_s
        assert bench.stop() == os.EX_OK
        return took_s


def broker_kb_a_message(folder: Path, messages: int) -> float:
    """What mosquitto writes with deploy/broker, a daemon's session being connected, 10**3 bytes a message."""
    folder.mkdir(parents=True)
    broker = HardenedBroker(folder)
    broker.start()
    try:
        session = ("-i", "the-daemon", "-c", "-t", "coldbrood/+/+/reading")
        listener = Listener(broker, "coldbrood", *session)
        time.sleep(BROKER_SETTLE_S)
        assert broker.process is not None
        before_mb = written_mb(broker.process.pid)
        for n in range(messages):
            _say(broker, n)
            time.sleep(MESSAGE_EVERY_S)
        time.sleep(BROKER_SETTLE_S)
        wrote_mb = written_mb(broker.process.pid) - before_mb
        listener.close()
    finally:
        broker.stop()
    return 1000.0 * wrote_mb / messages


def _say(broker: HardenedBroker, n: int) -> None:
    topic = "coldbrood/larch-lane/probe-a/reading"
    command = [
        "mosquitto_pub",
        *broker.as_user("probe-a"),
        "-q",
        "1",
        "-t",
        topic,
        "-m",
        senml(20.0 + n / 16),
    ]
    subprocess.run(command, check=True, capture_output=True, timeout=PATIENCE_S)
