"""A sensor compared at one known temperature or two: its correction, and how sure that is. Pure.

Uncertainties are standard ones, added in quadrature, and told with a coverage factor of 2 (JCGM 100:2008,
the GUM, sections 4.2, 4.3.7, 5.1.2 and 6.2). Marks: V read in the source, C computed, M from memory.
"""

import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

COVERAGE: Final = 2.0
STEP_C: Final = 0.0625  # a DS18B20 at 12 bits (V: its sheet)
SHEET_C: Final = 0.5  # its error at -10 to 85 C (V: its sheet)
FEWEST: Final = 6
STEADY_C: Final = 2 * STEP_C + 1e-6
"""Spread of the last six within which a point counts as reached: two steps of the sensor, own choice."""

ICE_U_C: Final = 0.05
"""Of crushed ice and tap water, stirred: own choice. With care an ice point is good to 0.01 C (M: ASTM E563);
salt, a lump of warmer water and the heat along the cable take the rest."""

BOIL_U_C: Final = 0.1
"""Of rolling boiling tap water at a known pressure: own choice, for salt and depth."""

HOT_U_C: Final = 0.3
"""Above 85 C the sheet allows the sensor more, up to 2 C over its whole range (M), so what is found at the
boil says less of the box's warmth: own choice."""
WEATHER_U_PA: Final = 900.0
"""How far the weather's pressure wanders from the standard one at a place (M)."""

SEA_LEVEL_PA: Final = 101_325.0
GAIN_FAR_C: Final = 10.0  # two points nearer than this say nothing of the slope
OFFSET_MOST_C: Final = 5.0
GAIN_MOST: Final = 0.05


class NoCorrection(Exception):  # noqa: N818 - it is told to the keeper as it stands
    """The readings make no correction; the text says why and what to do."""


@dataclass(frozen=True, slots=True)
class Point:
    """Readings at a known temperature. `u_c` is the standard uncertainty of the known one."""

    known_c: float
    u_c: float
    readings_c: tuple[float, ...]

    @property
    def mean_c(self) -> float:
        """Mean of the readings."""
        return statistics.fmean(self.readings_c)

    @property
    def spread_c(self) -> float:
        """From the lowest to the highest reading."""
        return max(self.readings_c) - min(self.readings_c)

    @property
    def error_u_c(self) -> float:
        """Standard uncertainty of the error found here: spread, the sensor's step, the known temperature."""
        n = len(self.readings_c)
        spread = statistics.stdev(self.readings_c) / math.sqrt(n) if n > 1 else self.spread_c
        return math.sqrt(spread**2 + STEP_C**2 / 12.0 + self.u_c**2)


@dataclass(frozen=True, slots=True)
class Correction:
    """True temperature is raw times `gain` plus `offset_c`; `points` are what it rests on."""

    offset_c: float
    gain: float
    points: tuple[Point, ...]

    def u_c(self, at_c: float) -> float:
        """Expanded uncertainty at a temperature: one point holds near itself, elsewhere the sheet does."""
        if len(self.points) == 1:
            far = min(1.0, abs(at_c - self.points[0].known_c) / 20.0)
            return COVERAGE * math.hypot(self.points[0].error_u_c, far * SHEET_C / math.sqrt(3.0))
        low, high = self.points
        part = (at_c - low.known_c) / (high.known_c - low.known_c)
        return COVERAGE * math.hypot((1.0 - part) * low.error_u_c, part * high.error_u_c)


def is_steady(readings_c: Sequence[float]) -> bool:
    """Whether the last six lie together: the sensor has come to the temperature about it."""
    last = readings_c[-FEWEST:]
    return len(last) == FEWEST and max(last) - min(last) <= STEADY_C


def steady_part(readings_c: Sequence[float]) -> tuple[float, ...]:
    """The readings from the end back to the first that lies within the spread of a reached point."""
    last = readings_c[-FEWEST:]
    low, high = max(last) - STEADY_C, min(last) + STEADY_C
    part: list[float] = []
    for value in reversed(readings_c):
        if not low <= value <= high:
            break
        part.append(value)
    return tuple(reversed(part))


