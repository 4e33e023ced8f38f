"""The box as two nodes, jug water and box, with the outside as the drive, and the air between them.

    C_jug dT_jug/dt = -k_jug (T_jug - T_box)
    C_box dT_box/dt =  k_jug (T_jug - T_box) + Q - k_box (T_box - T_out)
    T_air = T_box + a (T_jug - T_box)

Stepped by the closed form of the matrix exponential, so that a step of any length is exact
while Q, T_out and the conductances stand still. Every function takes arrays of one shape or scalars.
"""

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from coldbrood.brooder.specs import BoxSpec

Array = NDArray[np.float64]
Value = float | Array

# Surface resistances of ISO 6946, m2K/W, heat going sideways (restated by HTflux and Studio Matrx).
INSIDE_M2K_PER_W = 0.13
OUTSIDE_M2K_PER_W = 0.04
# Heat of the air that leaks, W h / m3K (air at 20 C and sea level: 0.337 by CoolProp).
AIR_WH_PER_M3K = 0.33
# The exchange of a 0.20 m wall in air at 20 C, W/m2K, at 40 K (Churchill's plate and radiation, by `ht`).
JUG_FILM_W_PER_M2K = 11.78
# Its share at other differences: base + root x sqrt(K), fitted to 5 to 50 K.
SHARE_BASE = 0.559
SHARE_ROOT = 0.0699
# Side and top of a 3.8 L jug standing 1.3 diameters high, m2; grows with litres to the power 2/3.
JUG_AREA_M2 = 0.117
# 5 mm of towel lets through less than half of what the bare jug gives (towel conductivity from memory).
WRAPPED_SHARE = 0.45
# Of that exchange so much goes into the air, the rest as radiation onto the walls: 5.14 of 11.56, 5.68 of
# 12.26 W/m2K (physics.md section 4). And so the air gives it on to the walls, 3 K above them: 2.04 x 3^0.27.
INTO_AIR = 0.45
AIR_FILM_W_PER_M2K = 2.75
# 12 kJ/K for the air, litter and inner walls of a box of 1.865 m2: an assumption, so its prior is wide.
BOX_J_PER_M2K = 12000.0 / 1.865


class Blocks(NamedTuple):
    """E, the exponential over one step, and G, its integral in seconds; rows jug, box."""

    e11: Value
    e12: Value
    e21: Value
    e22: Value
    g11: Value
    g12: Value
    g21: Value
    g22: Value


@dataclass(frozen=True, slots=True)
class Priors:
    """What the box on paper says, before any reading: centres, and deviations of their logarithms."""

    jug_j_per_k: float
    k_jug_w_per_k: float
    k_jug_other_w_per_k: float
    k_box_w_per_k: float
    box_j_per_k: float
    air_k_per_w: float
    log_sd: tuple[float, float, float, float] = (0.30, 0.40, 0.50, 0.35)
    """Of k_jug, k_box, box_j_per_k and the factor on the chicks' heat (physics.md section 5)."""
    air_log_sd: float = 0.40


def water_j_per_k(litres: float, at_c: float = 60.0) -> float:
    """Heat capacity in J/K of water measured as `litres` at `at_c` (0 to 100 C).

    Density times specific heat, a cubic through IAPWS-IF97 at 0.101325 MPa, within 0.1 %.
    """
    if not litres > 0.0:
        raise ValueError(f"litres: {litres}: more than 0")
    if not 0.0 <= at_c <= 100.0:
        raise ValueError(f"at_c: {at_c}: 0 to 100 C")
    return litres * (4214.617 + at_c * (-1.936018 + at_c * (7.002725e-3 - 5.186565e-5 * at_c)))


def inside_area_m2(spec: BoxSpec) -> float:
    """Inside area of walls, lid and floor."""
    length, width, height = spec.length_m, spec.width_m, spec.height_m
    return 2.0 * (length * width + length * height + width * height)


def loss_w_per_k(spec: BoxSpec, inside_m2k_per_w: float = INSIDE_M2K_PER_W) -> float:
    """Loss in W/K: walls by ISO 6946 over the INSIDE area, and the air change, 0.33 n V.

    From the air inside, or, without the inner surface's resistance, from the walls' inner face. The outside
    area would give a third more in so small a box: the prior's width holds that.
    """
    resistance = inside_m2k_per_w + OUTSIDE_M2K_PER_W + spec.insulation_mm / 1000.0 / spec.insulation_w_per_mk
    volume_m3 = spec.length_m * spec.width_m * spec.height_m
    return inside_area_m2(spec) / resistance + AIR_WH_PER_M3K * spec.air_changes_per_h * volume_m3


def jug_w_per_k(spec: BoxSpec, wrapped: bool) -> float:
    """Exchange in W/K of all jugs with the box at 40 K apart, bare or in a towel."""
    area_m2 = JUG_AREA_M2 * math.pow(spec.jug_litres / 3.8, 2.0 / 3.0)
    return spec.jugs * area_m2 * JUG_FILM_W_PER_M2K * (WRAPPED_SHARE if wrapped else 1.0)


