"""Time of the stand-in board: its clock is the scene's, sleeping costs nothing, sockets wait for real."""

import utime  # type: ignore[import-not-found]  # MicroPython's own, under its second name
from probe_board.scene import SCENE, log

_slept_ms = 0


def time() -> float:
    """The board's clock."""
    elapsed_ms: int = utime.ticks_diff(ticks_ms(), _start_ms)
    return float(SCENE["clock_s"]) + elapsed_ms / 1000


def ticks_ms() -> int:
    """Milliseconds since some moment, slept time included."""
    ticks: int = utime.ticks_add(utime.ticks_ms(), _slept_ms)
    return ticks


def ticks_add(ticks: int, delta_ms: int) -> int:
    """As the real one."""
    later: int = utime.ticks_add(ticks, delta_ms)
    return later


def ticks_diff(later: int, earlier: int) -> int:
    """As the real one."""
    between: int = utime.ticks_diff(later, earlier)
    return between


def sleep_ms(span_ms: int) -> None:
    """Let time pass without waiting."""
    global _slept_ms
    _slept_ms += span_ms
    log("wait", span_ms)


_start_ms = ticks_ms()
