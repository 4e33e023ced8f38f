"""`coldbrood calibrate`: a probe in ice water, or beside a thermometer: what it is off by, and how surely."""

import argparse
import os
import re
import sys
import time
from pathlib import Path

from coldbrood import enrol
from coldbrood.cli.calibrate_source import Source, source_of
from coldbrood.notes import NoteForm
from coldbrood.peek import is_running
from coldbrood.probes import correction
from coldbrood.probes.correction import Correction, NoCorrection, Point
from coldbrood.settings.edit import CannotEdit, set_key
from coldbrood.settings.load import load
from coldbrood.settings.records import Config
from coldbrood.setup import read
from coldbrood.setup.ask import Asker, BadAnswer, Person, Question, SetupFault, wrapped
from coldbrood.upkeep.hand import hand_over
from coldbrood.watch.site import ProbeSpec

EPILOG = """example:
  coldbrood calibrate box-a --config /etc/coldbrood/coldbrood.toml

It listens to the probe itself, whether the daemon runs or not; a daemon that
runs sets the probe aside meanwhile, so that ice water is not taken for the
box. A point is reached when six readings lie within 0.13 C: with a probe that
speaks each 5 minutes that is half an hour, so give it a shorter interval_s in
its own file for the time. The correction is written into the config file
after your yes and holds from the daemon's next start; what was kept before
stays as it was, with its raw values. Exit codes: 0 written, 1 not written
because you said no, 65 no correction can be made, 69 the probe is not heard,
77 no right to write, 130 stopped by Ctrl-C.
"""
ASIDE_MIN = 240.0
BOX_C = 30.0
ICE_WHY = (
    "ICE WATER. Fill a cup or a flask with crushed ice, add tap water up to its top, and stir. Hang the "
    "probe in the middle, its tip and a hand of cable under the ice, touching no wall. Stir now and then. "
    "Only a sensor sealed in its steel tube goes in; the board stays dry. Afterwards disinfect it before it "
    "goes to the chicks."
)
SECOND_WHY = (
    "A SECOND POINT tells whether it is right in the warmth of the box too. Best is a bath of some 35 C in a "
    "flask, beside a thermometer that you trust: answer thermometer. Boiling water (answer boil) is worse: "
    "above 85 C the sensor may be off by more than in the box, and BOILING WATER AND STEAM SCALD AT ONCE. "
    "None keeps to the one point."
)
BATH_WHY = (
    "WARM BATH. Water of some 35 C in a flask, both tips side by side in the middle, stirred. Wait until "
    "both stand still."
)
BOIL_WHY = (
    "BOILING WATER SCALDS AT ONCE, AND SO DOES ITS STEAM. Pot on a firm stove, handle turned in, no child "
    "near, gloves on. Hang the probe by its cable from a spoon laid across the pot, so that no hand is over "
    "it; the tip in the middle, touching no wall. Only a sensor and cable made for 125 C. Let it boil "
    "rolling."
)


