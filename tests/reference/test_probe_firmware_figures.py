"""The firmware's own sums, run under MicroPython, agree with the sheets: frames and check sums of the
DS18B20 and the humidity sensor, MQTT's lengths, and what the ring can hold."""

import json
import subprocess
from pathlib import Path

import pytest
from probe_run import BOARD, FIRMWARE, MICROPYTHON, crc8

EMPTY_SCENE = {"frames": {}, "clock_s": 0}


def on_the_board(folder: Path, script: str) -> list[object]:
    """What a script prints, as JSON, one value a line; it may import the firmware's modules."""
    (folder / "scene.json").write_text(json.dumps(EMPTY_SCENE), encoding="utf-8")
    done = subprocess.run(
        [MICROPYTHON, "-c", "import json\n" + script],
        env={"MICROPYPATH": f"{FIRMWARE}:{BOARD}:{BOARD.parent}", "PROBE_SCENE": str(folder)},
        capture_output=True,
        text=True,
        timeout=60,
    )
    assert (done.returncode, done.stderr) == (0, ""), done.stdout + done.stderr
    return [json.loads(line) for line in done.stdout.splitlines()]


JUDGE = """
import sensors
def judge(digits):
    try:
        return sensors.sixteenths(bytes.fromhex(digits)) / 16
    except sensors.BadFrame as fault:
        return str(fault)
"""

# standards.md section 2, all [C] with the catalogue's routine; the byte 6 rule of the fourth is [V: W1].
FRAMES: list[tuple[str, float | str]] = [
    ("45014b467fff0b1084", 20.3125),
    ("45014b467fff0c10ea", 20.3125),
    ("45014b467fff0b10ea", "crc"),
    ("50054b467fff0c101c", "power-on value"),
    ("00" * 9, "config byte"),
    ("ff" * 9, "crc"),
    ("45014b467fff0b10", "crc"),
]


def test_frames_of_the_sheet_are_judged_as_it_says(tmp_path: Path) -> None:
    script = f"{JUDGE}\nprint(json.dumps([judge(f) for f in {[digits for digits, _ in FRAMES]!r}]))"
    assert on_the_board(tmp_path, script) == [[wanted for _, wanted in FRAMES]]


# The codes of the sheet's table, standards.md section 2 [C]; +85 is the power-on value, +-0 is there too.
CODES = {
    0x07D0: 125.0,
    0x0191: 25.0625,
    0x00A2: 10.125,
    0x0008: 0.5,
    0x0000: 0.0,
    0xFFF8: -0.5,
    0xFF5E: -10.125,
    0xFE6F: -25.0625,
    0xFC90: -55.0,
}


def framed(code: int, config: int = 0x7F) -> str:
    body = code.to_bytes(2, "little") + bytes([0x4B, 0x46, config, 0xFF, 0x0B, 0x10])
    return (body + bytes([crc8(body)])).hex()


def test_codes_of_the_sheet_give_its_temperatures(tmp_path: Path) -> None:
    digits = [framed(code) for code in CODES]
    (found,) = on_the_board(tmp_path, f"{JUDGE}\nprint(json.dumps([judge(f) for f in {digits!r}]))")
    assert found == list(CODES.values())


def test_undefined_bits_of_a_lower_resolution_are_left_out_and_the_range_is_held(tmp_path: Path) -> None:
    """Below 12 bits the lowest 3, 2 or 1 bits are undefined (standards.md section 2, M)."""
    digits = [framed(0x0191 | 7, config) for config in (0x1F, 0x3F, 0x5F, 0x7F)]
    digits += [framed(0x07D1), framed(0xFC8F), framed(0x0191, 0x80), framed(0x0191, 0x7E)]
    (found,) = on_the_board(tmp_path, f"{JUDGE}\nprint(json.dumps([judge(f) for f in {digits!r}]))")
    wrong = ["out of range"] * 2 + ["config byte"] * 2
    assert found == [25.0, 25.25, 25.375, 25.4375, *wrong]


