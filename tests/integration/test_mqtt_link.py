"""Over a real broker nothing is lost before it is acknowledged, and trouble is said in plain words."""

import base64
import gc
import hashlib
import json
import queue
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import TypeVar

import pytest
from broker import Broker, free_port
from hardened_broker import PASSWORDS, HardenedBroker

from coldbrood.probes.door import Door
from coldbrood.probes.mqtt import BrokerSettings, Connected, Fault, Link, LinkPost, Lost, Packet
from coldbrood.watch.events import Now, Reading, Refused
from coldbrood.watch.site import ProbeSpec

PAYLOADS = Path(__file__).parents[2] / "fixtures" / "payloads"
READINGS, BOX, STATUS = "coldbrood/s/+/reading", "coldbrood/s/box-a/reading", "coldbrood/s/daemon"
PATIENCE_S = 20.0
Post = TypeVar("Post", Packet, Connected, Lost, Fault)


class Listener:
    """A link whose posts the test reads in order."""

    def __init__(self, settings: BrokerSettings, topics: tuple[str, ...] = (READINGS,)) -> None:
        self.posts: queue.Queue[LinkPost] = queue.Queue()
        self.link = Link(settings, topics, STATUS, self.posts.put)
        self.link.start()

    def next(self, kind: type[Post]) -> Post:
        """The next post of one kind; those before it are dropped."""
        until = time.monotonic() + PATIENCE_S
        while time.monotonic() < until:
            try:
                post = self.posts.get(timeout=max(0.01, until - time.monotonic()))
            except queue.Empty:
                break
            if isinstance(post, kind):
                return post
        raise AssertionError(f"no {kind.__name__} within {PATIENCE_S} s")

    def quiet(self, seconds: float = 0.5) -> bool:
        """Whether nothing at all is posted for a while."""
        try:
            self.posts.get(timeout=seconds)
        except queue.Empty:
            return True
        return False


Listen = Callable[..., Listener]


@pytest.fixture
def listen(broker: Broker) -> Iterator[Listen]:
    with ExitStack() as running:

        def start(settings: BrokerSettings | None = None, topics: tuple[str, ...] = (READINGS,)) -> Listener:
            listener = Listener(settings or BrokerSettings("127.0.0.1", broker.port), topics)
            running.callback(listener.link.stop)
            return listener

        yield start


def ask_retained(broker: Broker, topic: str) -> str:
    """What a newcomer is told at once, by Debian's own client."""
    command = ["mosquitto_sub", *broker.client_options(), "-t", topic, "-C", "1", "-W", "10"]
    return subprocess.run(command, capture_output=True, text=True, check=True, timeout=30).stdout.strip()


def ask_status(broker: Broker) -> str:
    status: str = json.loads(ask_retained(broker, STATUS))["status"]
    return status


def test_payloads_of_debians_own_client_pass_the_door(broker: Broker, listen: Listen) -> None:
    specs = (
        ProbeSpec("box-a", "box", "a", "mqtt", 300.0, topic=BOX),
        ProbeSpec(
            "foreign",
            "box",
            "a",
            "mqtt",
            60.0,
            "coldbrood/s/foreign/reading",
            "pointers",
            {"temperature_c": "/env/temp"},
        ),
        ProbeSpec("yard", "outdoor", None, "mqtt", 60.0, "coldbrood/s/yard/reading", "plain"),
    )
    door = Door({spec.name: spec for spec in specs})
    listener = listen()
    listener.next(Connected)
    broker.publish(BOX, PAYLOADS / "bundle_slept.senml.json")
    broker.publish("coldbrood/s/foreign/reading", PAYLOADS / "foreign_nested.json")
    broker.publish("coldbrood/s/yard/reading", PAYLOADS / "plain_padded.txt")
    broker.publish("coldbrood/s/yard/reading", b"\xff\x00")
    broker.publish("coldbrood/s/stray/reading", b"1")
    found: list[tuple[str | None, object]] = []
    for _ in range(5):
        packet = listener.next(Packet)
        now = Now(1000.0, 1.7e9, synced=True)
        outcomes = door.packet(packet.topic, packet.payload, packet.retained, 0.0, now)
        found += [(o.probe, o.raw if isinstance(o, Reading) else o.reason) for o in outcomes]
        listener.link.ack(packet.mid)
    assert found == [
        ("box-a", 24.25),
        ("box-a", 23.875),
        ("box-a", 23.5),
        ("box-a", 2.61),
        ("box-a", 61.5),
        ("foreign", 21.4),
        ("yard", 21.5),
        ("yard", "bad-payload"),
        (None, "unknown-probe"),
    ]


