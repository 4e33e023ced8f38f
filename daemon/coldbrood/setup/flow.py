"""The whole of `coldbrood setup`: ask, show, test, write. Nothing is written before the yes at the end."""

import os
import socket
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import Any, Final

from coldbrood.settings.edit import CannotEdit
from coldbrood.settings.secrets import SecretFault, place, resolve
from coldbrood.setup import found, hold, read, talk, trial
from coldbrood.setup.ask import KEEP, Asker, BadAnswer, Question, SetupFault, wrapped
from coldbrood.setup.document import difference, fresh, merged
from coldbrood.setup.ear import Ear
from coldbrood.setup.eyes import Eyes
from coldbrood.setup.read import NONE
from coldbrood.setup.save import SECRETS, write_all
from coldbrood.setup.values import Old, read_old

Row = dict[str, Any]

CHANNEL_NAMES: Final = ("phone", "second")
HELLO: Final = """\
This writes {path}, in which the daemon reads all it knows of your site. Enter takes the answer in [brackets].
Ctrl-C at any question leaves everything as it was; nothing is written before you say yes at the end.
A second run keeps your own edits. This board has {disk}."""

NOT_ASKED: Final = (
    "Not asked, since the watch can do without: a sounder, a sign of life to someone elsewhere, meat chicks, "
    "other firmware. Each has its key in the file; deploy/guide.md tells which to think of."
)


@dataclass(slots=True)
class Plan:
    """What was answered so far, and the secrets that go into files of their own, by name."""

    values: Row = field(default_factory=dict)
    secrets: dict[str, str] = field(default_factory=dict)
    unheard: list[str] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class Board:
    """What this machine is, for the defaults; a test gives another."""

    environ: Mapping[str, str]
    today: date
    wires: Path = found.WIRES
    etc: Path = Path("/etc")


def run(path: Path, asker: Asker, board: Board) -> bool:
    """Lead through it; False if the keeper said no at the end. Raises SetupFault, ConfigProblems, OSError."""
    old = read_old(path, os.EX_CONFIG)
    asker.say(*wrapped(HELLO.format(path=path, disk=found.disk(path.parent))))
    plan = Plan()
    plan.values["site"] = talk.site(asker, old, found.time_zone(board.environ, board.etc), _hostname())
    plan.values["keeper"] = talk.keeper(asker, old)
    ear = _broker(asker, old, plan, path, board)
    try:
        _boxes(asker, old, plan, board)
        eyes = Eyes(asker, old, plan.values["site"]["name"], ear, found.wired(board.wires))
        plan.values["probe"] = eyes.probes([row["name"] for row in plan.values["box"]])
        plan.unheard = eyes.unheard()
    finally:
        if ear is not None:
            ear.close()
    plan.values["channel"] = _channels(asker, old, plan)
    return _finish(asker, old, plan, path, board)


def _hostname() -> str:
    name = socket.gethostname().partition(".")[0]
    try:
        return str(read.of_schema("site", "name")(name))
    except BadAnswer:
        return "home"


def _broker(asker: Asker, old: Old, plan: Plan, path: Path, board: Board) -> Ear | None:
    """Ask for the broker until it answers, or the keeper goes on without; it is listened to from here on."""
    while True:
        installed = not old.text and (path.parent / talk.PASSWORD_FILE).exists()
        row, password = talk.broker(asker, old, installed)
        if row is None:
            return None
        plan.values["broker"] = row
        if password is not None:
            plan.secrets[row["password_file"]] = password
        ear = _ear(row, password, old, path, board)
        fault = ear.open()
        if not fault:
            asker.say("", *wrapped("The broker lets coldbrood in. Listening for probes from now on."))
            return ear
        ear.close()
        asker.say("", *wrapped(f"Not reached: {fault}."))
        why = "The rest can be answered without it, but no probe can be heard now."
        if not asker.ask(
            Question(
                "broker_again",
                "answer the broker's questions again",
                why,
                read.yes,
                "yes" if asker.attended else "no",
            )
        ):
            return None


def _ear(row: Row, password: str | None, old: Old, path: Path, board: Board) -> Ear:
    was = old.table("broker")
    if password is None and row["username"] is not None:
        file = row.get("password_file") or was.get("password_file")
        try:
            kept = resolve(None if file else was.get("password_env"), file, board.environ, path.parent)
            password = None if kept is None else kept.secret.reveal()
        except SecretFault:
            password = None  # the broker will refuse, and say why
    ca = was.get("tls_ca")
    authority = None if ca is None else place(ca, board.environ, path.parent)
    return Ear([found.TOPIC], row["host"], row["port"], row["username"], password, authority)


