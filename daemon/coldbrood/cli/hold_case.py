"""The question of `coldbrood hold`: which box, which chicks, what was learned of it."""

import argparse
import os
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from coldbrood.brooder.band import band
from coldbrood.brooder.bank import Bank
from coldbrood.brooder.estimate import bank_at
from coldbrood.brooder.sizing import Help, Sizing, helps, refitted, size
from coldbrood.brooder.specs import BoxSpec, Flock, OutdoorCurve
from coldbrood.brooder.sureness import sureness
from coldbrood.clock import Clock
from coldbrood.peek import look
from coldbrood.settings.load import Config, load
from coldbrood.settings.setting import settings_of
from coldbrood.settings.tables_box import BoxTable
from coldbrood.watch.localtime import age_days
from coldbrood.watch.site import TemperatureUnit

OUTDOOR_C = 5.0
PAPER_AGE = 1.0
PAPER_CHICKS = 16
OPTIONS: tuple[tuple[str, str, str, str], ...] = (
    ("--insulation", "insulation_mm", "MM", "insulation"),
    ("--conductivity", "insulation_w_per_mk", "W", "of the insulation, W/mK"),
    ("--air", "air_changes_per_h", "N", "air changes an hour"),
    ("--jugs", "jugs", "N", "jugs in the box"),
    ("--litres", "jug_litres", "L", "water in each jug"),
    ("--fill", "fill_c", "C", "water at a refill"),
)


@dataclass(frozen=True)
class Case:
    """What is asked: a box, its chicks, and what was learned of it; `source` says so in words."""

    spec: BoxSpec
    flock: Flock
    learned: Bank | None
    source: str
    floors: tuple[tuple[float, float], ...] = ()
    floor_c: float | None = None
    unit: TemperatureUnit = "C"

    def floor_at(self, age_days: float) -> float:
        """The floor as asked, else the one by age."""
        return band(age_days, floors=self.floors).floor_c if self.floor_c is None else self.floor_c

    def size(self, outdoor_c: float) -> Sizing:
        """The hold of this case."""
        return size(self.spec, self.flock, outdoor_c, self.floor_at(self.flock.age_days), self.learned)

    def helps(self, outdoor_c: float) -> tuple[Help, ...]:
        """What would change it."""
        return helps(self.spec, self.flock, outdoor_c, self.floor_at(self.flock.age_days), self.learned)

    def changed(self, by: str, value: float) -> "Case":
        """The same with one thing other."""
        if by == "age":
            return replace(self, flock=replace(self.flock, age_days=value))
        if by == "chicks":
            return replace(self, flock=replace(self.flock, chicks=int(value)))
        if by == "jugs":
            return self.with_spec(replace(self.spec, jugs=int(value)))
        if by == "litres":
            return self.with_spec(replace(self.spec, jug_litres=value))
        return self.with_spec(replace(self.spec, insulation_mm=value))

    def with_spec(self, spec: BoxSpec) -> "Case":
        """The same in another box: what was learned moves as it would on paper."""
        bank = None if self.learned is None else refitted(self.learned, self.spec, spec)
        return replace(self, spec=spec, learned=bank)


class BadAsk(Exception):  # noqa: N818 - it says what is wrong with the question
    """An option that cannot be taken: option, value, what is allowed."""


def asked_of(args: argparse.Namespace) -> dict[str, object]:
    """The box's keys that stand in options, each within the limits of the config's own key."""
    found = {key: getattr(args, key) for _, key, _, _ in OPTIONS if getattr(args, key) is not None}
    names = {key: name for name, key, _, _ in OPTIONS}
    if args.size is not None:
        sides = args.size.split("x")
        if len(sides) != 3:
            raise BadAsk(f"--size: {args.size}: inside in m, as 0.75x0.55x0.40")
        for key, side in zip(("length_m", "width_m", "height_m"), sides, strict=True):
            found[key] = _number("--size", side)
            names[key] = f"--size ({key})"
    for key, value in found.items():
        _within(names[key], key, value)
    if args.chicks is not None:
        _within("--chicks", "chicks", args.chicks)
    for name, value, least, most in (
        ("--age", args.age, 0.0, 60.0),
        ("--outside", args.outside, -40.0, 45.0),
        ("--floor", args.floor, 5.0, 36.0),
    ):
        if value is not None and not least <= value <= most:
            raise BadAsk(f"{name}: {value:g}: {least:g} to {most:g}")
    if "jugs" in found:
        found["jugs"] = int(found["jugs"])
    if args.towel is not None:
        found["jug_wrapped"] = args.towel == "on"
    return found


