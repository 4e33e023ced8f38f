"""The bare logger of the benchmarks: paho, sqlite3 (WAL, FULL), one commit a message, then its ack.

Run as `python plain_logger.py PORT FILE`; it prints "ready" when it is subscribed.
"""

import sqlite3
import sys
import time

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion

CLIENT_ID = "plain-logger"
TOPIC = "coldbrood/+/+/reading"


def open_file(path: str) -> sqlite3.Connection:
    """As SQLite comes, but for the write-ahead log and a sync at every commit."""
    db = sqlite3.connect(path, isolation_level=None)
    db.execute("PRAGMA journal_mode = WAL")
    db.execute("PRAGMA synchronous = FULL")
    db.execute("CREATE TABLE IF NOT EXISTS reading (wall_s REAL, topic TEXT, payload BLOB)")
    return db


def main(port: int, path: str) -> None:
    """Log for ever. The network thread is the main thread, so the file has one owner."""
    db = open_file(path)
    client = paho.Client(CallbackAPIVersion.VERSION2, CLIENT_ID, clean_session=False, manual_ack=True)

    def keep(_client: paho.Client, _userdata: object, message: paho.MQTTMessage) -> None:
        db.execute("INSERT INTO reading VALUES (?, ?, ?)", (time.time(), message.topic, message.payload))
        client.ack(message.mid, message.qos)

    client.on_message = keep
    client.on_subscribe = lambda *_: print("ready", flush=True)
    client.connect("127.0.0.1", port)
    client.subscribe(TOPIC, 1)
    client.loop_forever()


if __name__ == "__main__":
    main(int(sys.argv[1]), sys.argv[2])
