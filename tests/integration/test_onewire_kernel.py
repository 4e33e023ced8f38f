"""Wired probes are read at their interval from the kernel's own text, and a fault names what to look at."""

import queue
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

import pytest

from coldbrood.probes.door import Door
from coldbrood.probes.onewire import WiredPoller, WiredSample, read
from coldbrood.watch.events import Now, Reading, Refused
from coldbrood.watch.site import ProbeSpec

W1 = Path(__file__).parents[2] / "fixtures" / "w1"
BOX, YARD = "28-0316a2795bff", "28-0000075f1a2c"


def wired(name: str, sensor_id: str | None, interval_s: float = 0.2) -> ProbeSpec:
    return ProbeSpec(name, "box", "a", "onewire", interval_s, sensor_id=sensor_id)


def put(folder: Path, text: str | bytes, sensor_id: str = BOX) -> None:
    """Replace the driver's text of one sensor."""
    (folder / sensor_id).mkdir(exist_ok=True)
    data = text if isinstance(text, bytes) else text.encode()
    (folder / sensor_id / "w1_slave").write_bytes(data)


def fixture(name: str) -> str:
    return (W1 / f"{name}.txt").read_text()


@contextmanager
def polling(specs: list[ProbeSpec], folder: Path) -> Iterator["queue.Queue[WiredSample]"]:
    posts: queue.Queue[WiredSample] = queue.Queue()
    poller = WiredPoller(specs, posts.put, time.monotonic, folder)
    with ExitStack() as running:
        running.callback(poller.stop)
        poller.start()
        yield posts


def test_each_probe_is_read_again_and_again_at_its_own_interval(tmp_path: Path) -> None:
    put(tmp_path, fixture("good_20_3125"))
    put(tmp_path, fixture("good_minus_0_5"), YARD)
    with polling([wired("box-a", BOX, 0.1), wired("yard", YARD, 0.5)], tmp_path) as posts:
        samples = [posts.get(timeout=20) for _ in range(12)]
    by_probe = {name: [s for s in samples if s.probe == name] for name in ("box-a", "yard")}
    assert {s.celsius for s in by_probe["box-a"]} == {20.3125}
    assert {s.celsius for s in by_probe["yard"]} == {-0.5}
    assert len(by_probe["box-a"]) > len(by_probe["yard"]) >= 2
    assert [s.mono_s for s in samples] == sorted(s.mono_s for s in samples)


def test_a_probe_that_is_unplugged_and_comes_back(tmp_path: Path) -> None:
    put(tmp_path, fixture("good_20_3125"))
    with polling([wired("box-a", BOX, 0.05)], tmp_path) as posts:
        assert posts.get(timeout=20).celsius == 20.3125
        (tmp_path / BOX / "w1_slave").unlink()
        while posts.get(timeout=20).fault is None:
            pass
        assert posts.get(timeout=20).fault == "sensor-missing"
        put(tmp_path, fixture("good_minus_0_5"))
        while posts.get(timeout=20).celsius is None:
            pass
        assert posts.get(timeout=20).celsius == -0.5


def test_one_dead_probe_does_not_stop_the_others(tmp_path: Path) -> None:
    put(tmp_path, fixture("good_20_3125"))
    with polling([wired("gone", YARD, 0.1), wired("box-a", BOX, 0.1)], tmp_path) as posts:
        found = {(s.probe, s.celsius, s.fault) for s in (posts.get(timeout=20) for _ in range(6))}
    assert found == {("gone", None, "sensor-missing"), ("box-a", 20.3125, None)}


def test_a_receiver_that_fails_does_not_end_the_polling(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    put(tmp_path, fixture("good_20_3125"))
    posts: queue.Queue[WiredSample] = queue.Queue()
    planted = iter([RuntimeError("planted")])

    def post(sample: WiredSample) -> None:
        for fault in planted:
            raise fault
        posts.put(sample)

    poller = WiredPoller([wired("box-a", BOX, 0.05)], post, time.monotonic, tmp_path)
    poller.start()
    try:
        assert posts.get(timeout=20).celsius == 20.3125
    finally:
        poller.stop()
    assert "planted" in caplog.text


def test_a_probe_of_the_broker_is_not_polled(tmp_path: Path) -> None:
    spec = ProbeSpec("far", "box", "a", "mqtt", 0.05, topic="t")
    with polling([spec], tmp_path) as posts, pytest.raises(queue.Empty):
        posts.get(timeout=0.3)


@pytest.mark.parametrize(
    ("name", "fault"),
    [
        ("crc_no_stale_value", "crc"),
        ("power_on_85", "power-on-value"),
        ("line_low", "crc"),
        ("line_high_passed", "disconnected-value"),
        ("first_line_only", "bad-payload"),
        ("no_hex", "bad-payload"),
        ("short_frame", "bad-payload"),
        ("empty", "crc"),
    ],
)
def test_bad_text_of_the_driver_is_a_fault_with_its_reason(tmp_path: Path, name: str, fault: str) -> None:
    put(tmp_path, fixture(name))
    celsius, found, detail = read(BOX, tmp_path)
    assert (celsius, found) == (None, fault)
    assert BOX in detail


def test_bytes_that_are_no_text_are_a_fault(tmp_path: Path) -> None:
    put(tmp_path, b"\xff\xfe\x00 YES\n\xff")
    celsius, fault, _ = read(BOX, tmp_path)
    assert (celsius, fault) == (None, "bad-payload")


@pytest.mark.parametrize("sensor_id", ["28-ffffffffffff", "", "zz-1", "../../etc", "28-"])
def test_a_sensor_that_is_not_there_or_has_no_name_is_a_fault(tmp_path: Path, sensor_id: str) -> None:
    celsius, fault, _ = read(sensor_id, tmp_path)
    assert celsius is None
    assert fault in ("sensor-missing", "bad-payload")


def test_a_board_without_the_driver_says_that_the_sensor_is_missing(tmp_path: Path) -> None:
    celsius, fault, detail = read(BOX, tmp_path / "none")
    assert (celsius, fault) == (None, "sensor-missing")
    assert "cable" in detail


def test_the_family_may_be_left_out_of_the_id(tmp_path: Path) -> None:
    put(tmp_path, fixture("good_20_3125"))
    assert read(BOX.removeprefix("28-"), tmp_path) == (20.3125, None, "")


def test_wired_samples_pass_the_door(tmp_path: Path) -> None:
    put(tmp_path, fixture("good_20_3125"))
    spec = wired("box-a", BOX)
    door = Door({"box-a": spec})
    outcomes: list[Reading | Refused] = []
    for t_s, name in ((0.0, "good_20_3125"), (60.0, "good_20_3125"), (120.0, "power_on_85")):
        put(tmp_path, fixture(name))
        outcomes += door.wired("box-a", *read(BOX, tmp_path), Now(t_s, 1.7e9 + t_s, synced=True))
    assert [o.raw if isinstance(o, Reading) else o.reason for o in outcomes] == [
        20.3125,
        20.3125,
        "power-on-value",
    ]
