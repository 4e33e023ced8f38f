"""One batch under every policy: the plain numbers that the figures are made of."""

from collections.abc import Iterable
from dataclasses import asdict, dataclass
from typing import Any
from unittest.mock import patch

from nightsim.baselines import Threshold, timetable_life
from nightsim.floors import DEMANDING, FLOORS, under
from nightsim.lane import Life, live
from nightsim.oracle import WAKING_KH, oracle_life
from nightsim.product import Product, site_of
from nightsim.scenario import Scenario, draw
from nightsim.scores import Scored

from coldbrood.brooder import band

DEFAULT_RISK = 0.1
SEEN_WITHIN_MIN = 10
SEEN_LATE_MIN = 15
# Till then the lid's dip is all that a reading shows.
DIP_MIN = 3
# A jug changed for one hardly hotter shows no more than a lid does.
PLAIN_K = 15.0
BEYOND_REACH_C = 90.0
HEAT_MINDED = "oracle, heat minded"


@dataclass(frozen=True)
class Tally:
    """One life in four numbers."""

    wakings: int
    refills: int
    cold_kh: float
    hard_min: float


def tally(life: Life, floor_name: str) -> Tally:
    """Count one life under one floor."""
    cold_kh, hard_min = under(life.lane, FLOORS[floor_name])
    return Tally(len(life.wakings), life.refills, cold_kh, hard_min)


def _apart(refills: list[int]) -> list[int]:
    """Refills after the first fill, but for those within 45 minutes of the one before, which are the same."""
    return [at for i, at in enumerate(refills) if i and at - refills[i - 1] >= 45]


def refills_seen(
    refills: list[int], seen: list[int], within_min: int = SEEN_WITHIN_MIN
) -> tuple[int, int, int]:
    """Refills, those seen so soon, and sightings of none (60 minutes count as the same one)."""
    real = _apart(refills)
    caught = sum(_is_caught(at, seen, within_min) for at in real)
    false = sum(not any(-5 <= found - at <= 60 for at in refills) for found in seen)
    return len(real), caught, false


def _is_caught(at: int, seen: list[int], within_min: int = SEEN_WITHIN_MIN) -> bool:
    return any(0 <= found - at <= within_min for found in seen)


def _read(refills: list[int], readings: Iterable[int]) -> list[int]:
    """Those of which a reading could tell within ten minutes: messages are lost now and then."""
    at_min = set(readings)
    soon = range(DIP_MIN, SEEN_WITHIN_MIN + 1)
    return [at for at in _apart(refills) if any(at + m in at_min for m in soon)]


def refills_read(refills: list[int], readings: Iterable[int]) -> tuple[int, int]:
    """Refills, and those of which a reading could tell within ten minutes."""
    return len(_apart(refills)), len(_read(refills, readings))


def refills_plain(
    refills: list[int], hotter_k: dict[int, float], readings: Iterable[int], seen: list[int]
) -> tuple[int, int]:
    """Refills that a reading could tell of, the jug much hotter than the old one, and those seen of them."""
    plain = [at for at in _read(refills, readings) if hotter_k[at] >= PLAIN_K]
    return len(plain), sum(_is_caught(at, seen) for at in plain)


def product_life(s: Scenario, floor_name: str, risk: float, scored: bool) -> tuple[Life, Scored]:
    """The watch under test, with its forecasts scored if asked."""
    floors = DEMANDING if floor_name == "demanding" else ()
    policy = Scored(Product(s, site_of(s, risk, floors)), FLOORS[floor_name])
    return live(s, policy if scored else policy.product), policy


def product_tally(
    seed: int, floor_name: str = "demanding", risk: float = DEFAULT_RISK, minds_heat: bool = True
) -> dict[str, Any]:
    """The watch alone on one seed, as plain values; its ceilings out of reach if it is to mind no heat."""
    first_c, last_c = band._CEILING_FIRST_C, band._CEILING_LAST_C
    if not minds_heat:
        first_c = last_c = BEYOND_REACH_C
    with patch.multiple(band, _CEILING_FIRST_C=first_c, _CEILING_LAST_C=last_c):
        life, _ = product_life(draw(seed), floor_name, risk, scored=False)
    return asdict(tally(life, floor_name))


def seen_by_interval(seed: int, every_min: int) -> dict[str, Any]:
    """Refills seen on one seed with a reading of the box so often: in time, late, and falsely."""
    s = draw(seed)
    product = Product(s, site_of(s, DEFAULT_RISK, DEMANDING), every_min=every_min)
    refills = live(s, product).lane.refills
    real, soon, false = refills_seen(refills, product.seen)
    _, later, _ = refills_seen(refills, product.seen, SEEN_LATE_MIN)
    return {"refills": real, "soon": soon, "later": later, "false": false}


def oracle_tally(seed: int, floor_name: str = "demanding", waking_kh: float = WAKING_KH) -> dict[str, Any]:
    """The oracle alone on one seed, a waking at a price of its own, as plain values."""
    life = oracle_life(draw(seed), FLOORS[floor_name], waking_kh=waking_kh)
    return asdict(tally(life, floor_name))


def run(seed: int, floor_name: str = "demanding", risk: float = DEFAULT_RISK) -> dict[str, Any]:
    """All policies on one seed, as plain values."""
    s = draw(seed)
    life, scored = product_life(s, floor_name, risk, scored=True)
    lives = {
        "product": life,
        "timetable": timetable_life(s),
        "threshold": live(s, Threshold(FLOORS[floor_name])),
        "oracle": oracle_life(s, FLOORS[floor_name]),
        HEAT_MINDED: oracle_life(s, FLOORS[floor_name], minds_heat=True),
    }
    refills, hotter_k = life.lane.refills, life.lane.hotter_k
    seen, readings = scored.product.seen, [at for at, _ in scored.product.readings]
    return {
        "seed": seed,
        "place": s.place.name,
        "outdoor_c": float(s.weather.outdoor_c.mean()),
        "called_weak": called_weak(scored.product),
        "tally": {name: asdict(tally(one, floor_name)) for name, one in lives.items()},
        "refills_seen": refills_seen(refills, seen),
        "refills_read": refills_read(refills, readings),
        "refills_plain": refills_plain(refills, hotter_k, readings, seen),
        "false_and_sure": refills_seen(refills, scored.product.seen_surely)[2],
        "cases": [asdict(case) for case in scored.cases],
        "left_out": scored.left_out,
        "residuals": scored.residuals,
        "other_wakings": _other(scored.product),
    }


def called_weak(product: Product) -> bool:
    """Whether the watch said on day 0 that this box is too weak for its first night."""
    return any(minute < 1440 and send.key.startswith("sizing-") for minute, send in product.sends)


def _other(product: Product) -> dict[str, int]:
    """Messages of the night that may wake, by condition: how many alarms were raised."""
    found: dict[str, set[str]] = {}
    for minute, send in product.sends:
        if send.urgency >= 3 and (minute % 1440 >= 1320 or minute % 1440 < 390):
            found.setdefault(send.key.split("/")[0], set()).add(send.key.rsplit(".", 1)[0])
    return {condition: len(keys) for condition, keys in found.items()}
