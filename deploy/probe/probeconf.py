"""The one config file of a probe, probe.json: read, checked, each fault named with its field."""

import json

from sensors import crc8

# The least, the most, the default of each whole number.
NUMBERS = {
    "port": (1, 65535, 1883),
    "interval_s": (10, 7200, 300),
    "wifi_wait_s": (3, 20, 10),
    "send_wait_s": (1, 20, 10),
    "data_pin": (0, 48, 4),
    "power_pin": (0, 48, None),
}
TEXTS = ("site", "board", "password", "broker", "wifi_name", "wifi_password")
SENSORS_MOST = 4  # one bundle has room for them, and the sums of the battery were made for so many
OTHERS = ("sensors", "humidity", "battery", "address")


class BadConfig(ValueError):  # noqa: N818 - named for what was given, as in the daemon
    """probe.json cannot be used; the text says field, value, what is allowed."""


def load(path):
    """The checked config as a dict. Raises BadConfig, which names the field."""
    try:
        with open(path) as handle:
            given = json.load(handle)
    except OSError:
        raise BadConfig(f"{path}: missing: copy the file that `coldbrood probe add` made") from None
    except ValueError:
        raise BadConfig(f"{path}: not JSON: an object with the keys of probe.sample.json") from None
    if not isinstance(given, dict):
        raise BadConfig(f"{path}: no object: an object with the keys of probe.sample.json")
    return check(given)


def check(given):
    """Defaults put in, each value judged. Raises BadConfig."""
    for key in given:
        if key not in NUMBERS and key not in TEXTS and key not in OTHERS:
            raise BadConfig(f"{key}: unknown key")
    conf = {key: _number(given, key, *NUMBERS[key]) for key in NUMBERS}
    for key in TEXTS:
        value = given.get(key)
        if not isinstance(value, str) or not value:
            raise BadConfig(f"{key}: {value!r}: a text in quotes")
        conf[key] = value
    conf["sensors"] = [_sensor(index, entry) for index, entry in enumerate(_list(given, "sensors"))]
    if len(conf["sensors"]) > 1 and any(rom is None for _, rom in conf["sensors"]):
        raise BadConfig("sensors: several, one without rom: each needs its own, see the console at power-on")
    conf["humidity"] = _humidity(given.get("humidity"))
    conf["battery"] = _battery(given.get("battery"))
    conf["address"] = _address(given.get("address"))
    return conf


def _number(given, key, least, most, default):
    value = given.get(key, default)
    if value is None and default is None:
        return None
    if isinstance(value, bool) or not isinstance(value, int) or not least <= value <= most:
        raise BadConfig(f"{key}: {value!r}: a whole number, {least} to {most}")
    return value


def _list(given, key):
    value = given.get(key)
    if not isinstance(value, list) or not 1 <= len(value) <= SENSORS_MOST:
        raise BadConfig(f"{key}: {value!r}: a list of 1 to {SENSORS_MOST}")
    return value


def _sensor(index, entry):
    """Name of the probe, and the eight bytes of its sensor in the order of the bus, or None."""
    name = entry.get("probe") if isinstance(entry, dict) else None
    if not isinstance(name, str) or not name:
        raise BadConfig(f"sensors[{index}].probe: {name!r}: the name of a [[probe]] of the daemon")
    rom = entry.get("rom")
    if rom is None:
        return name, None
    try:
        rom = bytes.fromhex(rom)
    except (TypeError, ValueError):
        rom = b""
    if len(rom) != 8 or crc8(rom) != 0:
        text = entry["rom"]
        raise BadConfig(f"sensors[{index}].rom: {text!r}: 16 hexadecimal digits as the console shows them")
    return name, rom


def _humidity(entry):
    if entry is None:
        return None
    if not isinstance(entry, dict) or not isinstance(entry.get("probe"), str):
        raise BadConfig(f'humidity: {entry!r}: {{"probe": .., "sda_pin": .., "scl_pin": ..}}')
    pins = {key: _number(entry, key, 0, 48, None) for key in ("sda_pin", "scl_pin")}
    if None in pins.values():
        raise BadConfig("humidity: a pin is missing: sda_pin and scl_pin")
    pins["probe"] = entry["probe"]
    return pins


def _battery(entry):
    """Pin, the divider's ratio, and the two voltages at which the probe saves and ends."""
    if entry is None:
        return None
    if not isinstance(entry, dict):
        raise BadConfig(f'battery: {entry!r}: {{"pin": .., "ratio": .., "low_v": .., "empty_v": ..}}')
    pin = _number(entry, "pin", 0, 48, None)
    values = {key: entry.get(key) for key in ("ratio", "low_v", "empty_v")}
    for key, value in values.items():
        if isinstance(value, bool) or not isinstance(value, (int, float)) or not 0.5 <= value <= 30:
            raise BadConfig(f"battery.{key}: {value!r}: a number, 0.5 to 30")
    if pin is None or not values["empty_v"] < values["low_v"]:
        raise BadConfig("battery: a pin, and empty_v under low_v")
    values["pin"] = pin
    return values


def _address(entry):
    """Own address, mask, gateway, name server: spares the seconds that asking for one takes."""
    if entry is None:
        return None
    if not isinstance(entry, list) or len(entry) != 4 or not all(isinstance(part, str) for part in entry):
        raise BadConfig(f"address: {entry!r}: four texts, own address, mask, gateway, name server")
    return tuple(entry)