def test_birth_farewell_and_will_are_kept_for_newcomers(
    broker: Broker, listen: Listen, tmp_path: Path
) -> None:
    listener = listen()
    listener.next(Connected)
    assert ask_status(broker) == "online"
    listener.link.stop()
    assert ask_status(broker) == "offline"
    child = start_child(broker, tmp_path / "got")
    wait_until(lambda: ask_status(broker) == "online")
    child.kill()
    child.wait()
    wait_until(lambda: ask_status(broker) == "offline")


def test_its_own_status_is_not_taken_for_a_reading(broker: Broker, listen: Listen) -> None:
    listener = listen(topics=("coldbrood/s/#",))
    listener.next(Connected)
    assert listener.quiet()


def test_a_retained_packet_is_marked(broker: Broker, listen: Listen) -> None:
    broker.publish(BOX, b"20", "-r")
    packet = listen().next(Packet)
    assert (packet.payload, packet.retained) == (b"20", True)


def test_an_oversized_payload_is_cut_and_still_refused_as_too_large(broker: Broker, listen: Listen) -> None:
    listener = listen()
    listener.next(Connected)
    broker.publish(BOX, b"[" + b" " * 2_000_000 + b"]")
    packet = listener.next(Packet)
    assert len(packet.payload) < 20_000
    spec = ProbeSpec("box-a", "box", "a", "mqtt", 60.0, topic=BOX)
    (outcome,) = Door({"box-a": spec}).packet(BOX, packet.payload, False, 0.0, Now(0.0, 0.0, True))
    assert isinstance(outcome, Refused)
    assert outcome.reason == "too-large"


def test_a_packet_of_qos_0_needs_no_acknowledgement(broker: Broker, listen: Listen) -> None:
    listener = listen()
    listener.next(Connected)
    broker.publish(BOX, b"20", "-q", "0")
    packet = listener.next(Packet)
    assert packet.mid == 0
    listener.link.ack(packet.mid)


CHILD = """
import os, sys, time
from coldbrood.probes.mqtt import BrokerSettings, Link, Packet
file = open(sys.argv[2], "a", buffering=1)
def post(p):
    if isinstance(p, Packet):
        print(p.payload.decode(), p.dup, p.queued, file=file)
        if len(sys.argv) > 3:
            link.ack(p.mid)
settings = BrokerSettings("127.0.0.1", int(sys.argv[1]))
link = Link(settings, ["coldbrood/s/+/reading"], "coldbrood/s/daemon", post)
link.start()
time.sleep(60)
"""


def start_child(broker: Broker, got: Path, *options: str) -> "subprocess.Popen[bytes]":
    got.touch()
    return subprocess.Popen([sys.executable, "-c", CHILD, str(broker.port), str(got), *options])


def wait_until(holds: Callable[[], bool]) -> None:
    until = time.monotonic() + PATIENCE_S
    while not holds():
        assert time.monotonic() < until, "what was waited for did not come"
        time.sleep(0.05)


def test_what_was_not_acknowledged_before_a_kill_comes_again(
    broker: Broker, listen: Listen, tmp_path: Path
) -> None:
    child = start_child(broker, tmp_path / "got")
    wait_until(lambda: ask_status(broker) == "online")
    for value in (b"20", b"21"):
        broker.publish(BOX, value)
    wait_until(lambda: (tmp_path / "got").read_text() == "20 False False\n21 False False\n")
    child.send_signal(signal.SIGKILL)
    child.wait()
    broker.publish(BOX, b"22")
    listener = listen()
    again = [listener.next(Packet) for _ in range(3)]
    assert [(p.payload, p.dup, p.queued) for p in again] == [
        (b"20", True, True),
        (b"21", True, True),
        (b"22", False, True),
    ]


def test_what_was_acknowledged_before_a_kill_does_not_come_again(
    broker: Broker, listen: Listen, tmp_path: Path
) -> None:
    child = start_child(broker, tmp_path / "got", "ack")
    wait_until(lambda: ask_status(broker) == "online")
    broker.publish(BOX, b"20")
    wait_until(lambda: "20" in (tmp_path / "got").read_text())
    wait_until(lambda: broker.log().count("Received PUBACK") >= 2)  # of the birth read back, and of this
    child.send_signal(signal.SIGKILL)
    child.wait()
    listener = listen()
    assert listener.next(Connected).session_present
    assert listener.quiet()


