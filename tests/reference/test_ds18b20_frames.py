"""DS18B20 frames in the kernel's own text give the datasheet's temperatures, or the fault by its name."""

from pathlib import Path

import pytest

from coldbrood.probes.onewire import CONFIG_BYTES, read

ID = "28-0316a2795bff"


def crc8(data: bytes) -> int:
    """CRC-8 of 1-Wire: x^8 + x^5 + x^4 + 1, least significant bit first (standards.md section 2 [V: S2b])."""
    crc = 0
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = (crc >> 1) ^ (0x8C if crc & 1 else 0)
    return crc


def frame_of(code: int, config: int = 0x7F) -> bytes:
    """A whole scratchpad with a right check sum, for a 16-bit temperature code."""
    body = code.to_bytes(2, "little") + bytes((0x4B, 0x46, config, 0xFF, 0x0B, 0x10))
    return body + bytes((crc8(body),))


def read_frame(
    folder: Path, frame: bytes, *, yes: bool | None = None, t_milli: int = 0
) -> tuple[float | None, str | None]:
    """Read a frame through the library from the two lines that the kernel's driver writes [C; spacing M]."""
    slave = folder / ID
    slave.mkdir()
    text = frame.hex(" ")
    good = crc8(frame[:8]) == frame[8] if yes is None else yes
    lines = f"{text} : crc={frame[8]:02x} {'YES' if good else 'NO'}\n{text} t={t_milli}\n"
    (slave / "w1_slave").write_text(lines)
    celsius, fault, _ = read(ID, folder)
    return celsius, fault


def test_the_check_sum_is_the_catalogues() -> None:
    # Catalogue check value of this CRC [C], and check value 1 of standards.md section 12 [C].
    assert crc8(b"123456789") == 0xA1
    assert crc8(bytes.fromhex("45014b467fff0c10")) == 0xEA
    assert crc8(bytes.fromhex("45014b467fff0c10ea")) == 0


@pytest.mark.parametrize(
    ("code", "celsius"),
    [
        (0x07D0, 125.0),
        (0x0191, 25.0625),
        (0x00A2, 10.125),
        (0x0008, 0.5),
        (0x0000, 0.0),
        (0xFFF8, -0.5),
        (0xFF5E, -10.125),
        (0xFE6F, -25.0625),
        (0xFC90, -55.0),
    ],
)
def test_the_datasheets_temperatures(tmp_path: Path, code: int, celsius: float) -> None:
    # DS18B20 datasheet, table 1, each recomputed as round(T x 16) mod 65536 (standards.md section 2 [C]).
    assert round(celsius * 16) % 65536 == code
    assert read_frame(tmp_path, frame_of(code)) == (celsius, None)


@pytest.mark.parametrize(
    ("frame", "celsius", "fault"),
    [
        # standards.md section 2, "Frames for tests" [C], and check values 2 to 4.
        ("45 01 4b 46 7f ff 0b 10 84", 20.3125, None),
        ("45 01 4b 46 7f ff 0c 10 ea", 20.3125, None),
        ("45 01 4b 46 7f ff 0b 10 ea", None, "crc"),
        ("50 05 4b 46 7f ff 0c 10 1c", None, "power-on-value"),
        ("00 00 00 00 00 00 00 00 00", None, "crc"),
        ("ff ff ff ff ff ff ff ff ff", None, "crc"),
    ],
)
def test_the_sheets_frames(tmp_path: Path, frame: str, celsius: float | None, fault: str | None) -> None:
    assert read_frame(tmp_path, bytes.fromhex(frame)) == (celsius, fault)


def test_a_line_held_high_is_refused_even_if_the_driver_lets_it_pass(tmp_path: Path) -> None:
    # Measured: the library turns it into -0.0625 without an error.
    assert read_frame(tmp_path, b"\xff" * 9, yes=True) == (None, "disconnected-value")


def test_the_stale_value_behind_a_failed_check_sum_is_never_used(tmp_path: Path) -> None:
    # On NO the second line shows the last good bytes (kernel documentation [V: W1]); check value 6.
    good = bytes.fromhex("45 01 4b 46 7f ff 0b 10 84")
    assert read_frame(tmp_path, good, yes=False, t_milli=20312) == (None, "crc")


@pytest.mark.parametrize("config", [0x00, 0x10, 0x7E, 0x80, 0xFF])
def test_an_impossible_configuration_byte_is_refused(tmp_path: Path, config: int) -> None:
    # Bit 7 is 0 and bits 4 to 0 are 1 (datasheet, configuration register [V: S2d; C]).
    assert config not in CONFIG_BYTES
    assert read_frame(tmp_path, frame_of(0x0145, config)) == (None, "crc")


@pytest.mark.parametrize("config", sorted(CONFIG_BYTES))
def test_every_resolution_is_read(tmp_path: Path, config: int) -> None:
    assert read_frame(tmp_path, frame_of(0x0140, config)) == (20.0, None)
