"""Which batch a report is about: its place among the batches of the journal, its time, the site as it was."""

import math
from dataclasses import dataclass, replace
from datetime import datetime, time

from coldbrood.journal.reader import JournalReader
from coldbrood.watch import batches
from coldbrood.watch.batches import Span
from coldbrood.watch.site import Site


class ReportError(Exception):
    """There is nothing to report on: one plain line that says why and what to do."""


@dataclass(frozen=True, slots=True)
class Told:
    """One batch: the `number`th `of` so many. Times are Unix times; `is_open` while no note has closed it.

    `site` has this batch, and the boxes and box probes that were in use for it.
    """

    site: Site
    number: int
    of: int
    from_s: float
    to_s: float
    is_open: bool


def pick(site: Site, reader: JournalReader, number: int | None) -> Told:
    """The batch of a number, counted from 1, or the newest. Raises ReportError, JournalError."""
    spans = batches.spans(site, reader.notes(-math.inf, math.inf))
    at = len(spans) if number is None else number
    if not 1 <= at <= len(spans):
        raise ReportError(f"batch: {number}: 1 to {len(spans)}, for so many are in the journal")
    span = spans[at - 1]
    used = _used(site, span)
    to_s = _end(reader, span)
    return Told(used, at, len(spans), _start(site, span), to_s, span.to_wall_s is None)


def _used(site: Site, span: Span) -> Site:
    batch = batches.current(site, span.batch)
    boxes = {name: spec for name, spec in site.boxes.items() if name in batch.chicks}
    probes = {name: spec for name, spec in site.probes.items() if spec.role == "outdoor" or spec.box in boxes}
    return replace(site, batch=batch, boxes=boxes, probes=probes)


def _start(site: Site, span: Span) -> float:
    """The note that began it; for the config's batch the first hour of the day of arrival."""
    if span.from_wall_s is not None:
        return span.from_wall_s
    return datetime.combine(span.batch.arrival, time(), site.zone).timestamp()


def _end(reader: JournalReader, span: Span) -> float:
    """The note that closed it; for an open one the newest thing the journal holds."""
    if span.to_wall_s is not None:
        return span.to_wall_s
    newest = reader.restore().last_wall_s
    if newest is None:
        raise ReportError(f"{reader.path}: nothing is in the journal yet: let the daemon run first")
    return newest