def test_a_long_queue_comes_in_order_and_its_end_is_known(broker: Broker, listen: Listen) -> None:
    away = listen()
    away.next(Connected)
    away.link.stop()
    for value in range(50):
        broker.publish(BOX, str(value).encode())
    listener = listen()
    assert listener.next(Connected).session_present
    first = [listener.next(Packet) for _ in range(20)]
    # mosquitto sends at most 20 that are not acknowledged.
    assert listener.quiet()
    for packet in first:
        listener.link.ack(packet.mid)
    rest = []
    for _ in range(30):
        rest.append(listener.next(Packet))
        listener.link.ack(rest[-1].mid)
    broker.publish(BOX, b"live")
    live = listener.next(Packet)
    assert [int(p.payload) for p in (*first, *rest)] == list(range(50))
    assert all(p.queued for p in (*first, *rest))
    assert (live.payload, live.queued) == (b"live", False)


def test_a_first_session_has_no_queue(broker: Broker, listen: Listen) -> None:
    listener = listen()
    assert not listener.next(Connected).session_present
    broker.publish(BOX, b"20")
    assert not listener.next(Packet).queued


def test_a_broker_that_restarts_is_found_again(broker: Broker, listen: Listen) -> None:
    listener = listen()
    listener.next(Connected)
    broker.publish(BOX, b"20")
    before = listener.next(Packet)
    broker.stop()
    assert "broke" in listener.next(Lost).detail
    listener.link.publish_retained("coldbrood/s/a/state", b'{"box_c":20}')
    assert not listener.link.publish("coldbrood/s/a/once", b"1")
    broker.start()
    assert listener.next(Connected).session_present  # always before the packets of the session
    again = listener.next(Packet)
    assert (again.payload, again.dup, again.queued) == (b"20", True, True)
    listener.link.ack(before.mid)  # of the old connection: passed over
    listener.link.ack(again.mid)
    assert ask_retained(broker, "coldbrood/s/a/state") == '{"box_c":20}'
    assert listener.link.publish("coldbrood/s/a/once", b"1")
    broker.publish(BOX, b"21")
    assert listener.next(Packet).payload == b"21"


def test_what_waits_at_the_broker_survives_the_brokers_kill(broker: Broker, listen: Listen) -> None:
    away = listen()
    away.next(Connected)
    away.link.stop()
    for value in (b"20.125", b"21.125", b"22.125"):
        broker.publish(BOX, value)
    wait_until(lambda: b"22.125" in (broker.folder / "mosquitto.db").read_bytes())
    broker.stop(signal.SIGKILL)
    broker.start()
    listener = listen()
    assert [listener.next(Packet).payload for _ in range(3)] == [b"20.125", b"21.125", b"22.125"]


def test_what_was_kept_and_not_acknowledged_is_known_when_it_comes_again(
    broker: Broker, listen: Listen
) -> None:
    spec = ProbeSpec("box-a", "box", "a", "mqtt", 60.0, topic=BOX)
    kept: list[Reading | Refused] = []
    first, door = listen(), Door({"box-a": spec})
    first.next(Connected)
    for t_s, celsius in ((1000.0, 21.0), (1060.0, 21.5)):
        broker.publish(BOX, b'[{"n":"a","u":"Cel","v":%.1f}]' % celsius)
        packet = first.next(Packet)
        now = Now(t_s, 1.7e9 + t_s, synced=True)
        kept += door.packet(BOX, packet.payload, False, 0.0, now, packet.number)
    first.link.stop()  # between commit and acknowledgement, at 1061
    second, door = listen(), Door({"box-a": spec})
    door.resume(reading for reading in kept if isinstance(reading, Reading))
    for t_s in (1100.0, 1100.1):
        packet = second.next(Packet)
        assert packet.queued
        now = Now(t_s, 1.7e9 + t_s, synced=True)
        kept += door.packet(BOX, packet.payload, False, t_s - 1061.0, now, packet.number)
    assert [o.raw if isinstance(o, Reading) else o.reason for o in kept] == [
        21.0,
        21.5,
        "older-than-taken",
        "older-than-taken",
    ]


def test_a_broker_that_falls_silent_is_noticed(broker: Broker, listen: Listen) -> None:
    listener = listen(BrokerSettings("127.0.0.1", broker.port, keepalive_s=1))
    listener.next(Connected)
    broker.signal(signal.SIGSTOP)
    try:
        assert "broke" in listener.next(Lost).detail
    finally:
        broker.signal(signal.SIGCONT)
    listener.next(Connected)
    broker.publish(BOX, b"20")
    assert listener.next(Packet).payload == b"20"


