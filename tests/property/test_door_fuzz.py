"""No bytes, topics or times make the door raise: what comes out is a reading or a refusal with its reason."""

import math
import random
from typing import get_args

from hypothesis import given, settings
from hypothesis import strategies as st

from coldbrood.probes.door import DETAIL_KEPT, PAYLOAD_KEPT_BYTES, Door, Outcome
from coldbrood.probes.quality import RANGES
from coldbrood.watch.events import Now, Reading, Refusal, Refused
from coldbrood.watch.site import ProbeSpec

REASONS = frozenset(get_args(Refusal))
TOPICS = ("senml", "pointers", "plain", "board", "stray")
SPECS = (
    ProbeSpec("box-a", "box", "a", "mqtt", 60.0, topic="senml", offset_c=0.5),
    ProbeSpec(
        "far", "box", "a", "mqtt", 60.0, "pointers", "pointers", {"temperature_c": "/t", "battery_v": "/b/0"}
    ),
    ProbeSpec("yard", "outdoor", None, "mqtt", 300.0, "plain", "plain", unit="F"),
    ProbeSpec("left", "box", "a", "mqtt", 60.0, topic="board"),
    ProbeSpec("right", "box", "a", "mqtt", 60.0, topic="board"),
)
SEEDS = (
    ("senml", b'[{"n":"u:box-a","u":"Cel","v":24.25},{"n":"u:box-a","u":"V","v":2.9}]'),
    ("senml", b'[{"n":"u:box-a","u":"Cel","v":24.5,"t":-20},{"n":"u:box-a","u":"K","v":297.5}]'),
    ("board", b'[{"bn":"u:","n":"left","u":"Cel","v":24},{"n":"right","u":"K","v":295,"bt":1.7e9}]'),
    (
        "board",
        b'[{"bn":"left","bu":"%RH","v":61.5},{"u":"/","n":":level","v":0.5},{"u":"V","v":2.9,"s":1,"ut":60}]',
    ),
    ("pointers", b'{"t":21.5,"b":[2.9,"x"],"n":null}'),
    ("plain", b"71.5"),
    ("plain", b" 7.15e1"),
    ("stray", b"1"),
)
TOKENS = tuple(
    token.encode("latin-1")
    for token in (
        *'[]{},:"\\\xff\x00',
        *("\\ud800", "null", "true", "NaN", "1e999", "-127", "85.0", "268435456", "-1", "[" * 600),
        *('"v"', '"t"', '"bt"', '"u"', '"Cel"', '"n"', '"bver"'),
    )
)


def mutated(rng: random.Random, data: bytes) -> bytes:
    """A payload broken in up to three places, half of them in none."""
    broken = bytearray(data)
    for _ in range(rng.choice((0, 0, 0, 1, 2, 3))):
        start = rng.randrange(len(broken) + 1)
        kind = rng.randrange(4)
        if kind == 0:
            broken[start:start] = rng.choice(TOKENS)
        elif kind == 1:
            del broken[start : start + rng.randint(1, 8)]
        elif kind == 2:
            broken[start : start + 1] = bytes((rng.randrange(256),))
        else:
            broken[start:start] = broken[start : start + rng.randint(1, 30)]
    return bytes(broken)


def check(outcomes: tuple[Outcome, ...], now: Now) -> None:
    assert outcomes
    for outcome in outcomes:
        if isinstance(outcome, Refused):
            assert outcome.reason in REASONS
            assert outcome.detail
            assert len(outcome.detail) <= DETAIL_KEPT
            assert outcome.detail.encode()
            assert len(outcome.payload) <= PAYLOAD_KEPT_BYTES
            assert not outcome.detail.startswith("the decoder failed")
        else:
            check_reading(outcome, now)


def check_reading(reading: Reading, now: Now) -> None:
    spec = next(spec for spec in SPECS if spec.name == reading.probe)
    low, high = RANGES.get(reading.quantity, (spec.min_c, spec.max_c))
    assert low <= reading.raw <= high
    assert math.isfinite(reading.value)
    assert reading.t_s <= now.t_s
    assert math.isclose(now.t_s - reading.t_s, now.wall_s - reading.wall_s, abs_tol=1e-3)


def test_twenty_thousand_broken_payloads() -> None:
    rng = random.Random(8428)
    door = Door({spec.name: spec for spec in SPECS})
    t_s, tally = 0.0, {"readings": 0, "refusals": 0}
    newest: dict[tuple[str, str], float] = {}
    for _ in range(20_000):
        t_s += rng.choice((0.0, 0.5, 30.0, 300.0))
        now = Now(t_s, 1.7e9 + t_s, synced=rng.random() < 0.9)
        bound_s = rng.choice((0.0, 0.0, 0.0, 60.0, 4000.0))
        topic, payload = rng.choice(SEEDS)
        topic = topic if rng.random() < 0.8 else rng.choice(TOPICS)
        outcomes = door.packet(topic, mutated(rng, payload), rng.random() < 0.02, bound_s, now)
        check(outcomes, now)
        for outcome in outcomes:
            tally["readings" if isinstance(outcome, Reading) else "refusals"] += 1
            if isinstance(outcome, Reading) and not outcome.late:
                key = (outcome.probe, outcome.quantity)
                assert outcome.t_s > newest.get(key, -math.inf)
                newest[key] = outcome.t_s
    assert min(tally.values()) > 2_000, f"the fuzz is lopsided: {tally}"


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
