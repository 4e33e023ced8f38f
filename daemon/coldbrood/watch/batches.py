"""Batches: which group of chicks is in the boxes now, and which boxes and probes are in use for it.

The config's [batch] is the first one. After that a batch is ended and the next one begun by notes, so that
the journal keeps them apart and a running daemon needs no new config. A box without a batch rests: its
probe is still read, but it is neither judged nor learned from. The same holds, for a stated time, for a probe
set aside to be calibrated: ice water is not the air of the box.
"""

from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING, Final, get_args

from coldbrood.brooder.carry import carried
from coldbrood.brooder.specs import ChickKind
from coldbrood.watch.events import Note
from coldbrood.watch.site import BatchSpec, ProbeSpec, Site

if TYPE_CHECKING:
    from coldbrood.watch.sight import Sight

KINDS: Final = ("batch-start", "batch-close", "aside")
CHICKS_MOST: Final = 150  # as box.chicks in the config
AGE_MOST: Final = timedelta(days=60)
AHEAD_MOST: Final = timedelta(days=30)
ASIDE_MOST_MIN: Final = 720.0
_CHICKS: Final = "chicks."


@dataclass(frozen=True, slots=True)
class Span:
    """One batch as the journal tells it, from its start note to its close note.

    The config's has no start, and `to_wall_s` is None while a batch lasts.
    """

    batch: BatchSpec
    from_wall_s: float | None
    to_wall_s: float | None


def start_text(arrival: date, hatched: date | None, kind: ChickKind, chicks: Mapping[str, int]) -> str:
    """The text of a batch-start note."""
    words = [f"arrival={arrival.isoformat()}", f"kind={kind}"]
    if hatched is not None:
        words.append(f"hatched={hatched.isoformat()}")
    return " ".join([*words, *(f"{_CHICKS}{box}={count}" for box, count in chicks.items())])


def read_start(text: str, boxes: Collection[str]) -> BatchSpec:
    """The batch in the text of a batch-start note. Raises ValueError: field, value, what is allowed."""
    told = dict(_pairs(text))
    chicks = {key[len(_CHICKS) :]: value for key, value in told.items() if key.startswith(_CHICKS)}
    arrival = _day("arrival", told.get("arrival", "missing"))
    hatched = _day("hatched", told["hatched"]) if "hatched" in told else None
    kind = next((kind for kind in get_args(ChickKind) if kind == told.get("kind", "layer")), None)
    if kind is None:
        raise ValueError(f"kind: {told['kind']}: one of {', '.join(get_args(ChickKind))}")
    if hatched is not None and not timedelta(0) <= arrival - hatched <= AGE_MOST:
        raise ValueError(f"hatched: {hatched}: not after the arrival, at most {AGE_MOST.days} days before")
    if not chicks:
        raise ValueError(f"chicks: none: at least one box of {', '.join(boxes)}")
    counts = {box: _count(box, value, boxes) for box, value in chicks.items()}
    return BatchSpec(arrival=arrival, hatched=hatched, kind=kind, chicks=counts)


def _pairs(text: str) -> Iterator[tuple[str, str]]:
    for word in text.split():
        key, equals, value = word.partition("=")
        if not equals or not (key in ("arrival", "hatched", "kind") or key.startswith(_CHICKS)):
            raise ValueError(f"text: {word}: arrival=, hatched=, kind= or {_CHICKS}BOX=")
        yield key, value


def _day(field: str, text: str) -> date:
    try:
        day = date.fromisoformat(text)
    except ValueError:
        day = date.min
    if not date(2000, 1, 1) <= day <= date(2099, 12, 31):
        raise ValueError(f"{field}: {text}: a date, as 2026-04-10")
    return day


def is_count(text: str) -> bool:
    """Whether a text is a number of chicks that a box may hold."""
    return text.isascii() and text.isdecimal() and len(text) < 6 and int(text) <= CHICKS_MOST


def _count(box: str, text: str, boxes: Collection[str]) -> int:
    if box not in boxes:
        raise ValueError(f"box: {box}: one of {', '.join(boxes)}")
    if not is_count(text):
        raise ValueError(f"chicks: {text}: a whole number, 0 to {CHICKS_MOST}")
    return int(text)


