"""The whole state of the watch. Immutable: a step gives a new one."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from coldbrood.brooder.estimate import Ask
from coldbrood.watch.alarms import Alarm
from coldbrood.watch.assess import BoxView
from coldbrood.watch.digest import NightForecast
from coldbrood.watch.expected import BoxAsk
from coldbrood.watch.outbox import Message
from coldbrood.watch.sight import Sight, first_sight
from coldbrood.watch.site import Site
from coldbrood.watch.verdicts import Health

ASKS_KEPT = 48


@dataclass(frozen=True, slots=True)
class Ledger:
    """What was said, so that it is not said again: `sized` are the boxes judged on paper.

    `offsets` are the probes' corrections (offset, gain), `asks` the last fills asked for.
    """

    dusk_date: str = ""
    advice_keys: tuple[str, ...] = ()
    forecasts: tuple[NightForecast, ...] = ()
    night_t_s: float | None = None
    wakings: int = 0
    sized: tuple[str, ...] = ()
    offsets: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    asks: tuple[BoxAsk, ...] = ()


@dataclass(frozen=True, slots=True)
class State:
    """Sight and ledger, alarms and outbox are kept in the journal; the rest is found anew.

    `sounding` are the alarms for which there is noise now, `trial_t_s` is when a test was last asked for.
    """

    sight: Sight
    health: Health
    alarms: Mapping[str, Alarm] = field(default_factory=dict)
    outbox: Mapping[str, Message] = field(default_factory=dict)
    ledger: Ledger = field(default_factory=Ledger)
    views: Mapping[str, BoxView] = field(default_factory=dict)
    sounding: tuple[str, ...] = ()
    trial_t_s: float | None = None


def first_state(site: Site, t_s: float) -> State:
    """A site never watched before."""
    return State(sight=first_sight(site), health=Health(started_t_s=t_s))


def asking(state: State, asks: Mapping[str, Ask]) -> State:
    """The state after fills were asked for, by box: kept against a stop, and shown to the sight."""
    if not asks:
        return state
    kept = (*state.ledger.asks, *(BoxAsk(box, ask) for box, ask in asks.items()))[-ASKS_KEPT:]
    return replace(state, ledger=replace(state.ledger, asks=kept), sight=replace(state.sight, asks=kept))
