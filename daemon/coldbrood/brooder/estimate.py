"""Readings in, state and parameters with their uncertainty out.

The bank (bank.py) follows the readings half an hour behind; the newest ones wait in the tail, so that a
refill is looked for against a state it has not yet touched, and is put in at its own time. A forecast first
runs through the tail. Only `observe` and `note_refill` change an estimate: time alone does not.
"""

import math
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from coldbrood.brooder.bank import (
    TOWEL,
    Array,
    Bank,
    Drive3,
    advance,
    as_usual,
    draw,
    felt_now,
    mixture,
    settle,
    weights,
)
from coldbrood.brooder.bends import Prior
from coldbrood.brooder.flock import flock_heat_w
from coldbrood.brooder.intake import BIN_S, LID_AFTER_S, LOOK_BIN_S, TAIL_S, absorb, group, with_reading
from coldbrood.brooder.jug import refilled
from coldbrood.brooder.paths import Paths, roll
from coldbrood.brooder.refills import (
    ANSWERED_WITHIN_S,
    APART_S,
    ROWS_BEFORE,
    SURE_ENOUGH,
    TIME,
    UNASKED,
    Ask,
    Bend,
    Due,
    Refill,
    find_bend,
    surer_bend,
)
from coldbrood.brooder.specs import BoxSpec, Flock, OutdoorCurve
from coldbrood.brooder.thermal import priors

__all__ = [
    "Ask",
    "Drive",
    "Estimate",
    "Paths",
    "Refill",
    "bank_at",
    "forecast",
    "in_doubt",
    "learned",
    "note_refill",
    "now_box",
    "observe",
    "start",
]

TAIL_ROWS = 6
LONGEST_TAIL_S = 7200.0
ONE_REFILL_S = 2700.0
FRESH_S = 2700.0
# Sixty kilobytes for each.
CAUGHT_UP_KEPT = 8
# A refill is looked for once the box has been watched this long: before, any rise may be the first fill's.
WATCHED_S = 1800.0


@dataclass(frozen=True, slots=True)
class Drive:
    """What acted on the box since the last reading; `outdoor_sd_c` holds the unrest of the hour too."""

    outdoor_c: float
    outdoor_sd_c: float
    flock: Flock


@dataclass(frozen=True, slots=True, eq=False)
class Estimate:
    """All that is known of one box. `tail` (m, 7) holds the newest readings, columns as in refills.py."""

    bank: Bank
    tail: Array
    due: tuple[Due, ...] = ()
    first_s: float | None = None
    last_s: float | None = None
    refill_s: float | None = None
    refill_chance: float = 1.0
    refills: int = 0


def start(spec: BoxSpec, flock: Flock, seed: int) -> Estimate:  # noqa: ARG001 (kept for a prior on the flock)
    """An estimate that rests on the box on paper."""
    return Estimate(bank=draw(spec, seed), tail=np.zeros((0, 7)))


def observe(
    est: Estimate,
    spec: BoxSpec,
    t_s: float,
    box_c: float,
    drive: Drive,
    prior: Prior = UNASKED,
    ask: Ask | None = None,
) -> tuple[Estimate, Refill | None]:
    """Take one reading, at any time after the last; an older one changes nothing. A refill seen comes back.

    `prior` says how far a refill is to be expected at this time. `ask` is the last fill that the keeper was
    asked for.
    Raises ValueError where a number is not finite.
    """
    for name, value in (("t_s", t_s), ("box_c", box_c), ("outdoor_c", drive.outdoor_c)):
        if not math.isfinite(value):
            raise ValueError(f"{name}: {value}: a finite number")
    if est.last_s is not None and t_s <= est.last_s:
        return est, None
    if est.last_s is None:
        est = replace(est, bank=settle(est.bank, spec, t_s, box_c), first_s=t_s)
    acts = Drive3(drive.outdoor_c, drive.outdoor_sd_c, float(flock_heat_w(drive.flock, box_c)))
    est = replace(est, tail=with_reading(est.tail, t_s, box_c, acts), last_s=t_s)
    est, seen = _look_for_refill(est, spec, prior, _asked_c(ask, t_s))
    return _take_in(est, spec), seen


def _look_for_refill(
    est: Estimate, spec: BoxSpec, prior: Prior, asked_c: float | None
) -> tuple[Estimate, Refill | None]:
    if est.first_s is None or est.last_s is None or est.last_s - est.first_s < WATCHED_S:
        return est, None
    told = next((d for d in est.due if d.kind == "seen"), None)
    if told is not None:
        return _look_again(est, spec, told, prior, asked_c)
    bend = find_bend(est.bank, spec, est.tail, prior, asked_c)
    if bend is None:
        return est, None
    since_s = math.inf if est.refill_s is None else bend.t_s - est.refill_s
    if abs(since_s) < ONE_REFILL_S and (since_s < APART_S or not _is_another(est, bend)):
        return _move_due(est, bend.t_s, bend.lid_s), None
    return _tell(replace(est, refills=est.refills + 1), bend, asked_c)