def test_check_sums_agree_with_their_catalogues(tmp_path: Path) -> None:
    """1-Wire of "123456789" is 0xA1 (standards.md section 2, C); SHT3x of 0xBEEF is 0x92 (its sheet, M)."""
    script = (
        "import sensors\nprint(json.dumps([sensors.crc8(b'123456789'), sensors.crc8_sht(bytes([190, 239]))]))"
    )
    assert on_the_board(tmp_path, script) == [[0xA1, 0x92]]


def test_humidity_spans_its_range(tmp_path: Path) -> None:
    """RH = 100 S / 65535 (the SHT3x sheet, M)."""
    script = """
import sensors
def six(high, low):
    return bytes([0, 0, sensors.crc8_sht(bytes([0, 0])), high, low, sensors.crc8_sht(bytes([high, low]))])
print(json.dumps([sensors.humidity_tenths(six(*pair)) for pair in ((0, 0), (128, 0), (255, 255))]))
"""
    assert on_the_board(tmp_path, script) == [[0, 500, 1000]]


# MQTT 3.1.1 section 2.2.3, table 2.4: the first and last size of each number of bytes [M].
@pytest.mark.parametrize(
    ("size", "wanted"),
    [
        (0, "00"),
        (127, "7f"),
        (128, "8001"),
        (16_383, "ff7f"),
        (16_384, "808001"),
        (2_097_151, "ffff7f"),
        (2_097_152, "80808001"),
        (268_435_455, "ffffff7f"),
    ],
)
def test_remaining_lengths_are_those_of_the_standard(tmp_path: Path, size: int, wanted: str) -> None:
    script = f"import mqtt\nprint(json.dumps(mqtt._length({size}).hex()))"
    assert on_the_board(tmp_path, script) == [wanted]


FILL = """
import ring
for fields in (1, 2, 5):
    kept = ring.Ring(fields)
    for n in range(400):
        kept.add(n, [n] * fields)
    again = ring.Ring(fields)
    again.load(kept.dump())
    other = ring.Ring(fields + 1)
    other.load(kept.dump())
    whole = again.rows == kept.rows
    print(json.dumps([kept.most, len(kept.dump()), whole, kept.rows[-1][0], len(other.rows)]))
"""


def test_the_ring_is_bounded_and_keeps_the_newest(tmp_path: Path) -> None:
    """2,048 bytes less 16 of head and sum, in rows of 4 and 2 a value; 338 of one are 28 h at 5 min."""
    rows = {fields: (2048 - 16) // (4 + 2 * fields) for fields in (1, 2, 5)}
    wanted = [[most, 16 + most * (4 + 2 * fields), True, 399, 0] for fields, most in rows.items()]
    assert on_the_board(tmp_path, FILL) == wanted
    assert rows[1] * 300 / 3600 > 28


NEVER_AGAIN = """
import ring, wake
kept = ring.Ring(1)
tries = []
for n in range(2000):
    if not (kept.misses >= wake.TRY_ALWAYS and (kept.misses - wake.TRY_ALWAYS) % 3 != 2):
        tries.append(n)
    kept.misses += 1
    again = ring.Ring(1)
    again.load(kept.dump())
    kept = again
print(json.dumps(tries))
"""


def test_a_week_away_never_makes_it_give_up(tmp_path: Path) -> None:
    """The count of misses is one byte in the kept memory; it must wrap without losing its thirds."""
    (tries,) = on_the_board(tmp_path, NEVER_AGAIN)
    assert tries == [0, 1, 2, *range(5, 2000, 3)]


def test_what_is_older_than_the_daemon_takes_is_dropped(tmp_path: Path) -> None:
    script = """
import ring
kept = ring.Ring(1)
for hours in (0, 1, 2, 48):
    kept.add(hours * 3600, [hours])
kept.mend_clock(48 * 3600)
print(json.dumps([values[0] for _, values in kept.rows]))
"""
    assert on_the_board(tmp_path, script) == [[1, 2, 48]]