def correct(*points: Point) -> Correction:
    """The correction of one point, an offset, or of two, a straight line. Raises NoCorrection.

    Two points always give the line: to keep a gain of 1 where the slope might be chance was tried, and then
    twice the stated uncertainty held the truth 90 times in 100 only (test_correction_sums.py).
    """
    for point in points:
        if not point.readings_c:
            raise NoCorrection("no reading came: is the probe awake, and does the broker hear it?")
        if abs(point.known_c - point.mean_c) > OFFSET_MOST_C:
            raise NoCorrection(
                f"it reads {point.mean_c:.1f} C at {point.known_c:.1f} C: too far off for a sensor that "
                "works; is it in the middle of the ice water, and is it this probe?"
            )
    if len(points) == 1:
        return Correction(points[0].known_c - points[0].mean_c, 1.0, points)
    return _of_two(*sorted(points, key=lambda point: point.known_c))


def _of_two(low: Point, high: Point) -> Correction:
    if high.known_c - low.known_c < GAIN_FAR_C:
        raise NoCorrection(
            f"the two temperatures lie {high.known_c - low.known_c:.1f} C apart: 10 C at least"
        )
    gain = (high.known_c - low.known_c) / (high.mean_c - low.mean_c)
    if abs(gain - 1.0) > GAIN_MOST:
        raise NoCorrection(f"its slope would be {gain:.3f}: too far from 1 for a sensor that works")
    return Correction(low.known_c - gain * low.mean_c, gain, (low, high))


def pressure_pa(altitude_m: float) -> float:
    """Pressure of the standard atmosphere, -500 to 11,000 m: ISO 2533:1975 (formula C from its constants)."""
    if not -500.0 <= altitude_m <= 11_000.0:
        raise ValueError(f"altitude_m: {altitude_m}: -500 to 11000 m")
    return float(SEA_LEVEL_PA * (1.0 - 0.0065 * altitude_m / 288.15) ** (9.80665 / (0.0065 * 287.05287)))


_IF97 = (
    0.11670521452767e4,
    -0.72421316703206e6,
    -0.17073846940092e2,
    0.12020824702470e5,
    -0.32325550322333e7,
    0.14915108613530e2,
    -0.48232657361591e4,
    0.40511340542057e6,
    -0.23855557567849,
    0.65017534844798e3,
)


def boiling_c(pressure: float) -> float:
    """Temperature in C at which water boils under a pressure in Pa: IAPWS-IF97, equation 31 (region 4).

    Raises ValueError outside 30 to 110 kPa, where nobody keeps chicks.
    """
    if not 30_000.0 <= pressure <= 110_000.0:
        raise ValueError(f"pressure: {pressure}: 30000 to 110000 Pa")
    n = _IF97
    beta = (pressure / 1e6) ** 0.25
    e = beta**2 + n[2] * beta + n[5]
    f = n[0] * beta**2 + n[3] * beta + n[6]
    g = n[1] * beta**2 + n[4] * beta + n[7]
    d = 2.0 * g / (-f - math.sqrt(f**2 - 4.0 * e * g))
    kelvin = (n[9] + d - math.sqrt((n[9] + d) ** 2 - 4.0 * (n[8] + n[9] * d))) / 2.0
    return float(kelvin - 273.15)


def ice_point(readings_c: Sequence[float]) -> Point:
    """The readings in melting ice."""
    return Point(0.0, ICE_U_C, tuple(readings_c))


def boiling_point(readings_c: Sequence[float], pressure: float, pressure_u_pa: float) -> Point:
    """The readings in boiling water under a pressure in Pa known to `pressure_u_pa`."""
    slope = (boiling_c(pressure + 500.0) - boiling_c(pressure - 500.0)) / 1000.0
    u_c = math.hypot(BOIL_U_C, HOT_U_C, slope * pressure_u_pa)
    return Point(boiling_c(pressure), u_c, tuple(readings_c))


def thermometer_point(readings_c: Sequence[float], shown_c: float, accuracy_c: float) -> Point:
    """The readings beside a thermometer; its stated accuracy is taken as a rectangle (GUM 4.3.7)."""
    return Point(shown_c, accuracy_c / math.sqrt(3.0), tuple(readings_c))
