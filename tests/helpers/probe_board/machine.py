"""Stand-in for a board's `machine`: pins that log, memory that outlives sleep, sleep that ends the run."""

from probe_board.scene import FOLDER, SCENE, log

DEEPSLEEP_RESET = 4
PWRON_RESET = 1


def reset_cause() -> int:
    """Why the board started."""
    return PWRON_RESET if SCENE["power_on"] else DEEPSLEEP_RESET


def deepsleep(span_ms: int) -> None:
    """The end of this run; all but the RTC's memory is lost."""
    log("deepsleep", span_ms)
    raise SystemExit(0)


class Pin:
    """A pin; what is written to it is logged."""

    OUT = "out"

    def __init__(self, number: int, mode: str = "in", value: int = 0) -> None:
        self.number = number
        if mode == self.OUT:
            self.value(value)

    def value(self, level: int) -> None:
        """Drive it."""
        log("pin", self.number, level)


class RTC:
    """Memory that outlives deep sleep."""

    def memory(self, content: bytes | None = None) -> bytes:
        """Read it, or write it."""
        if content is None:
            return _read()
        if len(content) > 2048:
            raise ValueError("buffer too long")
        with open(f"{FOLDER}/rtc.bin", "wb") as handle:
            handle.write(content)
        return content


def _read() -> bytes:
    try:
        with open(f"{FOLDER}/rtc.bin", "rb") as handle:
            return handle.read()
    except OSError:
        return b""


class WDT:
    """Logs that it was set."""

    def __init__(self, timeout: int) -> None:
        log("watchdog", timeout)


class ADC:
    """Reads the scene's microvolts."""

    ATTN_11DB = 3

    def __init__(self, pin: Pin, atten: int = 0) -> None:
        self.pin = pin

    def read_uv(self) -> int:
        """One read."""
        return int(SCENE["microvolts"])


class I2C:
    """Answers as an SHT3x with the scene's six bytes."""

    def __init__(self, number: int, scl: Pin, sda: Pin) -> None:
        self.number = number

    def writeto(self, address: int, content: bytes) -> None:
        """A command."""
        log("i2c", address, content.hex())
        if SCENE["humidity"] is None:
            raise OSError(19)

    def readfrom(self, address: int, count: int) -> bytes:
        """The answer."""
        return bytes.fromhex(SCENE["humidity"])[:count]
