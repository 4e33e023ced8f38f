"""`coldbrood probe`: take a probe in, see them all, put a new one in a dead one's place, reckon its cell."""

import argparse
import json
import os
import sys
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

from coldbrood.cli import probe_enrol
from coldbrood.clock import Clock
from coldbrood.peek import peek
from coldbrood.probes.battery import CELLS, Habit, days, mean_ma, radio_share
from coldbrood.settings.load import load
from coldbrood.watch.assess import silent_after_s
from coldbrood.watch.site import ProbeSpec

EPILOG = """examples:
  coldbrood probe battery                        days by cell and interval
  coldbrood probe battery --wake-s 4 --wake-ma 120          as you measured
  coldbrood probe add box-b --config F --box b --cell li-18650
  coldbrood probe add box-c --config F --box c --board box-b
  coldbrood probe list --config F
  coldbrood probe swap box-b --config F          new board, same history

`add` and `swap` write NAME.probe.json: copy it to the board as probe.json,
with the files of deploy/probe. It holds two passwords, so delete the copy
here when the probe is heard. Lithium cells: do not charge them below 0 C,
keep them out of the box and away from the jug.
"""
INTERVALS_S = (60, 300, 600, 900)
FORMULA = """
I_avg = (I_wake t_wake + n 1.5 mA 0.75 s) / T + I_sleep (T - t_wake) / T
days = usable mAh / (24 I_avg);  T the interval, n sensors
1.5 mA and 0.75 s: a DS18B20 at 12 bits (its sheet). Mind the sheet of your own cells."""


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the verb and its own verbs."""
    parser = subparsers.add_parser(
        "probe",
        help="take in, list and swap probes; how long a cell lasts",
        description="Take in, list and swap probes, and reckon how long a cell lasts.",
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    verbs = parser.add_subparsers(required=True, metavar="WHAT")
    _add_battery(verbs)
    probe_enrol.add_parsers(verbs)
    listing = verbs.add_parser("list", help="when each was heard, battery, signal, what was refused")
    listing.add_argument("--config", type=Path, required=True, metavar="F", help="the config file")
    listing.add_argument("--json", action="store_true", help="one JSON array")
    listing.set_defaults(run=run_list)


def _add_battery(verbs: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    usual = Habit()
    parser = verbs.add_parser("battery", help="days by sort of cell and interval")
    for name, default, words in (
        ("--wake-s", usual.wake_s, "seconds awake, Wi-Fi included"),
        ("--wake-ma", usual.wake_ma, "mean current awake, mA"),
        ("--sleep-ua", usual.sleep_ua, "current asleep, whole board, uA"),
        ("--mah", None, "charge of your own cell, mAh"),
    ):
        parser.add_argument(name, type=_positive, default=default, help=f"{words} ({default or 'listed'})")
    parser.add_argument(
        "--sensors", type=int, choices=range(1, 5), default=1, help="DS18B20 on the board (1)"
    )
    parser.add_argument("--interval-s", type=_positive, help="one interval instead of the usual ones")
    parser.set_defaults(run=run_battery)


def _positive(text: str) -> float:
    value = float(text)
    if not 0 < value < 1e6:
        raise argparse.ArgumentTypeError(f"{text}: a number above 0")
    return value


def run_battery(args: argparse.Namespace) -> int:
    """Print the table; 65 (EX_DATAERR) if the probe would be awake for longer than its interval."""
    habit = Habit(300.0, args.wake_s, args.wake_ma, args.sleep_ua, args.sensors)
    intervals_s = (args.interval_s,) if args.interval_s else INTERVALS_S
    try:
        print("\n".join(_battery_lines(habit, intervals_s, args.mah)))
    except ValueError as fault:
        print(fault, file=sys.stderr)
        return os.EX_DATAERR
    return os.EX_OK


def _battery_lines(habit: Habit, intervals_s: tuple[float, ...], mah: float | None) -> Iterator[str]:
    yield f"awake {habit.wake_s:g} s at {habit.wake_ma:g} mA, asleep {habit.sleep_ua:g} uA: measure yours,"
    yield "since a slow Wi-Fi costs most. Days with the usable share of the charge, not in hard frost."
    yield ""
    yield f"{'every':<34}" + "".join(f"{span_s:>8g} s" for span_s in intervals_s)
    habits = [replace(habit, interval_s=span_s) for span_s in intervals_s]
    yield f"{'mean current, mA':<34}" + "".join(f"{mean_ma(each):>10.3f}" for each in habits)
    yield f"{'of it awake, %':<34}" + "".join(f"{100 * radio_share(each):>10.1f}" for each in habits)
    for name, listed in CELLS.items():
        cell = listed if mah is None else replace(listed, capacity_mah=mah)
        label = f"{name}, {cell.capacity_mah:g} mAh x {cell.usable:.2f}"
        yield f"{label:<34}" + "".join(f"{days(cell, each):>5.0f} days" for each in habits)
    yield FORMULA


def run_list(args: argparse.Namespace) -> int:
    """Print one line a probe; 69 (EX_UNAVAILABLE) if one is silent or was never heard."""
    config = load(args.config, os.environ)
    probes = peek(config, Clock()).probes
    rows = [(probe, config.site.probes[str(probe["probe"])]) for probe in probes]
    if args.json:
        print(json.dumps(probes, indent=2))
    else:
        print(f"{'probe':<16} {'where':<10} {'heard':>18}  {'battery':>8} {'signal':>8}  refused")
        print("\n".join(_list_line(probe, spec) for probe, spec in rows))
    return os.EX_UNAVAILABLE if any(_is_silent(probe, spec) for probe, spec in rows) else os.EX_OK


def _is_silent(probe: dict[str, object], spec: ProbeSpec) -> bool:
    ago_s = probe["heard_s_ago"]
    return not isinstance(ago_s, int) or ago_s > silent_after_s(spec.interval_s)


def _list_line(probe: dict[str, object], spec: ProbeSpec) -> str:
    ago_s, refused = probe["heard_s_ago"], probe["refused"]
    heard = f"{ago_s // 60} min ago" if isinstance(ago_s, int) else "never"
    if isinstance(ago_s, int) and _is_silent(probe, spec):
        heard = f"SILENT {heard}"
    counts = refused if isinstance(refused, dict) else {}
    told = ", ".join(f"{reason} {count}" for reason, count in counts.items()) or "-"
    board = f"{_battery_of(probe):>8} {_signal_of(probe):>8}"
    return f"{spec.name:<16} {spec.box or spec.role:<10} {heard:>18}  {board}  {told}"


def _battery_of(probe: dict[str, object]) -> str:
    volts, percent = probe["battery_v"], probe["battery_pct"]
    if isinstance(volts, float):
        return f"{volts:.2f} V"
    return f"{percent:.0f} %" if isinstance(percent, float) else "-"


def _signal_of(probe: dict[str, object]) -> str:
    dbm = probe["signal_dbm"]
    return f"{dbm:.0f} dBm" if isinstance(dbm, float) else "-"
