"""The log on stderr or in journald: quiet when all is well, one line an hour."""

import logging
import os
import sys
from typing import Final

from coldbrood.watch.assess import BoxView
from coldbrood.watch.boxstate import rfc3339
from coldbrood.watch.events import History, Now
from coldbrood.watch.localtime import wall_of

SYSLOG_LEVELS: Final = ((logging.ERROR, 3), (logging.WARNING, 4), (logging.INFO, 6), (0, 7))


class _JournaldFormat(logging.Formatter):
    """Level as `<n>` in front, no time of its own: journald has both (sd-daemon(3))."""

    def format(self, record: logging.LogRecord) -> str:
        level = next(number for least, number in SYSLOG_LEVELS if record.levelno >= least)
        return f"<{level}>{super().format(record)}".replace("\n", f"\n<{level}>")


def set_up(verbose: bool = False) -> None:
    """Log to stderr; under systemd in its own form."""
    handler = logging.StreamHandler(sys.stderr)
    plain = logging.Formatter("%(asctime)s %(levelname)s %(message)s", "%Y-%m-%dT%H:%M:%S%z")
    handler.setFormatter(_JournaldFormat("%(message)s") if os.environ.get("JOURNAL_STREAM") else plain)
    logging.basicConfig(level=logging.WARNING, handlers=[handler], force=True)
    logging.getLogger("coldbrood").setLevel(logging.DEBUG if verbose else logging.INFO)


def level_of(line: History) -> int:
    """A raised alarm and what failed are warnings; a send that went well is nobody's news."""
    if line.state == "failed" or (line.kind == "alarm" and line.state == "unacknowledged"):
        return logging.WARNING
    if line.kind == "send":
        return logging.DEBUG if line.state == "accepted" else logging.WARNING
    return logging.INFO


def boxline(view: BoxView, now: Now) -> str:
    """How one box stands, in one line."""
    by = "none" if view.refill_by_s is None else rfc3339(wall_of(now, view.refill_by_s))
    box_c = "unknown" if view.box_c is None else f"{view.box_c:.1f}"
    return f"box={view.box} box_c={box_c} floor_c={view.band.floor_c:.1f} refill_by={by}"


def logline(line: History) -> str:
    """One line of key=value pairs, values with spaces quoted."""
    pairs = (
        (line.kind, line.subject),
        ("state", line.state),
        ("reason", line.reason),
        ("detail", line.detail),
    )
    return " ".join(f"{key}={_value(value)}" for key, value in pairs if value)


def _value(text: str) -> str:
    clean = "".join(char if char.isprintable() else "?" for char in text)
    return clean if clean and not set(clean) & set(' "=') else '"' + clean.replace('"', "'") + '"'
