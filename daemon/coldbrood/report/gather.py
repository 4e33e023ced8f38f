"""Everything of one batch that the journal tells, as plain facts. Nothing is judged here.

Only readings whose age is known count, and of those the calibrated value. Times are Unix times.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from coldbrood.brooder.band import Band, SeenLookIn, band
from coldbrood.journal.reader import HistoryLine, JournalReader
from coldbrood.report.series import Series
from coldbrood.report.span import ReportError, Told
from coldbrood.watch import refillline
from coldbrood.watch.conditions import CONDITIONS
from coldbrood.watch.events import Note, Reading
from coldbrood.watch.localtime import age_days
from coldbrood.watch.nightline import NightLine, read_line
from coldbrood.watch.site import Site
from coldbrood.watch.takeback import standing


@dataclass(frozen=True, slots=True)
class Refilled:
    """One refill: when it was, the fill temperature if it was told, the box just before."""

    box: str
    wall_s: float
    fill_c: float | None
    box_c: float | None


@dataclass(frozen=True, slots=True)
class Occasion:
    """One raised alarm of which the keeper was told: from the first message to what ended it."""

    condition: str
    subject: str
    box: str | None
    first_s: float
    messages: int
    answered_s: float | None
    over_s: float | None

    @property
    def wakes(self) -> bool:
        """Whether it may make a sound at night."""
        row = CONDITIONS.get(self.condition)
        return row is not None and row.wakes


@dataclass(frozen=True, slots=True, eq=False)
class Facts:
    """One batch as the journal tells it. `forecasts` are (time, night); `notes` none taken back."""

    told: Told
    boxes: Mapping[str, Series]
    outdoor: Series
    notes: Sequence[Note]
    refills: Sequence[Refilled]
    occasions: Sequence[Occasion]
    forecasts: Sequence[tuple[float, NightLine]]
    failed_sends: int
    clock_unsure: int
    look_ins: Mapping[str, tuple[SeenLookIn, ...]]

    @property
    def site(self) -> Site:
        """The site with this batch."""
        return self.told.site

    def band_at(self, box: str, wall_s: float, t_s: float) -> Band:
        """The comfort band as it was at a time, with the look-ins up to then."""
        age = age_days(self.site, wall_s)
        return band(age, self.look_ins[box], t_s, self.site.batch.floors)


def gather(told: Told, reader: JournalReader) -> Facts:
    """Read one batch. Raises ReportError if no box was read in it, JournalError."""
    boxes, outdoor, unsure = _series(told, reader)
    if not any(len(series.wall_s) for series in boxes.values()):
        raise ReportError(
            f"batch {told.number}: no reading of a hen box is in the journal: nothing to report yet"
        )
    notes = standing(reader.notes(told.from_s, _end(told)))
    lines = reader.history(told.from_s, _end(told))
    poured = reader.history(told.from_s, _end(told) + refillline.LATEST_S, refillline.KIND)
    look_ins = {box: _look_ins(box, notes, series) for box, series in boxes.items()}
    return Facts(
        told=told,
        boxes=boxes,
        outdoor=outdoor,
        notes=notes,
        refills=_refills(told, notes, poured, boxes),
        occasions=occasions(told.site, lines),
        forecasts=[(line.wall_s, night) for line in lines if (night := read_line(line.line)) is not None],
        failed_sends=sum(line.line.kind == "send" and line.line.state != "accepted" for line in lines),
        clock_unsure=unsure,
        look_ins=look_ins,
    )


def _end(told: Told) -> float:
    """What is told in the very last second belongs to it, such as the note that closes the batch."""
    return told.to_s + 0.5


def _series(told: Told, reader: JournalReader) -> tuple[dict[str, Series], Series, int]:
    probes = told.site.probes
    found: dict[str | None, list[Reading]] = {None: [], **{box: [] for box in told.site.boxes}}
    unsure = 0
    for reading in reader.readings(told.from_s, _end(told)):
        spec = probes.get(reading.probe)
        if spec is None or reading.quantity != "temperature_c" or reading.late:
            continue
        unsure += not reading.synced
        found[spec.box].append(reading)
    outdoor = Series.of(found.pop(None))
    return {box: Series.of(readings) for box, readings in found.items() if box is not None}, outdoor, unsure


def _look_ins(box: str, notes: Iterable[Note], series: Series) -> tuple[SeenLookIn, ...]:
    return tuple(
        SeenLookIn(note.look_in, note.t_s, series.before(note.wall_s))
        for note in notes
        if note.kind == "look-in" and note.box == box and note.look_in is not None
    )


def _refills(
    told: Told, notes: Iterable[Note], lines: Iterable[HistoryLine], boxes: Mapping[str, Series]
) -> list[Refilled]:
    """Each refill of the batch, with the box just before it."""
    return [
        Refilled(one.box, one.wall_s, one.fill_c, _just_before(boxes[one.box], one.wall_s))
        for one in refillline.each(((line.wall_s, line.line) for line in lines), notes)
        if one.box in told.site.boxes and told.from_s <= one.wall_s < _end(told)
    ]


def _just_before(series: Series, wall_s: float) -> float | None:
    """The lowest of the half hour before: an open lid has no say, and the rise has not begun."""
    lowest = series.between(wall_s - 1800.0, wall_s + 1.0).lowest()
    return None if lowest is None else lowest[1]


def occasions(site: Site, lines: Sequence[HistoryLine]) -> list[Occasion]:
    """Each alarm the keeper was told of, from the sends that were accepted and the changes of the alarm."""
    sent: dict[str, list[HistoryLine]] = {}
    for line in lines:
        if line.line.kind == "send" and line.line.state == "accepted" and "#" in line.line.subject:
            sent.setdefault(_occasion(line.line.subject), []).append(line)
    changes = [line for line in lines if line.line.kind == "alarm"]
    return [_told_of(site, key.partition("#")[0], same, changes) for key, same in sent.items()]


def _occasion(key: str) -> str:
    """What all messages of one raise share: refill-now/a#3.2@phone gives refill-now/a#3."""
    about, _, number = key.rpartition("@")[0].rpartition("#")
    return f"{about}#{number.partition('.')[0]}"


def _told_of(site: Site, alarm: str, same: Sequence[HistoryLine], changes: Sequence[HistoryLine]) -> Occasion:
    condition, _, subject = alarm.partition("/")
    first_s = same[0].wall_s
    after = [line for line in changes if line.line.subject == alarm and line.seq > same[0].seq]
    spec = site.probes.get(subject)
    return Occasion(
        condition=condition,
        subject=subject,
        box=subject if subject in site.boxes else None if spec is None else spec.box,
        first_s=first_s,
        messages=len({line.line.subject.rpartition("@")[0] for line in same}),
        answered_s=_first(after, "acknowledge"),
        over_s=_first(after, "clear"),
    )


def _first(lines: Sequence[HistoryLine], event: str) -> float | None:
    return next((line.wall_s for line in lines if line.line.detail.startswith(f"{event} ")), None)