def air_k_per_w(spec: BoxSpec) -> float:
    """How far a jug draws the air towards it, against the walls, for each W/K that it gives: in K/W.

    Air holds next to no heat, so it stands where what comes from the jug goes on to walls and leaks:
    T_air = T_box + a (T_jug - T_box), a = x / (1 + x), x = k_jug times this. The probe hangs in that air.
    """
    volume_m3 = spec.length_m * spec.width_m * spec.height_m
    onward = AIR_FILM_W_PER_M2K * inside_area_m2(spec) + AIR_WH_PER_M3K * spec.air_changes_per_h * volume_m3
    return INTO_AIR / onward


def exchange_share(apart_k: Array) -> Array:
    """Exchange of a jug against that at 40 K, for jug less box in K: it falls as the jug cools.

    A line in the square root through Churchill's plate and radiation (5 to 50 K), within 0.5 %.
    """
    return np.asarray(SHARE_BASE + SHARE_ROOT * np.sqrt(np.maximum(apart_k, 0.0)))


def priors(spec: BoxSpec) -> Priors:
    """Priors of one box; k_jug has two humps, as stated and with the towel the other way.

    The box is its inner walls: what lies between them and the air is `air_k_per_w`.
    """
    return Priors(
        jug_j_per_k=spec.jugs * water_j_per_k(spec.jug_litres),
        k_jug_w_per_k=jug_w_per_k(spec, spec.jug_wrapped),
        k_jug_other_w_per_k=jug_w_per_k(spec, not spec.jug_wrapped),
        k_box_w_per_k=loss_w_per_k(spec, 0.0),
        box_j_per_k=BOX_J_PER_M2K * inside_area_m2(spec),
        air_k_per_w=air_k_per_w(spec),
    )


def _mean_decay(rate: Array, dt_s: Value) -> Array:
    """Integral of exp(-rate s) over dt, sound when rate is tiny."""
    passed = rate * dt_s
    small = passed < 1e-12
    if not small.any():
        return np.asarray(-np.expm1(-passed) / rate)
    return np.where(small, dt_s, -np.expm1(-passed) / np.where(small, 1.0, rate))


def blocks(dt_s: Value, jug_j_per_k: Value, k_jug: Value, box_j_per_k: Value, k_box: Value) -> Blocks:
    """Exponential of the two nodes over `dt_s` and its integral, by the closed form of a 2 x 2.

    The slow rate is det / fast rate, not a difference, so nothing cancels when k's are tiny.
    """
    a = np.asarray(k_jug / jug_j_per_k, dtype=np.float64)
    b = np.asarray(k_jug / box_j_per_k, dtype=np.float64)
    loss = np.asarray(k_box / box_j_per_k, dtype=np.float64)
    d = b + loss
    mid = 0.5 * (a + d)
    half = np.sqrt((0.5 * (a - d)) ** 2 + a * b)
    fast = mid + half
    slow = a * loss / np.where(fast > 0.0, fast, 1.0)
    gap = 2.0 * half
    kept = np.exp(-slow * dt_s)
    ramp = kept * _mean_decay(gap, dt_s)
    whole = 0.5 * (kept + np.exp(-fast * dt_s))
    slow_sum, fast_sum = _mean_decay(slow, dt_s), _mean_decay(fast, dt_s)
    apart = gap * dt_s > 1e-9
    ramp_sum = np.where(apart, (slow_sum - fast_sum) / np.where(apart, gap, 1.0), 0.5 * dt_s * dt_s)
    whole_sum = 0.5 * (slow_sum + fast_sum)
    return Blocks(
        e11=whole + ramp * (mid - a),
        e12=ramp * a,
        e21=ramp * b,
        e22=whole + ramp * (mid - d),
        g11=whole_sum + ramp_sum * (mid - a),
        g12=ramp_sum * a,
        g21=ramp_sum * b,
        g22=whole_sum + ramp_sum * (mid - d),
    )


def exact_step(
    jug_c: Value,
    box_c: Value,
    dt_s: float,
    *,
    jug_j_per_k: Value,
    k_jug: Value,
    box_j_per_k: Value,
    k_box: Value,
    heat_w: Value,
    outdoor_c: Value,
) -> tuple[Array, Array]:
    """Jug and box after `dt_s` with constant heat and outdoor: exact, whatever the step."""
    m = blocks(dt_s, jug_j_per_k, k_jug, box_j_per_k, k_box)
    drive = (heat_w + k_box * outdoor_c) / box_j_per_k
    jug = m.e11 * jug_c + m.e12 * box_c + m.g12 * drive
    box = m.e21 * jug_c + m.e22 * box_c + m.g22 * drive
    return np.asarray(jug), np.asarray(box)


def steady_state(k_box: Value, heat_w: Value, outdoor_c: Value) -> Array:
    """Where jug and box both end: outdoor plus heat over loss."""
    return np.asarray(outdoor_c + heat_w / k_box)


def time_constants_s(
    jug_j_per_k: float, k_jug: float, box_j_per_k: float, k_box: float
) -> tuple[float, float]:
    """Fast and slow time constant in s."""
    a, b, d = k_jug / jug_j_per_k, k_jug / box_j_per_k, (k_jug + k_box) / box_j_per_k
    fast = 0.5 * (a + d) + math.sqrt((0.5 * (a - d)) ** 2 + a * b)
    return 1.0 / fast, fast / (a * k_box / box_j_per_k)
