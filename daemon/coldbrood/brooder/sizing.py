"""Sizing: how long a box holds after a fill, on paper or as learned, and what would help most.

The case is the cycle of refills. The box stands at its floor, since that is when a refill is due, and a jug
at the stated fill temperature goes in. The jug warms the box out of its own heat; the first hour is that
warming and is not judged. The hold counts from the fill until the box probe goes under the floor again, at a
steady outdoor temperature, by the same paths as the forecast of a night (paths.py, hold.py).
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from coldbrood.brooder.bank import (
    FILL_SD_C,
    Array,
    Bank,
    draw,
    spread_normals,
    stray_var,
    weights,
)
from coldbrood.brooder.flock import flock_heat_w
from coldbrood.brooder.hold import hold
from coldbrood.brooder.paths import roll
from coldbrood.brooder.specs import BoxSpec, Flock, OutdoorCurve
from coldbrood.brooder.thermal import priors

HORIZON_S = 86_400.0
WARMING_S = 3600.0
STEP_S = 600.0
SEED = 1
MORE_MM = 20.0
MORE_LITRES_PART = 0.5
MORE_CHICKS = 4
COLDER_K = 5.0
SPARE_H = 0.25  # nobody comes to the minute (own choice)
BREATH_M3_PER_H = 0.041
"""Least fresh air a chick in m3/h: 5 changes an hour of 165 L for twenty day-olds, CO2 under 0.3 % (limit V;
C from CIGR's heat and CO2, M), as the config's air_changes_per_h says. No advice here goes under it."""


@dataclass(frozen=True, slots=True)
class Sizing:
    """10, 50 and 90 % of the hold after a fill, in h: None is beyond 24 h, 0 a jug that cannot warm the box.

    `resting_c` is where the box ends with the jug cold and the chicks alone, the middle of the samples.
    """

    early_h: float | None
    median_h: float | None
    late_h: float | None
    resting_c: float


@dataclass(frozen=True, slots=True)
class Help:
    """One change to box, flock or night, in words, with the hold without and with it."""

    key: str
    change: str
    before: Sizing
    after: Sizing

    @property
    def gain_h(self) -> float:
        """What the change adds to the middle of the hold, in h; a hold beyond 24 h counts as 24."""
        return median_or_day_h(self.after) - median_or_day_h(self.before)


def median_or_day_h(sizing: Sizing) -> float:
    """Middle of the hold in h, 24 where it is beyond that."""
    return HORIZON_S / 3600.0 if sizing.median_h is None else sizing.median_h


def size(
    spec: BoxSpec, flock: Flock, outdoor_c: float, floor_c: float, learned: Bank | None = None
) -> Sizing:
    """The hold after a fill: from the priors of the box on paper, or from a bank learned of this very box.

    Raises ValueError for a temperature that is no finite number.
    """
    for name, value in (("outdoor_c", outdoor_c), ("floor_c", floor_c)):
        if not math.isfinite(value):
            raise ValueError(f"{name}: {value}: a finite number")
    bank = draw(spec, SEED) if learned is None else learned
    resting = resting_samples_c(bank, flock, outdoor_c)
    bank = just_filled(bank, spec, np.maximum(floor_c, resting))
    steady = OutdoorCurve(np.array([0.0, 2.0 * HORIZON_S]), np.full(2, outdoor_c), np.zeros(2))
    paths = roll(bank, spec, steady, flock, HORIZON_S, STEP_S)
    floors = np.where(paths.t_s < WARMING_S, -np.inf, floor_c)
    held = hold(paths, floors, 0.1)
    early_h, median_h, late_h = (_hours(at_s) for at_s in (held.early_s, held.median_s, held.late_s))
    return Sizing(early_h, median_h, late_h, weighted_quantile(resting, weights(bank), 0.5))


def _hours(at_s: float | None) -> float | None:
    """Hours after the fill; a box under its floor as soon as it is judged does not hold at all."""
    if at_s is None:
        return None
    return 0.0 if at_s <= WARMING_S else at_s / 3600.0


def just_filled(bank: Bank, spec: BoxSpec, box_c: Array) -> Bank:
    """The samples at watch time 0 with a hot jug in boxes at `box_c` (n,), and the stray heat of any time."""
    shape = bank.theta.shape[1]
    mean, cov = np.zeros((3, shape)), np.zeros((6, shape))
    mean[0], mean[1] = spec.fill_c, box_c
    cov[0], cov[5] = FILL_SD_C**2, stray_var(np.exp(bank.theta[1]))
    return replace(bank, t_s=0.0, mean=mean, cov=cov)


def resting_samples_c(bank: Bank, flock: Flock, outdoor_c: float) -> Array:
    """Where the box of each sample (n,) ends with a cold jug: loss equals the chicks' heat, by bisection.

    k_box (T - T_out) = factor Q(T); Q falls with T, so there is one answer, not under the outdoor air.
    """
    k_box, factor = np.exp(bank.theta[1]), np.exp(bank.theta[3])
    low = np.full(len(k_box), outdoor_c)
    high = low + factor * np.asarray(flock_heat_w(flock, low)) / k_box
    for _ in range(50):
        middle = 0.5 * (low + high)
        rises = factor * np.asarray(flock_heat_w(flock, middle)) > k_box * (middle - outdoor_c)
        low, high = np.where(rises, middle, low), np.where(rises, high, middle)
    return np.asarray(0.5 * (low + high))


def alone_c(bank: Bank, flock: Flock, low_c: float, low_sd_c: float) -> tuple[float, float]:
    """The box without a jug in a night with this low, if the night were long: its 10 % end and its middle.

    Samples of the bank, each with its own night: where the box ends moves with the air outside, nearly one
    to one.
    """
    rest_c = resting_samples_c(bank, flock, low_c)
    rest_c = rest_c + low_sd_c * spread_normals(np.random.default_rng((bank.seed, 13)), 1, len(rest_c))[0]
    w = weights(bank)
    return weighted_quantile(rest_c, w, 0.1), weighted_quantile(rest_c, w, 0.5)


def weighted_quantile(values: Array, w: Array, level: float) -> float:
    """The value (of n) at which the weights (n,), summing to one, reach a level."""
    order = np.argsort(values)
    return float(values[order][min(int(np.searchsorted(np.cumsum(w[order]), level)), len(values) - 1)])


def refitted(bank: Bank, old: BoxSpec, new: BoxSpec) -> Bank:
    """A bank learned of one box, for that box changed: each parameter moves as it would on paper."""
    was, would = priors(old), priors(new)
    shift = np.log(
        [
            would.k_jug_w_per_k / was.k_jug_w_per_k,
            would.k_box_w_per_k / was.k_box_w_per_k,
            would.box_j_per_k / was.box_j_per_k,
            1.0,
            1.0,
            would.air_k_per_w / was.air_k_per_w,
        ]
    )
    return replace(bank, theta=bank.theta + shift[:, None])


def too_weak(held: Sizing, interval_h: float) -> bool:
    """Whether a fill more likely than not fails to hold for `interval_h` with some minutes to spare.

    The middle of the range, not its early end: on paper the range is so wide that the early end would call
    nearly every box weak, and a warning that always comes is no warning.
    Raises ValueError for an interval that is not 0 to 24 h.
    """
    if not 0.0 < interval_h <= HORIZON_S / 3600.0:
        raise ValueError(f"interval_h: {interval_h}: more than 0, at most {HORIZON_S / 3600.0:g} h")
    return held.median_h is not None and held.median_h < interval_h + SPARE_H


def helps(
    spec: BoxSpec, flock: Flock, outdoor_c: float, floor_c: float, learned: Bank | None = None
) -> tuple[Help, ...]:
    """What changes the hold, the most helpful first; the colder night, which is no choice, stands last."""
    before = size(spec, flock, outdoor_c, floor_c, learned)

    def tried(key: str, change: str, box: BoxSpec, chicks: Flock, out_c: float) -> Help:
        bank = None if learned is None else refitted(learned, spec, box)
        return Help(key, change, before, size(box, chicks, out_c, floor_c, bank))

    found = [tried(key, change, box, flock, outdoor_c) for key, change, box in _boxes(spec, flock.chicks)]
    more = replace(flock, chicks=flock.chicks + MORE_CHICKS)
    found.append(tried("chicks", f"{MORE_CHICKS} chicks more", spec, more, outdoor_c))
    found.sort(key=_order)
    colder = tried("night", f"a night {COLDER_K:g} C colder", spec, flock, outdoor_c - COLDER_K)
    return (*found, colder)


def _order(one: Help) -> tuple[float, float]:
    """The longest hold first; where the middle cannot tell, the late end does."""
    late_h = HORIZON_S / 3600.0 if one.after.late_h is None else one.after.late_h
    return -one.gain_h, -late_h


def _boxes(spec: BoxSpec, chicks: int) -> Iterator[tuple[str, str, BoxSpec]]:
    """The box changed in one thing at a time."""
    thicker = replace(spec, insulation_mm=spec.insulation_mm + MORE_MM)
    yield "insulation", f"{MORE_MM:g} mm more insulation", thicker
    air = least_air_changes_per_h(spec, chicks)
    tight = max(0.5 * spec.air_changes_per_h, air)
    if tight < spec.air_changes_per_h:
        change = f"leaks down to {tight:.1f} air changes an hour"
        yield "leak", change, replace(spec, air_changes_per_h=tight)
    litres = (1.0 + MORE_LITRES_PART) * spec.jug_litres
    yield "litres", f"jugs of {litres:.1f} L", replace(spec, jug_litres=litres)
    yield "jugs", f"{spec.jugs + 1} jugs", replace(spec, jugs=spec.jugs + 1)
    change = "no towel round the jug" if spec.jug_wrapped else "a towel round the jug"
    yield "towel", change, replace(spec, jug_wrapped=not spec.jug_wrapped)


def least_air_changes_per_h(spec: BoxSpec, chicks: int) -> float:
    """Air changes an hour that the chicks need to breathe."""
    return chicks * BREATH_M3_PER_H / (spec.length_m * spec.width_m * spec.height_m)
