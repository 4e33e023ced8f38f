"""Readings to SenML JSON (RFC 8428). A probe has no clock: times are seconds before the message."""

import json

RECORDS_MOST = 64  # the daemon takes no more in one pack
RECORDS_BESIDE = 3  # battery, signal, last word


def rows_at_once(fields):
    """How many readings of so many values go into one pack."""
    return (RECORDS_MOST - RECORDS_BESIDE) // fields


def records_of(rows, names, humidity_name, now_s):
    """One record a value, oldest first; an absent value gives none."""
    records = []
    for stamp_s, values in rows:
        for index, value in enumerate(values):
            if value is None:
                continue
            if index < len(names):
                record = {"n": names[index], "u": "Cel", "v": value / 16}
            else:
                record = {"n": humidity_name, "u": "%RH", "v": value / 10}
            if stamp_s != now_s:
                record["t"] = stamp_s - now_s
            records.append(record)
    return records


def state_of(board, volts, rssi_dbm, next_s, word):
    """The board's own records: battery with the time to the next bundle, signal, the last word."""
    records = []
    if volts is not None:
        records.append({"n": board + ":battery", "u": "V", "v": round(volts, 2), "ut": next_s})
    if rssi_dbm is not None:
        records.append({"n": board + ":signal", "u": "dBW", "v": rssi_dbm - 30})
    if word is not None:
        records.append({"n": board + ":last-word", "vs": word})
    return records


def text_of(records):
    """The pack as bytes, or None if there is nothing to say."""
    return json.dumps(records).encode() if records else None
