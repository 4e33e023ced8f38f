"""A hen box that is not the daemon's model: the truth behind the demo and the forecast's scores.

Pure and seeded. Four nodes (jug water, jug surface, box air, structure) hold heat; each pair is
joined by a conductance worked out anew at every step, so nothing here is linear for long:

    water -- surface      film inside the jug, its wall, a towel if there is one
    surface -- air        natural convection
    surface -- structure  radiation
    air -- structure      natural convection over the inner walls and the litter
    air -- outdoor        leaks, moved by wind and by the temperature difference, and the open lid
    structure -- outdoor  insulation and an outer film that thins with wind

A step is implicit (backward Euler), so it is stable at any length and its energy balance closes
to rounding. Sources: shared/reference/physics.md sections 1, 3, 4, 9 and poultry.md section 3;
marks V (verified there), C (computed there), M (from memory).
"""

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from coldbrood.brooder.specs import BoxSpec

STEFAN_BOLTZMANN_W = 5.670374419e-8  # W/m2K4, CODATA 2018 [M]
KELVIN = 273.15
WATER_J_PER_K_LITRE = 4112.5  # at 60 C [C: IAPWS-IF97, section 1]
AIR_J_PER_K_M3 = 1213.0  # 0.337 Wh/K a m3 at 20 C, sea level [C: CoolProp, section 3]
STEP_S = 20.0  # the longest inner step: the air node alone answers within a minute
LID_CHANGES_PER_H = 240.0  # while the lid is open: 120 to 360 [assumption, section 9]
LID_OPEN_S = 30.0
PROBE_STEP_C = 0.0625  # DS18B20 at 12 bits [V, standards.md section 2]

# Sensible heat of unfed day-olds in shipping boxes, W/kg at 20, 25, 30, 35 C [V: XH]; the ends are
# carried on in a straight line, down to none at 41 C (body heat) [assumption].
_HEAT_AIR_C = (0.0, 20.0, 25.0, 30.0, 35.0, 41.0)
_HEAT_W_PER_KG = (13.4, 7.8, 6.4, 5.7, 5.2, 0.0)
# Mean mass of 50 chicks of an open data set, g by day [V: CW].
_MASS_DAY = (0, 2, 4, 6, 8, 10, 12, 14, 16, 18, 20, 21)
_MASS_G = (41.1, 49.2, 60.0, 74.3, 91.2, 107.8, 129.2, 143.8, 168.1, 190.2, 209.7, 218.7)

WATER, SURFACE, AIR, STRUCTURE = range(4)


@dataclass(frozen=True, slots=True)
class Weather:
    """What surrounds the box: air, wind at the box, and sun on an upright pane that faces it."""

    outdoor_c: float
    wind_m_s: float = 0.0
    sun_w_m2: float = 0.0


@dataclass(frozen=True, slots=True)
class TrueBox:
    """What is true of one box and stated by nobody. Factors multiply what the spec would give."""

    spec: BoxSpec
    wall_factor: float = 1.0
    leak_factor: float = 1.0
    structure_j_per_k: float = 14_000.0  # lining and litter; the model's node of 12 kJ/K holds the air too
    heat_factor: float = 0.8  # litter drying takes the rest; may fall to 0.2 [V: RL, PT]
    towel_m2k_per_w: float = 0.10  # 5 mm at 0.05 W/mK; 10 mm at 0.06 gives 0.17 [V: GT, section 3]
    pane_m2: float = 0.0  # a look-in pane lets the low sun in


@dataclass(frozen=True, slots=True)
class Chicks:
    """The chicks in the box now. `activity` is 1 at rest, up to 2 when fed, awake and apart."""

    count: int
    age_days: float
    activity: float = 1.0


def chick_mass_kg(age_days: float) -> float:
    """Mean mass of a chick by age, held flat outside 0 to 21 days."""
    return float(np.interp(age_days, _MASS_DAY, _MASS_G)) / 1000.0


def chicks_heat_w(chicks: Chicks, air_c: float) -> float:
    """Sensible heat of all chicks in W: the day-old figures, carried over sizes by mass to 3/4 (Kleiber)."""
    mass_kg = chick_mass_kg(chicks.age_days)
    per_kg = float(np.interp(air_c, _HEAT_AIR_C, _HEAT_W_PER_KG))
    return chicks.count * chicks.activity * per_kg * 0.040 * math.pow(mass_kg / 0.040, 0.75)


def jug_area_m2(litres: float) -> float:
    """Side and top of a jug 1.3 times as high as wide, standing on litter (physics.md section 4)."""
    diameter_m = math.cbrt(litres / 1000.0 / (math.pi / 4.0 * 1.3))
    return math.pi * diameter_m**2 * (1.3 + 0.25)


def convection_w_per_m2k(delta_k: float) -> float:
    """Natural convection from an upright wall 0.2 m high in air [C: ht, Churchill; power law within 2 %]."""
    return 2.04 * math.pow(max(abs(delta_k), 0.2), 0.27)


