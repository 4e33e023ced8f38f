"""The kernel's own writing back, in step with a day that is played fast.

Pages that a program changed without asking for a sync go to the disk when they are old enough (30 s as a
kernel comes, `deploy/card.conf` on a board). SQLite's index of its log is such a file, changed by each
commit: played at 480 times the speed it would be written once in four hours, on a board each time.
"""

import os
import re
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

CARD = Path(__file__).parents[2] / "deploy" / "card.conf"
KERNEL_S = 30.0  # V: Documentation/admin-guide/sysctl/vm.rst and /proc/sys/vm/dirty_expire_centisecs


def board_s() -> float:
    """Seconds as `deploy/card.conf` sets them."""
    found = re.search(r"^vm\.dirty_expire_centisecs = (\d+)$", CARD.read_text("utf-8"), re.MULTILINE)
    assert found is not None, f"{CARD}: says nothing of dirty_expire_centisecs"
    return int(found[1]) / 100.0


@contextmanager
def write_back(path: Path, every_s: float) -> Iterator[None]:
    """Have a file written back every so often, by this process; who changes it again is counted for it."""
    done = threading.Event()
    thread = threading.Thread(target=_keep_syncing, args=(path, every_s, done), daemon=True)
    thread.start()
    try:
        yield
    finally:
        done.set()
        thread.join()


def _keep_syncing(path: Path, every_s: float, done: threading.Event) -> None:
    while not done.wait(every_s):
        with suppress(FileNotFoundError):
            handle = os.open(path, os.O_RDWR)
            try:
                os.fsync(handle)
            finally:
                os.close(handle)