def _boxes(asker: Asker, old: Old, plan: Plan, board: Board) -> None:
    """Boxes and chicks; whether each box holds is said at once, and one too weak may be changed."""
    rows = talk.boxes(asker, old)
    plan.values["batch"] = talk.batch(asker, old, board.today)
    arrival, hatched = plan.values["batch"]["arrival"], plan.values["batch"]["hatched"]
    age_days = 0.0 if hatched is None else float((arrival - hatched).days)
    coldest_c = asker.ask(
        Question(
            "coldest_c",
            "coldest night outside, C",
            "The coldest night you expect in the chicks' first week. It is only for the sum below, "
            "and is written nowhere.",
            read.number(-40.0, 35.0, "C"),
            "0",
        )
    )
    plan.values["box"] = [_strong_enough(asker, row, age_days, coldest_c) for row in rows]


def _strong_enough(asker: Asker, row: Row, age_days: float, coldest_c: float) -> Row:
    """The row as answered, or changed until it holds or the keeper lets it be."""
    while not hold.tell(asker, row, age_days, coldest_c):
        why = "Change what can be changed and look again, or go on and know that it is weak."
        question = Question(
            f"change_{row['name']}", f"change the answers for box {row['name']}", why, read.yes, "no"
        )
        if not asker.attended or not asker.ask(question):
            return row
        row = {**row, **talk.build(asker, row["name"], row)}
    return row


def _channels(asker: Asker, old: Old, plan: Plan) -> list[Row]:
    """A first way to reach the keeper, and a second, each tested by hand. Others in the file stay."""
    had = [str(row["name"]) for row in old.rows("channel") if "name" in row]
    names = [*had[:2], *(name for name in CHANNEL_NAMES if name not in had)][:2]
    rows = []
    for place_, name in enumerate(names):
        why = trial.SECOND_WHY if place_ else trial.FIRST_WHY
        default = KEEP if name in had else NONE
        row = _channel(asker, name, why, default, plan, old.row("channel", name))
        if row is not None:
            rows.append(row)
        elif not had:
            break
    if not rows and not had:
        asker.say("", *wrapped("WITHOUT A CHANNEL NOTHING CAN REACH YOU, whatever happens in the box."))
    return rows


def _channel(
    asker: Asker, name: str, why: str, default: str, plan: Plan, was: Mapping[str, Any]
) -> Row | None:
    while True:
        url = trial.ask_url(asker, f"{name}_url", why, default)
        if url == NONE or (url == KEEP and not was):
            return None
        if url == KEEP:
            return {"name": name}
        asker.say(f"  {trial.told_of(url)}")
        proof = trial.by_hand(asker, name, url)
        if proof != "no":
            break
        if not asker.attended:
            raise SetupFault(f"channel {name}: its service did not take the test", os.EX_UNAVAILABLE)
    file = was.get("url_file", f"{SECRETS}/{name}-url")
    plan.secrets[file] = url
    return {"name": name, "url_file": file, "url_env": None}


def _finish(asker: Asker, old: Old, plan: Plan, path: Path, board: Board) -> bool:
    """Show what would be written, and write it after a yes."""
    try:
        text = merged(old.text, plan.values) if old.text else fresh(plan.values, path.name)
    except CannotEdit as fault:
        raise SetupFault(str(fault), os.EX_CONFIG) from None
    if text == old.text and not plan.secrets:
        asker.say("", f"{path}: nothing to change.")
        return True
    asker.say("", *difference(old.text, text, path))
    asker.say(*(f"{path.parent / name}: a secret, readable by its owner alone" for name in plan.secrets))
    if not asker.ask(Question("write", "write this", "", read.yes, "yes")):
        asker.say("Nothing was written.")
        return False
    config = write_all(path, text, plan.secrets, board.environ)
    asker.say("", f"Written: {path}", *(f"Written: {path.parent / name}" for name in plan.secrets))
    asker.say(*(line for caution in config.cautions for line in wrapped(f"caution: {caution}", "  ")))
    _next_steps(asker, plan, path, bool(old.text))
    return True


def _next_steps(asker: Asker, plan: Plan, path: Path, again: bool) -> None:
    """What is left to do, as commands that can be copied."""
    swaps = [f"coldbrood probe swap {name} --config {path}" for name in plan.unheard]
    asker.say("", "Next:")
    if swaps:
        asker.say("  not heard yet, so its own password and file:", *(f"    {line}" for line in swaps))
    asker.say(
        f"  coldbrood check --config {path}",
        f"  systemctl {'restart' if again else 'start'} coldbrood",
        f"  coldbrood alert --test --config {path}",
    )
    if not again:
        asker.say(*wrapped(NOT_ASKED))
