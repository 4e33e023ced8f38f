"""`coldbrood hold`: how long a box holds, on paper or as learned, and what would change it."""

import argparse
import os
import sys
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import get_args

import msgspec

from coldbrood.brooder.specs import ChickKind
from coldbrood.cli.hold_case import OPTIONS, OUTDOOR_C, BadAsk, as_asked, asked_of, from_config, on_paper
from coldbrood.cli.hold_table import Grid, plain, screen

OUTDOORS_C = (-10.0, -5.0, 0.0, 5.0, 10.0, 15.0, 20.0)
BY: Mapping[str, tuple[float, ...]] = {
    "age": (1, 5, 9, 13),
    "litres": (2, 4, 6, 8),
    "jugs": (1, 2, 3, 4),
    "chicks": (8, 12, 16, 20),
    "insulation": (0, 20, 40, 60),
}
EPILOG = """examples:
  coldbrood hold --config F                          as learned, else on paper
  coldbrood hold --config F --litres 6 --chicks 20   what if
  coldbrood hold --config F --by litres --age 2
  coldbrood hold --size 0.75x0.55x0.40 --insulation 30 --litres 3.8 --chicks 14

A hold is the time from a fill until the box probe goes under the floor, with
the range in which 8 of 10 such boxes lie; 24+ is more than a day, 0 a jug that
cannot warm the box. It is an estimate for a steady night without wind. Hot
water scalds; never seal a box against the cold, chicks must breathe.
"""


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the verb and its options."""
    parser = subparsers.add_parser(
        "hold",
        help="how long a box holds after a fill, and what helps",
        description="How long a box holds after a fill, on paper or as learned, and what helps.",
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--config", type=Path, metavar="F", help="the config file")
    parser.add_argument("--box", help="the box, where there is more than one")
    parser.add_argument("--paper", action="store_true", help="leave out what was learned")
    parser.add_argument("--size", metavar="LxWxH", help="inside of the box, m")
    for name, key, metavar, words in OPTIONS:
        parser.add_argument(name, dest=key, type=float, metavar=metavar, help=words)
    parser.add_argument("--towel", choices=("on", "off"), help="whether the jug wears a towel or sacking")
    parser.add_argument("--chicks", type=int, metavar="N", help="chicks in the box")
    parser.add_argument("--age", type=float, metavar="D", help="age in days (today's; on paper 1)")
    parser.add_argument("--kind", choices=get_args(ChickKind), help="layer or meat chicks (layer)")
    parser.add_argument("--outside", type=float, default=OUTDOOR_C, metavar="C", help="for what helps (5)")
    parser.add_argument("--floor", type=float, metavar="C", help="a floor of your own (by age)")
    parser.add_argument("--by", choices=tuple(BY), default="age", help="columns of the table (age)")
    parser.add_argument("--json", action="store_true", help="one JSON object")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Print the table; 64 (EX_USAGE) if an option cannot be taken."""
    try:
        asked = asked_of(args)
        base = from_config(args) if args.config else as_asked(args, {}, on_paper(asked))
    except BadAsk as bad:
        print(bad, file=sys.stderr)
        return os.EX_USAGE
    case = as_asked(args, asked, base)
    grid = Grid(args.by, BY[args.by], OUTDOORS_C, args.outside)
    if args.json:
        sys.stdout.write(
            msgspec.json.format(msgspec.json.encode(plain(case, grid)), indent=2).decode() + "\n"
        )
    else:
        print("\n".join(screen(replace(base, floor_c=args.floor), case, grid)))
    return os.EX_OK
