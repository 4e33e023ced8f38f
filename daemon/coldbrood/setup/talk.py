"""The questions, in the order in which a keeper can answer them: place, day, broker, boxes, chicks, probes.

Each gives a part of the config file. Nothing is written here.
"""

from collections.abc import Callable, Mapping
from datetime import date
from typing import Any, Final

from coldbrood.settings.setting import settings_of
from coldbrood.settings.tables_box import KeeperTable
from coldbrood.setup import found, read
from coldbrood.setup.ask import KEEP, Asker, BadAnswer, Question
from coldbrood.setup.read import NONE
from coldbrood.setup.save import SECRETS
from coldbrood.setup.values import Old, shown

Row = dict[str, Any]

PASSWORD_FILE: Final = f"{SECRETS}/broker-password"
COMMON_CHICKS: Final = "12 to 20 a box is common practice, no source."


def site(asker: Asker, old: Old, zone: str | None, hostname: str) -> Row:
    """[site]."""
    was = old.table("site")
    name = asker.ask(
        Question(
            "site",
            "name of the site",
            read.why("site", "name"),
            read.of_schema("site", "name"),
            shown(was.get("name")) or hostname,
        )
    )
    zone = asker.ask(
        Question(
            "time_zone",
            "time zone",
            f"{read.why('site', 'time_zone')} The default is the board's.",
            _zone,
            shown(was.get("time_zone")) or zone,
        )
    )
    near = found.place_of(zone)
    default = f"{near[0]:g}, {near[1]:g}" if near else None
    if "latitude_deg" in was and "longitude_deg" in was:
        default = f"{was['latitude_deg']:g}, {was['longitude_deg']:g}"
    why = "Where the site is, in degrees; one decimal is enough: only sunset and sunrise come from it."
    if near and not was:
        why += " The default is the town that the time zone is named after."
    latitude_deg, longitude_deg = asker.ask(
        Question("place", "latitude, longitude (north and east are plus)", why, read.place, default)
    )
    return {"name": name, "time_zone": zone, "latitude_deg": latitude_deg, "longitude_deg": longitude_deg}


def _zone(text: str) -> str:
    from zoneinfo import ZoneInfo

    try:
        return ZoneInfo(text).key
    except (LookupError, ValueError, OSError):
        raise BadAnswer('a name of the IANA data base, such as "Etc/UTC" or "Europe/Lisbon"') from None


def keeper(asker: Asker, old: Old) -> Row:
    """[keeper]: the two times that decide when a phone may make a sound."""
    was = old.table("keeper")
    row: Row = {}
    for key, words in (("bedtime", "bedtime"), ("rising", "time you rise")):
        default = was.get(key) or settings_of(KeeperTable)[key].default
        why = read.why("keeper", key)
        row[key] = asker.ask(Question(key, words, why, read.of_schema("keeper", key), shown(default)))
    return row


def broker(asker: Asker, old: Old, installed: bool) -> tuple[Row | None, str | None]:
    """[broker] and its new password; None for no broker, and None for a password kept or not needed.

    `installed`: the installer has made the login and left its password where it belongs.
    """
    was = old.table("broker")
    default = f"{was['host']}:{was.get('port', 1883)}" if "host" in was else "127.0.0.1:1883"
    if old.rows("probe") and not was:
        default = NONE
    at = asker.ask(
        Question(
            "broker",
            "broker, or none",
            "Address of the MQTT broker, which takes the battery probes' messages. The default is this "
            "board: no other machine is then needed at night. Type none if every probe is wired to this "
            "board.",
            read.or_none(read.address),
            default,
        )
    )
    if at is None:
        return None, None
    user = asker.ask(
        Question(
            "broker_user",
            "user name at the broker, or none",
            "The name coldbrood logs in with. Give each probe a name of its own (coldbrood probe add).",
            read.or_none(read.of_schema("broker", "username")),
            shown(was.get("username")) or (NONE if was else "coldbrood"),
        )
    )
    row: Row = {"host": at[0], "port": at[1], "username": user}
    if user is None:
        return {**row, "password_file": None, "password_env": None}, None
    kept = "password_file" in was or "password_env" in was or installed
    password = asker.ask(
        Question(
            "broker_password",
            "its password (not shown as you type)",
            "Kept in a file of its own, readable by its owner alone. It stands in no config file.",
            read.one_of((KEEP,), _one_line),
            KEEP if kept else None,
            secret=True,
        )
    )
    named = {"password_file": was.get("password_file", PASSWORD_FILE), "password_env": None}
    if not (kept and password == KEEP):
        return {**row, **named}, password
    return ({**row, **named} if "password_env" not in was else row), None


