"""The probe's very firmware, under MicroPython, against real mosquitto: whatever is away, it keeps its
readings, sleeps and tells them later, and the daemon's own door takes each once, with its age."""

import itertools
import json
import signal
import socket
import subprocess
import threading
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from broker import Broker, free_port
from probe_run import ProbeBoard, frame, rom

from coldbrood.probes.door import Door
from coldbrood.watch.events import Now, Reading, Refused
from coldbrood.watch.site import ProbeSpec

TOPIC = "coldbrood/larch-lane/box-a/reading"
PATIENCE_S = 20


@pytest.fixture(scope="module")
def broker(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Broker]:
    """One broker for the module, with a password."""
    broker = Broker(tmp_path_factory.mktemp("broker"), user="box-a", password="pw-a")
    broker.start()
    yield broker
    broker.stop()


def specs(*names: str) -> dict[str, ProbeSpec]:
    """Probes of the daemon that share the board's topic."""
    return {name: ProbeSpec(name, "box", "a", "mqtt", 300.0, topic=TOPIC) for name in names}


@dataclass
class Daemon:
    """Debian's own client with a session that is kept, and the real door behind it."""

    broker: Broker
    door: Door = field(default_factory=lambda: Door(specs("box-a")))
    packs: list[list[dict[str, object]]] = field(default_factory=list)
    taken: list[Reading] = field(default_factory=list)
    refused: list[Refused] = field(default_factory=list)

    def command(self, *options: str) -> list[str]:
        session = ["-i", "ear", "-c", "-q", "1", "-t", TOPIC]
        return ["mosquitto_sub", *self.broker.client_options(), *session, *options]

    def subscribe(self) -> None:
        subprocess.run(self.command("-E"), check=True, timeout=PATIENCE_S)

    def hear(self, clock_s: float, messages: int = 1) -> None:
        """Wait for so many messages; they came at this time of the board's clock."""
        options = ["-F", "%p", "-C", str(messages), "-W", str(PATIENCE_S)]
        done = subprocess.run(self.command(*options), capture_output=True, text=True, timeout=2 * PATIENCE_S)
        lines = done.stdout.splitlines()
        assert len(lines) == messages, f"heard {len(lines)}: {done.stdout} {done.stderr}"
        for line in lines:
            self.packs.append(json.loads(line))
            for value in self.door.packet(TOPIC, line.encode(), False, 0.0, Now(clock_s, clock_s, False)):
                if isinstance(value, Reading):
                    self.taken.append(value)
                else:
                    self.refused.append(value)

    def hear_nothing(self) -> None:
        """No message waits: what is sent now is the next that is heard."""
        self.broker.publish(TOPIC, b"[]")
        options = ["-F", "%p", "-C", "1", "-W", str(PATIENCE_S)]
        done = subprocess.run(self.command(*options), capture_output=True, text=True, timeout=2 * PATIENCE_S)
        assert done.stdout.strip() == "[]"

    def temperatures(self, probe: str = "box-a") -> list[float]:
        """What the door took, in the order in which it took it."""
        return [r.raw for r in self.taken if r.probe == probe and r.quantity == "temperature_c"]


@pytest.fixture
def daemon(broker: Broker) -> Iterator[Daemon]:
    daemon = Daemon(broker)
    daemon.subscribe()
    yield daemon
    forget = ["mosquitto_sub", *broker.client_options(), "-i", "ear", "-t", TOPIC, "-E"]
    subprocess.run(forget, check=True, timeout=PATIENCE_S)


@pytest.fixture
def board(tmp_path: Path, broker: Broker) -> ProbeBoard:
    return ProbeBoard(tmp_path, broker.port)


# ---- a good wake


def test_a_wake_tells_one_reading_and_sleeps(board: ProbeBoard, daemon: Daemon) -> None:
    wake = board.wake(24.4375)
    daemon.hear(board.clock_s - wake.slept_s)
    assert daemon.packs == [
        [
            {"n": "box-a", "u": "Cel", "v": 24.4375},
            {"n": "box-a:signal", "u": "dBW", "v": -91},
        ]
    ]
    assert daemon.temperatures() == [24.4375]
    assert daemon.refused == []
    assert wake.console == ""
    assert "(d0, q1, r0, m1," in daemon.broker.log(), "not sent at QoS 1, or kept by the broker"


