"""The broker's drop-in and ACL as shipped: a probe speaks only for itself, a power cut loses nothing."""

import re
import signal
import subprocess
import time
from collections.abc import Iterator
from pathlib import Path
from threading import Event

import paho.mqtt.client as mqtt
import pytest
from hardened_broker import BROKER_FILES, PASSWORDS, HardenedBroker, Listener
from paho.mqtt.enums import CallbackAPIVersion

from coldbrood.probes import strict_json

pytestmark = pytest.mark.timeout(120)


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[HardenedBroker]:
    """A running broker from deploy/broker."""
    made = HardenedBroker(tmp_path)
    made.start()
    yield made
    made.stop()


ALLOWED = [
    ("probe-a", "coldbrood/larch-lane/probe-a/reading"),
    ("probe-b", "coldbrood/larch-lane/probe-b/reading"),
    ("keeper", "coldbrood/larch-lane/note"),
    ("coldbrood", "coldbrood/larch-lane/a/state"),
    ("coldbrood", "coldbrood/larch-lane/daemon"),
]
REFUSED = [
    ("probe-a", "coldbrood/larch-lane/probe-b/reading"),
    ("probe-a", "coldbrood/larch-lane/note"),
    ("probe-a", "coldbrood/larch-lane/a/state"),
    ("probe-a", "coldbrood/larch-lane/daemon"),
    ("probe-a", "coldbrood/larch-lane/probe-a/reading/deeper"),
    ("probe-a", "elsewhere/larch-lane/probe-a/reading"),
    ("coldbrood", "coldbrood/larch-lane/probe-a/reading"),
    ("coldbrood", "coldbrood/larch-lane/note"),
    ("keeper", "coldbrood/larch-lane/probe-a/reading"),
    ("keeper", "coldbrood/larch-lane/a/state"),
    ("auditor", "coldbrood/larch-lane/note"),
]


def test_each_speaks_only_where_it_may(broker: HardenedBroker) -> None:
    """A refused message is acknowledged all the same, so a subscriber who may read all is asked."""
    listener = Listener(broker, "auditor", "-t", "#")
    for user, topic in REFUSED + ALLOWED:
        assert broker.publish(user, topic, f"by-{user}") == 0
    assert broker.publish("keeper", "coldbrood/larch-lane/note", "the-end") == 0
    heard = listener.wait_for("the-end")
    listener.close()
    expected = [f"{topic} by-{user}" for user, topic in ALLOWED]
    assert heard == [*expected, "coldbrood/larch-lane/note the-end"]


def test_a_probe_hears_nothing_and_the_daemon_what_it_needs(broker: HardenedBroker) -> None:
    broker.publish("coldbrood", "coldbrood/larch-lane/a/state", "not for the daemon itself")
    probe = Listener(broker, "probe-b", "-t", "#", "-W", "3")
    daemon = Listener(broker, "coldbrood", "-t", "#")
    broker.publish("probe-a", "coldbrood/larch-lane/probe-a/reading", "21.5")
    broker.publish("probe-b", "coldbrood/larch-lane/probe-b/reading", "3.5")
    broker.publish("keeper", "coldbrood/larch-lane/note", "refill")
    assert daemon.wait_for("refill") == [
        "coldbrood/larch-lane/probe-a/reading 21.5",
        "coldbrood/larch-lane/probe-b/reading 3.5",
        "coldbrood/larch-lane/note refill",
    ]
    daemon.close()
    keeper = Listener(broker, "keeper", "-t", "#")
    broker.publish("probe-a", "coldbrood/larch-lane/probe-a/reading", "21.5")
    broker.publish("coldbrood", "coldbrood/larch-lane/a/state", "asleep")
    assert keeper.wait_for("asleep") == ["coldbrood/larch-lane/a/state asleep"]
    keeper.close()
    told, _ = probe.process.communicate(timeout=20)
    assert "GOT" not in told


@pytest.mark.parametrize("login", [[], ["-u", "probe-a", "-P", "wrong"], ["-u", "stranger", "-P", "pw-a"]])
def test_no_way_in_without_a_password(broker: HardenedBroker, login: list[str]) -> None:
    done = _client("mosquitto_pub", broker, *login, "-t", "coldbrood/larch-lane/note", "-m", "x")
    assert done.returncode != 0
    assert "not authorised" in done.stderr.decode().lower()


def test_a_power_cut_keeps_what_was_taken_while_the_daemon_was_away(broker: HardenedBroker) -> None:
    """1,500 messages: more than the broker's own default queue of 1,000."""
    session = ("-i", "the-daemon", "-c", "-t", "coldbrood/+/+/reading")
    Listener(broker, "coldbrood", *session).close()
    topic = "coldbrood/larch-lane/probe-a/reading"
    broker.publish_lines("probe-a", topic, [f"n{count}" for count in range(1500)])
    time.sleep(2.5)  # the broker writes down once a second
    broker.stop(signal.SIGKILL)
    broker.start()
    again = Listener(broker, "coldbrood", *session)
    heard = again.wait_for(" n1499")
    again.close()
    assert heard == [f"{topic} n{count}" for count in range(1500)]


def test_a_minute_of_unanswered_messages_does_not_stall(broker: HardenedBroker) -> None:
    """The daemon answers after its commit, up to 60 s later; 200 is ten times the broker's default."""
    full, got = Event(), []

    def on_connect(client: mqtt.Client, *_: object) -> None:
        client.subscribe("coldbrood/+/+/reading", 1)

    def on_message(_client: mqtt.Client, _user: object, message: mqtt.MQTTMessage) -> None:
        got.append(message.payload)
        if len(got) == 200:
            full.set()

    client = mqtt.Client(CallbackAPIVersion.VERSION2, "unanswering", clean_session=False, manual_ack=True)
    subscribed = Event()
    client.on_connect, client.on_message = on_connect, on_message
    client.on_subscribe = lambda *_: subscribed.set()
    client.username_pw_set("coldbrood", PASSWORDS["coldbrood"])
    client.connect("127.0.0.1", broker.port)
    client.loop_start()
    assert subscribed.wait(20)
    broker.publish_lines(
        "probe-a", "coldbrood/larch-lane/probe-a/reading", [f"n{count}" for count in range(200)]
    )
    came = full.wait(30)
    client.disconnect()
    client.loop_stop()
    assert came, f"only {len(got)} of 200 came without an answer"


def test_the_broker_lets_through_what_the_daemon_wants_to_refuse_itself() -> None:
    text = (BROKER_FILES / "coldbrood.conf").read_text(encoding="utf-8")
    limit = re.search(r"^message_size_limit (\d+)$", text, re.MULTILINE)
    assert limit is not None
    assert int(limit[1]) > strict_json.MAX_BYTES


def _client(name: str, broker: HardenedBroker, *options: str) -> subprocess.CompletedProcess[bytes]:
    command = [name, "-h", "127.0.0.1", "-p", str(broker.port), *options]
    return subprocess.run(command, capture_output=True, timeout=20)
