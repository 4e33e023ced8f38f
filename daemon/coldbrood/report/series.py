"""What a probe saw, as arrays: lowest of a time, how long it was watched, how long it stood under or over."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import NDArray

from coldbrood.watch.events import Reading

Array = NDArray[np.float64]

SILENT_S = 900.0  # a reading stands for the time until the next one, at most for so long


@dataclass(frozen=True, slots=True, eq=False)
class Series:
    """Three arrays of shape (n,) in order of wall time: Unix time, watch time, temperature in C."""

    wall_s: Array
    t_s: Array
    celsius: Array

    @classmethod
    def of(cls, readings: Iterable[Reading]) -> Self:
        """Of finite readings, in any order."""
        rows = [(r.wall_s, r.t_s, r.value) for r in readings if np.isfinite(r.value)]
        table = np.array(sorted(rows), dtype=np.float64).reshape(-1, 3)
        return cls(table[:, 0], table[:, 1], table[:, 2])

    def between(self, from_s: float, to_s: float) -> "Series":
        """The part with `from_s` <= Unix time < `to_s`."""
        first, last = np.searchsorted(self.wall_s, (from_s, to_s))
        return Series(self.wall_s[first:last], self.t_s[first:last], self.celsius[first:last])

    def stands_s(self, until_s: float) -> Array:
        """How long each reading (n,) stands for, with the end of the time looked at."""
        apart = np.diff(
            np.append(self.wall_s, max(until_s, self.wall_s[-1]) if len(self.wall_s) else until_s)
        )
        return np.asarray(np.clip(apart, 0.0, SILENT_S))

    def seen_s(self, until_s: float) -> float:
        """For how long anything was known."""
        return float(self.stands_s(until_s).sum()) if len(self.wall_s) else 0.0

    def before(self, wall_s: float, within_s: float = 3600.0) -> float | None:
        """The newest value up to a time, if it is not older than `within_s`."""
        at = int(np.searchsorted(self.wall_s, wall_s, side="right")) - 1
        if at < 0 or wall_s - self.wall_s[at] > within_s:
            return None
        return float(self.celsius[at])

    def lowest(self) -> tuple[float, float] | None:
        """Unix time and value of the lowest; None with no reading."""
        return self._at(int(np.argmin(self.celsius))) if len(self.celsius) else None

    def highest(self) -> tuple[float, float] | None:
        """Unix time and value of the highest; None with no reading."""
        return self._at(int(np.argmax(self.celsius))) if len(self.celsius) else None

    def _at(self, index: int) -> tuple[float, float]:
        return float(self.wall_s[index]), float(self.celsius[index])
