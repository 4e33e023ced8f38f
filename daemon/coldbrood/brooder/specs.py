"""What the keeper states about a box and its chicks, before any reading."""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

# By day sun, chicks that go out and in, and lids add so much to what the model cannot know, in kelvin of
# outdoor air; by night hardly anything does (own choice, on simulated boxes: with one figure for both, the
# squared errors of two hours' forecasts were 0.8 to 1.3 of what was expected by day, 0.3 to 0.9 by night).
DAY_UNREST_K = 2.5

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
    """Outdoor air ahead: mean and standard deviation at ascending watch times, three arrays of shape (n,).

    `unrest_k` (n,) is what else is not known of the heat, in kelvin of this air; without it that of a day.
    """

    t_s: NDArray[np.float64]
    mean_c: NDArray[np.float64]
    sd_c: NDArray[np.float64]
    unrest_k: NDArray[np.float64] | None = None

    def at(self, t_s: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Mean and deviation at times of shape (m,), linear between points, held flat beyond the ends."""
        return np.interp(t_s, self.t_s, self.mean_c), np.interp(t_s, self.t_s, self.sd_c)

    def unrest_at(self, t_s: NDArray[np.float64]) -> NDArray[np.float64]:
        """The unrest at times of shape (m,), in the same way."""
        if self.unrest_k is None:
            return np.full(t_s.shape, DAY_UNREST_K)
        return np.interp(t_s, self.t_s, self.unrest_k)
