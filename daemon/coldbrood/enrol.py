"""Taking a probe into the site: its table in the config file, its password on the broker, its own file."""

import json
import os
import re
import secrets
import shutil
import socket
import subprocess
import tempfile
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from coldbrood.settings.load import load
from coldbrood.settings.records import Config

HASHER = "mosquitto_passwd"
HASHER_LIMIT_S = 30
PASSWORD_BYTES = 15  # 120 bits: nobody types it
NO_ROUTE = "198.51.100.1"  # an address of RFC 5737, which no packet is ever sent to


class EnrolFault(Exception):  # noqa: N818 - it is told to the keeper as it stands
    """It cannot be done; the text says what and what to do."""


@dataclass(frozen=True, slots=True)
class Own:
    """What the probe's own file needs beside its name and password."""

    site: str
    broker: str
    port: int
    interval_s: int
    wifi_name: str
    wifi_password: str
    battery: Mapping[str, float] | None


def with_probe(text: str, table: Mapping[str, str | float]) -> str:
    """The config text with one more [[probe]] after the others; every other byte stays. Raises EnrolFault.

    A comment right above the next table is that table's, and stays with it.
    """
    lines = text.splitlines(keepends=True)
    at = _after_last_probe(lines)
    block = ["[[probe]]\n", *(f"{key} = {json.dumps(value)}\n" for key, value in table.items())]
    above = "\n" if at and lines[at - 1].strip() else ""
    below = "\n" if at < len(lines) else ""
    changed = "".join([*lines[:at], above, *block, below, *lines[at:]])
    _hold_to(text, changed, table)
    return changed


def _after_last_probe(lines: list[str]) -> int:
    """Index of the line before which a further [[probe]] goes."""
    heads = [index for index, line in enumerate(lines) if line.startswith("[")]
    probes = [index for index in heads if re.match(r"\[{1,2} *probe *[.\]]", lines[index])]
    later = [index for index in heads if probes and index > probes[-1]]
    if not later:
        return len(lines)
    at = later[0]
    while lines[at - 1].startswith("#"):
        at -= 1
    return at


def _hold_to(text: str, changed: str, table: Mapping[str, object]) -> None:
    """That the new text says what the old one said, and the new table."""
    try:
        wanted = tomllib.loads(text)
        wanted.setdefault("probe", []).append(dict(table))
        if tomllib.loads(changed) == wanted:
            return
    except (tomllib.TOMLDecodeError, AttributeError):
        pass
    raise EnrolFault("the config file has a form of its own: add the [[probe]] by hand, then use swap")


def with_changes(text: str, probe: str, changes: Mapping[str, object]) -> str:
    """The config text with keys of one [[probe]] set anew; comments stay. Raises EnrolFault."""
    import tomlkit  # here, since the daemon does not need it

    document: Any = tomlkit.parse(text)  # its types are too loose to be of use
    for table in document.get("probe", ()):
        if table.get("name") == probe:
            for key, value in changes.items():
                table[key] = value
            return tomlkit.dumps(document)
    raise EnrolFault(f"probe: {probe}: no [[probe]] of the config file has this name")


def save_config(path: Path, text: str, environ: Mapping[str, str]) -> Config:
    """Put a new text in place of the config file, whole, and only if it can be used.

    Raises ConfigProblems, with the old file untouched.
    """
    draft = path.with_name(f".{path.name}.draft")
    try:
        write_like(path, draft, text)
        config = load(draft, environ)
        draft.replace(path)
    finally:
        draft.unlink(missing_ok=True)
    return config


def check_config(path: Path, text: str, environ: Mapping[str, str]) -> Config:
    """What the config file would say with this text. Raises ConfigProblems. Leaves nothing behind."""
    draft = path.with_name(f".{path.name}.check")
    try:
        write_like(path, draft, text)
        return load(draft, environ)
    finally:
        draft.unlink(missing_ok=True)


def write_like(pattern: Path, path: Path, text: str) -> None:
    """Write a file with the mode and owner of another, on the disk on return. Raises OSError."""
    mode, owner = 0o600, None
    if pattern.exists():
        found = pattern.stat()
        mode, owner = found.st_mode & 0o777, (found.st_uid, found.st_gid)
    handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
    with open(handle, "w", encoding="utf-8") as file:
        if owner is not None and owner != (os.geteuid(), os.getegid()):
            os.fchown(file.fileno(), *owner)
        os.fchmod(file.fileno(), mode)
        file.write(text)
        file.flush()
        os.fsync(file.fileno())


