"""The gate: may this value be taken? Pure, one state per probe and quantity.

Values are judged as the sensor gave them, before the keeper's offset, in degrees Celsius, per
cent and volts, each refusal with its named reason.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

from coldbrood.watch.events import Refusal
from coldbrood.watch.site import ProbeSpec, Quantity

# What a sensor can say at all; the temperature's range is the probe's own. Humidity chips overshoot
# 100 % a little in saturated air (from memory), and a box with chicks and a jug gets there.
RANGES: Mapping[Quantity, tuple[float, float]] = {
    "humidity_pct": (0.0, 105.0),
    "battery_v": (0.0, 30.0),
    "battery_pct": (0.0, 100.0),
    "signal_dbm": (-150.0, 30.0),  # far beyond what any receiver hears or any sender may send (from memory)
}
POWER_ON_C = 85.0  # DS18B20 scratchpad 0x0550 before the first conversion (datasheet [V])
DISCONNECTED_C = -127.0  # what common firmware reports for a lost sensor (from memory)

# The jump rule. A bare probe in air follows a step with a time constant of half a minute to a few
# minutes, and the air of a box whose lid is opened in frost may fall 20 K; so 5 K at once and 6 K a
# minute are let through. Over 20 K is always held once: it is also what a glitch to 0 looks like.
# After an hour without a taken value anything may be true.
JUMP_FREE_K = 5.0
JUMP_K_PER_S = 0.1
JUMP_MOST_K = 20.0
JUMP_MEMORY_S = 3600.0

# To and fro by so much so often is no lid and no weather (our own choice): two senders under one name, each
# true to itself, or a loose contact. A lid opened in frost makes two swings. Neither tale can be believed,
# and in turn they would keep each other from ever being two looks at a cold box: so the probe goes blind.
SWING_K = 4.0
SWINGS_MOST = 8
SWINGS_S = 7200.0

# An exact 85.0 is believed only beside a recent value this near.
NEIGHBOUR_K = 5.0
NEIGHBOUR_S = 1800.0

# A probe that did not see the acknowledgement sends the same again within seconds. The copy has no
# clock, so it looks this much younger; a real reading of the same value that soon is worth little.
COPY_MOST_S = 5.0
COPY_SHARE = 0.25


@dataclass(frozen=True, slots=True)
class GateState:
    """What the gate remembers: the value last taken, a jump held back, the last swings to and fro."""

    taken_t_s: float | None = None
    taken: float | None = None
    held_t_s: float | None = None
    held: float | None = None
    seen: float | None = None
    side: float = 0.0
    swung_t_s: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class Verdict:
    """`reason` None: the value is taken."""

    reason: Refusal | None
    detail: str = ""


TAKEN = Verdict(None)


def judge(
    state: GateState, spec: ProbeSpec, quantity: Quantity, raw: float, t_s: float, *, waited: bool = False
) -> tuple[GateState, Verdict]:
    """Judge one value of watch time `t_s`. A refused value changes nothing but the held jump.

    What waited at the broker comes all at once: there, equal values in one second are no copies.
    """
    verdict = plausible(state, spec, quantity, raw, t_s)
    if verdict.reason is None:
        verdict = _in_order(state, raw, t_s, 0.0 if waited else copy_window_s(spec))
    if verdict.reason is not None:
        return state, verdict
    if quantity != "temperature_c":
        return GateState(taken_t_s=t_s, taken=raw), TAKEN
    swung = _swung(state, raw, t_s)
    if len(swung.swung_t_s) >= SWINGS_MOST and swung.swung_t_s[-1] == t_s:
        return swung, Verdict(
            "leaps", f"to and fro between {state.seen:g} and {raw:g}: two senders, one name?"
        )
    if _is_jump(state, raw, t_s):
        detail = f"{raw:g} after {state.taken:g}: held back until the next reading confirms it"
        return replace(swung, held_t_s=t_s, held=raw), Verdict("jump", detail)
    return replace(swung, taken_t_s=t_s, taken=raw, held_t_s=None, held=None), TAKEN


def _swung(state: GateState, raw: float, t_s: float) -> GateState:
    """Note a great step to the other side than the great step before it."""
    step_k = 0.0 if state.seen is None else raw - state.seen
    if abs(step_k) < SWING_K:
        return replace(state, seen=raw)
    side = math.copysign(1.0, step_k)
    if side == state.side:
        return replace(state, seen=raw)
    swung = (*(at for at in state.swung_t_s if t_s - at < SWINGS_S), t_s)[-SWINGS_MOST:]
    return replace(state, seen=raw, side=side, swung_t_s=swung)


def plausible(state: GateState, spec: ProbeSpec, quantity: Quantity, raw: float, t_s: float) -> Verdict:
    """Whether the value can be true at all, whatever its place in time."""
    if not math.isfinite(raw):
        return Verdict("not-a-number", f"{quantity} is not a number")
    if quantity == "temperature_c":
        if math.isclose(raw, DISCONNECTED_C, abs_tol=0.01):
            return Verdict("disconnected-value", f"{raw:g} is what firmware sends for a lost sensor")
        if math.isclose(raw, POWER_ON_C, abs_tol=1e-6) and not _neighbour(state, raw, t_s):
            return Verdict("power-on-value", f"exactly {raw:g}: no conversion was made")
    low, high = (spec.min_c, spec.max_c) if quantity == "temperature_c" else RANGES[quantity]
    if not low <= raw <= high:
        return Verdict("out-of-range", f"{quantity} {raw:g}: allowed is {low:g} to {high:g}")
    return TAKEN


def copy_window_s(spec: ProbeSpec) -> float:
    """How much younger than the taken value a copy of it may look. A wire makes no copies."""
    return min(COPY_MOST_S, COPY_SHARE * spec.interval_s) if spec.source == "mqtt" else 0.0


def _in_order(state: GateState, raw: float, t_s: float, copy_window_s: float) -> Verdict:
    if state.taken_t_s is None:
        return TAKEN
    newer_s = t_s - state.taken_t_s
    if newer_s <= 0:
        return Verdict("older-than-taken", f"{-newer_s:.1f} s older than what was already taken")
    seen = ((state.taken_t_s, state.taken), (state.held_t_s, state.held))
    # A copy of a held jump must not confirm it.
    if any(at is not None and raw == value and t_s - at <= copy_window_s for at, value in seen):
        return Verdict("older-than-taken", f"{raw:g} again at once: a copy of one message")
    return TAKEN


def _neighbour(state: GateState, raw: float, t_s: float) -> bool:
    """Whether a recent value, taken or held, is so near that an exact 85.0 is no surprise.

    Two exact 85.0 in a row are no evidence: a sensor whose supply dips gives nothing else. A place
    that truly is that hot passes through 84.9 or 85.1 on the way, which the jump rule lets in.
    """
    pairs = ((state.taken_t_s, state.taken), (state.held_t_s, state.held))
    return any(
        at is not None and value is not None and abs(raw - value) <= NEIGHBOUR_K and t_s - at <= NEIGHBOUR_S
        for at, value in pairs
    )


def _is_jump(state: GateState, raw: float, t_s: float) -> bool:
    """A step too great for the time between, not yet confirmed by the reading before it.

    Confirmed is a value near the held one, or beyond it on the same side: so a lasting change,
    also one still under way, is held back once and no more.
    """
    if state.taken_t_s is None or state.taken is None:
        return False
    gap_s = t_s - state.taken_t_s
    if gap_s > JUMP_MEMORY_S or abs(raw - state.taken) <= _allowed_k(gap_s):
        return False
    if state.held_t_s is None or state.held is None:
        return True
    side = math.copysign(1.0, state.held - state.taken)
    return side * (raw - state.held) < -_allowed_k(t_s - state.held_t_s)


def _allowed_k(gap_s: float) -> float:
    return min(JUMP_MOST_K, JUMP_FREE_K + JUMP_K_PER_S * max(0.0, gap_s))