def _one_line(text: str) -> str:
    if not text.isprintable() or not text.strip():
        raise BadAnswer("one line of printable characters")
    return text


def boxes(asker: Asker, old: Old) -> list[Row]:
    """Every [[box]]; a further one is built like the first unless said otherwise."""
    names = [row["name"] for row in old.rows("box") if "name" in row]
    wanted = asker.ask(
        Question(
            "boxes",
            "names of the hen boxes",
            "One name for each box with a jug, such as: a b",
            read.names,
            " ".join(names) or "a",
        )
    )
    rows: list[Row] = []
    for name in wanted:
        was = old.row("box", name)
        chicks = _chicks(asker, name, was)
        if rows and not was and _alike(asker, name, rows[0]["name"]):
            rows.append({**rows[0], "name": name, "chicks": chicks})
        else:
            rows.append({"name": name, "chicks": chicks, **build(asker, name, was)})
    return rows


def _chicks(asker: Asker, name: str, was: Mapping[str, Any]) -> object:
    why = f"Chicks in box {name} at the start. {COMMON_CHICKS}"
    question = Question(
        f"chicks_{name}",
        f"chicks in box {name}",
        why,
        read.of_schema("box", "chicks"),
        shown(was.get("chicks")),
    )
    return asker.ask(question)


def _alike(asker: Asker, name: str, first: str) -> bool:
    why = f"Box {name} has the size, walls and jugs of box {first}?"
    return asker.ask(Question(f"alike_{name}", f"box {name} like box {first}", why, read.yes, "yes"))


def build(asker: Asker, name: str, was: Mapping[str, Any]) -> Row:
    """Size, walls and jugs of one box."""

    def put(key: str, words: str, why: str, reader: Callable[[str], Any], default: str | None) -> Any:
        return asker.ask(Question(f"{key}_{name}", words, why, reader, default))

    size = None
    if {"length_m", "width_m", "height_m"} <= was.keys():
        size = " x ".join(f"{100 * was[key]:g}" for key in ("length_m", "width_m", "height_m"))
    length_m, width_m, height_m = put(
        "inside", "length x width x height in cm", f"Inside of box {name}, measured.", read.inside_m, size
    )
    wall = (
        f"{was['insulation_mm']:g} {was.get('insulation_w_per_mk', 0.038):g}"
        if "insulation_mm" in was
        else None
    )
    mm, w_per_mk = put(
        "insulation",
        "millimetres and what of, such as 30 eps",
        "Insulation of walls and lid: eps or xps (foam board), wool, fibre, shavings, wood; or its "
        "conductivity in W/mK. Leave holes for air: a sealed box kills.",
        read.insulation,
        wall,
    )
    jug = f"{was.get('jugs', 1)} x {was['jug_litres']:g}" if "jug_litres" in was else None
    count, litres = put(
        "jugs",
        "litres, or jugs x litres, such as 2 x 3.8",
        f"Water in box {name} as filled. The figure that counts most: measure it once.",
        read.jugs,
        jug,
    )
    fill_c = put(
        "fill_c",
        "degrees C of the water at a refill",
        read.why("box", "fill_c"),
        read.number(30.0, 95.0, "C"),
        shown(float(was.get("fill_c", 60.0))),
    )
    wrapped = put(
        "wrapped",
        "jug in a towel or sacking",
        read.why("box", "jug_wrapped"),
        read.yes,
        "yes" if was.get("jug_wrapped") else "no",
    )
    return {
        "length_m": length_m,
        "width_m": width_m,
        "height_m": height_m,
        "insulation_mm": mm,
        "insulation_w_per_mk": w_per_mk,
        "jugs": count,
        "jug_litres": litres,
        "fill_c": fill_c,
        "jug_wrapped": wrapped,
    }


def batch(asker: Asker, old: Old, today: date) -> Row:
    """[batch]. On a later run it is the place to correct a date, not to begin a new batch."""
    was = old.table("batch")
    why = "The day the chicks arrive or arrived. A guess does before they come; correct it then."
    if was:
        why = "The day the chicks arrived. New chicks are no change here: coldbrood batch close, then start."
    arrival = asker.ask(
        Question("arrival", "arrival", why, read.day, shown(was.get("arrival")) or today.isoformat())
    )
    hatched = asker.ask(
        Question(
            "hatched",
            "day of hatch, or none",
            "If known, age is counted from it, and with it the warmth they need. Posted chicks are a "
            "day or two old. None: the day they arrive counts as day 0, the cautious guess.",
            read.or_none(read.day),
            shown(was.get("hatched")) or NONE,
        )
    )
    return {"arrival": arrival, "hatched": hatched}
