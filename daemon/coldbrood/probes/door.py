"""The door: packets and wired samples in, readings or refusals with a reason out. No IO.

Owned by one thread. It keeps the gate's state of each probe and quantity, and the last values taken with
the number of the broker's packet that brought each. After a broken link a broker sends what was not
acknowledged again, under the number that it had (MQTT 3.1.1, section 4.4 [M]), and by that alone a copy is
known: an equal value is no copy, since a steady box gives equal values all night.
"""

from collections import deque
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace

from coldbrood.probes import payload as payloads
from coldbrood.probes import quality
from coldbrood.probes.payload import Sample
from coldbrood.probes.quality import GateState, Verdict
from coldbrood.probes.strict_json import BadPayload
from coldbrood.watch.events import Now, Reading, Refusal, Refused
from coldbrood.watch.site import ProbeSpec, Quantity

Key = tuple[str, Quantity]
Outcome = Reading | Refused

PAYLOAD_KEPT_BYTES = 256
DETAIL_KEPT = 200
FUTURE_MOST_S = 60.0  # a probe's clock may be a little fast
AGE_MOST_S = 2 * 86_400.0  # an older stamp is a clock that was never set
LATE_OVER_S = 120.0  # an age less sure than this decides nothing
REMEMBERED = 256  # values of one probe and quantity; the broker's numbers come round after 65,535


@dataclass(frozen=True, slots=True)
class _Arrival:
    """One packet, or one wired sample with neither topic nor payload, and when it came."""

    topic: str
    payload: bytes
    age_bound_s: float
    now: Now
    mid: int = 0

    def refused(self, probe: str | None, reason: Refusal, detail: str) -> Refused:
        kept = self.payload[:PAYLOAD_KEPT_BYTES]
        topic, text = _storable(self.topic), _storable(detail)
        return Refused(probe, topic, reason, text, kept, self.now.t_s, self.now.wall_s)


@dataclass(frozen=True, slots=True)
class _Dated:
    """A sample with its age on arrival, and by how much older it may be than that."""

    sample: Sample
    age_s: float
    unsure_s: float

    @property
    def late(self) -> bool:
        return self.unsure_s > LATE_OVER_S


class Door:
    """Decodes, dates, judges and calibrates what the probes of one site send."""

    def __init__(self, probes: Mapping[str, ProbeSpec]) -> None:
        self._probes = dict(probes)
        self._by_topic: dict[str, list[ProbeSpec]] = {}
        for spec in probes.values():
            if spec.source == "mqtt":
                self._by_topic.setdefault(spec.topic, []).append(spec)
        self._gates: dict[Key, GateState] = {}
        self._recent: dict[Key, deque[tuple[int, float, float]]] = {}

    def resume(self, latest: Iterable[Reading]) -> None:
        """Go on after a restart from readings already kept, oldest first.

        The more of them are handed over, the more copies of messages sent again are known.
        """
        for reading in latest:
            key = (reading.probe, reading.quantity)
            self._remember(key, reading.mid, reading.raw, reading.t_s)
            gate = self._gates.get(key, GateState())
            if not reading.late and (gate.taken_t_s is None or reading.t_s > gate.taken_t_s):
                self._gates[key] = GateState(taken_t_s=reading.t_s, taken=reading.raw)

    def packet(
        self,
        topic: str,
        payload: bytes,
        retained: bool,
        age_bound_s: float,
        now: Now,
        mid: int = 0,
        overtook: int = 0,
    ) -> tuple[Outcome, ...]:
        """Take one packet that may have waited up to `age_bound_s` on its way. Never raises on any bytes.

        `mid` is the number that the broker gave it, 0 for none; if it waited, it may be a copy of what was
        taken under this number before. `overtook` counts those dropped since it says the same thing newer.
        """
        arrival = _Arrival(topic, payload, max(0.0, age_bound_s), now, mid)
        specs = self._by_topic.get(topic)
        if specs is None:
            return (arrival.refused(None, "unknown-probe", "no probe of the config has this topic"),)
        if retained:
            detail = "kept by the broker from before: no sign that the probe lives; publish without retain"
            return tuple(arrival.refused(spec.name, "retained", detail) for spec in specs)
        shared = len(specs) > 1
        outcomes = tuple(outcome for spec in specs for outcome in self._from_probe(arrival, spec, shared))
        return outcomes if not overtook else (*outcomes, _too_often(arrival, specs[0], overtook))

    def wired(
        self, probe: str, celsius: float | None, fault: Refusal | None, detail: str, now: Now
    ) -> tuple[Outcome, ...]:
        """Take one sample of a wired probe, or the fault that came in its place."""
        arrival = _Arrival("", b"", 0.0, now)
        spec = self._probes.get(probe)
        if spec is None:
            return (arrival.refused(None, "unknown-probe", f"no probe {probe!r} in the config"),)
        if fault is not None or celsius is None:
            return (arrival.refused(probe, fault or "not-a-number", detail or "no value"),)
        sample = Sample("temperature_c", celsius, age_s=0.0)
        return (self._take(arrival, spec, _Dated(sample, 0.0, 0.0)),)

    def _from_probe(self, arrival: _Arrival, spec: ProbeSpec, shared: bool) -> tuple[Outcome, ...]:
        try:
            samples = payloads.decode(arrival.payload, spec, by_name=shared)
        except BadPayload as fault:
            return (arrival.refused(spec.name, fault.reason, fault.detail),)
        except Exception as fault:  # noqa: BLE001 - a flaw in a decoder must not stop the alarms
            detail = f"the decoder failed: {type(fault).__name__}: {fault}"
            return (arrival.refused(spec.name, "bad-payload", detail),)
        return _merged(self._outcomes(arrival, spec, samples))

    def _outcomes(
        self, arrival: _Arrival, spec: ProbeSpec, samples: tuple[Sample, ...]
    ) -> Iterator[tuple[Quantity, Outcome]]:
        dated = sorted(_dated(samples, arrival), key=lambda item: -item.age_s)
        for item in dated:
            yield item.sample.quantity, self._take(arrival, spec, item)

    def _take(self, arrival: _Arrival, spec: ProbeSpec, dated: _Dated) -> Outcome:
        verdict = _datable(dated.age_s)
        dated = replace(dated, age_s=max(0.0, dated.age_s))
        if verdict.reason is None:
            verdict = self._judge(spec, dated, arrival)
        if verdict.reason is not None:
            return arrival.refused(spec.name, verdict.reason, verdict.detail)
        return _reading(arrival, spec, dated)

    def _judge(self, spec: ProbeSpec, dated: _Dated, arrival: _Arrival) -> Verdict:
        now = arrival.now
        key, raw, t_s = (spec.name, dated.sample.quantity), dated.sample.value, now.t_s - dated.age_s
        gate = self._gates.get(key, GateState())
        waited = dated.unsure_s > 0
        if waited and self._is_sent_again(key, arrival, raw):
            return Verdict("older-than-taken", f"{raw:g} was taken before the link broke: a copy")
        if dated.late:
            verdict = quality.plausible(gate, spec, key[1], raw, t_s)
        else:
            self._gates[key], verdict = quality.judge(gate, spec, key[1], raw, t_s, waited=waited)
        if verdict.reason is None:
            self._remember(key, arrival.mid, raw, now.t_s)
        return verdict

    def _is_sent_again(self, key: Key, arrival: _Arrival, raw: float) -> bool:
        """Whether an earlier packet of this number brought this value; one bundle may hold it twice."""
        recent = self._recent.get(key, ())
        return any((mid, was) == (arrival.mid, raw) and t_s < arrival.now.t_s for mid, was, t_s in recent)

    def _remember(self, key: Key, mid: int, raw: float, t_s: float) -> None:
        if mid:
            self._recent.setdefault(key, deque(maxlen=REMEMBERED)).append((mid, raw, t_s))


