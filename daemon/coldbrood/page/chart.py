"""One chart as SVG: lines, ranges and marks over time. Pure: figures and labels in, markup out.

Lines differ by their stroke and carry their name, so that no colour is needed to tell them apart. Colours and
widths come from the page's style sheet by class.
"""

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field

from coldbrood.page.markup import Html, html, tag

Point = tuple[float, float]

WIDTH, HEIGHT = 380.0, 300.0
LEFT, RIGHT, TOP, BOTTOM = 30.0, 6.0, 36.0, 28.0
LABEL_GAP = 12.0
MOST_TICKS = 9
STEPS = (1.0, 2.0, 5.0, 10.0, 20.0, 50.0)
HOUR_STEPS = (1, 2, 3, 4, 6, 8, 12)
HOURS_APART_PX = 44.0


@dataclass(frozen=True, slots=True)
class Line:
    """Points (seconds, value) joined; `look` is its class, `label` stands at its end."""

    look: str
    label: str
    points: Sequence[Point]


@dataclass(frozen=True, slots=True)
class Range:
    """An area between two rows of points at the same times."""

    look: str
    low: Sequence[Point]
    high: Sequence[Point]


@dataclass(frozen=True, slots=True)
class Mark:
    """A moment: a line from top to bottom with a label on top, or a sign at the foot where `foot` is set."""

    look: str
    label: str
    at_s: float
    foot: bool = False