def test_the_access_list_we_ship_lets_the_end_of_the_queue_be_known(tmp_path: Path, listen: Listen) -> None:
    shipped = HardenedBroker(tmp_path)
    shipped.start()
    try:
        settings = BrokerSettings("127.0.0.1", shipped.port, "coldbrood", PASSWORDS["coldbrood"])
        away = listen(settings)
        away.next(Connected)
        away.link.stop()
        topic = "coldbrood/s/probe-a/reading"
        assert shipped.publish("probe-a", topic, "waited") == 0
        listener = listen(settings)
        waited = listener.next(Packet)
        wait_until(lambda: listener.link.publish("coldbrood/s/a/state", b"{}"))
        time.sleep(0.5)  # the birth comes back
        assert shipped.publish("probe-a", topic, "live") == 0
        live = listener.next(Packet)
        assert [(p.payload, p.queued) for p in (waited, live)] == [(b"waited", True), (b"live", False)]
        listener.link.stop()
    finally:
        shipped.stop()


def test_a_late_acknowledgement_does_not_acknowledge_another_packet(broker: Broker, listen: Listen) -> None:
    listener = listen()
    listener.next(Connected)
    time.sleep(0.5)  # the birth comes back, and takes a number
    broker.publish(BOX, b"20")
    old = listener.next(Packet)
    broker.stop()
    listener.next(Lost)
    (broker.folder / "mosquitto.db").unlink()  # the new broker counts its packets from 1 again
    broker.start()
    listener.next(Connected)
    time.sleep(0.5)
    broker.publish(BOX, b"21")
    new = listener.next(Packet)
    assert (new.payload, new.mid & 0xFFFF) == (b"21", old.mid & 0xFFFF)
    listener.link.ack(old.mid)
    listener.link.stop()
    assert listen().next(Packet).payload == b"21"


@pytest.mark.parametrize(
    ("host", "says"), [("127.0.0.1", "nothing answers"), ("no-such-host.invalid", "no host is known")]
)
def test_a_broker_that_is_not_there_is_named(listen: Listen, host: str, says: str) -> None:
    lost = listen(BrokerSettings(host, free_port())).next(Lost)
    assert says in lost.detail
    assert host in lost.detail


def test_the_same_trouble_is_told_once(listen: Listen) -> None:
    listener = listen(BrokerSettings("127.0.0.1", free_port()))
    listener.next(Lost)
    assert listener.quiet(4.0)  # two more attempts in this time


def test_a_refused_password_is_said_and_never_shown(
    new_broker: Callable[..., Broker], listen: Listen
) -> None:
    guarded = new_broker(user="coldbrood", password="right")
    settings = BrokerSettings("127.0.0.1", guarded.port, "coldbrood", "wrong-secret")
    detail = listen(settings).next(Lost).detail
    assert "password" in detail
    assert "wrong-secret" not in detail + repr(settings)
    assert listen(BrokerSettings("127.0.0.1", guarded.port, "coldbrood", "right")).next(Connected)


def test_a_certificate_file_that_is_not_there_is_refused_at_once(tmp_path: Path) -> None:
    settings = BrokerSettings("127.0.0.1", tls_ca=tmp_path / "none.pem")
    with pytest.raises(ValueError, match=r"broker\.tls_ca: .*none\.pem: No such file"):
        Link(settings, [READINGS], STATUS, lambda _: None).start()


def refusing_plugin(folder: Path, password: str) -> str:
    """Settings under which mosquitto's own plugin refuses subscriptions; its access list never does."""
    salt = b"twelve bytes"
    digest = hashlib.pbkdf2_hmac("sha512", password.encode(), salt, 101)
    client = {
        "username": "coldbrood",
        "password": base64.b64encode(digest).decode(),
        "salt": base64.b64encode(salt).decode(),
        "iterations": 101,
    }
    (folder / "rights.json").write_text(json.dumps({"clients": [client], "groups": [], "roles": []}))
    (plugin,) = Path("/usr/lib").glob("*/mosquitto_dynamic_security.so")
    return f"plugin {plugin}\nplugin_opt_config_file {folder}/rights.json\n"


