"""What the kernel says of a child process, and children that benchmarks compare with."""

import os
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import plain_logger

TICKS_PER_S = os.sysconf("SC_CLK_TCK")
IDLE_CPU_S = 0.02
IDLE_LOOK_S = 0.5


def resident_mib(pid: int, name: str = "VmRSS") -> float:
    """Resident memory now, or at its highest (`VmHWM`), from /proc/PID/status."""
    return _status_kb(pid, name) / 1024.0


def written_mb(pid: int) -> float:
    """What a process has caused to be written to disks so far, in 10**6 bytes (/proc/PID/io write_bytes)."""
    lines = Path(f"/proc/{pid}/io").read_text(encoding="utf-8").splitlines()
    return int(next(line.split()[1] for line in lines if line.startswith("write_bytes"))) / 1e6


def cpu_s(pid: int) -> float:
    """Processor time of a process so far, in steps of a hundredth."""
    fields = Path(f"/proc/{pid}/stat").read_text(encoding="utf-8").rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / TICKS_PER_S


def wait_until_idle(pid: int, patience_s: float) -> float:
    """Until a process has all but rested for half a second; its processor time so far.

    Raises AssertionError if it never does.
    """
    until_s = time.monotonic() + patience_s
    before_s = cpu_s(pid)
    while True:
        time.sleep(IDLE_LOOK_S)
        now_s = cpu_s(pid)
        if now_s - before_s <= IDLE_CPU_S:
            return now_s
        before_s = now_s
        assert time.monotonic() < until_s, f"process {pid} was still busy after {patience_s} s"


@contextmanager
def python(*args: str) -> Iterator["subprocess.Popen[str]"]:
    """A Python child that has said "ready"; it is ended afterwards."""
    child = subprocess.Popen([sys.executable, *args], stdout=subprocess.PIPE, text=True)
    try:
        assert child.stdout is not None
        line = child.stdout.readline()
        assert line == "ready\n", f"{args}: said {line!r}"
        yield child
    finally:
        child.kill()
        child.communicate()


@contextmanager
def logger(port: int, path: Path) -> Iterator["subprocess.Popen[str]"]:
    """The bare logger, subscribed."""
    with python(plain_logger.__file__, str(port), str(path)) as child:
        yield child


def _status_kb(pid: int, name: str) -> int:
    lines = Path(f"/proc/{pid}/status").read_text(encoding="utf-8").splitlines()
    return int(next(line.split()[1] for line in lines if line.startswith(f"{name}:")))
