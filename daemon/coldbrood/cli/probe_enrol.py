"""`coldbrood probe add` and `swap`: what is written, and what is said of it."""

import argparse
import os
import sys
import time
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path

from coldbrood import enrol
from coldbrood.enrol import EnrolFault, Own
from coldbrood.inbox import drop
from coldbrood.notes import NoteForm, new_key, write_note
from coldbrood.probes.battery import CELLS
from coldbrood.settings.load import load
from coldbrood.settings.records import Config

PASSWORDS = Path("/etc/mosquitto/coldbrood.passwd")
RELOAD = "systemctl reload mosquitto && systemctl restart coldbrood"


def add_parsers(verbs: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Add `add` and `swap`."""
    add = verbs.add_parser("add", help="a new probe: config table, password, its own file")
    _add_common(add)
    place = add.add_mutually_exclusive_group(required=True)
    place.add_argument("--box", help="the hen box it hangs in")
    place.add_argument("--outdoor", action="store_true", help="it hangs in the shade outside")
    add.add_argument("--interval-min", type=float, default=5.0, metavar="MIN", help="between messages (5)")
    add.add_argument("--board", metavar="NAME", help="one more sensor on the board of this probe")
    add.add_argument("--rom", metavar="DIGITS", help="number of its sensor, as the board's console shows it")
    add.set_defaults(run=run_add)
    swap = verbs.add_parser("swap", help="a new board in a dead one's place; the history stays")
    _add_common(swap)
    swap.add_argument("--sensor-id", metavar="ID", help="for a wired probe: number of the new sensor")
    swap.set_defaults(run=run_swap)


def _add_common(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("name", help="name of the probe")
    parser.add_argument("--config", type=Path, required=True, metavar="F", help="the config file")
    parser.add_argument("--passwords", type=Path, default=PASSWORDS, metavar="F", help=f"({PASSWORDS})")
    parser.add_argument("--out", type=Path, default=Path(), metavar="DIR", help="for NAME.probe.json (here)")
    parser.add_argument("--cell", choices=CELLS, help="sort of cell: sets when it counts as low and empty")
    parser.add_argument("--broker", metavar="HOST", help="the broker's address on the probes' network")
    parser.add_argument("--wifi-name", default="the name of your Wi-Fi", metavar="TEXT")
    parser.add_argument("--wifi-password-file", type=Path, metavar="F", help="a file with one line")


def run_add(args: argparse.Namespace) -> int:
    """Add a probe. Raises ConfigProblems, with nothing changed; 73 (EX_CANTCREAT) if a file cannot be had."""
    return _told(_add_to_board if args.board else _add, args)


def run_swap(args: argparse.Namespace) -> int:
    """Renew a probe. Raises ConfigProblems, nothing changed; 73 (EX_CANTCREAT) if a file cannot be had."""
    return _told(_swap, args)


def _told(work: Callable[[argparse.Namespace], Iterator[str]], args: argparse.Namespace) -> int:
    try:
        for line in work(args):
            print(line)
    except EnrolFault as fault:
        print(fault, file=sys.stderr)
        return os.EX_CANTCREAT
    except OSError as error:
        print(f"{error.filename}: {error.strerror}: run it as root, or as the owner", file=sys.stderr)
        return os.EX_CANTCREAT
    return os.EX_OK


def _add(args: argparse.Namespace) -> Iterator[str]:
    """The board's file comes first, the config last: what fails half way leaves the config as it was."""
    text = args.config.read_text(encoding="utf-8")
    changed = enrol.with_probe(text, _table(args))
    config = enrol.check_config(args.config, changed, os.environ)
    yield from _issue(args, config, args.interval_min * 60)
    enrol.save_config(args.config, changed, os.environ)
    yield f"{args.config}: [[probe]] {args.name} added"
    yield f"then: {RELOAD}"


def _add_to_board(args: argparse.Namespace) -> Iterator[str]:
    """One more sensor shares the board's topic, password and file."""
    if args.rom is None:
        raise EnrolFault("--rom: missing: two sensors on a board are told apart by their numbers")
    before = load(args.config, os.environ).site.probes.get(args.board)
    if before is None or before.source != "mqtt":
        raise EnrolFault(f"--board: {args.board}: no MQTT probe of the config file has this name")
    path = args.out / f"{args.board}.probe.json"
    told = enrol.read_own_file(path)
    told["sensors"].append({"probe": args.name, "rom": args.rom})
    table = {**_table(args), "topic": before.topic}
    changed = enrol.with_probe(args.config.read_text(encoding="utf-8"), table)
    enrol.check_config(args.config, changed, os.environ)
    enrol.write_own_file(path, told)
    enrol.save_config(args.config, changed, os.environ)
    yield f"{path}: sensor {args.rom} added as {args.name}"
    if any("rom" not in sensor for sensor in told["sensors"]):
        yield f"{path}: give each sensor its rom: the board's console shows them at power-on"
    yield f"{args.config}: [[probe]] {args.name} added, on the topic of {args.board}"


def _swap(args: argparse.Namespace) -> Iterator[str]:
    """The name, and so the history, stays. A new sensor does not have the old one's error."""
    config = load(args.config, os.environ)
    spec = config.site.probes.get(args.name)
    if spec is None:
        raise EnrolFault(f"probe: {args.name}: the config file knows {', '.join(config.site.probes)}")
    wired = spec.source == "onewire"
    if wired != (args.sensor_id is not None):
        wanted = "number of the new sensor" if wired else "only for a wired probe"
        raise EnrolFault(f"--sensor-id: {args.sensor_id or 'missing'}: {wanted}")
    changes: dict[str, object] = {"sensor_id": args.sensor_id} if wired else {}
    if spec.offset_c:
        changes["offset_c"] = 0.0
    if spec.gain != 1.0:
        changes["gain"] = 1.0
    if args.cell is not None and not wired:
        changes["battery_low_v"] = CELLS[args.cell].low_v
    if changes:
        text = enrol.with_changes(args.config.read_text(encoding="utf-8"), args.name, changes)
        enrol.check_config(args.config, text, os.environ)
    if not wired:
        yield from _issue(args, config, spec.interval_s)
    if changes:
        enrol.save_config(args.config, text, os.environ)
        yield from (f"{args.config}: probe {args.name}: {key} = {value}" for key, value in changes.items())
    if spec.offset_c:
        yield f"the old sensor's offset of {spec.offset_c:g} C is not the new one's: compare it anew"
    _note(config, args.name)
    yield f"noted in the log; what {args.name} told before stays under its name"
    yield f"then: {RELOAD}"


def _table(args: argparse.Namespace) -> dict[str, str | float]:
    table: dict[str, str | float] = {"name": args.name, "role": "outdoor" if args.outdoor else "box"}
    if args.box is not None:
        table["box"] = args.box
    table["interval_min"] = args.interval_min
    if args.cell is not None:
        table["battery_low_v"] = CELLS[args.cell].low_v
    return table


def _issue(args: argparse.Namespace, config: Config, interval_s: float) -> Iterator[str]:
    """A password for the broker and the file that holds it for the board."""
    if config.broker is None:
        raise EnrolFault("broker: missing: a battery probe needs a [broker] table in the config file")
    cell = None if args.cell is None else CELLS[args.cell]
    own = Own(
        site=config.site.name,
        broker=args.broker or enrol.reachable_host(config.broker.host),
        port=config.broker.port,
        interval_s=round(interval_s),
        wifi_name=args.wifi_name,
        wifi_password=_wifi_password(args.wifi_password_file),
        battery=None if cell is None else {"low_v": cell.low_v, "empty_v": cell.empty_v},
    )
    password = enrol.new_password()
    path = args.out / f"{args.name}.probe.json"
    enrol.write_own_file(path, enrol.own_file(args.name, password, own, getattr(args, "rom", None)))
    enrol.set_password(args.passwords, args.name, password)
    yield f"{path}: copy it to the board as probe.json, then delete it here: it holds two passwords"
    yield f"{args.passwords}: password of {args.name} set; it may tell its own reading and nothing else"


def _wifi_password(path: Path | None) -> str:
    return "its password" if path is None else path.read_text(encoding="utf-8").strip()


def _note(config: Config, name: str) -> None:
    wall_s = time.time()
    at = datetime.fromtimestamp(wall_s, UTC)
    form = NoteForm(kind="text", key=new_key(wall_s), at=at, text=f"probe {name}: swapped for a new one")
    drop(config.journal_path, form.key, write_note(form))