def film_w_per_m2k(delta_k: float) -> float:
    """Inner film of the jug's stirring water: 310 to 480 at 0.5 to 2 K [C, section 2]."""
    return 386.0 * math.pow(max(abs(delta_k), 0.05), 0.315)


def radiation_w_per_m2k(warm_c: float, cool_c: float) -> float:
    """Radiation between a small grey body (0.9) and the walls around it, exact in both temperatures."""
    warm, cool = warm_c + KELVIN, cool_c + KELVIN
    return 0.9 * STEFAN_BOLTZMANN_W * (warm**2 + cool**2) * (warm + cool)


@dataclass
class Truth:
    """The state of one true box. Temperatures in C, energies since the start in J.

    `heat_in_j` counts chicks, sun and refills, `heat_out_j` what went outdoors, so that
    `stored_j() == stored at the start + heat_in_j - heat_out_j`.
    """

    box: TrueBox
    nodes_c: NDArray[np.float64]
    wrapped: bool = False
    lid_open_s: float = 0.0
    vent_factor: float = 1.0
    heat_in_j: float = 0.0
    heat_out_j: float = 0.0

    def step(self, dt_s: float, weather: Weather, chicks: Chicks) -> None:
        """Go on by `dt_s` seconds under steady weather. Raises ValueError if `dt_s` is not positive."""
        if not dt_s > 0.0:
            raise ValueError(f"dt_s: {dt_s}: must be above 0")
        while dt_s > 1e-9:
            part_s = min(dt_s, STEP_S, self.lid_open_s or STEP_S)
            self._inner_step(part_s, weather, chicks)
            self.lid_open_s = max(0.0, self.lid_open_s - part_s)
            dt_s -= part_s

    def refill(self, fill_c: float, wrapped: bool) -> None:
        """The water is changed for water at `fill_c`, with or without a towel; the lid stands open 30 s."""
        before_j = self.stored_j()
        self.nodes_c = np.array([fill_c, *self.nodes_c[SURFACE:]])
        self.wrapped = wrapped
        self.heat_in_j += self.stored_j() - before_j
        self.open_lid(LID_OPEN_S)

    def open_lid(self, seconds: float) -> None:
        """The lid stands open for `seconds` from now."""
        self.lid_open_s = max(self.lid_open_s, seconds)

    @property
    def water_c(self) -> float:
        """Jug water."""
        return float(self.nodes_c[WATER])

    @property
    def air_c(self) -> float:
        """Box air, which the box probe follows."""
        return float(self.nodes_c[AIR])

    def capacity_j_per_k(self) -> NDArray[np.float64]:
        """Heat capacity of the nodes, shape (4,). Jug skin 0.7 mm, 1.8 MJ/m3K [M], towel 0.4 kg/m2 [M]."""
        spec = self.box.spec
        litres = spec.jugs * spec.jug_litres
        skin = 1.4 * jug_area_m2(spec.jug_litres) * spec.jugs * (1260.0 + (540.0 if self.wrapped else 0.0))
        return np.array(
            [
                litres * WATER_J_PER_K_LITRE,
                skin,
                _volume_m3(spec) * AIR_J_PER_K_M3,
                self.box.structure_j_per_k,
            ]
        )

    def stored_j(self) -> float:
        """Heat held above 0 C."""
        return float(self.capacity_j_per_k() @ self.nodes_c)

    def between_w_per_k(self) -> dict[tuple[int, int], float]:
        """Conductances between the nodes as they stand now."""
        spec, (water, surface, air, structure) = self.box.spec, self.nodes_c
        jug_m2 = spec.jugs * jug_area_m2(spec.jug_litres)
        inner_m2 = _inner_m2(spec)
        towel = self.box.towel_m2k_per_w if self.wrapped else 0.0
        jug_r = 1.0 / film_w_per_m2k(water - surface) + 0.0007 / 0.45 + towel
        return {
            (WATER, SURFACE): jug_m2 / jug_r,
            (SURFACE, AIR): jug_m2 * convection_w_per_m2k(surface - air),
            (SURFACE, STRUCTURE): jug_m2 * radiation_w_per_m2k(surface, structure),
            (AIR, STRUCTURE): inner_m2 * convection_w_per_m2k(air - structure),
        }

    def outward_w_per_k(self, weather: Weather) -> NDArray[np.float64]:
        """Conductance of each node to the outdoors as it stands now, shape (4,)."""
        leak = self._leak_w_per_k(weather)
        return np.array([0.0, 0.0, leak, _walls_w_per_k(self.box, weather.wind_m_s)])

    def _leak_w_per_k(self, weather: Weather) -> float:
        spec = self.box.spec
        stack = abs(self.air_c - weather.outdoor_c)
        # Stack and wind add as squares [M: Sherman-Grimsrud form]; the spec's change holds at 15 K, 1 m/s.
        drive = math.sqrt((stack / 15.0 + weather.wind_m_s**2) / 2.0)
        changes = spec.air_changes_per_h * self.box.leak_factor * self.vent_factor * drive
        if self.lid_open_s > 0.0:
            changes += LID_CHANGES_PER_H
        return AIR_J_PER_K_M3 / 3600.0 * _volume_m3(spec) * changes

    def _inner_step(self, dt_s: float, weather: Weather, chicks: Chicks) -> None:
        outward = self.outward_w_per_k(weather)
        sources = self._sources_w(weather, chicks)
        held = self.capacity_j_per_k() / dt_s
        matrix = np.diag(held + outward)
        for (one, other), w_per_k in self.between_w_per_k().items():
            matrix[one, one] += w_per_k
            matrix[other, other] += w_per_k
            matrix[one, other] -= w_per_k
            matrix[other, one] -= w_per_k
        drive = held * self.nodes_c + sources + outward * weather.outdoor_c
        self.nodes_c = np.asarray(np.linalg.solve(matrix, drive), np.float64)
        self.heat_in_j += float(sources.sum()) * dt_s
        self.heat_out_j += float(outward @ (self.nodes_c - weather.outdoor_c)) * dt_s

    def _sources_w(self, weather: Weather, chicks: Chicks) -> NDArray[np.float64]:
        # Half of what chicks give goes into the air, half by contact and radiation into litter and walls.
        heat = self.box.heat_factor * chicks_heat_w(chicks, self.air_c)
        sun = self.box.pane_m2 * 0.75 * weather.sun_w_m2  # a clear plastic pane lets some 3/4 through [M]
        return np.array([0.0, 0.0, 0.5 * heat, 0.5 * heat + sun])


