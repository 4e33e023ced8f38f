#!/usr/bin/env python3
"""Draws deploy/wiring.svg: how a probe is wired, and where it hangs. `deploy/wiring.py` prints the drawing.

Each wire carries its name beside it, so that nothing hangs on a colour: those of sensor cables differ.
"""

from collections.abc import Iterator
from xml.sax.saxutils import escape

WIDTH, HEIGHT = 780, 1040
INK, PALE, WATER, WOOD = "#222", "#eee", "#9cc9e8", "#d9b98a"
SUPPLY, DATA, GROUND = "#b3261e", "#a67c00", "#222"
HEAD = (
    f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" role="img" '
    'font-family="sans-serif" font-size="14">'
)


def text(x: float, y: float, words: str, anchor: str = "start", size: int = 14) -> str:
    """Words at a point."""
    return f'<text x="{x:g}" y="{y:g}" text-anchor="{anchor}" font-size="{size}">{escape(words)}</text>'


def box(x: float, y: float, wide: float, high: float, fill: str = PALE) -> str:
    """A rectangle."""
    return (
        f'<rect x="{x:g}" y="{y:g}" width="{wide:g}" height="{high:g}" rx="4" fill="{fill}" stroke="{INK}"/>'
    )


def line(*points: float, ink: str = INK, dashed: bool = False) -> str:
    """A line through points, x and y in turn."""
    path = " ".join(f"{x:g},{y:g}" for x, y in zip(points[::2], points[1::2], strict=True))
    dash = ' stroke-dasharray="5 4"' if dashed else ""
    return f'<polyline points="{path}" fill="none" stroke="{ink}" stroke-width="2"{dash}/>'


def dot(x: float, y: float, r: float = 4, fill: str = INK) -> str:
    """A joint, or a head."""
    return f'<circle cx="{x:g}" cy="{y:g}" r="{r:g}" fill="{fill}" stroke="{INK}"/>'


def resistor(x: float, top: float, bottom: float, words: str) -> Iterator[str]:
    """A resistor that stands between two wires."""
    yield line(x, top, x, bottom)
    yield box(x - 7, (top + bottom) / 2 - 16, 14, 32, "white")
    if words:
        yield text(x + 13, (top + bottom) / 2 + 5, words)


def three_wires(x: float, y: float, to_x: float, apart: float) -> Iterator[str]:
    """Supply, data and ground from a board's pins to a sensor."""
    for n, (name, ink) in enumerate((("supply", SUPPLY), ("data", DATA), ("ground", GROUND))):
        at = y + n * apart
        yield line(x, at, to_x, at, ink=ink)
        yield text(to_x - 8, at - 6, name, "end", 12)
    yield dot(x + 130, y)
    yield dot(x + 130, y + apart)
    yield from resistor(x + 130, y, y + apart, "4.7 kΩ")


def on_a_battery(y: float) -> Iterator[str]:
    """A board with Wi-Fi, its cell, its sensor."""
    yield text(20, y, "A probe on a battery: board and cell outside the hen box, dry", size=17)
    yield box(40, y + 30, 200, 190)
    yield text(140, y + 55, "board with Wi-Fi", "middle")
    for n, pin in enumerate(("pin 5: 3.3 V, switched", "pin 4: data", "GND")):
        yield text(232, y + 85 + 55 * n, pin, "end", 12)
    yield from three_wires(240, y + 80, 560, 55)
    yield box(560, y + 60, 170, 150)
    yield text(645, y + 125, "DS18B20", "middle")
    yield text(645, y + 147, "in a steel tube", "middle", 12)
    yield text(150, y + 212, "pin 35: measures", "middle", 12)
    yield line(100, y + 220, 100, y + 262, 300, y + 262)
    yield text(52, y + 257, "pin 35", size=12)
    yield from resistor(300, y + 232, y + 262, "")
    yield from resistor(300, y + 262, y + 300, "")
    yield text(318, y + 252, "100 kΩ", size=12)
    yield text(318, y + 289, "100 kΩ", size=12)
    yield dot(300, y + 262)
    yield line(300, y + 232, 480, y + 232, ink=SUPPLY)
    yield line(300, y + 300, 480, y + 300, ink=GROUND)
    yield box(480, y + 222, 90, 88)
    yield text(525, y + 262, "cell", "middle")
    yield text(490, y + 242, "+", size=17)
    yield text(490, y + 304, "-", size=17)
    yield text(582, y + 250, "The cell also feeds the board", size=12)
    yield text(582, y + 268, "by its battery plug. The two", size=12)
    yield text(582, y + 286, "resistors halve it: ratio 2", size=12)


