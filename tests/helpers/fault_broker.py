"""The broker fails: killed, mute, half-open, slow, a long queue, another password, rubbish that it keeps."""

import signal
import subprocess
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime
from functools import partial
from pathlib import Path

from bench import PATIENCE_S, SITE, Bench, senml
from broker import Broker
from fault_kills import ALARM, AS_DEPLOYED, COLD_C, OwnBroker, finish, same_alarms, site
from fault_rows import Row
from wire import Wire

from coldbrood.service import LOST_NOTICED_AFTER_S

MUTE_S = LOST_NOTICED_AFTER_S + 30.0  # the machine may be busy
SAVED_S = 1.5  # the test broker writes its sessions each second; what was not written, a kill takes along
RUBBISH = (b'{"kind": "count", "box": "a", "count": 1}', b'[{"u": "Cel", "v": 45}]', b"\xff", b"[" * 900)
Strike = Callable[[Bench, list[float]], None]


def loops(long: bool) -> Row:
    """Each way of failing, before, between and after readings."""
    row = Row("broker killed, slow, mute, half-open, with a long queue, retained rubbish")
    times = 3 if long else 1
    ways: tuple[tuple[str, Strike], ...] = (
        ("killed and restarted", _killed),
        ("slow", _slow),
        ("retained rubbish", _rubbish),
        ("a long queue", _queue),
        ("mute", _mute),
    )
    for name, strike in ways if long else ways[:2]:
        with tempfile.TemporaryDirectory() as folder, site(Path(folder)) as bench:
            _struck(row, bench, name, strike, times)
    with tempfile.TemporaryDirectory() as folder, site(Path(folder)) as bench:
        wire = Wire(bench.broker.port)
        try:
            text = bench.config_path.read_text()
            bench.config_path.write_text(text.replace(f"port = {bench.broker.port}", f"port = {wire.port}"))
            _struck(row, bench, "half-open", partial(_half_open, wire), times)
        finally:
            wire.cut()
    return row


def _struck(row: Row, bench: Bench, name: str, strike: Strike, times: int) -> None:
    sent: list[float] = []
    bench.start()
    for _ in range(times):
        _send(bench, sent, 3)
        strike(bench, sent)
        _send(bench, sent, 3)
        row.places += 1
    bench.flush()
    bench.stop()
    finish(row, bench, sent, [ALARM], name)


def password_changed(long: bool) -> Row:
    """The password is changed at the broker and not at the daemon, and put right later."""
    row = Row("broker's password changed, and put right later")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "broker").mkdir()
        broker = Broker(folder / "broker", user="coldbrood", password="old", more=AS_DEPLOYED)
        broker.start()
        with OwnBroker(folder, broker, arrival=datetime.now(UTC).date().isoformat()) as bench:
            (folder / "broker-pw").touch(mode=0o600)
            (folder / "broker-pw").write_text("old\n")
            login = '[broker]\nusername = "coldbrood"\npassword_file = "broker-pw"\n'
            bench.config_path.write_text(bench.config_path.read_text().replace("[broker]\n", login))
            for _ in range(3 if long else 1):
                _rotated(row, bench)
                row.places += 1
            same_alarms(row, bench, "password")
    return row


def _rotated(row: Row, bench: Bench) -> None:
    bench.start()
    first = [reading.value for reading in bench.readings()]
    sent = [COLD_C + (len(first) + n) / 64 for n in range(2)]
    _publish(bench, sent[0])
    _set_password(bench.broker, "new")
    bench.wait_for(lambda: "state=down" in bench.log_text(), "the refusal to be seen", 60.0)
    bench.broker.password = "new"
    _publish(bench, sent[1])
    _set_password(bench.broker, "old")
    bench.broker.password = "old"
    bench.wait_for(lambda: bench.log_text().count("state=up") >= 3, "the link to come back", 150.0)
    bench.wait_for(lambda: len(bench.titles()) >= 1, "the alarm")
    bench.stop()
    kept = [reading.value for reading in bench.readings()]
    if kept != first + sent:
        row.lost += 1
        row.wrong.append(f"password: kept {kept}, not {first + sent}")


def _set_password(broker: Broker, password: str) -> None:
    where = str(broker.folder / "passwords")
    subprocess.run(["mosquitto_passwd", "-b", where, "coldbrood", password], check=True, timeout=PATIENCE_S)
    broker.stop()
    broker.start()


def _publish(bench: Bench, celsius: float) -> None:
    bench.broker.publish(f"coldbrood/{SITE}/box-a/reading", senml(celsius).encode())


def _send(bench: Bench, sent: list[float], count: int) -> None:
    for _ in range(count):
        sent.append(COLD_C + len(sent) / 1024)
        bench.send_c("box-a", sent[-1])


def _killed(bench: Bench, _sent: list[float]) -> None:
    time.sleep(SAVED_S)
    bench.broker.stop(signal.SIGKILL)
    bench.wait_for(lambda: _links(bench)[-1:] == ["down"], "the loss to be seen", 60.0)
    bench.broker.start()
    bench.wait_for(lambda: _links(bench)[-1:] == ["up"], "the link to come back", 60.0)


def _links(bench: Bench) -> list[str]:
    """The states of the link so far."""
    lines = [line for line in bench.log_text().splitlines() if f"link={SITE} state=" in line]
    return [line.split("state=")[1].split()[0] for line in lines]


def _slow(bench: Bench, sent: list[float]) -> None:
    """A broker that stands still most of the time."""
    for _ in range(4):
        bench.broker.signal(signal.SIGSTOP)
        time.sleep(0.7)
        bench.broker.signal(signal.SIGCONT)
        _send(bench, sent, 1)


def _mute(bench: Bench, _sent: list[float]) -> None:
    """The broker stands still: no word, and no end of the connection."""
    bench.broker.signal(signal.SIGSTOP)
    try:
        bench.wait_for(lambda: _links(bench)[-1:] == ["down"], "the silence to be seen", MUTE_S)
    finally:
        bench.broker.signal(signal.SIGCONT)
    bench.wait_for(lambda: _links(bench)[-1:] == ["up"], "the link to come back", 60.0)


def _half_open(wire: Wire, bench: Bench, sent: list[float]) -> None:
    """Broker and daemon are both well, and what each sends is gone: acknowledgements, readings, the end."""
    wire.hush()
    _send(bench, sent, 3)
    bench.wait_for(lambda: _links(bench)[-1:] == ["down"], "the silence to be seen", MUTE_S)
    bench.wait_for(lambda: _links(bench)[-1:] == ["up"], "the link to come back", 60.0)


def _queue(bench: Bench, sent: list[float]) -> None:
    """The daemon is away while 150 readings come in."""
    bench.stop(signal.SIGKILL)
    _send(bench, sent, 150)
    bench.start()


def _rubbish(bench: Bench, _sent: list[float]) -> None:
    """What the broker keeps is no reading of now and no note, whatever it says, at each start again."""
    for payload in RUBBISH:
        for topic in (f"coldbrood/{SITE}/box-a/reading", f"coldbrood/{SITE}/note"):
            bench.broker.publish(topic, payload, "-r")
        bench.stop()
        bench.start()
