"""Hot water and what it takes to heat it, with the sum shown. Estimates: no one weighed the wood.

Marks: V read in the source, C computed, M from memory.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from coldbrood.brooder.specs import BoxSpec
from coldbrood.page.speech import N_
from coldbrood.report.gather import Refilled

KJ_PER_K_LITRE: Final = 4.183
"""Litres measured cold at 10 C, heated to about 80: 1112.6 kJ for 3.8 L over 70 K (C: IAPWS-IF97)."""
COLD_C: Final = 10.0  # water from a tap or well in spring: an assumption
KJ_PER_KWH: Final = 3600.0


@dataclass(frozen=True, slots=True)
class Heater:
    """One way to heat water: the part of the fuel's heat that reaches it (least, most), kWh in a kilogram."""

    name: str
    least: float
    most: float
    kwh_per_kg: float | None


HEATERS: Final = (
    Heater(N_("electric kettle"), 0.80, 0.90, None),  # M
    Heater(N_("gas ring, propane"), 0.40, 0.55, 12.9),  # M: lower heating value 46.4 MJ/kg
    Heater(N_("wood stove's top, dry wood"), 0.10, 0.25, 4.1),  # M: about 15 MJ/kg at a fifth of water
)


@dataclass(frozen=True, slots=True)
class Water:
    """All refills of one box or of the batch: how many, litres, and the heat two ways.

    `fresh_kwh` heats cold water each time; `again_kwh` heats the same water from the box's temperature just
    before: the jug was no colder than that, so it is the most that reheating takes.
    """

    refills: int
    litres: float
    fresh_kwh: float
    again_kwh: float


def water(spec: BoxSpec, refills: Iterable[Refilled]) -> Water:
    """The sum over the refills of one box; a fill temperature that was told counts, else the stated one."""
    each = spec.jugs * spec.jug_litres
    fills = [(spec.fill_c if one.fill_c is None else one.fill_c, one.box_c) for one in refills]
    fresh_k = sum(max(0.0, fill_c - COLD_C) for fill_c, _ in fills)
    again_k = sum(max(0.0, fill_c - (COLD_C if box_c is None else box_c)) for fill_c, box_c in fills)
    return Water(len(fills), each * len(fills), _kwh(each, fresh_k), _kwh(each, again_k))


def _kwh(litres: float, kelvin: float) -> float:
    return litres * KJ_PER_K_LITRE * kelvin / KJ_PER_KWH


def total(parts: Iterable[Water]) -> Water:
    """Several boxes as one."""
    parts = list(parts)
    return Water(
        sum(part.refills for part in parts),
        sum(part.litres for part in parts),
        sum(part.fresh_kwh for part in parts),
        sum(part.again_kwh for part in parts),
    )


def fuel(heater: Heater, kwh: float) -> tuple[float, float]:
    """Least and most to be burned or drawn: kg where the fuel is weighed, else kWh."""
    per = heater.kwh_per_kg or 1.0
    return kwh / heater.most / per, kwh / heater.least / per
