"""What the keeper states about a box and its chicks, before any reading."""

from dataclasses import dataclass
from typing import Literal

ChickKind = Literal["layer", "broiler"]


@dataclass(frozen=True, slots=True)
class BoxSpec:
    """One insulated hen box with its jugs. Inside dimensions in metres, thickness in millimetres."""

    name: str
    length_m: float
    width_m: float
    height_m: float
    insulation_mm: float
    insulation_w_per_mk: float
    air_changes_per_h: float
    jugs: int
    jug_litres: float
    fill_c: float
    jug_wrapped: bool


@dataclass(frozen=True, slots=True)
class Flock:
    """The chicks in one box at one time. Age in days since day 0, as a fraction."""

    chicks: int
    age_days: float
    kind: ChickKind
