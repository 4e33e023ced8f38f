"""A probe's correction changed in the config: said once in the history, since the past stays as it was.

Each reading is kept raw beside its value, and a correction holds from the start that first had it.
"""

from dataclasses import replace

from coldbrood.watch.events import History
from coldbrood.watch.site import Site
from coldbrood.watch.state import State

NONE = (0.0, 1.0)


def news(site: Site, state: State) -> tuple[State, tuple[History, ...]]:
    """A line for each probe whose offset or gain is another than at the last start."""
    before = state.ledger.offsets
    given = {name: (spec.offset_c, spec.gain) for name, spec in site.probes.items()}
    after = {name: correction for name, correction in given.items() if correction != NONE}
    if dict(before) == after:
        return state, ()
    lines = tuple(
        History("calibration", name, "changed", "config", f"was {_words(was)}, is {_words(now)}")
        for name, now in given.items()
        if now != (was := before.get(name, NONE))
    )
    return replace(state, ledger=replace(state.ledger, offsets=after)), lines


def _words(correction: tuple[float, float]) -> str:
    offset_c, gain = correction
    return f"offset {offset_c:+.3f} C gain {gain:.4f}"
