"""Resident memory of the daemon after its first send, against bare Python, and what each library costs.

Daemon and children run as on a board: what the test tools brought is hidden from them.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import as_on_board
from bench import NO_PAGE, Bench, senml
from children import python, resident_mib, wait_until_idle
from path_lag import HOT_C, HOTTER_C, WARM_C, box_names, logged_broker, more_boxes, sender, today, topic_of

WAIT = "print('ready', flush=True); import time; time.sleep(600)"
HIDE = f"import sys; sys.path.insert(0, {str(Path(__file__).parent)!r}); import as_on_board; as_on_board.hide"
REST_PATIENCE_S = 60.0

# What `run` loads, in an order in which each step needs only what came before it.
STEPS: tuple[tuple[str, str], ...] = (
    ("bare Python", ""),
    ("sqlite3", "import sqlite3"),
    ("paho", "import paho.mqtt.client"),
    ("apscheduler", "import apscheduler.schedulers.background"),
    ("msgspec", "import msgspec.json, msgspec.msgpack, msgspec.toml"),
    ("numpy", "import numpy"),
    ("astral", "import astral.sun"),
    ("jsonpointer", "import jsonpointer"),
    ("bottle and waitress", "import bottle, waitress"),
    ("coldbrood with its page", "import coldbrood.cli.main, coldbrood.cli.run, coldbrood.page.host"),
    (
        "apprise with one service",
        "from coldbrood.deliver.channel import ChannelUrl, usable; usable(ChannelUrl('', 'json://127.0.0.1:9/'))",
    ),
)


@dataclass(frozen=True, slots=True)
class Memory:
    """MiB resident: bare Python, the daemon once it has sent and rests, its highest, and the way there.

    `steps` are (what, MiB in all, in a fresh child that has loaded all up to here).
    """

    bare_mib: float
    daemon_mib: float
    highest_mib: float
    threads: int
    steps: tuple[tuple[str, float], ...]


def measure(folder: Path, probes: int, page: str = NO_PAGE) -> Memory:
    """One daemon that sends once, and a child for each step. `page` is its [page] table."""
    daemon_mib, highest_mib, threads = _daemon(folder, probes, page)
    steps = tuple((what, _child_mib(STEPS[: n + 1])) for n, (what, _) in enumerate(STEPS))
    return Memory(steps[0][1], daemon_mib, highest_mib, threads, steps)


def _child_mib(steps: Sequence[tuple[str, str]]) -> float:
    """Hidden once there is anything to load: bare Python stays bare."""
    first = [f"{HIDE}({as_on_board.hidden()!r})"] if len(steps) > 1 else []
    code = "\n".join([*first, *(statement for _, statement in steps), WAIT])
    with python("-c", code) as child:
        return resident_mib(child.pid)


def _daemon(folder: Path, probes: int, page: str) -> tuple[float, float, int]:
    """The daemon after a nudge has reached its one channel, when it rests again."""
    names = box_names(probes)
    boxes = more_boxes(names[1:])
    with (
        logged_broker(folder / "broker") as broker,
        sender(broker.port) as out,
        Bench(folder, broker, arrival=today(), probes=boxes, page=page) as bench,
    ):
        bench.start(as_on_board.command())
        assert bench.daemon is not None
        pid = bench.daemon.pid
        for celsius in (*WARM_C, HOT_C, HOTTER_C):
            for name in names:
                out.send(topic_of(name), senml(celsius))
        bench.receivers["phone"].wait_for(1)
        wait_until_idle(pid, REST_PATIENCE_S)
        threads = len(list(Path(f"/proc/{pid}/task").iterdir()))
        return resident_mib(pid), resident_mib(pid, "VmHWM"), threads
