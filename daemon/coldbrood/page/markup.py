"""HTML as text: every value is escaped unless it is markup already."""

from collections.abc import Iterable
from html import escape

VOID = frozenset({"br", "hr", "img", "input", "link", "meta", "circle", "line", "path", "rect", "polyline"})
XML_VOID = frozenset({"circle", "line", "path", "rect", "polyline"})


class Html(str):
    """Markup, as against text."""

    __slots__ = ()


Child = str | Html | int | float | None | Iterable["Child"]
Attr = str | int | float | bool | None


def html(child: Child) -> Html:
    """One child, or many, as markup; None is nothing."""
    if child is None:
        return Html("")
    if isinstance(child, Html):
        return child
    if isinstance(child, (str, int, float)):
        return Html(escape(str(child), quote=False))
    return Html("".join(html(part) for part in child))


def tag(name: str, /, *children: Child, **attrs: Attr) -> Html:
    """An element. `class_` gives class, `aria_label` aria-label; True gives a bare attribute, None none."""
    head = f"<{name}{''.join(_attr(key, value) for key, value in attrs.items())}"
    if name in XML_VOID and not children:
        return Html(f"{head}/>")
    if name in VOID:
        return Html(f"{head}>")
    return Html(f"{head}>{html(children)}</{name}>")


def _attr(key: str, value: Attr) -> str:
    if value is None or value is False:
        return ""
    name = key.rstrip("_").replace("_", "-")
    return f" {name}" if value is True else f' {name}="{escape(str(value), quote=True)}"'