@dataclass(frozen=True, slots=True)
class Picture:
    """All of one chart. `shade` are spans drawn darker, such as the night. Times are Unix seconds."""

    title: str
    summary: str
    name: str
    from_s: float
    to_s: float
    lines: Sequence[Line]
    ranges: Sequence[Range] = ()
    marks: Sequence[Mark] = ()
    shade: Sequence[tuple[float, float]] = ()
    unit: str = ""
    hour_of: Callable[[float], int] = field(default=lambda s: int(s // 3600) % 24)
    hour_text: Callable[[float], str] = field(default=lambda s: f"{int(s // 3600) % 24:02d}")


@dataclass(frozen=True, slots=True)
class Scale:
    """From seconds and values to the picture's own units."""

    from_s: float
    to_s: float
    low: float
    high: float

    def x(self, at_s: float) -> float:
        """Across."""
        share = (at_s - self.from_s) / (self.to_s - self.from_s)
        return LEFT + min(1.0, max(0.0, share)) * (WIDTH - LEFT - RIGHT)

    def y(self, value: float) -> float:
        """Down."""
        share = (value - self.low) / (self.high - self.low)
        return HEIGHT - BOTTOM - share * (HEIGHT - TOP - BOTTOM)


def ticks(low: float, high: float, most: int = MOST_TICKS) -> list[float]:
    """Round values that enclose a span, evenly apart, at most `most` of them."""
    step = next((s for s in STEPS if (math.ceil(high / s) - math.floor(low / s)) < most), STEPS[-1])
    first, last = math.floor(low / step), math.ceil(high / step)
    if first == last:
        last += 1
    return [step * n for n in range(first, last + 1)]


def draw(picture: Picture) -> Html:
    """The chart. Without any point it says so by an empty frame."""
    values = [value for points in _all_points(picture) for _, value in points if math.isfinite(value)]
    levels = ticks(min(values, default=0.0), max(values, default=20.0))
    scale = Scale(picture.from_s, picture.to_s, levels[0], levels[-1])
    title_id, text_id = f"{picture.name}-title", f"{picture.name}-text"
    return tag(
        "svg",
        tag("title", picture.title, id=title_id),
        tag("desc", picture.summary, id=text_id),
        [_shade(scale, span) for span in picture.shade],
        [_level(scale, level) for level in levels],
        _hours(picture, scale),
        [_area(scale, area) for area in picture.ranges],
        [_stroke(scale, line) for line in picture.lines],
        [_mark(scale, mark) for mark in picture.marks],
        _labels(scale, picture.lines),
        tag("text", picture.unit, x=2, y=TOP - 9, class_="unit"),
        viewBox=f"0 0 {WIDTH:.0f} {HEIGHT:.0f}",
        class_="chart",
        role="img",
        aria_labelledby=f"{title_id} {text_id}",
    )


def _all_points(picture: Picture) -> Iterable[Sequence[Point]]:
    yield from (line.points for line in picture.lines)
    for area in picture.ranges:
        yield area.low
        yield area.high


def _shade(scale: Scale, span: tuple[float, float]) -> Html:
    left, right = scale.x(span[0]), scale.x(span[1])
    return tag(
        "rect", x=_n(left), y=TOP, width=_n(right - left), height=_n(HEIGHT - TOP - BOTTOM), class_="night"
    )


def _level(scale: Scale, level: float) -> list[Html]:
    y = scale.y(level)
    return [
        tag("line", x1=LEFT, x2=WIDTH - RIGHT, y1=_n(y), y2=_n(y), class_="grid"),
        tag("text", f"{level:g}".replace("-", "\N{MINUS SIGN}"), x=LEFT - 4, y=_n(y + 4), class_="level"),
    ]


def _hours(picture: Picture, scale: Scale) -> list[Html]:
    """Full hours of the day by the keeper's clock, as many as there is room for."""
    hours = (picture.to_s - picture.from_s) / 3600.0
    room = max(1.0, (WIDTH - LEFT - RIGHT) / HOURS_APART_PX)
    step = next((s for s in HOUR_STEPS if hours / s <= room), 24)
    first_s = math.ceil(picture.from_s / 3600.0) * 3600
    found = [at for at in range(first_s, int(picture.to_s) + 1, 3600) if picture.hour_of(at) % step == 0]
    y = HEIGHT - BOTTOM
    return [
        html(
            [
                tag("line", x1=_n(scale.x(at)), x2=_n(scale.x(at)), y1=_n(y), y2=_n(y + 4), class_="grid"),
                tag("text", picture.hour_text(at), x=_n(scale.x(at)), y=_n(y + 16), class_="hour"),
            ]
        )
        for at in found
        if LEFT + 4 < scale.x(at) < WIDTH - RIGHT - 8
    ]


def _area(scale: Scale, area: Range) -> Html:
    there = " ".join(_at(scale, point) for point in area.low)
    back = " ".join(_at(scale, point) for point in reversed(area.high))
    return tag("polyline", points=f"{there} {back}", class_=f"area {area.look}")


def _stroke(scale: Scale, line: Line) -> Html:
    return tag("polyline", points=" ".join(_at(scale, p) for p in line.points), class_=f"line {line.look}")


def _mark(scale: Scale, mark: Mark) -> Html:
    x = scale.x(mark.at_s)
    if mark.foot:
        y = HEIGHT - BOTTOM
        corner = f"{_n(x)},{_n(y - 9)} {_n(x - 5)},{_n(y)} {_n(x + 5)},{_n(y)}"
        return html([tag("polyline", points=corner, class_=f"foot {mark.look}")])
    # What is now stands in a row of its own, so that it never runs into what is next.
    row = TOP - 21.0 if mark.look == "now" else TOP - 8.0
    anchor = "start" if x < WIDTH * 0.2 else "end" if x > WIDTH * 0.8 else "middle"
    return html(
        [
            tag("line", x1=_n(x), x2=_n(x), y1=TOP, y2=_n(HEIGHT - BOTTOM), class_=f"mark {mark.look}"),
            tag("text", mark.label, x=_n(x), y=row, class_="marked", text_anchor=anchor),
        ]
    )


def _labels(scale: Scale, lines: Sequence[Line]) -> list[Html]:
    """The name of each line at its end, moved apart where two lines end close together."""
    found = [(scale.y(line.points[-1][1]), line) for line in lines if line.points and line.label]
    ends = sorted(found, key=lambda end: end[0])
    placed: list[tuple[float, Line]] = []
    floor = TOP + 8.0
    for y, line in ends:
        put = max(y - 4.0, floor)
        placed.append((put, line))
        floor = put + LABEL_GAP
    over = max(0.0, floor - LABEL_GAP - (HEIGHT - BOTTOM - 4.0))
    return [
        tag("text", line.label, x=WIDTH - RIGHT - 2, y=_n(y - over), class_=f"name {line.look}")
        for y, line in placed
    ]


def _at(scale: Scale, point: Point) -> str:
    return f"{_n(scale.x(point[0]))},{_n(scale.y(point[1]))}"


def _n(value: float) -> str:
    return f"{value:.1f}".removesuffix(".0")