def _too_often(arrival: _Arrival, spec: ProbeSpec, count: int) -> Refused:
    return arrival.refused(spec.name, "too-often", f"{count} sent in a flood were dropped for newer ones")


def _reading(arrival: _Arrival, spec: ProbeSpec, dated: _Dated) -> Reading:
    sample, now = dated.sample, arrival.now
    gain, offset = (spec.gain, spec.offset_c) if sample.quantity == "temperature_c" else (1.0, 0.0)
    return Reading(
        probe=spec.name,
        quantity=sample.quantity,
        raw=sample.value,
        value=sample.value * gain + offset,
        t_s=now.t_s - dated.age_s,
        wall_s=now.wall_s - dated.age_s,
        synced=now.synced,
        late=dated.late,
        mid=arrival.mid,
    )


def _datable(age_s: float) -> Verdict:
    if age_s < -FUTURE_MOST_S:
        return Verdict("from-the-future", f"dated {-age_s:.0f} s ahead: check the clock of the probe")
    if age_s > AGE_MOST_S:
        return Verdict("older-than-taken", f"{age_s / 86_400:.1f} days old")
    return quality.TAKEN


def _dated(samples: tuple[Sample, ...], arrival: _Arrival) -> Iterator[_Dated]:
    """Give each sample its age on arrival.

    Absolute times cannot be placed while the board's own clock is not set, nor if the probe's never
    was. Then the newest counts as sent on arrival, and the others keep their distance from it.
    """
    now = arrival.now
    newest = max((sample.unix_s for sample in samples if sample.unix_s is not None), default=now.wall_s)
    placed = now.synced and now.wall_s - newest <= AGE_MOST_S
    for sample in samples:
        if sample.unix_s is None:
            yield _Dated(sample, sample.age_s or 0.0, arrival.age_bound_s)
        elif placed:
            yield _Dated(sample, now.wall_s - sample.unix_s, 0.0)
        else:
            yield _Dated(sample, newest - sample.unix_s, arrival.age_bound_s)


def _merged(outcomes: Iterable[tuple[Quantity, Outcome]]) -> tuple[Outcome, ...]:
    """Refusals of one packet for one reason and quantity become one, which says how many it stands for.

    A probe that repeats its last readings in each bundle would else fill the journal with copies.
    """
    kept: list[Outcome] = []
    first: dict[tuple[Quantity, Refusal], int] = {}
    more: dict[int, int] = {}
    for quantity, outcome in outcomes:
        if isinstance(outcome, Reading):
            kept.append(outcome)
        elif (quantity, outcome.reason) in first:
            index = first[quantity, outcome.reason]
            more[index] = more.get(index, 0) + 1
        else:
            first[quantity, outcome.reason] = len(kept)
            kept.append(outcome)
    return tuple(_with_count(outcome, more.get(index, 0)) for index, outcome in enumerate(kept))


def _with_count(outcome: Outcome, more: int) -> Outcome:
    if more == 0 or isinstance(outcome, Reading):
        return outcome
    return replace(outcome, detail=_storable(f"{outcome.detail[: DETAIL_KEPT - 20]} (and {more} more)"))


def _storable(text: str) -> str:
    """Cut, and free of the half characters that no UTF-8 column takes."""
    return text[:DETAIL_KEPT].encode("utf-8", "replace").decode("utf-8")
