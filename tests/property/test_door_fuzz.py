"""No bytes, topics or times make the door raise: what comes out is a reading or a refusal with its reason."""

from fuzz_door import GROWN_MOST_MIB, SPECS, TOPICS, check, fuzz_door, fuzz_notes
from hypothesis import given, settings
from hypothesis import strategies as st

from coldbrood.probes.door import Door
from coldbrood.watch.events import Now


def test_twenty_thousand_broken_payloads() -> None:
    """A million of them: `tests/benchmarks/faults.py --long --only payloads`."""
    found = fuzz_door(20_000)
    assert min(found.tally["readings"], found.tally["refusals"]) > 2_000, f"lopsided: {found.tally}"
    assert len(found.reasons) >= 11, found.reasons
    assert found.grown_mib < GROWN_MOST_MIB


def test_two_thousand_broken_notes() -> None:
    tally = fuzz_notes(2_000)
    assert "refused without a word" not in tally
    assert min(tally["notes"], tally["refused"]) > 300, tally


@settings(max_examples=500, deadline=None)
@given(
    topic=st.sampled_from(TOPICS) | st.text(max_size=300),
    payload=st.binary(max_size=300),
    retained=st.booleans(),
    bound_s=st.floats(min_value=-10.0, max_value=1e6),
    t_s=st.floats(min_value=0.0, max_value=1e9),
)
def test_any_bytes_on_any_topic(
    topic: str, payload: bytes, retained: bool, bound_s: float, t_s: float
) -> None:
    now = Now(t_s, 1.7e9 + t_s, synced=True)
    check(Door({spec.name: spec for spec in SPECS}).packet(topic, payload, retained, bound_s, now), now)


@settings(max_examples=300, deadline=None)
@given(celsius=st.floats() | st.none(), probe=st.text(max_size=50) | st.just("yard"))
def test_any_wired_value(celsius: float | None, probe: str) -> None:
    now = Now(0.0, 1.7e9, synced=True)
    check(Door({spec.name: spec for spec in SPECS}).wired(probe, celsius, None, "", now), now)
