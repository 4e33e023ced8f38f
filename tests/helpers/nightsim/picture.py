"""The trade-off as a picture: wakings against cold by risk, as plain SVG."""

from collections.abc import Sequence

Point = tuple[str, float, float]
WIDE, HIGH, LEFT, FOOT = 640, 420, 70, 60


def curve_svg(curve: Sequence[Point], others: Sequence[Point], batches: int) -> str:
    """`curve` and `others` as (label, wakings, degree-hours) a batch; the curve is joined by a line."""
    points = [*curve, *others]
    most_x = 1.1 * max([x for _, x, _ in points] + [1.0])
    most_y = 1.1 * max([y for _, _, y in points] + [1.0])

    def at(x: float, y: float) -> tuple[float, float]:
        return LEFT + x / most_x * (WIDE - LEFT - 30), HIGH - FOOT - y / most_y * (HIGH - FOOT - 30)

    axes = [
        _line(at(0, 0), at(most_x, 0)),
        _line(at(0, 0), at(0, most_y)),
        _text(WIDE / 2, HIGH - 15, f"wakings in a batch of 14 nights (mean of {batches})", "middle"),
        f'<g transform="rotate(-90 18 {HIGH / 2})">'
        + _text(18, HIGH / 2, "degree-hours under the floor", "middle")
        + "</g>",
    ]
    ticks = [_text(at(v, 0)[0], HIGH - FOOT + 18, f"{v:.0f}", "middle") for v in _ticks(most_x)]
    ticks += [_text(LEFT - 8, at(0, v)[1] + 4, f"{v:.0f}", "end") for v in _ticks(most_y)]
    path = " ".join(f"{x:.1f},{y:.1f}" for x, y in (at(x, y) for _, x, y in curve))
    joined = [f'<polyline points="{path}" fill="none" stroke="#333" stroke-width="1.5"/>']
    marks = [_mark(at(x, y), label, "#333") for label, x, y in curve]
    marks += [_mark(at(x, y), label, "#a40", below=True) for label, x, y in others]
    head = f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDE} {HIGH}" font-family="sans-serif">'
    white = f'<rect width="{WIDE}" height="{HIGH}" fill="white"/>'
    return "\n".join([head, white, *axes, *ticks, *joined, *marks, "</svg>", ""])


def _ticks(most: float) -> list[float]:
    step = max(1.0, round(most / 5.0))
    return [step * i for i in range(6) if step * i <= most]


def _line(a: tuple[float, float], b: tuple[float, float]) -> str:
    return f'<line x1="{a[0]:.1f}" y1="{a[1]:.1f}" x2="{b[0]:.1f}" y2="{b[1]:.1f}" stroke="#999"/>'


def _text(x: float, y: float, words: str, anchor: str) -> str:
    return f'<text x="{x:.1f}" y="{y:.1f}" font-size="13" text-anchor="{anchor}">{words}</text>'


def _mark(at: tuple[float, float], label: str, colour: str, below: bool = False) -> str:
    dot = f'<circle cx="{at[0]:.1f}" cy="{at[1]:.1f}" r="4" fill="{colour}"/>'
    x, y = (at[0], at[1] + 18) if below else (at[0] + 7, at[1] - 6)
    return dot + _text(x, y, label, "start")
