"""What is seen: the newest of each probe, and for each box its estimate, count and look-ins.

`absorb` is the only way sight changes, and it takes nothing but readings and notes; what was asked of the
keeper meanwhile is told it beside them. So a sight kept some time ago and fed what the journal holds since is
the sight of a daemon that never stopped.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from coldbrood.brooder import estimate as box_estimate
from coldbrood.brooder import outdoor, typed_low
from coldbrood.brooder.band import SeenLookIn, band
from coldbrood.brooder.bends import Prior
from coldbrood.brooder.carry import modern
from coldbrood.brooder.estimate import Ask, Drive, Estimate, Refill
from coldbrood.brooder.outdoor import Habit
from coldbrood.brooder.specs import DAY_UNREST_K, Flock
from coldbrood.watch import batches
from coldbrood.watch.events import Note, Reading, Refused
from coldbrood.watch.expected import BoxAsk, is_open, last_ask, prior_of_refill
from coldbrood.watch.localtime import age_days, night_over, night_sun
from coldbrood.watch.site import BatchSpec, ProbeSpec, Site
from coldbrood.watch.takeback import TOLD_KEPT, Told, found, told_of, undone

TREND_S = 3600.0
TRACK_S = 86_400.0
TRACK_STEP_S = 300.0
LOOK_INS_KEPT = 20
HUDDLE_COUNTS_S = 86_400.0
NOTE_KEYS_KEPT = 200
SAME_WARMTH_S = 1800.0  # a box that is not refilled moves by a degree in it, less than a zone of comfort
IDLE_REFUSALS = ("retained", "older-than-taken", "too-often")  # copies, or too many: the sensor may be well
OUTDOOR_STALE_S = 3600.0
OUTDOOR_SD_FRESH_C = 0.5
OUTDOOR_SD_GROWTH_C_PER_H = 0.7
OUTDOOR_UNKNOWN_C = 8.0
OUTDOOR_UNKNOWN_SD_C = 6.0


@dataclass(frozen=True, slots=True)
class ProbeSight:
    """The newest of one probe. `same_since_t_s` is since when its raw temperature has not moved at all."""

    heard_t_s: float
    taken_t_s: float | None = None
    taken_wall_s: float | None = None
    temperature_c: float | None = None
    raw: float | None = None
    same_since_t_s: float | None = None
    battery_v: float | None = None
    battery_pct: float | None = None
    humidity_pct: float | None = None
    signal_dbm: float | None = None
    refused_run: int = 0
    refused_reason: str = ""
    leapt_t_s: float | None = None


@dataclass(frozen=True, slots=True)
class BoxSight:
    """One box: its estimate, its chicks, its past day in points (t_s, box_c) at least five minutes apart."""

    estimate: Estimate
    chicks: int
    newest: tuple[float, float] | None = None
    track: tuple[tuple[float, float], ...] = ()
    look_ins: tuple[SeenLookIn, ...] = ()
    refill_t_s: float | None = None
    noted_refill_t_s: float | None = None
    first_t_s: float | None = None
    loss_t_s: float | None = None


@dataclass(frozen=True, slots=True)
class Sight:
    """All that is seen of a site.

    `boxes` are those in use and `resting` those without a batch, see batches.py; `batch` is the one told by
    a note, None for the config's. `aside` gives for a probe set aside until when; `lows` are the lows that
    the keeper typed; `asks` are the last fills asked for, which the ledger keeps too.
    """

    probes: Mapping[str, ProbeSight]
    boxes: Mapping[str, BoxSight]
    habit: Habit
    note_keys: tuple[str, ...] = ()
    told: tuple[Told, ...] = ()
    resting: Mapping[str, BoxSight] = field(default_factory=dict)
    batch: BatchSpec | None = None
    aside: Mapping[str, float] = field(default_factory=dict)
    lows: typed_low.Lows = field(default_factory=typed_low.Lows)
    asks: tuple[BoxAsk, ...] = ()


@dataclass(frozen=True, slots=True)
class Seen:
    """What one event changed: the new sight, the refill it showed as (box, refill), the note it took back."""

    sight: Sight
    refill: tuple[str, Refill] | None = None
    repeated: bool = field(default=False)
    undone: Told | None = None


def first_sight(site: Site) -> Sight:
    """Nothing seen yet: priors only."""
    boxes = {}
    for seed, (name, spec) in enumerate(sorted(site.boxes.items()), start=1):
        chicks = site.batch.chicks.get(name, 0)
        flock = Flock(chicks=chicks, age_days=0.0, kind=site.batch.kind)
        boxes[name] = BoxSight(box_estimate.start(spec, flock, seed), chicks)
    return Sight(probes={}, boxes=boxes, habit=outdoor.start_habit())


def fitted_sight(site: Site, kept: Sight) -> Sight:
    """A kept sight under a config that may have changed since: unknown boxes go, new ones start.

    A new box is in use if any is: to watch one too many is the safe side.
    """
    known = {**first_sight(site).boxes, **kept.resting, **kept.boxes}
    known = {
        name: replace(known[name], estimate=modern(known[name].estimate, spec))
        for name, spec in site.boxes.items()
    }
    used = {name for name in site.boxes if name not in kept.resting} if kept.boxes else set()
    boxes = {name: known[name] for name in site.boxes if name in used}
    resting = {name: known[name] for name in site.boxes if name not in used}
    probes = {name: probe for name, probe in kept.probes.items() if name in site.probes}
    return replace(kept, boxes=boxes, resting=resting, probes=probes)


def absorb(site: Site, sight: Sight, event: Reading | Note | Refused) -> Seen:
    """Take one reading, note or refusal. The same events in the same order give the same sight."""
    if isinstance(event, Note):
        return _absorb_note(site, sight, event)
    if isinstance(event, Refused):
        return Seen(_absorb_refusal(site, sight, event))
    spec = site.probes.get(event.probe)
    if spec is None or event.late:
        return Seen(sight)
    sight = replace(sight, probes={**sight.probes, spec.name: _newer_probe(sight, event)})
    if event.quantity != "temperature_c" or not batches.is_watched(sight, spec, event.t_s):
        return Seen(sight)
    if spec.role == "outdoor":
        lows = typed_low.see(sight.lows, event.t_s, event.value)
        return Seen(replace(sight, habit=_learn_outdoor(site, sight.habit, event), lows=lows))
    return _absorb_box_reading(batches.in_use(site, sight, event.t_s), sight, spec, event)


def _newer_probe(sight: Sight, reading: Reading) -> ProbeSight:
    probe = sight.probes.get(reading.probe) or ProbeSight(heard_t_s=reading.t_s)
    probe = replace(probe, heard_t_s=max(probe.heard_t_s, reading.t_s))
    if reading.quantity == "battery_v":
        return replace(probe, battery_v=reading.value)
    if reading.quantity == "battery_pct":
        return replace(probe, battery_pct=reading.value)
    if reading.quantity == "humidity_pct":
        return replace(probe, humidity_pct=reading.value)
    if reading.quantity == "signal_dbm":
        return replace(probe, signal_dbm=reading.value)
    same = probe.raw == reading.raw and probe.same_since_t_s is not None
    return replace(
        probe,
        taken_t_s=reading.t_s,
        taken_wall_s=reading.wall_s,
        temperature_c=reading.value,
        raw=reading.raw,
        same_since_t_s=probe.same_since_t_s if same else reading.t_s,
        refused_run=0,
        refused_reason="",
    )


def _absorb_refusal(site: Site, sight: Sight, refused: Refused) -> Sight:
    """A refused value shows that the probe lives, not what it feels."""
    if refused.probe is None or refused.probe not in site.probes or refused.reason in IDLE_REFUSALS:
        return sight
    probe = sight.probes.get(refused.probe) or ProbeSight(heard_t_s=refused.t_s)
    run = probe.refused_run + 1
    probe = replace(probe, heard_t_s=refused.t_s, refused_run=run, refused_reason=refused.reason)
    if refused.reason == "leaps":
        probe = replace(probe, leapt_t_s=refused.t_s)
    return replace(sight, probes={**sight.probes, refused.probe: probe})


def _learn_outdoor(site: Site, habit: Habit, reading: Reading) -> Habit:
    shift_s = reading.t_s - reading.wall_s
    sunset_t_s, sunrise_t_s = (None if at is None else at + shift_s for at in night_sun(site, reading.wall_s))
    return outdoor.learn(habit, reading.t_s, reading.value, sunset_t_s, sunrise_t_s)


def _absorb_box_reading(site: Site, sight: Sight, spec: ProbeSpec, reading: Reading) -> Seen:
    name = spec.box or ""
    box, box_spec = sight.boxes[name], site.boxes[name]
    drive = drive_at(site, sight, name, reading.t_s, reading.wall_s)
    ask = last_ask(sight.asks, name, reading.t_s)
    asked = is_open(ask, box.refill_t_s, reading.t_s, in_doubt=box_estimate.in_doubt(box.estimate))
    prior = _prior(site, box, asked, reading)
    estimate, refill = box_estimate.observe(
        box.estimate, box_spec, reading.t_s, reading.value, drive, prior, ask
    )
    box = replace(
        box,
        estimate=estimate,
        newest=(reading.t_s, reading.value),
        track=_longer_track(box.track, reading.t_s, reading.value),
        first_t_s=reading.t_s if box.first_t_s is None else box.first_t_s,
        refill_t_s=box.refill_t_s if refill is None else refill.t_s,
    )
    sight = replace(sight, boxes={**sight.boxes, name: box})
    return Seen(sight, None if refill is None else (name, refill))


def _prior(site: Site, box: BoxSight, asked: bool, reading: Reading) -> Prior:
    age = age_days(site, reading.wall_s)
    around = band(age, box.look_ins, reading.t_s, site.batch.floors)
    return prior_of_refill(site, box.track, around, asked, reading.t_s, reading.wall_s)


def _longer_track(
    track: tuple[tuple[float, float], ...], t_s: float, box_c: float
) -> tuple[tuple[float, float], ...]:
    if track and t_s - track[-1][0] < TRACK_STEP_S:
        return track
    return (*(point for point in track if point[0] > t_s - TRACK_S), (t_s, box_c))


def drive_at(site: Site, sight: Sight, box: str, t_s: float, wall_s: float) -> Drive:
    """What acts on a box at a time: outdoor air with its doubt and the hour's unrest, and the chicks."""
    outdoor_c, sd_c = outdoor_now(sight, t_s)
    sunset_s, sunrise_s = night_sun(site, wall_s)
    dark = sunset_s is not None and sunrise_s is not None and sunset_s <= wall_s < sunrise_s
    unknown = math.hypot(sd_c, 0.0 if dark else DAY_UNREST_K)
    return Drive(outdoor_c, unknown, flock_of(site, sight, box, wall_s))


