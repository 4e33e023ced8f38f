"""Wired probes: a thread that reads DS18B20 and kin through the kernel's 1-Wire driver.

The library does the reading and decoding; what it lets through and should not (reference/standards.md
section 2) is caught here. Each read blocks for one conversion, up to 750 ms.
"""

import logging
import os
import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from coldbrood.watch.events import Refusal
from coldbrood.watch.site import ProbeSpec

_log = logging.getLogger(__name__)

DS18B20_FAMILY = "28"
CONFIG_BYTES = frozenset((0x1F, 0x3F, 0x5F, 0x7F))  # 9 to 12 bits; no other value is possible [C]
_CONFIGURED_FAMILIES = (DS18B20_FAMILY, "22", "42")  # the others use byte 4 for something else [M]
_FRAME_BYTES = 9
_STOP_S = 5.0


@dataclass(frozen=True, slots=True)
class WiredSample:
    """One attempt to read a probe: degrees, or a fault. `mono_s` is when it ended."""

    probe: str
    celsius: float | None
    fault: Refusal | None
    detail: str
    mono_s: float


class WiredPoller:
    """Reads each wired probe of `probes` once per its interval, on a thread of its own.

    `mono_s` must run at the pace of real seconds. `base_directory`: where the driver shows its sensors.
    """

    def __init__(
        self,
        probes: Sequence[ProbeSpec],
        post: Callable[[WiredSample], None],
        mono_s: Callable[[], float],
        base_directory: Path | None = None,
    ) -> None:
        self._probes = [spec for spec in probes if spec.source == "onewire"]
        self._post = post
        self._mono_s = mono_s
        self._base_directory = base_directory
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._run, name="onewire", daemon=True)

    def start(self) -> None:
        """Start the thread; with no wired probe there is none."""
        if self._probes:
            self._thread.start()

    def stop(self) -> None:
        """Stop after the read under way."""
        self._stopping.set()
        if self._thread.is_alive():
            self._thread.join(_STOP_S)

    def _run(self) -> None:
        due_s = {spec.name: self._mono_s() for spec in self._probes}
        while not self._stopping.is_set():
            for spec in self._probes:
                if self._mono_s() >= due_s[spec.name] and not self._stopping.is_set():
                    due_s[spec.name] = self._mono_s() + spec.interval_s
                    self._try(spec)
            self._stopping.wait(max(0.0, min(due_s.values()) - self._mono_s()))

    def _try(self, spec: ProbeSpec) -> None:
        try:
            self._post(self._sample(spec))
        except Exception:  # noqa: BLE001 - one sample that is not taken must not end the polling thread
            _log.exception("wired probe %s: the sample could not be handed on", spec.name)

    def _sample(self, spec: ProbeSpec) -> WiredSample:
        celsius, fault, detail = read(spec.sensor_id or "", self._base_directory)
        return WiredSample(spec.name, celsius, fault, detail, self._mono_s())


def read(sensor_id: str, base_directory: Path | None = None) -> tuple[float | None, Refusal | None, str]:
    """Read one sensor: degrees Celsius, or the reason and detail of a fault. Raises nothing.

    `sensor_id` is the kernel's name of it ("28-0316a2795bff"), or the part after the dash of a DS18B20.
    """
    library = _library()
    try:
        sensor = _checked_sensor(library, sensor_id, base_directory)
        return float(sensor.get_temperature()), None, ""
    except _FrameError as fault:
        return None, fault.reason, str(fault)
    except library.ResetValueError:
        return None, "power-on-value", f"{sensor_id}: no conversion was made; check its supply"
    except library.SensorNotReadyError:
        return None, "crc", f"{sensor_id}: check sum failed, or the line is held low; check the cable"
    except (library.NoSensorFoundError, OSError):
        return None, "sensor-missing", f"{sensor_id}: not on the wire; check the cable and the sensor's id"
    except Exception as fault:  # noqa: BLE001 - a driver's odd text must not end the polling thread
        return None, "bad-payload", f"{sensor_id}: {type(fault).__name__}: {fault}"


class _FrameError(Exception):
    """A frame that the library would take and that holds no temperature."""

    def __init__(self, reason: Refusal, detail: str) -> None:
        super().__init__(detail)
        self.reason: Refusal = reason


def _library() -> Any:
    # Else the import itself runs modprobe and waits a second on a board without the driver.
    os.environ.setdefault("W1THERMSENSOR_NO_KERNEL_MODULE", "1")
    import w1thermsensor  # here, since only a wired site needs it

    return w1thermsensor


def _checked_sensor(library: Any, sensor_id: str, base_directory: Path | None) -> Any:
    family, serial = _parts(sensor_id)

    class CheckedSensor(library.W1ThermSensor):  # type: ignore[misc] # the library ships no types
        """Looks at the frame before the library decodes it."""

        BASE_DIRECTORY = base_directory or library.W1ThermSensor.BASE_DIRECTORY

        def get_raw_sensor_strings(self) -> list[str]:
            lines: list[str] = super().get_raw_sensor_strings()
            check_frame(sensor_id, family, lines)
            return lines

    return CheckedSensor(library.Sensor.from_id_string(family), serial)


def _parts(sensor_id: str) -> tuple[str, str]:
    family, _, serial = sensor_id.rpartition("-")
    return family or DS18B20_FAMILY, serial


def check_frame(sensor_id: str, family: str, lines: Sequence[str]) -> None:
    """Raise _FrameError for a frame that passed the check sum and cannot be a scratchpad."""
    words = lines[1].split()[:_FRAME_BYTES] if len(lines) > 1 else []
    try:
        frame = bytes(int(word, 16) for word in words)
    except ValueError:
        raise _FrameError("bad-payload", f"{sensor_id}: the driver's text holds no frame") from None
    if len(frame) != _FRAME_BYTES:
        raise _FrameError("bad-payload", f"{sensor_id}: the driver's text holds no whole frame")
    if set(frame) == {0xFF}:
        raise _FrameError("disconnected-value", f"{sensor_id}: nothing answers on the wire")
    if family in _CONFIGURED_FAMILIES and frame[4] not in CONFIG_BYTES:
        raise _FrameError("crc", f"{sensor_id}: configuration byte {frame[4]:02x} is impossible")