def test_it_never_warms_its_own_sensor(board: ProbeBoard, daemon: Daemon) -> None:
    """Powered for one conversion, read once, off again, and all that before the radio."""
    wake = board.wake()
    order = [tuple(event[:1] if event[0] == "read" else event) for event in wake.events]
    wanted = [("pin", 5, 1), ("convert",), ("read",), ("pin", 5, 0), ("radio", True), ("radio", False)]
    assert [event for event in order if event in wanted][: len(wanted)] == wanted
    assert len(wake.named("convert")) == 1
    daemon.hear(board.clock_s)


def test_the_sleep_is_the_interval_less_a_chance_of_an_eighth(board: ProbeBoard, daemon: Daemon) -> None:
    wakes = [board.wake(20 + n) for n in range(8)]
    daemon.hear(board.clock_s, messages=8)
    slept = [wake.slept_s for wake in wakes]
    assert all(300 * 7 / 8 - 3 <= span_s <= 300 for span_s in slept), slept
    # Eight draws from 37 s lie within 5 s once in 160,000 runs (C: 8 r^7 - 7 r^8); a wake varies by less.
    assert max(slept) - min(slept) > 5.0, "probes that start together would meet at every wake"


def test_at_power_on_it_shows_the_sensors_and_can_be_stopped(board: ProbeBoard, daemon: Daemon) -> None:
    first, later = board.wake(power_on=True), board.wake()
    assert f"sensors found: ['{rom(1)}']" in first.console
    assert ["wait", 5000] in first.events
    assert ["wait", 5000] not in later.events
    assert all(wake.named("watchdog") == [["watchdog", 60_000]] for wake in (first, later))
    daemon.hear(board.clock_s, messages=2)


# ---- what may be away


@dataclass
class Peer:
    """A TCP listener that is no broker: it answers each connection with some bytes and what it then does."""

    answer: bytes
    stays: bool
    port: int = field(init=False)

    def __post_init__(self) -> None:
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port = self._listener.getsockname()[1]
        self._kept: list[socket.socket] = []
        self._server = threading.Thread(target=self._serve, daemon=True)
        self._server.start()

    def _serve(self) -> None:
        while True:
            try:
                link, _ = self._listener.accept()
            except OSError:
                return
            self._kept.append(link)
            with suppress(OSError):  # the probe may be gone before it is answered
                link.sendall(self.answer)
                if not self.stays:
                    link.shutdown(socket.SHUT_RDWR)

    def close(self) -> None:
        self._listener.shutdown(socket.SHUT_RDWR)  # ends the wait for one more
        self._server.join(PATIENCE_S)
        for link in [self._listener, *self._kept]:
            link.close()


CONNACK = b"\x20\x02\x00\x00"


@pytest.mark.parametrize(
    ("answer", "stays", "words"),
    [
        (b"", False, "the broker closed"),
        (b"", True, ""),
        (CONNACK, False, ""),
        (CONNACK, True, ""),
        (CONNACK + b"\x40\x02\x00\x63", True, ""),
        (b"HTTP/1.1 400 Bad Request\r\n\r\n", True, "no MQTT broker"),
        (b"\x20\xff\xff\xff\xff\x7f", True, "no MQTT broker"),
        (b"\x20\x02\x00\x05", True, "login refused"),
        (b"\x20\x02\x00\x03", True, "broker refused, code 3"),
        (b"\xd0\x00" * 50, True, ""),
    ],
    ids=[
        "hangs up",
        "says nothing",
        "hangs up after login",
        "never acknowledges",
        "acknowledges another",
        "web server",
        "endless length",
        "login refused",
        "broker unavailable",
        "talks of other things",
    ],
)
def test_a_broker_that_fails_costs_a_bounded_wait_and_no_reading(
    board: ProbeBoard, daemon: Daemon, answer: bytes, stays: bool, words: str
) -> None:
    peer = Peer(answer, stays)
    board.conf["port"] = peer.port
    wake = board.wake(21.0)
    peer.close()
    assert f"not sent, 1 readings wait: {words}".rstrip() in wake.console
    assert 200 < wake.slept_s <= 300
    board.conf["port"] = daemon.broker.port
    daemon_hears_both(board, daemon, wake.round_s)


def daemon_hears_both(board: ProbeBoard, daemon: Daemon, apart_s: float) -> None:
    """The next wake brings the waiting 21.0 and a new 22.0, the first that much older."""
    at_s = board.clock_s
    board.wake(22.0)
    daemon.hear(at_s)
    assert daemon.temperatures() == [21.0, 22.0]
    old, new = (r.t_s for r in daemon.taken if r.quantity == "temperature_c")
    assert new - old == pytest.approx(apart_s, abs=5.0)
    assert daemon.refused == []


