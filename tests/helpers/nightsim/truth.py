"""The true box of the nights benchmark, for one box or for many lanes at once.

The equations are those of `coldbrood.probes.simulated.Truth` (a test holds them equal to rounding), solved
by elimination so that a batch of 14 days takes a second, and run on floats or on arrays of lanes alike.
What is richer stands in what drives it: see `scenario.py`.
"""

from bisect import bisect_right
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from coldbrood.probes import simulated
from coldbrood.probes.simulated import TrueBox

# A float, or an array with one value a lane.
Lanes = Any

INNER_S = 20.0
ZERO_K = 273.15
_AIR_C = simulated._HEAT_AIR_C
_W_PER_KG = simulated._HEAT_W_PER_KG


def _heat_one(air_c: float) -> float:
    i = bisect_right(_AIR_C, air_c)
    if i == 0:
        return _W_PER_KG[0]
    if i == len(_AIR_C):
        return _W_PER_KG[-1]
    share = (air_c - _AIR_C[i - 1]) / (_AIR_C[i] - _AIR_C[i - 1])
    return _W_PER_KG[i - 1] + share * (_W_PER_KG[i] - _W_PER_KG[i - 1])


@dataclass(frozen=True)
class Kit:
    """The two operations that differ between a float and an array of lanes."""

    heat_w_per_kg: Callable[[Lanes], Lanes]
    at_least: Callable[[Lanes, float], Lanes]


ONE = Kit(_heat_one, max)
MANY = Kit(lambda air_c: np.interp(air_c, _AIR_C, _W_PER_KG), np.maximum)


@dataclass(frozen=True)
class Acting:
    """What acts over a minute: outdoor air, wind at the box, sun on a pane, chicks, the open pop hole."""

    outdoor_c: Lanes
    wind_m_s: Lanes
    sun_w_m2: Lanes
    heat_per_w_kg: Lanes
    vent_factor: float = 1.0
    lid_share: float = 0.0


class Box:
    """The fixed numbers of one true box."""

    def __init__(self, box: TrueBox) -> None:
        spec = box.spec
        self.box = box
        self.jug_m2 = spec.jugs * simulated.jug_area_m2(spec.jug_litres)
        self.inner_m2 = simulated._inner_m2(spec)
        self.volume_m3 = simulated._volume_m3(spec)
        self.water_j = spec.jugs * spec.jug_litres * simulated.WATER_J_PER_K_LITRE
        self.air_j = self.volume_m3 * simulated.AIR_J_PER_K_M3
        self.wall_r = spec.insulation_mm / 1000.0 / spec.insulation_w_per_mk + 0.012 / 0.13
        self.leak_w_per_k_change = simulated.AIR_J_PER_K_M3 / 3600.0 * self.volume_m3
        self.changes = spec.air_changes_per_h * box.leak_factor

    def heat_weight(self, chicks: float, age_days: float, activity: float) -> float:
        """Factor in kg that turns W/kg at the air's temperature into W of all chicks."""
        mass_kg = simulated.chick_mass_kg(age_days)
        return self.box.heat_factor * chicks * activity * 0.040 * float((mass_kg / 0.040) ** 0.75)

    def step(
        self, kit: Kit, nodes: tuple[Lanes, ...], towel: Lanes, dt_s: float, acts: Acting
    ) -> tuple[Lanes, ...]:
        """Water, surface, air and structure `dt_s` later, by one implicit step. `towel` is 0 or 1."""
        water, surface, air, structure = nodes
        d = kit.at_least(abs(water - surface), 0.05)
        jug_r = 1.0 / (386.0 * d**0.315) + 0.0007 / 0.45 + towel * self.box.towel_m2k_per_w
        g_ws = self.jug_m2 / jug_r
        g_sa = self.jug_m2 * 2.04 * kit.at_least(abs(surface - air), 0.2) ** 0.27
        warm, cool = surface + ZERO_K, structure + ZERO_K
        g_st = self.jug_m2 * 0.9 * simulated.STEFAN_BOLTZMANN_W * (warm * warm + cool * cool) * (warm + cool)
        g_at = self.inner_m2 * 2.04 * kit.at_least(abs(air - structure), 0.2) ** 0.27
        out_a, out_t = self._outward(air, acts)
        heat = acts.heat_per_w_kg * kit.heat_w_per_kg(air)
        h_w, h_a, h_t = self.water_j / dt_s, self.air_j / dt_s, self.box.structure_j_per_k / dt_s
        h_s = 1.4 * self.jug_m2 * (1260.0 + 540.0 * towel) / dt_s
        # The water is joined to the surface alone: it is eliminated first, then the surface.
        d_w = h_w + g_ws
        d_s = h_s + g_ws + g_sa + g_st - g_ws * g_ws / d_w
        b_s = h_s * surface + g_ws * h_w * water / d_w
        cross = g_at + g_sa * g_st / d_s
        d_a = h_a + g_sa + g_at + out_a - g_sa * g_sa / d_s
        d_t = h_t + g_st + g_at + out_t - g_st * g_st / d_s
        b_a = h_a * air + 0.5 * heat + out_a * acts.outdoor_c + g_sa * b_s / d_s
        sun_w = self.box.pane_m2 * 0.75 * acts.sun_w_m2
        b_t = h_t * structure + 0.5 * heat + sun_w + out_t * acts.outdoor_c + g_st * b_s / d_s
        det = d_a * d_t - cross * cross
        new_air = (b_a * d_t + cross * b_t) / det
        new_structure = (b_t * d_a + cross * b_a) / det
        new_surface = (b_s + g_sa * new_air + g_st * new_structure) / d_s
        return (h_w * water + g_ws * new_surface) / d_w, new_surface, new_air, new_structure

    def _outward(self, air: Lanes, acts: Acting) -> tuple[Lanes, Lanes]:
        drive = ((abs(air - acts.outdoor_c) / 15.0 + acts.wind_m_s**2) / 2.0) ** 0.5
        changes = self.changes * acts.vent_factor * drive + simulated.LID_CHANGES_PER_H * acts.lid_share
        outer_r = 1.0 / (4.0 + 4.0 * acts.wind_m_s + 4.6)
        walls = self.box.wall_factor * self.inner_m2 / (self.wall_r + outer_r) + 3.0 * self.box.pane_m2
        return self.leak_w_per_k_change * changes, walls

    def minute(
        self, kit: Kit, nodes: tuple[Lanes, ...], towel: Lanes, acts: Acting, inner_s: float = INNER_S
    ) -> tuple[Lanes, ...]:
        """One minute under steady weather."""
        for _ in range(round(60.0 / inner_s)):
            nodes = self.step(kit, nodes, towel, inner_s, acts)
        return nodes
