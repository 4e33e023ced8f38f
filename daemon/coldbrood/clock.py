"""Where time comes from: monotonic, wall, boot, synced. The only module that reads a clock.

The demo and the tests run the same clock faster: `scale` seconds pass for each real one.
"""

import ctypes
import time
from dataclasses import dataclass
from pathlib import Path

_BOOT_ID = Path("/proc/sys/kernel/random/boot_id")
_TIME_ERROR = 5  # adjtimex(2): the kernel's clock is not synchronized
_TIMEX_BYTES = 256  # struct timex is 208 bytes on 64-bit Linux; the rest is slack


class Clock:
    """Seconds of one site, scaled. With `scale` 1 and no start it is the machine's own clock.

    A stated clock begins at `start_wall_s` when the machine has been up for `real0_s` (now, if not given), so
    that two processes given the same three numbers live in the same time.
    """

    def __init__(
        self, scale: float = 1.0, start_wall_s: float | None = None, real0_s: float | None = None
    ) -> None:
        if not scale > 0:
            raise ValueError(f"scale: {scale!r}: allowed is any number above 0")
        self.scale = scale
        self._real0_s = up_s() if real0_s is None else real0_s
        self._start_wall_s = start_wall_s if start_wall_s is not None or scale == 1.0 else time.time()

    def mono_s(self) -> float:
        """Seconds that never step and count through suspend; continuous within one boot at scale 1."""
        return self._real0_s + (up_s() - self._real0_s) * self.scale

    def wall_s(self) -> float:
        """Unix time: a label for people, may step."""
        if self._start_wall_s is None:
            return time.time()
        return self._start_wall_s + (self.mono_s() - self._real0_s)

    def synced(self) -> bool:
        """Whether wall time has been set from outside since boot. A clock with a stated start is."""
        return self._start_wall_s is not None or kernel_clock_is_synced()

    def boot_id(self) -> str:
        """Changes when monotonic time starts anew: at each boot, and with each stated clock."""
        if self._start_wall_s is not None:
            return f"stated-{self._real0_s}"
        return _BOOT_ID.read_text().strip()

    def real_s(self, seconds: float) -> float:
        """How long `seconds` of this clock take for real."""
        return seconds / self.scale

    def sleep(self, seconds: float) -> None:
        """Wait for `seconds` of this clock."""
        time.sleep(max(0.0, self.real_s(seconds)))


def up_s() -> float:
    """Seconds since boot, suspend included."""
    return time.clock_gettime(time.CLOCK_BOOTTIME)


def kernel_clock_is_synced() -> bool:
    """Ask the kernel (adjtimex, read only), which every time service keeps informed."""
    timex = (ctypes.c_char * _TIMEX_BYTES)()
    state: int = ctypes.CDLL(None).adjtimex(timex)
    return state not in (-1, _TIME_ERROR)


@dataclass(frozen=True, slots=True)
class Anchor:
    """How watch time hangs on one boot's monotonic time: t_s = mono_s + offset_s."""

    boot_id: str
    offset_s: float


@dataclass(frozen=True, slots=True)
class Resumed:
    """Watch time taken up again. `down_s` is None on a first start; `sure` is False if no clock can tell."""

    anchor: Anchor
    down_s: float | None
    sure: bool


def resume(clock: Clock, anchor: Anchor | None, last_t_s: float | None, last_wall_s: float | None) -> Resumed:
    """Carry watch time on over a restart.

    Within one boot monotonic time tells the gap exactly. Over a boot only wall time can, and a board
    without a battery clock may come up in the past: then the gap counts as nought and is not sure.
    """
    boot_id, mono_s = clock.boot_id(), clock.mono_s()
    if last_t_s is None or last_wall_s is None:
        return Resumed(Anchor(boot_id, 0.0 - mono_s), None, True)
    if anchor is not None and anchor.boot_id == boot_id and mono_s + anchor.offset_s >= last_t_s:
        return Resumed(anchor, mono_s + anchor.offset_s - last_t_s, True)
    gap_s = clock.wall_s() - last_wall_s
    sure = gap_s >= 0 and clock.synced()
    down_s = max(0.0, gap_s)
    return Resumed(Anchor(boot_id, last_t_s + down_s - mono_s), down_s, sure)