def _look_again(
    est: Estimate, spec: BoxSpec, told: Due, prior: Prior, asked_c: float | None
) -> tuple[Estimate, Refill | None]:
    """One told in doubt may grow surer, move, or give way to another; it is never given up for none."""
    if told.chance >= SURE_ENOUGH or np.searchsorted(est.tail[:, TIME], told.t_s) < ROWS_BEFORE:
        return est, None
    bend = surer_bend(est.bank, spec, est.tail, told, prior, asked_c)
    if bend is None:
        return est, None
    others = tuple(d for d in est.due if d is not told)
    if bend.t_s - told.t_s >= APART_S:
        return _tell(replace(est, due=others), bend, asked_c)
    moved = replace(told, t_s=bend.t_s, lid_s=bend.lid_s, chance=bend.chance)
    return replace(est, due=(*others, moved), refill_s=bend.t_s, refill_chance=bend.chance), None


def _is_another(est: Estimate, bend: Bend) -> bool:
    """Whether a bend within the 45 minutes after one told in doubt is likely still if that was none."""
    return in_doubt(est) and bend.nats + math.log(1.0 - est.refill_chance) > 0.0


def _tell(est: Estimate, bend: Bend, asked_c: float | None) -> tuple[Estimate, Refill]:
    due = (*est.due, Due(bend.t_s, bend.lid_s, None, "seen", asked_c, bend.chance))
    est = replace(est, due=due, refill_s=bend.t_s, refill_chance=bend.chance)
    return est, Refill(bend.t_s, bend.rise_c, "seen")


def in_doubt(est: Estimate) -> bool:
    """Whether the last refill told may be none, so that the one asked for may be still to come."""
    return est.refill_chance < SURE_ENOUGH


def _asked_c(ask: Ask | None, t_s: float) -> float | None:
    """How hot the water of a refill at this time was asked for, None for as usual."""
    return ask.fill_c if ask is not None and t_s - ask.t_s < ANSWERED_WITHIN_S else None


def _move_due(est: Estimate, t_s: float, lid_s: float) -> Estimate:
    """Give a noted refill the time at which the readings show it."""
    due = tuple(replace(d, t_s=t_s, lid_s=lid_s, kind="seen") for d in est.due[-1:])
    return replace(est, due=(*est.due[:-1], *due), refill_s=t_s if due else est.refill_s)


def note_refill(
    est: Estimate,
    spec: BoxSpec,  # noqa: ARG001 (part of the interface: a later fill may depend on the box)
    t_s: float,
    fill_c: float | None,
    ask: Ask | None = None,
) -> Estimate:
    """The keeper says that a hot jug went in. One already seen or noted within 45 minutes is the same one.

    Raises ValueError for a time that is not finite or a fill that is no water.
    """
    if not math.isfinite(t_s):
        raise ValueError(f"t_s: {t_s}: a finite number")
    if fill_c is not None and not 0.0 <= fill_c <= 100.0:
        raise ValueError(f"fill_c: {fill_c}: 0 to 100 C")
    if est.refill_s is not None and abs(t_s - est.refill_s) < ONE_REFILL_S:
        due = tuple(
            replace(d, fill_c=fill_c if fill_c is not None else d.fill_c, chance=1.0) for d in est.due
        )
        return replace(est, due=due, refill_chance=1.0)
    due = (*est.due, Due(t_s, t_s - LID_AFTER_S, fill_c, "noted", _asked_c(ask, t_s)))
    return replace(est, due=due, refill_s=t_s, refill_chance=1.0, refills=est.refills + 1)


def _take_in(est: Estimate, spec: BoxSpec) -> Estimate:
    """Move rows that are old enough from the tail into the bank."""
    while len(est.tail):
        n = group(est.tail, est.due)
        age_s = est.tail[-1, TIME] - est.tail[n - 1, TIME]
        is_young = age_s < TAIL_S or (len(est.tail) - n < TAIL_ROWS and age_s < LONGEST_TAIL_S)
        if is_young or _weighs_one_in_doubt(est, n):
            break
        bank, due = absorb(est.bank, spec, est.tail[:n], est.tail[n:], est.due)
        est = replace(est, bank=bank, due=due, tail=est.tail[n:].copy())
    return est


def _weighs_one_in_doubt(est: Estimate, n: int) -> bool:
    """Whether a refill told in doubt still needs some of the oldest `n` rows to be weighed again."""
    return any(
        d.kind == "seen"
        and d.chance < SURE_ENOUGH
        and est.tail[-1, TIME] - d.t_s < TAIL_S
        and n > np.searchsorted(est.tail[:, TIME], d.t_s) - ROWS_BEFORE
        for d in est.due
    )


