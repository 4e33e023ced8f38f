"""How far an estimate may be trusted, in one word."""

from typing import Literal

from coldbrood.brooder.estimate import Estimate

SETTLING_S = 7200.0
SILENT_S = 7200.0
KNOWN_AFTER_S = 86400.0

Sureness = Literal["unknown", "learning", "known"]


def sureness(est: Estimate, t_s: float) -> Sureness:
    """How far the estimate may be trusted: its readings are few, old, or enough.

    Unknown in the first two hours and after two hours of silence; known after a day with two refills.
    """
    if est.first_s is None or est.last_s is None:
        return "unknown"
    if est.last_s - est.first_s < SETTLING_S or t_s - est.last_s > SILENT_S:
        return "unknown"
    return "known" if est.last_s - est.first_s >= KNOWN_AFTER_S and est.refills >= 2 else "learning"