def flock_of(site: Site, sight: Sight, box: str, wall_s: float) -> Flock:
    """The chicks of a box, by the last count."""
    return Flock(sight.boxes[box].chicks, age_days(site, wall_s), site.batch.kind)


def outdoor_now(sight: Sight, t_s: float) -> tuple[float, float]:
    """Outdoor air and its standard deviation, which grows with the age of the last reading."""
    last = outdoor.last(sight.habit)
    if last is None:
        return OUTDOOR_UNKNOWN_C, OUTDOOR_UNKNOWN_SD_C
    stale_h = max(0.0, t_s - last[0] - OUTDOOR_STALE_S) / 3600.0
    return last[1], min(OUTDOOR_UNKNOWN_SD_C, OUTDOOR_SD_FRESH_C + OUTDOOR_SD_GROWTH_C_PER_H * stale_h)


def trend_c_per_h(box: BoxSight) -> float | None:
    """Slope of a straight line through the last hour of the box, None with under three points."""
    if box.newest is None:
        return None
    points = [point for point in (*box.track, box.newest) if point[0] >= box.newest[0] - TREND_S]
    if len(points) < 3 or points[-1][0] - points[0][0] < TREND_S / 3:
        return None
    mean_t = sum(t for t, _ in points) / len(points)
    mean_c = sum(c for _, c in points) / len(points)
    spread = sum((t - mean_t) ** 2 for t, _ in points)
    return 3600.0 * sum((t - mean_t) * (c - mean_c) for t, c in points) / spread