def on_the_board(y: float) -> Iterator[str]:
    """Sensors on the 1-Wire bus of the board that runs the daemon."""
    yield text(20, y, "A probe by wire: the board that runs coldbrood reads it itself", size=17)
    yield box(40, y + 30, 200, 150)
    yield text(140, y + 55, "board, 1-Wire on", "middle")
    for n, pin in enumerate(("3.3 V, never 5 V", "the 1-Wire pin: data", "GND")):
        yield text(232, y + 80 + 40 * n, pin, "end", 12)
    yield from three_wires(240, y + 75, 560, 40)
    yield box(560, y + 55, 170, 120)
    yield text(645, y + 120, "DS18B20 of the box", "middle")
    yield box(560, y + 190, 170, 66)
    yield text(645, y + 228, "DS18B20 outside", "middle")
    for n, ink in enumerate((SUPPLY, DATA, GROUND)):
        x, at, to = 480 - 16 * n, y + 75 + 40 * n, y + 240 - 17 * n
        yield dot(x, at)
        yield line(x, at, x, to, 560, to, ink=ink)


def in_the_box(y: float) -> Iterator[str]:
    """A cut through hen box and yard."""
    yield text(20, y, "Where they hang", size=17)
    yield box(40, y + 60, 360, 210, WOOD)
    yield box(64, y + 84, 312, 162, "white")
    yield text(220, y + 46, "lid, insulated; the air gap stays open all night", "middle", 12)
    yield f'<rect x="196" y="{y + 59:g}" width="26" height="26" fill="white"/>'
    yield line(209, y + 96, 209, y + 54)
    yield line(203, y + 63, 209, y + 54, 215, y + 63)
    yield box(84, y + 140, 78, 106, WATER)
    yield text(123, y + 190, "jug", "middle")
    yield text(123, y + 208, "upright", "middle", 11)
    for x in (262, 296, 330):
        yield dot(x, y + 228, 17, "#f6dd7d")
    yield text(296, y + 200, "chicks", "middle", 12)
    yield dot(236, y + 212, 6, SUPPLY)
    yield line(236, y + 206, 236, y + 110, 470, y + 110, 470, y + 150)
    yield text(248, y + 140, "sensor: at the", size=12)
    yield text(248, y + 156, "chicks' backs' height", size=12)
    yield line(166, y + 236, 230, y + 236, dashed=True)
    yield text(198, y + 232, "10 cm", "middle", 11)
    yield text(408, y + 88, "cable out of", size=12)
    yield text(408, y + 103, "beaks' reach", size=12)
    yield box(430, y + 150, 86, 56)
    yield text(473, y + 174, "board", "middle", 12)
    yield text(473, y + 191, "and cell, dry", "middle", 11)
    yield line(560, y + 96, 650, y + 70, 740, y + 96)
    yield text(650, y + 62, "roof: shade all day", "middle", 12)
    yield line(650, y + 76, 650, y + 150)
    yield dot(650, y + 156, 6, SUPPLY)
    yield text(650, y + 182, "outdoor sensor", "middle", 12)
    yield text(650, y + 198, "in moving air, off any wall,", "middle", 12)
    yield text(650, y + 214, "1 to 2 m up, far from the box", "middle", 12)
    yield line(20, y + 290, 760, y + 290)


def drawing() -> str:
    """The whole drawing as SVG."""
    parts = (
        "<title>Wiring of the probes, and where they hang</title>",
        f'<rect width="{WIDTH}" height="{HEIGHT}" fill="white"/>',
        *on_a_battery(30),
        *on_the_board(400),
        *in_the_box(710),
    )
    return "\n".join((HEAD, *parts, "</svg>\n"))


if __name__ == "__main__":
    print(drawing(), end="")
