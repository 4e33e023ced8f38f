"""What the probe can sense: DS18B20 on one wire, humidity by I2C, the battery. Each value checked or absent.

All is read before the radio goes on, once, and switched off again: a sensor that is powered or read without
need warms itself, and a radio beside it warms it more. The humidity sensor's own heater is never used.
"""

import struct
import time

import machine
import onewire

CONVERT_MS = 760  # 12 bits take 750 ms at most (DS18B20 sheet)
POWER_ON = 0x0550  # exactly 85: no conversion was made. A place that hot shows 84.9 or 85.1 as well
COLDEST, HOTTEST = -55 * 16, 125 * 16
TRIES = 2
SETTLE_MS = 5
ADC_READS = 8
NO_CELL_V = 1.0  # under it no board runs: the measuring wire is off


class BadFrame(ValueError):  # noqa: N818 - named for what came, as in the daemon
    """Nine bytes that are no temperature; the text is the reason."""


def crc8(data):
    """The 1-Wire check sum, x^8 + x^5 + x^4 + 1, lowest bit first; 0 over data with its own sum (sheet)."""
    crc = 0
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = crc >> 1 ^ (0x8C if crc & 1 else 0)
    return crc


def sixteenths(frame):
    """The temperature in 1/16 C of a DS18B20's nine bytes. Raises BadFrame.

    The sum alone is not enough: nine zeros pass it, so the configuration byte is checked too.
    """
    if len(frame) != 9 or crc8(frame) != 0:
        raise BadFrame("crc")
    if frame[4] & 0x9F != 0x1F:
        raise BadFrame("config byte")
    value = frame[0] | frame[1] << 8
    if value & 0x8000:
        value -= 0x10000
    undefined_bits = 3 - (frame[4] >> 5)
    value = value >> undefined_bits << undefined_bits
    if value == POWER_ON:
        raise BadFrame("power-on value")
    if not COLDEST <= value <= HOTTEST:
        raise BadFrame("out of range")
    return value


def read_temperatures(conf):
    """One value in 1/16 C for each sensor of the config, or None. One conversion for all."""
    _power(conf, 1)
    try:
        bus = onewire.OneWire(machine.Pin(conf["data_pin"]))
        roms = [rom for _, rom in conf["sensors"]]
        values = [None] * len(roms)
        for _ in range(TRIES):
            _fill(bus, roms, values)
            if None not in values:
                break
        return values
    finally:
        _power(conf, 0)


def _power(conf, level):
    """The sensors' supply comes from a pin of the board, so that it is on for a second only."""
    if conf["power_pin"] is not None:
        machine.Pin(conf["power_pin"], machine.Pin.OUT, value=level)
        time.sleep_ms(SETTLE_MS if level else 0)


def _fill(bus, roms, values):
    """Convert once, then read what is still wanted; a fault of one leaves the others."""
    try:
        bus.reset(True)
        bus.writebyte(0xCC)  # to all
        bus.writebyte(0x44)  # convert
    except onewire.OneWireError:
        print("sensor: nothing answers on the data wire")
        return
    time.sleep_ms(CONVERT_MS)
    for index, rom in enumerate(roms):
        if values[index] is None:
            try:
                values[index] = sixteenths(_scratchpad(bus, rom))
            except (onewire.OneWireError, BadFrame) as fault:
                print("sensor", index, ":", fault)


def _scratchpad(bus, rom):
    bus.reset(True)
    if rom is None:
        bus.writebyte(0xCC)  # the only one
    else:
        bus.select_rom(rom)
    bus.writebyte(0xBE)
    frame = bytearray(9)
    bus.readinto(frame)
    return frame


def found_roms(conf):
    """What hangs on the wire, as hexadecimal digits for the config file."""
    _power(conf, 1)
    try:
        return [bytes(rom).hex() for rom in onewire.OneWire(machine.Pin(conf["data_pin"])).scan()]
    except onewire.OneWireError:
        return []
    finally:
        _power(conf, 0)


def crc8_sht(data):
    """The check sum of the SHT3x family: x^8 + x^5 + x^4 + 1, highest bit first, start 0xFF (sheet, M)."""
    crc = 0xFF
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = (crc << 1 ^ 0x31) & 0xFF if crc & 0x80 else crc << 1
    return crc


def read_humidity(conf):
    """Tenths of a per cent from an SHT3x, one single shot, or None."""
    wires = conf["humidity"]
    if wires is None:
        return None
    try:
        bus = machine.I2C(0, scl=machine.Pin(wires["scl_pin"]), sda=machine.Pin(wires["sda_pin"]))
        bus.writeto(0x44, b"\x24\x00")  # single shot, high repeatability, no clock stretching
        time.sleep_ms(20)
        return humidity_tenths(bus.readfrom(0x44, 6))
    except (OSError, BadFrame) as fault:
        print("humidity:", fault)
        return None


def humidity_tenths(frame):
    """Relative humidity in tenths of a per cent of an SHT3x's six bytes: 100 x S / 65535. Raises BadFrame."""
    if len(frame) != 6 or crc8_sht(frame[3:5]) != frame[5] or crc8_sht(frame[0:2]) != frame[2]:
        raise BadFrame("crc")
    return round(1000 * struct.unpack(">H", frame[3:5])[0] / 65535)


def read_battery(conf):
    """Volts of the cell, the mean of some reads, or None if it is not measured or the wire is off."""
    wiring = conf["battery"]
    if wiring is None:
        return None
    adc = machine.ADC(machine.Pin(wiring["pin"]), atten=machine.ADC.ATTN_11DB)
    microvolts = sum(adc.read_uv() for _ in range(ADC_READS)) / ADC_READS
    volts = microvolts * wiring["ratio"] / 1e6
    return volts if volts >= NO_CELL_V else None
