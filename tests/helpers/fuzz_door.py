"""Broken payloads without end for the door and for notes: what comes of each, how slow, how much grown.

The same series for the same seed and count, so that what fails can be played again.
"""

import json
import math
import random
import time
from collections import Counter
from dataclasses import dataclass, field
from typing import get_args

import psutil
from fault_rows import Row
from sites import make_site

from coldbrood.notes import BadNote, read_note
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
    ("senml", b'[{"n":"t","u":"Cel","v":85.0}]'),
    ("senml", b'[{"n":"t","u":"Cel","v":-127}]'),
    ("senml", b'[{"n":"u:box-a","n":"u:far","u":"Cel","v":24.25,"v":85}]'),
)
TOKENS = tuple(
    token.encode("latin-1")
    for token in (
        *'[]{},:"\\\xff\x00',
        *("\\ud800", "null", "true", "NaN", "1e999", "-127", "85.0", "268435456", "-1", "[" * 600),
        *("[" * 3000, "9" * 400, " " * 20_000, '{"a":' * 400, "\xc3\x28", "Infinity", "-0", "1e-400"),
        *('"v"', '"t"', '"bt"', '"u"', '"Cel"', '"n"', '"bver"'),
    )
)


NOTES = (
    b'{"kind": "refill", "box": "a", "fill_c": 70, "key": "k"}',
    b'{"kind": "shelve", "alarm": "refill-now/a", "minutes": 30}',
    b'{"kind": "count", "box": "a", "count": 15}',
    b'{"kind": "look-in", "look_in": "huddled"}',
    b'{"kind": "text", "text": "a word"}',
)
GROWN_MOST_MIB = 16.0


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


@dataclass
class Fuzzed:
    """What a series gave. `grown_mib` is resident memory at the end over that a tenth of the way in."""

    tally: Counter[str] = field(default_factory=Counter)
    reasons: Counter[str] = field(default_factory=Counter)
    slowest_ms: float = 0.0
    grown_mib: float = 0.0


def fuzz_door(count: int, seed: int = 8428) -> Fuzzed:
    """`count` payloads through one door, each held to `check`, and readings to the order of time."""
    rng, door, found = random.Random(seed), Door({spec.name: spec for spec in SPECS}), Fuzzed()
    t_s, newest, start_bytes = 0.0, dict[tuple[str, str], float](), 0
    for number in range(count):
        if number == count // 10:
            start_bytes = _resident_bytes()
        t_s += rng.choice((0.0, 0.5, 30.0, 300.0))
        now = Now(t_s, 1.7e9 + t_s, synced=rng.random() < 0.9)
        topic, payload = rng.choice(SEEDS)
        topic = topic if rng.random() < 0.8 else rng.choice((*TOPICS, "".join(map(chr, rng.randbytes(9)))))
        payload = mutated(rng, payload) if rng.random() < 0.9 else rng.randbytes(rng.randrange(300))
        bound_s, mid = rng.choice((0.0, 0.0, 0.0, 60.0, 4000.0)), rng.randrange(50)
        began_s = time.thread_time()
        outcomes = door.packet(topic, payload, rng.random() < 0.02, bound_s, now, mid)
        found.slowest_ms = max(found.slowest_ms, 1000.0 * (time.thread_time() - began_s))
        check(outcomes, now)
        for outcome in outcomes:
            _count(found, outcome, newest)
    found.grown_mib = (_resident_bytes() - start_bytes) / 2**20
    return found


def _resident_bytes() -> int:
    return int(psutil.Process().memory_info().rss)


def _count(found: Fuzzed, outcome: Outcome, newest: dict[tuple[str, str], float]) -> None:
    if isinstance(outcome, Refused):
        found.tally["refusals"] += 1
        found.reasons[outcome.reason] += 1
        return
    found.tally["readings"] += 1
    if not outcome.late:
        key = (outcome.probe, outcome.quantity)
        assert outcome.t_s > newest.get(key, -math.inf)
        newest[key] = outcome.t_s


def fuzz_notes(count: int, seed: int = 1) -> Counter[str]:
    """`count` broken notes: each is a note, or refused in one line."""
    rng, site, tally = random.Random(seed), make_site(), Counter[str]()
    for _ in range(count):
        payload = mutated(rng, rng.choice(NOTES))
        try:
            note = read_note(payload, site, Now(1.0, 1.7e9, synced=True))
        except BadNote as bad:
            tally["refused" if str(bad) else "refused without a word"] += 1
        else:
            assert note.key
            json.dumps(note.text)
            tally["notes"] += 1
    return tally


def row(long: bool) -> Row:
    """A million payloads and a hundred thousand notes in the long form."""
    count = 1_000_000 if long else 20_000
    made = Row("broken payloads and notes through the door", places=count + count // 10)
    found, notes = fuzz_door(count), fuzz_notes(count // 10)
    if found.grown_mib > GROWN_MOST_MIB:
        made.wrong.append(f"memory grew by {found.grown_mib:.1f} MiB")
    made.note = (
        f"{dict(found.tally)}, {len(found.reasons)} reasons to refuse; "
        f"slowest {found.slowest_ms:.1f} ms, grown by {found.grown_mib:.2f} MiB; notes: {dict(notes)}"
    )
    return made