def start(box: TrueBox, outdoor_c: float, box_c: float, fill_c: float) -> Truth:
    """A box at `box_c` with a jug just filled at `fill_c`; the walls stand half-way to the outdoors."""
    walls_c = box_c - 0.3 * (box_c - outdoor_c)
    nodes_c = np.array([fill_c, 0.5 * (fill_c + box_c), box_c, walls_c])
    return Truth(box=box, nodes_c=nodes_c, wrapped=box.spec.jug_wrapped)


def drawn(spec: BoxSpec, seed: int) -> TrueBox:
    """A true box for a stated one: what a keeper states is off by such amounts [assumption]."""
    rng = np.random.default_rng(seed)
    return TrueBox(
        spec=spec,
        wall_factor=float(rng.lognormal(0.0, 0.15)),
        leak_factor=float(rng.lognormal(0.0, 0.35)),
        structure_j_per_k=float(rng.uniform(8_000.0, 20_000.0)),
        heat_factor=float(rng.uniform(0.4, 1.0)),
        towel_m2k_per_w=float(rng.uniform(0.07, 0.17)),
    )


@dataclass
class Probe:
    """A probe that follows its air late, with an offset, a wander (10 min memory), noise and steps."""

    seed: int
    at_c: float
    offset_c: float = 0.0
    lag_s: float = 180.0  # steel-capped, still air: several minutes [M, section 9]
    wander_sd_c: float = 0.10
    noise_sd_c: float = 0.04
    wander_c: float = field(default=0.0, init=False)
    rng: np.random.Generator = field(init=False, repr=False)

    def __post_init__(self) -> None:
        self.rng = np.random.default_rng(self.seed)

    def follow(self, dt_s: float, air_c: float) -> None:
        """Let `dt_s` seconds pass in air at `air_c`."""
        self.at_c += (air_c - self.at_c) * (1.0 - math.exp(-dt_s / self.lag_s))
        keep = math.exp(-dt_s / 600.0)
        self.wander_c = keep * self.wander_c + self.wander_sd_c * math.sqrt(1 - keep**2) * self.rng.normal()

    def read_c(self) -> float:
        """One reading, in steps of 0.0625 C."""
        exact = self.at_c + self.offset_c + self.wander_c + self.noise_sd_c * self.rng.normal()
        return round(exact / PROBE_STEP_C) * PROBE_STEP_C


def _volume_m3(spec: BoxSpec) -> float:
    return spec.length_m * spec.width_m * spec.height_m


def _inner_m2(spec: BoxSpec) -> float:
    length, width, height = spec.length_m, spec.width_m, spec.height_m
    return 2.0 * (length * width + length * height + width * height)


def _walls_w_per_k(box: TrueBox, wind_m_s: float) -> float:
    # Outer film 4 + 4 v and radiation near 4.6 W/m2K [M: ISO 6946 annex]; at 4 m/s 0.04 m2K/W [V: SF].
    spec = box.spec
    outer_r = 1.0 / (4.0 + 4.0 * wind_m_s + 4.6)
    wall_r = spec.insulation_mm / 1000.0 / spec.insulation_w_per_mk + 0.012 / 0.13  # with 12 mm plywood
    walls = box.wall_factor * _inner_m2(spec) / (wall_r + outer_r)
    return walls + 3.0 * box.pane_m2  # a pane of single plastic, about 3 W/m2K from inside to outside [M]
