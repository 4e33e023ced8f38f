"""Runs the probe's own firmware under MicroPython for Unix, one wake at a time, on a stand-in board."""

import json
import os
import shutil
import struct
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

FIRMWARE = Path(__file__).parents[2] / "deploy" / "probe"
BOARD = Path(__file__).parent / "probe_board"
MICROPYTHON = Path(sys.executable).parent / "micropython"
PATIENCE_S = 60
START_S = 800_000_000  # some moment of the board's own clock, which nobody sets


def crc8(data: bytes) -> int:
    """1-Wire check sum by the catalogue's bit loop (standards.md section 2)."""
    crc = 0
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = crc >> 1 ^ (0x8C if crc & 1 else 0)
    return crc


def rom(serial: int) -> str:
    """A DS18B20's number: family, serial, check sum."""
    body = b"\x28" + serial.to_bytes(6, "little")
    return (body + bytes([crc8(body)])).hex()


def frame(celsius: float, config: int = 0x7F, byte_6: int = 0x0B) -> str:
    """The nine bytes a good sensor answers."""
    body = struct.pack("<hBBBBBB", round(celsius * 16), 0x4B, 0x46, config, 0xFF, byte_6, 0x10)
    return (body + bytes([crc8(body)])).hex()


@dataclass(frozen=True)
class Wake:
    """What one wake did to the board: events in order, and the console."""

    events: list[list[object]]
    console: str

    @property
    def slept_s(self) -> float:
        """How long it asked to sleep; a wake that does not end in sleep has none."""
        name, span_ms = self.events[-1]
        assert name == "deepsleep", self.console
        assert isinstance(span_ms, int)
        return span_ms / 1000

    @property
    def round_s(self) -> float:
        """From this wake to the next: what it waited and slept; sockets take next to nothing."""
        waits = [span_ms for _, span_ms in self.named("wait") if isinstance(span_ms, int)]
        return self.slept_s + sum(waits) / 1000

    def named(self, name: str) -> list[list[object]]:
        """The events of one name."""
        return [event for event in self.events if event[0] == name]


class ProbeBoard:
    """One board with its flash and the memory that outlives sleep. `clock_s` is its own clock."""

    def __init__(self, folder: Path, port: int, **keys: object) -> None:
        self.folder = folder
        self.flash = folder / "flash"
        shutil.copytree(FIRMWARE, self.flash)
        self.clock_s = float(START_S)
        self.conf: dict[str, object] = {
            "site": "larch-lane",
            "board": "box-a",
            "password": "pw-a",
            "broker": "127.0.0.1",
            "port": port,
            "wifi_name": "barn",
            "wifi_password": "pw-barn",
            "power_pin": 5,
            "send_wait_s": 1,
            "sensors": [{"probe": "box-a"}],
            **keys,
        }

    def wake(self, celsius: float = 24.5, **scene: object) -> Wake:
        """Wake once and let the time pass until the next wake."""
        wake = self.boot({"frames": {rom(1): [frame(celsius)]}, **scene})
        self.clock_s += wake.round_s
        return wake

    def boot(self, scene: dict[str, object]) -> Wake:
        """Run main.py once on the board that the scene describes."""
        usual: dict[str, object] = {
            "clock_s": self.clock_s,
            "power_on": False,
            "microvolts": 2_000_000,
            "humidity": None,
            "wifi": 2,
            "rssi": -61,
        }
        text = scene.get("config_text", json.dumps(self.conf))
        (self.flash / "probe.json").write_text(str(text), encoding="utf-8")
        (self.folder / "scene.json").write_text(json.dumps({**usual, **scene}), encoding="utf-8")
        events = self.folder / "events.jsonl"
        events.unlink(missing_ok=True)
        environ = {
            **os.environ,
            "MICROPYPATH": f"{self.flash}:{BOARD}:{BOARD.parent}",
            "PROBE_SCENE": str(self.folder),
        }
        done = subprocess.run(
            [MICROPYTHON, "main.py"],
            cwd=self.flash,
            env=environ,
            text=True,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            timeout=PATIENCE_S,
        )
        said = events.read_text(encoding="utf-8").splitlines() if events.exists() else []
        return Wake([json.loads(line) for line in said], done.stdout)