@lru_cache(maxsize=CAUGHT_UP_KEPT)
def _caught_up(est: Estimate, spec: BoxSpec) -> tuple[Bank, tuple[Due, ...]]:
    """The bank run through the tail, and the refills noted after the last reading.

    Kept for the next question: looks come each minute, and each asks more than once, readings more seldom.
    """
    bank, due, tail = est.bank, est.due, est.tail
    bin_s = BIN_S if _is_fresh(est) else LOOK_BIN_S
    while len(tail):
        n = group(tail, due, bin_s)
        bank, due = absorb(bank, spec, tail[:n], tail[n:], due)
        tail = tail[n:]
    return bank, due


def _is_fresh(est: Estimate) -> bool:
    """Whether the box still bends by a jug just filled: its readings are not to be taken together then."""
    return est.refill_s is not None and est.last_s is not None and est.last_s - est.refill_s < FRESH_S


def _bank_at(est: Estimate, spec: BoxSpec, t_s: float, drive: Drive) -> Bank:
    """The bank carried on to `t_s` without further readings; refills noted since are put in."""
    bank, due = _caught_up(est, spec)
    box_c, _ = felt_now(bank)
    acting = Drive3(drive.outdoor_c, drive.outdoor_sd_c, float(flock_heat_w(drive.flock, box_c)))
    jug_j = priors(spec).jug_j_per_k
    for d in due:
        if d.t_s <= t_s:
            bank = refilled(advance(bank, jug_j, d.t_s, acting), spec, d.fill_c, d.asked_c, d.chance)
    return advance(bank, jug_j, t_s, acting)


def _blank(est: Estimate, spec: BoxSpec, t_s: float, outdoor_c: float) -> Estimate:
    """Without any reading: a box somewhere between outdoors and warm, with a jug of any age."""
    bank = settle(est.bank, spec, t_s, 0.5 * (outdoor_c + 25.0))
    bank.cov[3] += 6.0**2
    return replace(est, bank=bank)


def now_box(est: Estimate, spec: BoxSpec, t_s: float, drive: Drive) -> tuple[float, float]:
    """The model's idea of the box at `t_s`: mean and standard deviation in C."""
    if est.last_s is None:
        est = _blank(est, spec, t_s, drive.outdoor_c)
    return felt_now(_bank_at(est, spec, t_s, drive))


def forecast(
    est: Estimate,
    spec: BoxSpec,
    t_s: float,
    outdoor: OutdoorCurve,
    flock: Flock,
    horizon_s: float = 86400.0,
    step_s: float = 600.0,
    refills: tuple[tuple[float, float], ...] = (),
) -> Paths:
    """Paths of the box from `t_s` over the horizon; `refills` are (t_s, fill_c) assumed ahead.

    `flock` is that of `t_s` and ages on the way. What lies between the last reading and `t_s` is run
    without readings, so a silent probe widens the range.
    """
    bank = bank_at(est, spec, t_s, outdoor, flock)
    return roll(bank, spec, outdoor, flock, horizon_s, step_s, refills)


def bank_at(est: Estimate, spec: BoxSpec, t_s: float, outdoor: OutdoorCurve, flock: Flock) -> Bank:
    """The bank at `t_s` under the outdoor curve's value halfway from the last reading."""
    last_s = t_s if est.last_s is None else min(est.last_s, t_s)
    mid_s = np.array([0.5 * (last_s + t_s)])
    mid_c, mid_sd_c = outdoor.at(mid_s)
    if est.last_s is None:
        est = _blank(est, spec, t_s, float(mid_c[0]))
    unknown = math.hypot(float(mid_sd_c[0]), float(outdoor.unrest_at(mid_s)[0]))
    return _bank_at(est, spec, t_s, Drive(float(mid_c[0]), unknown, flock))


def learned(est: Estimate, spec: BoxSpec) -> dict[str, float]:
    """What the readings taught, with deviations: jug, its usual exchange, loss, slow time constant in h."""
    bank, _ = _caught_up(est, spec) if est.last_s is not None else (est.bank, ())
    w = weights(bank)
    k_jug, k_box, box_j, heat = np.exp(as_usual(bank.theta)[:TOWEL])
    jug_j = priors(spec).jug_j_per_k
    a, b, d = k_jug / jug_j, k_jug / box_j, (k_jug + k_box) / box_j
    fast = 0.5 * (a + d) + np.sqrt((0.5 * (a - d)) ** 2 + a * b)
    slow_h = fast / (a * k_box / box_j) / 3600.0
    out: dict[str, float] = {}
    zero = np.zeros_like(w)
    for name, value, var in (
        ("jug_c", bank.mean[0], bank.cov[0]),
        ("stray_w", bank.mean[2], bank.cov[5]),
        ("k_jug_w_per_k", k_jug, zero),
        ("k_box_w_per_k", k_box, zero),
        ("box_j_per_k", box_j, zero),
        ("heat_factor", heat, zero),
        ("slow_h", slow_h, zero),
    ):
        out[name], out[f"{name}_sd"] = mixture(w, value, var)
    return out
