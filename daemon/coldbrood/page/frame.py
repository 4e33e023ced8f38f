"""What every page has around it: head, top line, the five ways to go, and what was just kept."""

from dataclasses import dataclass
from typing import Final

from coldbrood.page.markup import Child, Html, html, tag
from coldbrood.page.speech import N_, Speech

WAYS: Final = (
    ("/", N_("Now")),
    ("/tonight", N_("Tonight")),
    ("/days", N_("Days")),
    ("/what-if", N_("What if")),
    ("/board", N_("Board")),
)


@dataclass(frozen=True, slots=True)
class Frame:
    """One page. `path` is the way that is gone, `at` the time of day shown on top."""

    title: str
    path: str
    at: str
    body: Child
    live: bool = False
    guest: bool = False


def page(speech: Speech, frame: Frame) -> str:
    """The whole document."""
    return "<!doctype html>\n" + tag(
        "html",
        _head(speech, frame),
        tag(
            "body",
            tag("a", speech.say("To the content"), href="#main", class_="skip"),
            _top(speech, frame),
            tag("p", id="line", role="status", hidden=True),
            tag("main", frame.body, id="main", data_live=frame.path if frame.live else None),
            _ways(speech, frame.path),
            tag("script", src="/coldbrood.js", defer=True),
            data_unsent=speech.say("waiting on this phone to be sent:"),
            data_away=speech.say("No link to the board. Figures are from"),
            data_kept=speech.say("Kept."),
            data_not_kept=speech.say("Not kept:"),
        ),
        lang=speech.language,
    )


def _head(speech: Speech, frame: Frame) -> Html:
    return tag(
        "head",
        tag("meta", charset="utf-8"),
        tag("meta", name="viewport", content="width=device-width, initial-scale=1"),
        tag("meta", name="color-scheme", content="light dark"),
        tag("meta", name="theme-color", content="#14100c", media="(prefers-color-scheme: dark)"),
        tag("meta", name="theme-color", content="#f7f1e6", media="(prefers-color-scheme: light)"),
        tag("title", f"{frame.title} \N{MIDDLE DOT} {speech.site.name}"),
        tag("link", rel="stylesheet", href="/coldbrood.css"),
        tag("link", rel="icon", href="/icon.svg", type="image/svg+xml"),
        tag("link", rel="apple-touch-icon", href="/icon-180.png"),
        tag("link", rel="manifest", href="/coldbrood.webmanifest", crossorigin="use-credentials"),
    )


def _top(speech: Speech, frame: Frame) -> Html:
    return tag(
        "header",
        tag("span", speech.site.name, class_="site"),
        tag("span", speech.say("look only"), class_="role") if frame.guest else None,
        tag("time", frame.at, id="at"),
    )


def _ways(speech: Speech, path: str) -> Html:
    links = [
        tag("a", speech.say(name), href=to, aria_current="page" if to == path else None) for to, name in WAYS
    ]
    return tag("nav", links, aria_label=speech.say("Pages"))


def section(title: str, *body: Child, level: str = "h2", **attrs: str | None) -> Html:
    """A part of a page under its own heading."""
    return tag("section", tag(level, title), html(body), **attrs)


def rows(head: list[str], body: list[list[Child]], caption: str, quiet: bool = False) -> Html:
    """A table to walk with a screen reader; wide ones scroll in a frame. A `quiet` caption is not seen."""
    top = tag("tr", [tag("th", text, scope="col") for text in head])
    lines = [
        tag("tr", tag("th", line[0], scope="row"), [tag("td", cell) for cell in line[1:]]) for line in body
    ]
    table = tag(
        "table",
        tag("caption", tag("span", caption, class_="unseen" if quiet else None)),
        tag("thead", top),
        tag("tbody", lines),
    )
    return tag("div", table, class_="wide", tabindex=0, role="region", aria_label=caption)