def seen_huddled(box: BoxSight, t_s: float) -> bool:
    """Whether the newest verdict of the past day on the chicks' warmth is that they huddle."""
    verdicts = [seen for seen in box.look_ins if seen.kind in ("huddled", "spread", "panting")]
    return bool(verdicts) and verdicts[-1].kind == "huddled" and t_s - verdicts[-1].t_s < HUDDLE_COUNTS_S


def _absorb_note(site: Site, sight: Sight, note: Note) -> Seen:
    if note.key in sight.note_keys:
        return Seen(sight, repeated=True)
    sight = replace(sight, note_keys=(*sight.note_keys, note.key)[-NOTE_KEYS_KEPT:])
    if note.kind in batches.KINDS:
        return Seen(batches.take(site, sight, note))
    if note.kind == "withdraw":
        told = found(sight.told, note.text)
        return Seen(sight if told is None else _taken_back(sight, told), undone=told)
    if note.kind == "low":
        sight = replace(sight, lows=_low_typed(site, sight.lows, note))
    before = sight.boxes.get(note.box or "")
    if note.box is None or before is None:
        return Seen(replace(sight, told=(*sight.told, told_of(note, None, None))[-TOLD_KEPT:]))
    box, refill = _noted_box(site, before, note, last_ask(sight.asks, note.box, note.t_s))
    tellings = (*sight.told, told_of(note, before, box))[-TOLD_KEPT:]
    sight = replace(sight, boxes={**sight.boxes, note.box: box}, told=tellings)
    return Seen(sight, None if refill is None else (note.box, refill))