def new_password() -> str:
    """A password by chance."""
    return secrets.token_urlsafe(PASSWORD_BYTES)


def set_password(path: Path, user: str, password: str) -> None:
    """Give one user of the broker a password; the others keep theirs. Raises EnrolFault or OSError.

    mosquitto's own tool makes the line, in a file of its own: so no command line ever shows the password.
    """
    old = path.read_text(encoding="utf-8").splitlines() if path.exists() else []
    kept = [line for line in old if line.split(":")[0] != user]
    draft = path.with_name(f".{path.name}.draft")
    try:
        write_like(path, draft, "\n".join([*kept, _hashed(user, password)]) + "\n")
        if not path.exists():
            _give_to_broker(draft)
        draft.replace(path)
    finally:
        draft.unlink(missing_ok=True)


def new_login(passwords: Path, user: str, secret: Path) -> None:
    """A new password for one user of the broker, and the file from which that user's program reads it.

    Raises EnrolFault or OSError.
    """
    password = new_password()
    write_like(secret, secret, f"{password}\n")
    set_password(passwords, user, password)


def _hashed(user: str, password: str) -> str:
    hasher = shutil.which(HASHER) or shutil.which(HASHER, path="/usr/bin:/usr/sbin")
    if hasher is None:
        raise EnrolFault(f"{HASHER}: not found: install the package mosquitto, whose tool it is")
    with tempfile.TemporaryDirectory() as folder:
        plain = Path(folder) / "plain"
        plain.touch(mode=0o600)
        plain.write_text(f"{user}:{password}\n", encoding="utf-8")
        done = subprocess.run(
            [hasher, "-U", str(plain)], capture_output=True, text=True, timeout=HASHER_LIMIT_S
        )
        line = plain.read_text(encoding="utf-8").strip()
    if done.returncode != 0 or not line.startswith(f"{user}:$"):
        raise EnrolFault(f"{HASHER}: {done.stderr.strip() or 'no line made'}")
    return line


def _give_to_broker(path: Path) -> None:
    if os.geteuid() == 0:
        try:
            shutil.chown(path, "mosquitto", "mosquitto")
        except LookupError:
            return  # no such user here: the broker is elsewhere


def own_file(board: str, password: str, own: Own, sensor_rom: str | None = None) -> dict[str, object]:
    """The probe's own config, as deploy/probe/probeconf.py takes it."""
    sensor = {"probe": board} if sensor_rom is None else {"probe": board, "rom": sensor_rom}
    told: dict[str, object] = {
        "site": own.site,
        "board": board,
        "password": password,
        "broker": own.broker,
        "port": own.port,
        "wifi_name": own.wifi_name,
        "wifi_password": own.wifi_password,
        "interval_s": own.interval_s,
        "data_pin": 4,
        "power_pin": 5,
        "sensors": [sensor],
    }
    if own.battery is not None:
        told["battery"] = {"pin": 35, "ratio": 2.0, **own.battery}
    return told


def read_own_file(path: Path) -> dict[str, Any]:
    """A probe's own config made before. Raises EnrolFault."""
    try:
        found = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise EnrolFault(f"{path}: {error}: name the folder of the board's own file by --out") from None
    if not isinstance(found, dict) or not isinstance(found.get("sensors"), list):
        raise EnrolFault(f"{path}: no config of a probe")
    return found


def write_own_file(path: Path, told: Mapping[str, object]) -> None:
    """Write it whole or not at all, for its owner's eyes only: it holds two passwords. Raises OSError."""
    draft = path.with_name(f".{path.name}.draft")
    write_like(path, draft, json.dumps(told, indent=2) + "\n")
    draft.replace(path)


def reachable_host(host: str) -> str:
    """The broker's address as a probe sees it: a loopback name becomes this machine's own address."""
    if host not in ("localhost", "::1") and not host.startswith("127."):
        return host
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as line:
        try:
            line.connect((NO_ROUTE, 9))  # a datagram socket: this only asks the routing table
            return str(line.getsockname()[0])
        except OSError:
            return host