def _number(name: str, text: str) -> float:
    try:
        return float(text)
    except ValueError:
        raise BadAsk(f"{name}: {text}: a number") from None


def _within(name: str, key: str, value: float) -> None:
    """The limits are those of the config file. Raises BadAsk."""
    setting = settings_of(BoxTable)[key]
    low, high = setting.low, setting.high
    whole = key in ("jugs", "chicks")
    if low is None or high is None or not low <= value <= high or (whole and value != int(value)):
        raise BadAsk(f"{name}: {value:g}: {setting.allowed}")


def on_paper(asked: Mapping[str, object]) -> Case:
    """A box from options alone: what is not said is the config's default, or its example."""
    table = {key: s.filler for key, s in settings_of(BoxTable).items()}
    table.pop("chicks"), table.pop("jug_plastic")
    missing = [key for key in ("length_m", "insulation_mm", "jug_litres") if key not in asked]
    if missing:
        raise BadAsk("--config: missing: the config file, or --size, --insulation and --litres")
    spec = BoxSpec(**{**table, **asked, "name": "a"})  # type: ignore[arg-type] # checked against the schema
    return Case(spec, Flock(PAPER_CHICKS, PAPER_AGE, "layer"), None, "on paper")


def from_config(args: argparse.Namespace) -> Case:
    """The box of the config, with what the journal taught of it unless told to leave that out."""
    config = load(args.config, os.environ)
    boxes = config.site.boxes
    name = args.box or (next(iter(boxes)) if len(boxes) == 1 else "")
    if name not in boxes:
        raise BadAsk(f"--box: {name or 'missing'}: one of {', '.join(boxes)}")
    batch = config.site.batch
    flock = Flock(batch.chicks[name], PAPER_AGE, batch.kind)
    case = Case(boxes[name], flock, None, "on paper", batch.floors, unit=config.site.keeper.unit)
    return case if args.paper else _as_learned(config, name, case)


def _as_learned(config: Config, name: str, case: Case) -> Case:
    """What the journal taught; on paper if there is none yet, or nothing of this box in it."""
    if not config.journal_path.is_file():
        return replace(case, source="on paper, there is no journal yet")
    seen = look(config, Clock())
    sight = seen.state.sight
    box = sight.boxes.get(name) or sight.resting[name]
    if box.estimate.first_s is None or box.estimate.last_s is None:
        return replace(case, source="on paper, the journal holds no reading of it yet")
    flat = OutdoorCurve(np.array([0.0, 1.0]), np.full(2, OUTDOOR_C), np.zeros(2))
    bank = bank_at(box.estimate, case.spec, box.estimate.last_s, flat, case.flock)
    known = {"known": "as learned", "learning": "as learned so far", "unknown": "not well known yet"}
    age = age_days(seen.site, seen.now.wall_s)
    flock = replace(case.flock, chicks=box.chicks, age_days=age, kind=seen.site.batch.kind)
    source = known[sureness(box.estimate, box.estimate.last_s)]
    return replace(case, learned=bank, flock=flock, source=source)


def _box(asked: Mapping[str, object], case: Case) -> Case:
    return case.with_spec(replace(case.spec, **asked))  # type: ignore[arg-type] # checked against the schema


def as_asked(args: argparse.Namespace, asked: Mapping[str, object], base: Case) -> Case:
    """The case with what the options change in box, chicks, age and floor."""
    case = _box(asked, base)
    flock = case.flock
    if args.chicks is not None:
        flock = replace(flock, chicks=args.chicks)
    if args.age is not None:
        flock = replace(flock, age_days=args.age)
    if args.kind is not None:
        flock = replace(flock, kind=args.kind)
    return replace(case, flock=flock, floor_c=args.floor)
