"""From single readings to five-minute bins in the bank: the tail, and what of it counts.

The tail holds the newest half hour, one row a minute or slower, columns as in refills.py. Rows in which a
lid was open tell nothing of the box and are left out: hindsight within the tail shows which.
"""

import numpy as np

from coldbrood.brooder.bank import Array, Bank, Drive3, advance, felt_now, loosen, reading_var, update
from coldbrood.brooder.jug import (
    COOLED_BY_C,
    HOT_LID_C,
    UNSEEN_BOX_SD_C,
    doubt,
    hides_a_refill,
    may_be_wrapped,
    refilled,
)
from coldbrood.brooder.refills import BOX, COUNT, DIP_C, FIRST, HEAT, OUTDOOR, OUTDOOR_SD, TIME, Due
from coldbrood.brooder.specs import BoxSpec
from coldbrood.brooder.thermal import priors

SLOT_S = 55.0
BIN_S = 300.0
# A look runs through the tail in longer bins where no fresh jug bends it, at half the cost: by
# `bank.reading_var` the mean of two bins is worth what both are.
LOOK_BIN_S = 600.0
TAIL_S = 1500.0
GAP_S = 2700.0
LID_AFTER_S = 240.0


def with_reading(tail: Array, t_s: float, box_c: float, acts: Drive3) -> Array:
    """The tail with one more reading: a row of its own, or merged into a row begun within the minute."""
    row = np.array([t_s, box_c, *acts, 1.0, t_s])
    if len(tail) == 0 or t_s - tail[-1, FIRST] >= SLOT_S:
        return np.vstack([tail, row])
    merged = tail.copy()
    count = merged[-1, COUNT]
    merged[-1, :COUNT] = (merged[-1, :COUNT] * count + row[:COUNT]) / (count + 1.0)
    merged[-1, COUNT] = count + 1.0
    return merged


def group(tail: Array, due: tuple[Due, ...], bin_s: float = BIN_S) -> int:
    """How many of the oldest rows make one bin, cut at a refill."""
    until = tail[0, TIME] + bin_s
    for d in due:
        if d.t_s > tail[0, TIME]:
            until = min(until, d.t_s)
    return max(1, int(np.searchsorted(tail[:, TIME], until)))


def _usable(rows: Array, later: Array, due: tuple[Due, ...], expected_c: float) -> Array:
    """The rows in which no lid was open: not around a refill, and not in a dip that later rows heal."""
    times = rows[:, TIME]
    shut = np.ones(len(rows), dtype=bool)
    for d in due:
        shut &= (times < d.lid_s) | (times > d.t_s + LID_AFTER_S)
    soon = later[later[:, TIME] < times[-1] + TAIL_S, BOX]
    if len(soon) >= 3:
        healed_c = min(expected_c, float(np.sort(soon)[-2]))
        shut &= rows[:, BOX] > healed_c - DIP_C
    return rows[shut]


def absorb(
    bank: Bank, spec: BoxSpec, rows: Array, later: Array, due: tuple[Due, ...]
) -> tuple[Bank, tuple[Due, ...]]:
    """Take one bin into the bank, with the refills that fall before it; the refills left over."""
    expected_c, _ = felt_now(bank)
    good = _usable(rows, later, due, expected_c)
    taken = good if len(good) else rows
    to_s, before_s = float(taken[:, TIME].mean()), bank.t_s
    drive = Drive3(*(float(v) for v in taken[:, [OUTDOOR, OUTDOOR_SD, HEAT]].mean(axis=0)))
    jug_j = priors(spec).jug_j_per_k
    passed = [d for d in due if d.t_s <= to_s]
    for d in passed:
        bank = refilled(advance(bank, jug_j, d.t_s, drive), spec, d.fill_c, d.asked_c, d.chance)
    bank = advance(bank, jug_j, to_s, drive)
    if to_s - before_s > GAP_S and not passed:
        bank = doubt(bank, spec, UNSEEN_BOX_SD_C)
    elif hides_a_refill(bank, spec):
        bank = doubt(bank, spec)
    box_c = float(taken[:, BOX].mean())
    if expected_c > HOT_LID_C and box_c < expected_c - COOLED_BY_C and not passed and not spec.jug_wrapped:
        bank = may_be_wrapped(bank, spec)
    if len(good):
        bank, _ = update(bank, float(good[:, BOX].mean()), reading_var(to_s - before_s))
    bank = loosen(bank, max(to_s - before_s, 0.0))
    return bank, tuple(d for d in due if d.t_s > to_s)