def make_certificate(folder: Path, name: str) -> tuple[Path, Path]:
    """A certificate for 127.0.0.1 that is its own authority, and its key."""
    certificate, key = folder / f"{name}.pem", folder / f"{name}.key"
    command = ["openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1"]
    command += ["-nodes", "-days", "2", "-subj", f"/CN={name}", "-addext", "subjectAltName=IP:127.0.0.1"]
    command += ["-keyout", str(key), "-out", str(certificate)]
    subprocess.run(command, check=True, capture_output=True, timeout=30)
    return certificate, key


# paho leaves the socket of a failed handshake to the garbage collector, which warns of it.
@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
def test_an_encrypted_link_is_made_only_with_a_trusted_broker(
    new_broker: Callable[..., Broker], listen: Listen, tmp_path: Path
) -> None:
    certificate, key = make_certificate(tmp_path, "mine")
    other, _ = make_certificate(tmp_path, "other")
    secured = new_broker(more=f"certfile {certificate}\nkeyfile {key}\n")
    assert listen(BrokerSettings("127.0.0.1", secured.port, tls_ca=certificate)).next(Connected)
    strange = listen(BrokerSettings("127.0.0.1", secured.port, tls_ca=other, client_id="strange"))
    assert "not trusted: check broker.tls_ca" in strange.next(Lost).detail
    strange.link.stop()
    gc.collect()


def test_hundreds_of_packets_acknowledged_from_another_thread_come_once_and_in_order(
    broker: Broker, listen: Listen
) -> None:
    listener = listen()
    listener.next(Connected)
    lines = "\n".join(str(n) for n in range(500))
    command = ["mosquitto_pub", *broker.client_options(), "-q", "1", "-t", BOX, "-l"]
    sender = subprocess.Popen(command, stdin=subprocess.PIPE, text=True)
    assert sender.stdin is not None
    sender.stdin.write(lines)
    sender.stdin.close()
    got = []
    for _ in range(500):
        packet = listener.next(Packet)
        got.append(int(packet.payload))
        listener.link.ack(packet.mid)
    assert sender.wait(PATIENCE_S) == 0
    assert got == list(range(500))
    assert listener.quiet()


def test_a_refused_subscription_is_no_connection_and_is_asked_for_again(
    new_broker: Callable[..., Broker], listen: Listen, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("coldbrood.probes.mqtt.RESUBSCRIBE_S", 0.5)
    strict = new_broker(more=refusing_plugin(tmp_path, "right"))
    listener = listen(BrokerSettings("127.0.0.1", strict.port, "coldbrood", "right"))
    assert f"refuses the topic {READINGS}" in listener.next(Lost).detail
    wait_until(lambda: strict.log().count("Sending SUBACK") >= 2)
    assert listener.posts.empty()


def test_an_access_list_that_hides_our_own_birth_does_not_blind_the_daemon(
    new_broker: Callable[..., Broker], listen: Listen, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("coldbrood.probes.mqtt.QUIET_S", 0.5)
    rights = "user coldbrood\ntopic read coldbrood/s/+/reading\ntopic write coldbrood/s/+/reading\n"
    guarded = new_broker(user="coldbrood", password="right", acl=rights)
    settings = BrokerSettings("127.0.0.1", guarded.port, "coldbrood", "right")
    first = listen(settings)
    first.next(Connected)
    first.link.stop()
    guarded.publish(BOX, b"20")
    listener = listen(settings)
    kept = listener.next(Packet)
    time.sleep(1.0)
    guarded.publish(BOX, b"21")
    unsure = listener.next(Packet)
    for packet in (kept, unsure):
        listener.link.ack(packet.mid)
    time.sleep(1.0)
    guarded.publish(BOX, b"22")
    assert "access list" in listener.next(Fault).detail
    assert (kept.queued, unsure.queued, listener.next(Packet).queued) == (True, True, False)


def test_a_fault_in_the_receiver_does_not_end_the_network_thread(broker: Broker) -> None:
    posts: queue.Queue[LinkPost] = queue.Queue()

    def post(item: LinkPost) -> None:
        if isinstance(item, Packet) and item.payload == b"bad":
            raise RuntimeError("planted")
        posts.put(item)

    link = Link(BrokerSettings("127.0.0.1", broker.port), [READINGS], STATUS, post)
    link.start()
    try:
        assert isinstance(posts.get(timeout=PATIENCE_S), Connected)
        broker.publish(BOX, b"bad")
        fault = posts.get(timeout=PATIENCE_S)
        broker.publish(BOX, b"good")
        after = posts.get(timeout=PATIENCE_S)
    finally:
        link.stop()
    assert isinstance(fault, Fault)
    assert "planted" in fault.detail
    assert isinstance(after, Packet)
    assert after.payload == b"good"
