"""Stand-in for MicroPython's `onewire`: sensors that answer each read with the scene's next nine bytes."""

from probe_board.machine import Pin
from probe_board.scene import SCENE, log


class OneWireError(Exception):
    """Nobody answers a reset."""


class OneWire:
    """The bus. The scene's `frames` gives each sensor, by the digits of its number, its answers in turn."""

    def __init__(self, pin: Pin) -> None:
        self.chosen = ""

    def reset(self, required: bool = False) -> bool:
        """Presence."""
        self.chosen = ""
        if not SCENE["frames"] and required:
            raise OneWireError
        return bool(SCENE["frames"])

    def select_rom(self, rom: bytes) -> None:
        """Speak to one."""
        self.chosen = rom.hex()

    def writebyte(self, value: int) -> None:
        """A command; 0xCC speaks to all."""
        if value == 0xCC:
            self.chosen = next(iter(SCENE["frames"]))
        if value == 0x44:
            log("convert")

    def readinto(self, buffer: bytearray) -> None:
        """The scratchpad of the chosen one; a sensor that is not there leaves the line high."""
        log("read", self.chosen)
        answers = SCENE["frames"].get(self.chosen, [])
        frame = answers.pop(0) if len(answers) > 1 else (answers or ["ff" * 9])[0]
        buffer[:] = bytes.fromhex(frame)

    def scan(self) -> list[bytearray]:
        """The numbers of all."""
        return [bytearray(bytes.fromhex(digits)) for digits in SCENE["frames"]]
