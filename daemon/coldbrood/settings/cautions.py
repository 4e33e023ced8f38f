"""What works but can hurt or fail: said at `check` and at start-up, never an error."""

import bisect
import math
from collections.abc import Iterator
from ipaddress import ip_address
from typing import Final

from coldbrood.settings.records import Caution
from coldbrood.settings.schema import File
from coldbrood.settings.tables_box import BoxTable

HOT_FILL_C: Final = {"PET": 49.0, "LDPE": 49.0, "PVC": 60.0, "HDPE": 63.0, "PP": 74.0}
"""Hot-fill guidance by plastic (V: FILL in reference/poultry.md section 6)."""

SCALD_TABLE: Final = ((48.9, 300.0), (54.4, 30.0), (60.0, 6.0), (65.6, 2.0))
"""Water in Celsius, seconds to a full-thickness scald in adults (V: SCALD, the same section)."""

SCALD_FROM_C: Final = 44.0
"""No warning under this (M)."""

CHICKS_FEW: Final = 12
CHICKS_MANY: Final = 20
"""Chicks a box: common practice, no source."""


def cautions(file: File) -> Iterator[Caution]:
    """Everything the keeper should know about a valid file, in its order."""
    for index, box in enumerate(file.box):
        yield from _chicks(box, f"box[{index}].chicks")
        yield from _plastic(box, f"box[{index}].fill_c")
    yield from _scald(file)
    yield from _probes(file)
    yield from _link(file)
    if not file.channel:
        yield Caution("channel", "no channel: nothing can reach the keeper, whatever happens in the box")


def scald_s(water_c: float) -> float:
    """Seconds in which water scalds an adult; the shorter of two sources that disagree, infinite under 44 C.

    Sources: the table above, log-linear between its rows and flat beyond; the regression
    ln s = 116.4 - 28.3 ln T on Moritz and Henriques 1947 (V: PLOS). Children and old people: sooner (M).
    """
    if water_c < SCALD_FROM_C:
        return math.inf
    regression = math.exp(116.4 - 28.3 * math.log(water_c))
    return min(regression, _table_s(water_c))


def _table_s(water_c: float) -> float:
    at = bisect.bisect([row_c for row_c, _ in SCALD_TABLE], water_c)
    if at == 0:
        return math.inf
    if at == len(SCALD_TABLE):
        return SCALD_TABLE[-1][1]
    (low_c, low_s), (high_c, high_s) = SCALD_TABLE[at - 1], SCALD_TABLE[at]
    share = (water_c - low_c) / (high_c - low_c)
    return math.exp(math.log(low_s) + share * (math.log(high_s) - math.log(low_s)))


def scald_words(water_c: float) -> str:
    """How fast water of this temperature scalds, in words; empty where nothing is to be said."""
    seconds = scald_s(water_c)
    if math.isinf(seconds):
        return ""
    if seconds < 1.0:
        return "scalds in under a second"
    return f"scalds in {seconds:.0f} seconds" if seconds < 90.0 else f"scalds in {seconds / 60.0:.0f} minutes"


def _chicks(box: BoxTable, field: str) -> Iterator[Caution]:
    usual = f"{CHICKS_FEW} to {CHICKS_MANY} a box is common practice"
    if box.chicks < CHICKS_FEW:
        yield Caution(field, f"{box.chicks}: few to keep each other warm; {usual}")
    if box.chicks > CHICKS_MANY:
        yield Caution(field, f"{box.chicks}: they may pile up and crush each other; {usual}")


def _plastic(box: BoxTable, field: str) -> Iterator[Caution]:
    stands = {box.jug_plastic: HOT_FILL_C[box.jug_plastic]} if box.jug_plastic in HOT_FILL_C else HOT_FILL_C
    soft = [f"{plastic} ({limit:g} C)" for plastic, limit in stands.items() if box.fill_c > limit]
    if soft:
        yield Caution(field, f"{box.fill_c:g} C: over the hot-fill guidance for jugs of {', '.join(soft)}")


def _scald(file: File) -> Iterator[Caution]:
    hottest_c, index = max((box.fill_c, -index) for index, box in enumerate(file.box))
    words = scald_words(hottest_c)
    if words:
        text = f"{hottest_c:g} C: {words}, children sooner; cap on, jug upright, hands away"
        yield Caution(f"box[{-index}].fill_c", text)


def _probes(file: File) -> Iterator[Caution]:
    homes = [probe.box for probe in file.probe if probe.role == "box"]
    for index, box in enumerate(file.box):
        if homes.count(box.name) > 1:
            text = "probes, read as one place: set offset_c to make them agree"
            yield Caution(f"box[{index}].name", f"{homes.count(box.name)} {text}")
    outdoor = sum(probe.role == "outdoor" for probe in file.probe)
    if outdoor == 0:
        yield Caution("probe", "no outdoor probe: without one the forecast of the night is a wide guess")
    if outdoor > 1:
        yield Caution(
            "probe", f"{outdoor} outdoor probes: one in the shade is enough; a second only confuses"
        )


def _link(file: File) -> Iterator[Caution]:
    broker = file.broker
    if (
        broker is not None
        and broker.username is not None
        and broker.tls_ca is None
        and not _here(broker.host)
    ):
        yield Caution("broker.tls_ca", "missing: the password goes over the network as plain text")


def _here(host: str) -> bool:
    if host == "localhost":
        return True
    try:
        return ip_address(host).is_loopback
    except ValueError:
        return False
