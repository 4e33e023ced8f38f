"""What the keeper does to the jug, as the bank takes it: filled, perhaps unseen, perhaps wrapped up."""

import math
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from coldbrood.brooder.bank import (
    AS_USUAL_LOG,
    FILL_SD_C,
    SAMPLES,
    TOWEL,
    TOWEL_LOG_SD,
    Array,
    Bank,
    mixture,
    rng_of,
    stray_var,
    weights,
    with_towels,
)
from coldbrood.brooder.specs import BoxSpec
from coldbrood.brooder.thermal import priors

TOLD_FILL_SD_C = 4.0
LID_SD_C = 0.4
STRAY_DOUBT_SD = 2.0
UNSEEN_BOX_SD_C = 5.0
# Who finds the box so hot may wrap the jug up or take one out: it is then cooler than expected by so much.
HOT_LID_C = 33.0
COOLED_BY_C = 2.0
SURE = 1.0 - 1.0 / SAMPLES  # a chance beyond it leaves no sample out


def _new_jug(bank: Bank, who: NDArray[np.bool_], fill_c: Array | float, var: float) -> Bank:
    """Give the samples in `who` another jug: its water unrelated to what was known."""
    mean, cov = bank.mean.copy(), bank.cov.copy()
    mean[0] = np.where(who, fill_c, mean[0])
    cov[0] = np.where(who, var, cov[0])
    cov[1:3] = np.where(who, 0.0, cov[1:3])
    return replace(bank, mean=mean, cov=cov)


def refilled(
    bank: Bank, spec: BoxSpec, fill_c: float | None, asked_c: float | None = None, chance: float = 1.0
) -> Bank:
    """A hot jug goes in: water at the fill temperature, the lid was open, the towel may be on or off.

    Where water of `asked_c` was asked for, every fourth sample takes it that it was as hot as ever. Where the
    refill came by a `chance` only, so many samples take it that it did, and the rest keep their jug.
    """
    rng = rng_of(bank)
    sd = FILL_SD_C if fill_c is None else TOLD_FILL_SD_C
    level: Array | float = spec.fill_c if fill_c is None else fill_c
    if asked_c is not None and fill_c is None:
        level = np.where(rng.permutation(SAMPLES) % 4 == 0, spec.fill_c, asked_c)
    theta = with_towels(bank.theta, spec, rng)
    who = np.ones(SAMPLES, dtype=bool) if chance >= SURE else rng.permutation(SAMPLES) < chance * SAMPLES
    bank = _new_jug(bank, who, level, sd**2)
    bank.cov[3] += LID_SD_C**2
    return replace(bank, theta=np.where(who, theta, bank.theta), draws=bank.draws + 1)


def may_be_wrapped(bank: Bank, spec: BoxSpec) -> Bank:
    """A hot box was opened: every second sample takes it that a bare jug went into a towel."""
    rng = rng_of(bank)
    apart = math.log(priors(spec).k_jug_other_w_per_k / priors(spec).k_jug_w_per_k)
    who = (rng.permutation(SAMPLES) % 2 == 0) & (np.abs(bank.theta[TOWEL]) < AS_USUAL_LOG)
    theta = bank.theta.copy()
    theta[TOWEL] += np.where(who, apart + TOWEL_LOG_SD * rng.standard_normal(SAMPLES), 0.0)
    theta[0] += theta[TOWEL] - bank.theta[TOWEL]
    return replace(bank, theta=theta, draws=bank.draws + 1)


def doubt(bank: Bank, spec: BoxSpec, box_sd_c: float = 0.0) -> Bank:
    """One sample in three takes it that a refill went by unseen, not long ago or at some time in a gap.

    `box_sd_c` is how far the box of these may be from where the old jug led it.
    """
    rng = rng_of(bank)
    who = rng.permutation(SAMPLES) % 3 == 0
    fill_c = bank.mean[1] + (spec.fill_c - bank.mean[1]) * rng.uniform(0.5, 1.0, SAMPLES)
    bank = _new_jug(bank, who, fill_c, 8.0**2)
    bank.mean[2] = np.where(who, 0.0, bank.mean[2])
    bank.cov[4] = np.where(who, 0.0, bank.cov[4])
    bank.cov[3] += np.where(who, box_sd_c**2, 0.0)
    bank.cov[5] = np.where(who, stray_var(np.exp(bank.theta[1])), bank.cov[5])
    return replace(bank, draws=bank.draws + 1)


def hides_a_refill(bank: Bank, spec: BoxSpec) -> bool:
    """Whether stray heat stands so high, with a jug held to be cool, that a refill was likely missed."""
    w = weights(bank)
    jug_c, jug_sd_c = mixture(w, bank.mean[0], bank.cov[0])
    stray_w = float(w @ bank.mean[2])
    usual_w = float(w @ np.sqrt(stray_var(np.exp(bank.theta[1]))))
    return stray_w > STRAY_DOUBT_SD * usual_w and jug_c < spec.fill_c - 15.0 and jug_sd_c < 8.0
