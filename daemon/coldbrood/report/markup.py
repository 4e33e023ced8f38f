"""Pieces of HTML: what comes from outside is escaped, and a program can read every figure."""

from collections.abc import Iterable, Sequence
from html import escape

DASH = "&ndash;"


def figure(name: str, value: float | None, text: str) -> str:
    """One figure: what is read, and in `value` the number behind it, in C, min, h, L, kWh or a count."""
    if value is None:
        return DASH
    return f'<data id="{escape(name)}" value="{value:.10g}">{escape(text)}</data>'


def paragraph(text: str, kind: str = "") -> str:
    """One paragraph of HTML that is safe already."""
    mark = f' class="{kind}"' if kind else ""
    return f"<p{mark}>{text}</p>"


def table(caption: str, head: Sequence[str], rows: Iterable[Sequence[str]], kind: str = "") -> str:
    """A table of cells that are safe already; the first of each row is its head."""
    top = "".join(f'<th scope="col">{cell}</th>' for cell in head)
    body = "\n".join(
        f'<tr><th scope="row">{row[0]}</th>{"".join(f"<td>{cell}</td>" for cell in row[1:])}</tr>'
        for row in rows
    )
    return (
        f'<div class="wide"><table class="{kind}"><caption>{caption}</caption>\n'
        f"<thead><tr>{top}</tr></thead>\n<tbody>\n{body}\n</tbody></table></div>"
    )


def plot(svg: str, says: str) -> str:
    """A plot with the words under it."""
    return f'<figure><div class="wide">{svg}</div><figcaption>{says}</figcaption></figure>'


def section(name: str, title: str, *parts: str) -> str:
    """One section under its heading."""
    inside = "\n".join(part for part in parts if part)
    return f'<section id="part-{escape(name)}"><h2>{escape(title)}</h2>\n{inside}\n</section>'