def _low_typed(site: Site, lows: typed_low.Lows, note: Note) -> typed_low.Lows:
    """Tonight's low as the note has it; what is no temperature changes nothing."""
    until_t_s = note.t_s + night_over(site, note.wall_s) - note.wall_s
    try:
        return typed_low.say(lows, note.t_s, typed_low.read(note.text), until_t_s)
    except ValueError:
        return lows


def _taken_back(sight: Sight, told: Told) -> Sight:
    sight = replace(sight, told=tuple(item for item in sight.told if item is not told))
    if told.kind == "low":
        return replace(sight, lows=typed_low.unsay(sight.lows, told.t_s))
    box = sight.boxes.get(told.box or "")
    return sight if box is None else replace(sight, boxes={**sight.boxes, told.box or "": undone(box, told)})


def _read_at(box: BoxSight, t_s: float) -> float | None:
    """What the box read about a time: a look-in speaks of the warmth it was taken in, not of that of now."""
    points = box.track if box.newest is None else (*box.track, box.newest)
    near = min(points, key=lambda point: abs(point[0] - t_s), default=None)
    return None if near is None or abs(near[0] - t_s) > SAME_WARMTH_S else near[1]


def _noted_box(site: Site, box: BoxSight, note: Note, ask: Ask | None) -> tuple[BoxSight, Refill | None]:
    if note.kind == "refill":
        spec = site.boxes[note.box or ""]
        estimate = box_estimate.note_refill(box.estimate, spec, note.t_s, note.fill_c, ask)
        refill = Refill(t_s=note.t_s, rise_c=0.0, kind="noted")
        return replace(box, estimate=estimate, refill_t_s=note.t_s, noted_refill_t_s=note.t_s), refill
    if note.kind == "count" and note.count is not None:
        return replace(box, chicks=note.count), None
    if note.kind == "loss":
        left = max(0, box.chicks - (1 if note.count is None else note.count))
        return replace(box, chicks=left, loss_t_s=note.t_s), None
    if note.kind == "look-in" and note.look_in is not None:
        look_in = SeenLookIn(kind=note.look_in, t_s=note.t_s, box_c=_read_at(box, note.t_s))
        return replace(box, look_ins=(*box.look_ins, look_in)[-LOOK_INS_KEPT:]), None
    return box, None
