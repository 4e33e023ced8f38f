"""What the stand-in board of this wake is like, and a log of what the firmware does to it."""

import json
import os

FOLDER = os.getenv("PROBE_SCENE")
with open(f"{FOLDER}/scene.json") as _handle:
    SCENE = json.load(_handle)


def log(*event: object) -> None:
    """One line of the log."""
    with open(f"{FOLDER}/events.jsonl", "a") as handle:
        handle.write(json.dumps(event) + "\n")