@pytest.mark.parametrize("wifi", [None, -1], ids=["out of reach", "radio broken"])
def test_lost_wifi_costs_a_bounded_wait_and_no_reading(
    board: ProbeBoard, daemon: Daemon, wifi: int | None
) -> None:
    wake = board.wake(21.0, wifi=wifi)
    assert "not sent, 1 readings wait" in wake.console
    waited_ms = sum(span_ms for _, span_ms in wake.named("wait") if isinstance(span_ms, int))
    assert waited_ms < 11_500, "Wi-Fi is waited for longer than wifi_wait_s"
    assert wake.named("radio")[-1] == ["radio", False]
    daemon_hears_both(board, daemon, wake.round_s)


def test_a_broker_that_is_off_or_frozen_costs_no_reading(board: ProbeBoard, daemon: Daemon) -> None:
    board.conf["port"] = free_port()
    assert "not sent, 1" in board.wake(19.0).console
    board.conf["port"] = daemon.broker.port
    daemon.broker.signal(signal.SIGSTOP)
    try:
        assert "not sent, 2" in board.wake(20.0).console
    finally:
        daemon.broker.signal(signal.SIGCONT)
    board.wake(21.0)
    daemon.hear(board.clock_s)
    assert daemon.temperatures() == [19.0, 20.0, 21.0]


def test_a_wrong_password_is_named_and_costs_no_reading(board: ProbeBoard, daemon: Daemon) -> None:
    board.conf["password"] = "other"
    assert "not sent, 1 readings wait: login refused" in board.wake(21.0).console
    board.conf["password"] = "pw-a"
    board.wake(22.0)
    daemon.hear(board.clock_s)
    assert daemon.temperatures() == [21.0, 22.0]


class Deaf:
    """A way to the broker that lets only its first four bytes, the CONNACK, come back: the ack is lost."""

    def __init__(self, port: int) -> None:
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port: int = self._listener.getsockname()[1]
        self._onward = port
        threading.Thread(target=self._serve, daemon=True).start()

    def _serve(self) -> None:
        link, _ = self._listener.accept()
        onward = socket.create_connection(("127.0.0.1", self._onward))
        onward.settimeout(PATIENCE_S)
        with link, onward:
            onward.sendall(link.recv(4096))
            link.sendall(onward.recv(4))
            while data := link.recv(4096):
                onward.sendall(data)
        self._listener.close()


def test_a_lost_acknowledgement_gives_a_copy_that_the_door_knows(board: ProbeBoard, daemon: Daemon) -> None:
    board.conf["port"] = Deaf(daemon.broker.port).port
    first_s = board.clock_s
    wake = board.wake(21.0)
    assert "not sent, 1 readings wait" in wake.console
    daemon.hear(first_s)
    board.conf["port"] = daemon.broker.port
    second_s = board.clock_s
    board.wake(22.0)
    daemon.hear(second_s)
    assert [record["v"] for record in daemon.packs[1] if record["n"] == "box-a"] == [21.0, 22.0]
    assert daemon.temperatures() == [21.0, 22.0]
    assert [refused.reason for refused in daemon.refused] == ["older-than-taken"]


def test_three_hours_away_come_back_whole_in_order_and_spare_the_cell(
    board: ProbeBoard, daemon: Daemon
) -> None:
    """36 readings of two values are more than one pack may hold. After three misses the radio is tried only
    at each third wake: 3 of the first 3, 10 of the next 32, and the 36th."""
    board.conf["humidity"] = {"probe": "box-a", "sda_pin": 21, "scl_pin": 22}
    sent = [20 + n * 0.0625 for n in range(36)]
    away = [board.wake(value, wifi=None, humidity="beef928000a2") for value in sent[:-1]]
    assert sum(["radio", True] in wake.events for wake in away) == 13
    at_s = board.clock_s
    board.wake(sent[-1], humidity="beef928000a2")
    daemon.hear(at_s, messages=2)
    assert [len(pack) <= 64 for pack in daemon.packs] == [True, True]
    assert daemon.temperatures() == sent
    assert len(daemon.taken) == 72 + 1  # the signal of the last pack
    assert daemon.refused == []
    times_s = [r.t_s for r in daemon.taken if r.quantity == "temperature_c"]
    apart_s = [after - before for before, after in itertools.pairwise(times_s)]
    assert all(255 <= span_s <= 303 for span_s in apart_s), apart_s


def test_a_clock_that_begins_anew_keeps_the_ages(board: ProbeBoard, daemon: Daemon) -> None:
    wake = board.wake(21.0, wifi=None)
    board.clock_s = 0.0
    daemon_hears_both(board, daemon, wake.round_s)


