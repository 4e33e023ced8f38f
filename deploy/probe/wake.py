"""One wake of the probe: sense, keep, send if the radio can, sleep. Whatever goes wrong, it ends in sleep.

Order matters: the sensors are read before the radio warms the board, and the reading is in the ring before
anything can fail. Every wait is bounded, and a hardware watchdog stands behind them.
"""

import os
import time

import bundle
import machine
import mqtt
import network
import probeconf
import ring
import sensors

CONFIG = "probe.json"
POWER_ON_PAUSE_S = 5
WATCHDOG_MS = 60_000  # pause, two conversions, 20 s of Wi-Fi and 20 s of broker are under it
LOW_FACTOR = 2  # ten minutes for five: the daemon is not yet alarmed by that
EMPTY_SLEEP_S = 6 * 3600
TRY_ALWAYS = 3  # after so many misses only each third wake tries the radio: a failed join costs most
SLEEP_LEAST_S = 5
FAULT_SLEEP_S = 600


def run():
    """Read the config, do one wake, sleep."""
    sleep_s = FAULT_SLEEP_S
    try:
        conf = probeconf.load(CONFIG)
        sleep_s = conf["interval_s"]
        _pause(conf)
        machine.WDT(timeout=WATCHDOG_MS)
        sleep_s = one_wake(conf)
    except Exception as fault:  # noqa: BLE001 - a probe that stops at a fault is deaf until someone comes
        print("fault:", type(fault).__name__, fault)
    _radio(False)
    machine.deepsleep(int(sleep_s * 1000))


def one_wake(conf):
    """Sense, keep, send; gives the seconds to sleep."""
    began_ms = time.ticks_ms()
    memory = machine.RTC()
    fields = len(conf["sensors"]) + (conf["humidity"] is not None)
    kept = ring.Ring(fields)
    kept.load(memory.memory())
    now_s = int(time.time())
    kept.mend_clock(now_s)
    volts = sensors.read_battery(conf)
    empty = _is_empty(conf, volts, kept)
    if not (empty and kept.told):
        _sense(conf, kept, now_s)
        memory.memory(kept.dump())
        sleep_s = _sleep_s(conf, volts, empty)
        _try_to_send(conf, kept, memory, volts, sleep_s, empty)
    sleep_s = _sleep_s(conf, volts, empty)
    spent_s = time.ticks_diff(time.ticks_ms(), began_ms) / 1000
    sleep_s = max(SLEEP_LEAST_S, sleep_s - spent_s)
    kept.due_s = int(now_s + spent_s + sleep_s)
    memory.memory(kept.dump())
    return sleep_s


def _pause(conf):
    """At power-on, time to stop it by Ctrl-C, and the numbers of the sensors for the config file."""
    if machine.reset_cause() == machine.DEEPSLEEP_RESET:
        return
    print("sensors found:", sensors.found_roms(conf))
    print("battery:", sensors.read_battery(conf), "V. Ctrl-C within", POWER_ON_PAUSE_S, "s stops the probe.")
    time.sleep_ms(POWER_ON_PAUSE_S * 1000)


def _is_empty(conf, volts, kept):
    """Ended below empty_v, and only over low_v again: a resting cell recovers a little and tells nothing."""
    if volts is None:
        return False
    empty = volts < conf["battery"]["empty_v"] or (kept.told == 1 and volts < conf["battery"]["low_v"])
    if not empty:
        kept.told = 0
    return empty


def _sense(conf, kept, now_s):
    values = list(sensors.read_temperatures(conf))
    if conf["humidity"] is not None:
        values.append(sensors.read_humidity(conf))
    if any(value is not None for value in values):
        kept.add(now_s, values)


def _sleep_s(conf, volts, empty):
    """The interval, up to an eighth less by chance so that two probes do not meet at every wake."""
    if empty:
        return EMPTY_SLEEP_S
    low = volts is not None and volts < conf["battery"]["low_v"]
    interval_s = conf["interval_s"] * (LOW_FACTOR if low else 1)
    return interval_s * (1 - os.urandom(1)[0] / 2048)


def _try_to_send(conf, kept, memory, volts, sleep_s, empty):
    if kept.misses >= TRY_ALWAYS and (kept.misses - TRY_ALWAYS) % 3 != 2 and not empty:
        kept.misses += 1
        return
    kept.misses += 1  # taken back by success: a reset in between counts as a miss
    memory.memory(kept.dump())
    try:
        radio = _join(conf)
        word = f"battery {volts:.2f} V: asleep until it is charged" if empty else None
        state = bundle.state_of(conf["board"], volts, _signal_dbm(radio), int(sleep_s), word)
        _send_all(conf, kept, memory, state)
        kept.misses = 0
        kept.told = 1 if empty else 0
    except OSError as fault:
        print("not sent,", len(kept.rows), "readings wait:", fault)
    finally:
        _radio(False)


def _send_all(conf, kept, memory, state):
    """Oldest first, as the daemon takes nothing older than what it has; what was taken leaves the ring."""
    topic = "coldbrood/{}/{}/reading".format(conf["site"], conf["board"])
    names = [name for name, _ in conf["sensors"]]
    humidity_name = conf["humidity"]["probe"] if conf["humidity"] else None
    at_once = bundle.rows_at_once(kept.fields)
    link = mqtt.Mqtt(conf["broker"], conf["port"], conf["send_wait_s"] * 1000)
    try:
        link.log_in(conf["board"], conf["password"])
        while True:
            rows = kept.rows[:at_once]
            last = len(rows) == len(kept.rows)
            records = bundle.records_of(rows, names, humidity_name, int(time.time()))
            payload = bundle.text_of(records + (state if last else []))
            if payload is not None:
                link.publish(topic, payload)
            kept.drop(len(rows))
            memory.memory(kept.dump())
            if last:
                return
    finally:
        link.close()


def _join(conf):
    """On the keeper's Wi-Fi within the wait of the config. Raises OSError."""
    radio = network.WLAN(network.STA_IF)
    radio.active(True)
    if conf["address"] is not None:
        radio.ifconfig(conf["address"])
    radio.connect(conf["wifi_name"], conf["wifi_password"])
    until_ms = time.ticks_add(time.ticks_ms(), conf["wifi_wait_s"] * 1000)
    while not radio.isconnected():
        if time.ticks_diff(until_ms, time.ticks_ms()) <= 0:
            raise OSError("no Wi-Fi")
        time.sleep_ms(50)
    return radio


def _signal_dbm(radio):
    try:
        return radio.status("rssi")
    except (OSError, ValueError):
        return None


def _radio(on):
    """The radio off, whatever state it is in."""
    try:
        network.WLAN(network.STA_IF).active(on)
    except OSError as fault:
        print("radio:", fault)
