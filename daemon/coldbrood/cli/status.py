"""`coldbrood status`: what each box is doing, on one screen."""

import argparse
import os
import sys
from collections.abc import Mapping
from datetime import datetime
from pathlib import Path

import msgspec

from coldbrood.clock import Clock
from coldbrood.peek import Peek, peek
from coldbrood.settings.load import load
from coldbrood.watch.localtime import clock_text, degrees_text, difference_text
from coldbrood.watch.site import Site
from coldbrood.watch.wording import TREND_WORTH_SAYING_C_PER_H, box_title

EPILOG = """examples:
  coldbrood status --config coldbrood.toml
  coldbrood status --config coldbrood.toml --json

Read from the journal, so it answers also while the daemon is down; what it says is at most a minute old.
"""


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the verb and its options."""
    parser = subparsers.add_parser(
        "status",
        help="what each box is doing",
        description="What each box is doing, on one screen.",
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--config", type=Path, required=True, metavar="F", help="the config file")
    parser.add_argument("--json", action="store_true", help="one JSON object")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Print the screen; 0 if the daemon runs, 69 (EX_UNAVAILABLE) if not."""
    config = load(args.config, os.environ)
    seen = peek(config, Clock())
    if args.json:
        sys.stdout.write(msgspec.json.format(msgspec.json.encode(seen.plain()), indent=2).decode() + "\n")
    else:
        print("\n".join(screen(config.site, seen)))
    return os.EX_OK if seen.running else os.EX_UNAVAILABLE


def screen(site: Site, seen: Peek) -> list[str]:
    """The lines of the screen, 80 columns at most."""
    now = clock_text(site, seen.wall_s)
    daemon = "daemon runs" if seen.running else "DAEMON NOT RUNNING: nothing is watched"
    lines = [f"{site.name}  {now}  {daemon}", ""]
    for body in seen.boxes:
        lines += [*_box_lines(site, body), ""]
    lines += [_probe_line(site, probe) for probe in seen.probes]
    if seen.alarms:
        lines += ["", "alarms:", *(f"  {line}" for line in seen.alarms)]
    return lines


def _box_lines(site: Site, body: Mapping[str, object]) -> list[str]:
    about = "about " if body["estimated"] else ""
    trend = body["trend_c_per_h"]
    moving = ""
    if isinstance(trend, float) and abs(trend) >= TREND_WORTH_SAYING_C_PER_H:
        moving = (
            f", {'falling' if trend < 0 else 'rising'} {difference_text(site.keeper, abs(trend))} an hour"
        )
    return [
        f"{box_title(str(body['box']))}: {body['state']}",
        f"  box        {about}{_degrees(site, body['box_c'])}{moving}",
        f"  floor      {_degrees(site, body['floor_c'])}, ceiling {_degrees(site, body['ceiling_c'])}",
        f"  outside    {_degrees(site, body['outdoor_c'])}",
        f"  refill by  {_clock(site, body['refill_by'], 'not within a day')}{_range(site, body)}",
        f"  last fill  {_clock(site, body['last_refill'], 'not seen yet')}",
        f"  chicks     {body['chicks']}, {body['band_reason']}",
    ]


def _range(site: Site, body: Mapping[str, object]) -> str:
    early, late = body["under_floor_early"], body["under_floor_late"]
    if early is None:
        return f" ({body['refill_reason']})"
    span = f"{_clock(site, early, '')} to {_clock(site, late, 'much later')}"
    return f" ({body['refill_reason']}; under the floor {span})"


def _degrees(site: Site, value: object) -> str:
    return degrees_text(site.keeper, value) if isinstance(value, float) else "not known"


def _clock(site: Site, value: object, otherwise: str) -> str:
    return (
        clock_text(site, datetime.fromisoformat(value).timestamp()) if isinstance(value, str) else otherwise
    )


def _probe_line(site: Site, probe: Mapping[str, object]) -> str:
    """One probe: value, age, battery, refusals."""
    ago_s, battery, refused = probe["heard_s_ago"], probe["battery_pct"], probe["refused"]
    said = [f"probe {probe['probe']}: {_degrees(site, probe['temperature_c'])}"]
    said.append(f"{ago_s // 60} min ago" if isinstance(ago_s, int) else "never heard")
    if isinstance(battery, float):
        said.append(f"battery {battery:.0f} %")
    elif isinstance(probe["battery_v"], float):
        said.append(f"battery {probe['battery_v']:.2f} V")
    if isinstance(refused, dict) and refused:
        said.append("refused " + ", ".join(f"{reason} {count}" for reason, count in refused.items()))
    return ", ".join(said)