@pytest.mark.parametrize("cut", [0, 1, 9, 20])
def test_memory_that_is_not_sound_counts_as_empty(board: ProbeBoard, daemon: Daemon, cut: int) -> None:
    board.wake(21.0, wifi=None)
    memory = board.folder / "rtc.bin"
    spoilt = bytearray(memory.read_bytes()[: -cut or None])
    spoilt[cut % len(spoilt)] ^= 0x40
    memory.write_bytes(spoilt)
    board.wake(22.0)
    daemon.hear(board.clock_s)
    assert daemon.temperatures() == [22.0]


# ---- sensors


def test_a_bad_answer_is_asked_once_more(board: ProbeBoard, daemon: Daemon) -> None:
    bad = frame(24.0)[:-2] + "00"
    wake = board.wake(frames={rom(1): [bad, frame(23.5)]})
    daemon.hear(board.clock_s)
    assert daemon.temperatures() == [23.5]
    assert len(wake.named("convert")) == 2
    assert "crc" in wake.console


@pytest.mark.parametrize(
    ("frames", "words"),
    [({}, "nothing answers"), ({rom(1): [frame(85.0, byte_6=0x0C)]}, "power-on value")],
    ids=["cut off", "no supply"],
)
def test_no_temperature_is_told_as_none(
    board: ProbeBoard, daemon: Daemon, frames: dict[str, list[str]], words: str
) -> None:
    """The board still shows that it lives, and what its cell has; the daemon misses the temperature."""
    board.conf["battery"] = {"pin": 35, "ratio": 2.0, "low_v": 3.5, "empty_v": 3.2}
    wake = board.wake(frames=frames)
    assert words in wake.console
    assert len(wake.named("convert")) == (2 if frames else 0)
    daemon.hear(board.clock_s)
    assert [(r.quantity, r.raw) for r in daemon.taken] == [("battery_v", 4.0), ("signal_dbm", -61.0)]


def test_four_sensors_of_one_board_speak_for_themselves(board: ProbeBoard, daemon: Daemon) -> None:
    names = ["box-a", "box-b", "box-c", "outdoor"]
    board.conf["sensors"] = [{"probe": name, "rom": rom(n)} for n, name in enumerate(names)]
    daemon.door = Door(specs(*names))
    answers = {rom(n): [frame(20.0 + n)] for n in range(4)}
    away = board.wake(frames=answers, wifi=None)
    assert len(away.named("convert")) == 1
    del answers[rom(2)]
    at_s = board.clock_s
    board.wake(frames=answers)
    daemon.hear(at_s)
    found = {name: daemon.temperatures(name) for name in names}
    assert found == {"box-a": [20.0] * 2, "box-b": [21.0] * 2, "box-c": [22.0], "outdoor": [23.0] * 2}


@pytest.mark.parametrize(
    ("answer", "wanted"),
    [("beef928000a2", [50.0]), ("beef928000a3", []), (None, [])],
    ids=["good", "bad sum", "not there"],
)
def test_humidity_is_told_if_its_sum_is_right(
    board: ProbeBoard, daemon: Daemon, answer: str | None, wanted: list[float]
) -> None:
    board.conf["humidity"] = {"probe": "box-a", "sda_pin": 21, "scl_pin": 22}
    wake = board.wake(24.0, humidity=answer)
    daemon.hear(board.clock_s)
    assert [r.raw for r in daemon.taken if r.quantity == "humidity_pct"] == wanted
    assert daemon.temperatures() == [24.0]
    assert {str(event[2]) for event in wake.named("i2c")} == {"2400"}, "only a single shot, never the heater"


# ---- the cell


@pytest.fixture
def celled(board: ProbeBoard) -> ProbeBoard:
    """A board that measures its cell through a divider by two."""
    board.conf["battery"] = {"pin": 35, "ratio": 2.0, "low_v": 3.5, "empty_v": 3.2}
    return board


def test_a_low_cell_is_told_and_sleeps_longer(celled: ProbeBoard, daemon: Daemon) -> None:
    wake = celled.wake(24.0, microvolts=1_700_000)
    daemon.hear(celled.clock_s)
    assert [r.raw for r in daemon.taken if r.quantity == "battery_v"] == [3.4]
    assert 2 * 300 * 7 / 8 - 3 <= wake.slept_s <= 600
    (battery,) = (record for record in daemon.packs[0] if record["n"] == "box-a:battery")
    assert battery["ut"] == pytest.approx(wake.slept_s, abs=80), "ut: the longest time to the next update"