def add_parser(subparsers: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add the verb and its options."""
    parser = subparsers.add_parser(
        "calibrate",
        help="compare a probe with ice water, and correct it",
        description="Compare a probe with ice water and, if wished, a second temperature; correct it.",
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("probe", metavar="PROBE", help="name of the probe")
    parser.add_argument("--config", type=Path, required=True, metavar="F", help="the config file")
    parser.add_argument(
        "--minutes", type=float, default=60.0, metavar="MIN", help="longest wait for each point (60)"
    )
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Lead through it. Raises ConfigProblems for `main` to tell."""
    config = load(args.config, os.environ)
    try:
        return _calibrate(args, config, Person())
    except (NoCorrection, CannotEdit) as fault:
        print(f"no correction: {fault}", file=sys.stderr)
        return os.EX_DATAERR
    except SetupFault as fault:
        print(fault, file=sys.stderr)
        return fault.code
    except OSError as error:
        print(f"calibrate: {error.filename}: {error.strerror}: run it as root", file=sys.stderr)
        return os.EX_NOPERM
    except KeyboardInterrupt:
        print("\nStopped. Nothing was written.")
        return 130


def _calibrate(args: argparse.Namespace, config: Config, asker: Asker) -> int:
    spec = config.site.probes.get(args.probe)
    if spec is None:
        raise SetupFault(f"probe: {args.probe}: one of {', '.join(config.site.probes)}", os.EX_DATAERR)
    source = source_of(config, spec)
    fault = source.open()
    if fault:
        source.close()
        raise SetupFault(f"probe {spec.name} cannot be heard: {fault}", os.EX_UNAVAILABLE)
    running = is_running(config.journal_path)
    if running:
        hand_over(config, NoteForm(kind="aside", text=spec.name, minutes=ASIDE_MIN), "probe")
        asker.say(f"The daemon runs: {spec.name} is set aside until this is over.")
    try:
        points = _points(asker, source, args.minutes * 60.0)
    finally:
        source.close()
        if running:
            hand_over(config, NoteForm(kind="aside", text=spec.name), "probe")
    found = correction.correct(*points)
    asker.say("", *_verdict(spec, found))
    if not asker.ask(Question("write", "write this into the config file", "", read.yes, "yes")):
        asker.say("Nothing was written.")
        return 1
    _write(args.config, config, spec, found)
    asker.say(f"{args.config}: probe {spec.name} corrected, and noted in the journal.")
    asker.say("It holds from the next start: systemctl restart coldbrood")
    return os.EX_OK


def _points(asker: Asker, source: Source, limit_s: float) -> list[Point]:
    _ready(asker, "ice", ICE_WHY)
    points = [correction.ice_point(_steady(asker, source, limit_s))]
    kind = asker.ask(Question("second", "thermometer, boil or none", SECOND_WHY, _second, "none"))
    if kind == "thermometer":
        _ready(asker, "bath", BATH_WHY)
        readings = _steady(asker, source, limit_s)
        why = "What the thermometer shows now, and what its maker says that it may be off by."
        shown_c = asker.ask(Question("shown", "the thermometer shows, C", why, read.number(10, 60, "C")))
        sure_c = asker.ask(Question("sure", "it may be off by, C", "", read.number(0.01, 2, "C"), "0.5"))
        points.append(correction.thermometer_point(readings, shown_c, sure_c))
    elif kind == "boil":
        why = "Water boils some 1 C cooler for each 300 m of height. A barometer here and now is better."
        words = "height in m, or pressure here such as 985 hPa"
        pressure, sure_pa = asker.ask(Question("height", words, why, _pressure))
        asker.say(f"There it boils at {correction.boiling_c(pressure):.2f} C.")
        _ready(asker, "boil", BOIL_WHY)
        points.append(correction.boiling_point(_steady(asker, source, limit_s), pressure, sure_pa))
    return points


def _ready(asker: Asker, key: str, why: str) -> None:
    asker.ask(Question(f"ready_{key}", "ready", why, read.yes, "yes"))


def _second(text: str) -> str:
    for word in ("none", "thermometer", "boil"):
        if text.lower() == word:
            return word
    raise BadAnswer("none, thermometer or boil")


def _pressure(text: str) -> tuple[float, float]:
    """Pressure in Pa and how far it may be off: from a height in m, or told in hPa."""
    found = re.fullmatch(r"\s*(-?\d+(?:[.,]\d+)?)\s*(m|hpa|mbar)?\s*", text.lower())
    if found is None:
        raise BadAnswer("metres above the sea, such as 450, or a pressure, such as 985 hPa")
    value = float(found[1].replace(",", "."))
    if found[2] in ("hpa", "mbar"):
        if not 500.0 <= value <= 1090.0:
            raise BadAnswer("500 to 1090 hPa, as a barometer at this height shows, not reduced to the sea")
        return value * 100.0, 100.0
    if not -430.0 <= value <= 5500.0:
        raise BadAnswer("-430 to 5500 m")
    return correction.pressure_pa(value), correction.WEATHER_U_PA


def _steady(asker: Asker, source: Source, limit_s: float) -> tuple[float, ...]:
    """Readings until the point is reached. Raises NoCorrection after the limit."""
    readings: list[float] = []
    until_s = time.monotonic() + limit_s
    while not correction.is_steady(readings):
        left_s = until_s - time.monotonic()
        if left_s <= 0.0:
            came = (
                f"{len(readings)} readings came, the last {readings[-1]:.2f} C" if readings else "none came"
            )
            raise NoCorrection(f"in {limit_s / 60:.0f} min it did not come to rest: {came}")
        for celsius in source.next_c(left_s):
            readings.append(celsius)
            asker.say(f"  {len(readings):>3}  {celsius:8.3f} C")
    return correction.steady_part(readings)


def _verdict(spec: ProbeSpec, found: Correction) -> list[str]:
    lines = [
        f"At {point.known_c:.2f} C it read {point.mean_c:.3f} C: {len(point.readings_c)} readings, "
        f"spread {point.spread_c:.3f} C."
        for point in found.points
    ]
    lines.append(f"Correction: offset {found.offset_c:+.3f} C, gain {found.gain:.4f}.")
    if (spec.offset_c, spec.gain) != (0.0, 1.0):
        lines.append(f"So far: offset {spec.offset_c:+.3f} C, gain {spec.gain:.4f}.")
    at_c = found.points[-1].known_c
    lines.append(
        f"Sure to +-{found.u_c(at_c):.2f} C at {at_c:.0f} C, to +-{found.u_c(BOX_C):.2f} C at {BOX_C:.0f} C"
    )
    lines.append("(twice the standard uncertainty). A box's floor is no better known than that.")
    if len(found.points) == 1:
        lines += wrapped("In the warmth of the box only its sheet vouches for it: a second point would tell.")
    return lines


def _write(path: Path, config: Config, spec: ProbeSpec, found: Correction) -> None:
    """Config first: only what it takes is noted. Raises ConfigProblems, CannotEdit or OSError."""
    text = path.read_text(encoding="utf-8")
    index = list(config.site.probes).index(spec.name)
    offset_c, gain = round(found.offset_c, 3), round(found.gain, 5)
    text = set_key(text, "probe", index, "offset_c", offset_c)
    if gain != spec.gain:
        text = set_key(text, "probe", index, "gain", gain)
    enrol.save_config(path, text, os.environ)
    seen = "; ".join(f"{p.known_c:.2f} C: mean {p.mean_c:.3f} of {len(p.readings_c)}" for p in found.points)
    was = f"was {spec.offset_c:+.3f} C {spec.gain:.4f}"
    told = f"probe {spec.name} compared ({seen}): offset {offset_c:+.3f} C gain {gain:.4f}, {was}"
    hand_over(config, NoteForm(kind="text", text=told), "note")
