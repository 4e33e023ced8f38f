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
from coldbrood.watch.localtime import DAY_S, clock_text, degrees_text, difference_text, local
from coldbrood.watch.site import Site
from coldbrood.watch.wording import REASON_WORDS, TREND_WORTH_SAYING_C_PER_H, box_title

EPILOG = """examples:
  coldbrood status --config coldbrood.toml
  coldbrood status --config coldbrood.toml --json

Read from the journal, so it answers also while the daemon is down; what it
says is at most a minute old. Exit code 69 if the daemon does not run.
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
    """The lines of the screen, 80 columns at most where names are short."""
    now = clock_text(site, seen.wall_s)
    daemon = "daemon runs" if seen.running else "DAEMON NOT RUNNING: nothing is watched"
    lines = [f"{site.name}  {now}  {daemon}", ""]
    if not seen.boxes:
        lines += ["No batch is open, so no box is watched: coldbrood batch start begins one.", ""]
    for body in seen.boxes:
        lines += [*_box_lines(site, seen.wall_s, body), ""]
    lines += [_probe_line(site, probe) for probe in seen.probes]
    if seen.alarms:
        lines += ["", "alarms:", *(f"  {line}" for line in seen.alarms)]
    return lines


def _box_lines(site: Site, wall_s: float, body: Mapping[str, object]) -> list[str]:
    about = "about " if body["estimated"] and body["box_c"] is not None else ""

    def clock(key: str, otherwise: str) -> str:
        value = body[key]
        return _clock(site, wall_s, value) if isinstance(value, str) else otherwise

    reason = REASON_WORDS.get(str(body["refill_reason"]), "")
    span = f"{clock('under_floor_early', '')} to {clock('under_floor_late', 'much later')}"
    return [
        f"{box_title(str(body['box']))}: {body['state']}",
        f"  box          {about}{_degrees(site, body['box_c'])}{_trend(site, body['trend_c_per_h'])}",
        f"  floor        {_degrees(site, body['floor_c'])}, ceiling {_degrees(site, body['ceiling_c'])}",
        f"  outside      {_degrees(site, body['outdoor_c'])}",
        f"  refill by    {clock('refill_by', 'not within a day')}, {reason}",
        f"  under floor  {span if body['under_floor_early'] else 'not within a day'}",
        f"  last fill    {clock('last_refill', 'not seen yet')}",
        f"  chicks       {body['chicks']}, {body['band_reason']}",
    ]


def _trend(site: Site, trend: object) -> str:
    if not isinstance(trend, float) or abs(trend) < TREND_WORTH_SAYING_C_PER_H:
        return ""
    way = "falling" if trend < 0 else "rising"
    return f", {way} {difference_text(site.keeper, abs(trend))} an hour"


def _degrees(site: Site, value: object) -> str:
    return degrees_text(site.keeper, value) if isinstance(value, float) else "not known"


def _clock(site: Site, wall_s: float, value: str) -> str:
    """Time of day, with the date where it is more than a day off."""
    at_s = datetime.fromisoformat(value).timestamp()
    said = clock_text(site, at_s)
    return said if abs(at_s - wall_s) < DAY_S else f"{local(site, at_s).date().isoformat()} {said}"


def _probe_line(site: Site, probe: Mapping[str, object]) -> str:
    """One probe: value, age, battery, refusals."""
    ago_s, battery, refused = probe["heard_s_ago"], probe["battery_pct"], probe["refused"]
    said = [f"probe {probe['probe']}: {_degrees(site, probe['temperature_c'])}"]
    said.append(ago_text(ago_s) if isinstance(ago_s, int) else "never heard")
    if isinstance(battery, float):
        said.append(f"battery {battery:.0f} %")
    elif isinstance(probe["battery_v"], float):
        said.append(f"battery {probe['battery_v']:.2f} V")
    if isinstance(refused, dict) and refused:
        said.append("refused " + ", ".join(f"{reason} {count}" for reason, count in refused.items()))
    return ", ".join(said)


def ago_text(seconds: float) -> str:
    """How long ago, in the unit that fits."""
    minutes = round(seconds / 60)
    if minutes < 120:
        return f"{max(0, minutes)} min ago"
    return f"{minutes // 60} h ago" if minutes < 48 * 60 else f"{minutes // 1440} days ago"