def test_an_empty_cell_has_a_last_word_then_rests_until_charged(celled: ProbeBoard, daemon: Daemon) -> None:
    """Lost on the way, the word is said again; between empty and low it stays asleep."""
    celled.wake(24.0, microvolts=1_590_000, wifi=None)
    last = celled.wake(23.0, microvolts=1_590_000)
    daemon.hear(celled.clock_s)
    (word,) = (record for record in daemon.packs[0] if record["n"] == "box-a:last-word")
    assert word == {"n": "box-a:last-word", "vs": "battery 3.18 V: asleep until it is charged"}
    assert last.slept_s == pytest.approx(6 * 3600, abs=5)
    for microvolts in (1_590_000, 1_700_000):
        asleep = celled.wake(22.0, microvolts=microvolts)
        assert asleep.named("radio") == [["radio", False]]
        assert asleep.named("convert") == []
        assert asleep.slept_s == pytest.approx(6 * 3600, abs=5)
    daemon.hear_nothing()
    assert celled.wake(21.0, microvolts=1_800_000).slept_s <= 300
    daemon.hear(celled.clock_s)
    assert daemon.temperatures()[-1] == 21.0


def test_a_measuring_wire_that_is_off_is_no_empty_cell(celled: ProbeBoard, daemon: Daemon) -> None:
    assert celled.wake(21.0, microvolts=20_000).slept_s <= 300
    daemon.hear(celled.clock_s)
    assert [r.quantity for r in daemon.taken] == ["temperature_c", "signal_dbm"]


def test_a_signal_that_is_not_told_and_a_fixed_address(board: ProbeBoard, daemon: Daemon) -> None:
    address = ["192.168.77.21", "255.255.255.0", "192.168.77.1", "192.168.77.1"]
    board.conf["address"] = address
    wake = board.wake(21.0, rssi=None)
    daemon.hear(board.clock_s)
    assert wake.named("address") == [["address", *address]]
    assert [record["n"] for record in daemon.packs[0]] == ["box-a"]


# ---- the config file


@pytest.mark.parametrize(
    ("key", "value", "words"),
    [
        ("site", None, "site: None: a text in quotes"),
        ("site", "", "site: '': a text in quotes"),
        ("wifi_nam", "x", "wifi_nam: unknown key"),
        ("interval_s", 5, "interval_s: 5: a whole number, 10 to 7200"),
        ("interval_s", True, "interval_s: True: a whole number"),
        ("port", "1883", "port: '1883': a whole number, 1 to 65535"),
        ("sensors", [], "sensors: []: a list of 1 to 4"),
        ("sensors", [{}], "sensors[0].probe: None: the name of a [[probe]]"),
        ("sensors", [{"probe": "a", "rom": "28ff641e8216034d"}], "sensors[0].rom: '28ff641e8216034d': 16"),
        ("sensors", [{"probe": "a", "rom": 28}], "sensors[0].rom: 28: 16 hex"),
        ("sensors", [{"probe": "a"}, {"probe": "b"}], "sensors: several, one without rom"),
        ("humidity", {"probe": "a", "sda_pin": 1}, "humidity: a pin is missing"),
        ("battery", {"pin": 35, "ratio": 2, "low_v": 3.2, "empty_v": 3.2}, "battery: a pin, and empty"),
        ("battery", {"pin": 35, "ratio": "2", "low_v": 3.2, "empty_v": 3}, "battery.ratio: '2': a number"),
        ("address", "192.168.77.21", "address: '192.168.77.21': four texts"),
    ],
)
def test_a_fault_in_the_config_is_named_and_ends_in_sleep(
    board: ProbeBoard, key: str, value: object, words: str
) -> None:
    board.conf[key] = value
    wake = board.wake()
    assert f"fault: BadConfig {words}" in wake.console
    assert wake.slept_s == 600
    assert wake.named("radio") == [["radio", False]]


@pytest.mark.parametrize("text", ["", "{", "[]"])
def test_a_file_that_is_no_object_is_named(board: ProbeBoard, text: str) -> None:
    assert "fault: BadConfig probe.json: no" in board.wake(config_text=text).console


def test_the_sample_is_a_good_config(board: ProbeBoard) -> None:
    """It is what the guide has copied; its broker is an address that nobody has here."""
    sample = json.loads((board.flash / "probe.sample.json").read_text(encoding="utf-8"))
    board.conf = sample
    assert "not sent, 1 readings wait: no Wi-Fi" in board.wake(wifi=None).console