def current(site: Site, told: BatchSpec | None) -> BatchSpec:
    """The batch that counts: the one told by a note, with the config's own floors.

    A [batch] in the config that arrived no earlier is the keeper's correction and counts instead.
    """
    if told is None or site.batch.arrival >= told.arrival:
        return site.batch
    return replace(told, floors=site.batch.floors)


def in_use(site: Site, sight: "Sight", t_s: float) -> Site:
    """The site with only the boxes of the open batch and the probes that look at them now.

    With no batch open there is nothing to watch: no box and no probe.
    """
    batch = current(site, sight.batch)
    probes = {name: spec for name, spec in site.probes.items() if _looks(spec, sight, t_s)}
    if batch is site.batch and len(probes) == len(site.probes) and not sight.resting:
        return site
    boxes = {name: spec for name, spec in site.boxes.items() if name in sight.boxes}
    return replace(site, batch=batch, boxes=boxes, probes=probes)


def _looks(spec: ProbeSpec, sight: "Sight", t_s: float) -> bool:
    if sight.aside.get(spec.name, t_s) > t_s:
        return False
    return spec.box in sight.boxes if spec.role == "box" else bool(sight.boxes)


def is_watched(sight: "Sight", spec: ProbeSpec, t_s: float) -> bool:
    """Whether a reading of this probe at this time tells of a box in use, or of the air outside."""
    if sight.aside.get(spec.name, t_s) > t_s:
        return False
    return spec.role == "outdoor" or spec.box in sight.boxes


def refusal(site: Site, sight: "Sight", note: Note) -> str:
    """Why the watch cannot do what such a note asks; empty if it can."""
    if note.kind == "batch-start":
        if sight.boxes:
            return f"the batch of {current(site, sight.batch).arrival} is open: close it first"
        return start_fault(site, note.text, note.wall_s)
    if note.kind == "batch-close" and not sight.boxes:
        return "no batch is open"
    if note.kind == "aside" and note.text not in site.probes:
        return f"probe: {note.text}: one of {', '.join(site.probes)}"
    return ""


def start_fault(site: Site, text: str, wall_s: float) -> str:
    """What is wrong with the text of a batch-start note told at a time; empty if nothing is."""
    try:
        arrival = read_start(text, site.boxes).arrival
    except ValueError as fault:
        return str(fault)
    today = datetime.fromtimestamp(wall_s, site.zone).date()
    if today - AGE_MOST <= arrival <= today + AHEAD_MOST:
        return ""
    return f"arrival: {arrival}: {AGE_MOST.days} days back to {AHEAD_MOST.days} days ahead of {today}"


def take(site: Site, sight: "Sight", note: Note) -> "Sight":
    """Do what a note of batches or of a probe set aside asks; nothing if it is refused."""
    if refusal(site, sight, note):
        return sight
    if note.kind == "batch-start":
        return _begin(site, sight, read_start(note.text, site.boxes))
    if note.kind == "batch-close":
        return replace(sight, boxes={}, resting={**sight.resting, **sight.boxes})
    until_t_s = note.t_s + 60.0 * min(note.minutes or 0.0, ASIDE_MOST_MIN)
    aside = {name: at for name, at in sight.aside.items() if at > note.t_s and name != note.text}
    return replace(sight, aside=aside if note.minutes is None else {**aside, note.text: until_t_s})


def _begin(site: Site, sight: "Sight", batch: BatchSpec) -> "Sight":
    """The boxes of the batch come out of their rest with what they learned and with nothing else."""
    resting, boxes = dict(sight.resting), {}
    for name, chicks in batch.chicks.items():
        box = resting.pop(name)
        boxes[name] = type(box)(estimate=carried(box.estimate, site.boxes[name]), chicks=chicks)
    return replace(sight, batch=batch, boxes=boxes, resting=resting)


def spans(site: Site, notes: Iterable[Note]) -> tuple[Span, ...]:
    """Every batch that the journal's notes tell of, oldest first; the config's is the first.

    Notes that were refused, a start while one was open or a close with none, change nothing here either.
    """
    found = [Span(site.batch, None, None)]
    for note in notes:
        last = found[-1]
        if note.kind == "batch-close" and last.to_wall_s is None:
            found[-1] = replace(last, to_wall_s=note.wall_s)
        elif note.kind == "batch-start" and last.to_wall_s is not None:
            try:
                found.append(Span(read_start(note.text, site.boxes), note.wall_s, None))
            except ValueError:
                continue
    return tuple(found)
