"""What the keeper states about a box and its chicks, before any reading."""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

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


@dataclass(frozen=True, slots=True)
class OutdoorCurve:
    """Outdoor air ahead: mean and standard deviation at ascending watch times, three arrays of shape (n,)."""

    t_s: NDArray[np.float64]
    mean_c: NDArray[np.float64]
    sd_c: NDArray[np.float64]

    def at(self, t_s: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Mean and deviation at times of shape (m,), linear between points, held flat beyond the ends."""
        return np.interp(t_s, self.t_s, self.mean_c), np.interp(t_s, self.t_s, self.sd_c)
