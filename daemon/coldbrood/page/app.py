"""The page's requests. Nothing changes on a GET; whatever acts is a POST to /act, and says who may not."""

import logging
from collections.abc import Callable
from pathlib import Path
from typing import Final

from bottle import Bottle, HTTPError, HTTPResponse, request

from coldbrood.journal.errors import JournalError
from coldbrood.notes import BadNote
from coldbrood.page import board_page, days_page, now_page, session, told_page, tonight_page, what_if_page
from coldbrood.page.acts import take
from coldbrood.page.api import Source, make_api
from coldbrood.page.desk import Desk
from coldbrood.page.forms import Forms
from coldbrood.page.frame import WAYS, Frame, page
from coldbrood.page.guard import Slow
from coldbrood.page.keys import Role
from coldbrood.page.markup import Child, tag
from coldbrood.page.now_page import Now
from coldbrood.page.replies import HTML, PLAIN, Wsgi, answer, as_json, with_headers
from coldbrood.watch.siteview import SiteView

log = logging.getLogger("coldbrood.page")

STATIC: Final = Path(__file__).parent / "static"
FILES: Final = {
    "coldbrood.css": "text/css; charset=utf-8",
    "coldbrood.js": "text/javascript; charset=utf-8",
    "icon.svg": "image/svg+xml",
    "icon-180.png": "image/png",
    "icon-512.png": "image/png",
    "coldbrood.webmanifest": "application/manifest+json",
}
BODY_MOST: Final = 16 * 1024


class Room:
    """One request: what is asked, by whom, and what it needs to answer."""

    def __init__(self, desk: Desk, view: SiteView, role: Role) -> None:
        self.desk, self.view, self.role = desk, view, role
        self.speech = desk.speech()
        self.guest = role == "guest"

    def forms(self, back: str) -> Forms:
        """Forms that come back to a page."""
        return Forms(self.speech, session.proof(self.desk), back, self.view.now.wall_s, self.guest)

    def now(self, back: str) -> Now:
        """What the cards are made from."""
        return Now(self.desk, self.view, self.speech, self.forms(back))

    def page(self, title: str, path: str, body: Child, live: bool = False) -> HTTPResponse:
        """A whole page, or for one that is open already its content alone."""
        at = self.speech.clock(self.view.now.wall_s)
        if request.query.get("part") == "1":
            return answer(200, tag("div", body, data_at=at), HTML)
        return answer(200, page(self.speech, Frame(title, path, at, body, live, self.guest)), HTML)


def now(room: Room) -> HTTPResponse:
    """The first glance."""
    notes = told_page.notes_since(room.desk, room.view, told_page.RECENT_S)
    told = told_page.newest(notes, room.view, room.speech, room.forms("/"))
    return room.page(room.speech.say("Now"), "/", [told, *now_page.body(room.now("/"))], live=True)


def tonight(room: Room) -> HTTPResponse:
    """The chart of each box."""
    return room.page(
        room.speech.say("Tonight"), "/tonight", tonight_page.body(room.now("/tonight")), live=True
    )


def days(room: Room) -> HTTPResponse:
    """The batch by day."""
    back = request.query.get("back", "0")
    weeks = int(back) if back.isascii() and back.isdecimal() and len(back) < 5 else 0
    return room.page(room.speech.say("Days"), "/days", days_page.body(room.now("/days"), weeks))


def what_if(room: Room) -> HTTPResponse:
    """Hold and wakings of a changed box."""
    asked = {key: request.query.getunicode(key, default="")[:40] for key in request.query}
    return room.page(room.speech.say("What if"), "/what-if", what_if_page.body(room.now("/what-if"), asked))


def board(room: Room) -> HTTPResponse:
    """Probes, health, channels, settings."""
    return room.page(room.speech.say("Board"), "/board", board_page.body(room.now("/board")))


def tell(room: Room, box: str) -> HTTPResponse:
    """Every form of one box."""
    if box not in room.view.state.sight.boxes:
        return not_found(room)
    path = f"/tell/{box}"
    notes = told_page.notes_since(room.desk, room.view, told_page.LISTED_S)
    forms = room.forms(path)
    told = told_page.newest(notes, room.view, room.speech, forms)
    body = [told, *told_page.body(room.view, room.speech, forms, notes, box)]
    return room.page(room.speech.say("Tell"), path, body)


def not_found(room: Room) -> HTTPResponse:
    """No such page."""
    reply = room.page(room.speech.say("Not here"), "", tag("h1", room.speech.say("There is no such page.")))
    reply.status = 404
    return reply


def act(room: Room) -> HTTPResponse:
    """Take a tap. The script asks for JSON and keeps the tap until it hears that it is kept."""
    form = {key: request.forms.getunicode(key, default="") for key in request.forms}
    session.check_form(room.desk, form.get("proof", ""))
    if room.guest:
        raise answer(403, "this link is for looking only", PLAIN)
    scripted = "application/json" in request.get_header("Accept", "")
    try:
        tapped = take(room.desk, room.view, form, session.peer())
    except BadNote as bad:
        if scripted:
            return as_json(422, fault=str(bad))
        return fault_page(room, 422, room.speech.say("Not kept:"), str(bad), back_of(form))
    if scripted:
        return as_json(200 if tapped.kept else 503, kept=tapped.kept, key=tapped.key)
    if not tapped.kept:
        text = room.speech.say(
            "It is on its way, but the board has not said yet that it is kept. Look again."
        )
        return fault_page(room, 503, room.speech.say("Not kept yet"), text, back_of(form))
    return answer(303, "", PLAIN, Location=back_of(form))


def back_of(form: dict[str, str]) -> str:
    """Where to go after an act: one of our own pages, whatever the form says."""
    back = form.get("back", "")
    ours = back in {way for way, _ in WAYS} or (
        back.startswith("/tell/") and back[6:].replace("-", "").isalnum()
    )
    return back if ours else "/"


def fault_page(room: Room, status: int, title: str, text: str, back: str) -> HTTPResponse:
    """What went wrong, and the way back."""
    again = tag("a", room.speech.say("Back"), href=back, class_="button large")
    body = [tag("h1", title), tag("p", text, role="alert"), again]
    reply = room.page(title, "", body)
    reply.status = status
    return reply


def static(name: str) -> HTTPResponse:
    """A file of the page's own; open to all, since it tells nothing."""
    body = (STATIC / name).read_bytes()
    return answer(200, body, FILES[name], Cache_Control="no-cache")


Handler = Callable[..., HTTPResponse]

PAGES: Final[dict[str, Handler]] = {
    "/": now,
    "/tonight": tonight,
    "/days": days,
    "/what-if": what_if,
    "/board": board,
    "/tell/<box>": tell,
}


def make_app(desk: Desk) -> Wsgi:
    """All of it as one WSGI application."""
    app = Bottle(catchall=True)
    slow = Slow(desk.clock.mono_s)

    def inside(handler: Handler) -> Handler:
        """Answer only who may look, and only once there is something to see."""

        def guarded(**parts: str) -> HTTPResponse:
            role = session.role_now(desk, slow)
            if role is None:
                return session.entrance(desk)
            view = desk.view()
            if view is None:
                return answer(503, "starting", PLAIN, Retry_After="2")
            try:
                return handler(Room(desk, view, role), **parts)
            except JournalError as fault:
                log.warning("page: %s", fault)
                return answer(503, str(fault), PLAIN)

        return guarded

    app.add_hook("before_request", lambda: check(desk))
    app.route("/enter", "GET", lambda: session.enter(desk, slow, request.query.getunicode("k", default="")))
    app.route("/enter", "POST", lambda: session.enter(desk, slow, request.forms.getunicode("k", default="")))
    app.route("/act", "POST", inside(act))
    for path, handler in PAGES.items():
        app.route(path, "GET", inside(handler))
    for name in FILES:
        app.route(f"/{name}", "GET", lambda name=name: static(name))
    app.mount(
        "/api/v1/",
        make_api(Source(desk.view, desk.reader), lambda: session.role_now(desk, slow) is not None),
    )
    app.default_error_handler = faulted
    return with_headers(app)


def check(desk: Desk) -> None:
    """What holds for every request. Raises HTTPResponse."""
    session.check_peer(desk)
    if request.content_length > BODY_MOST:
        raise answer(413, f"at most {BODY_MOST} bytes", PLAIN)


def faulted(fault: HTTPError) -> str:
    """A short line in place of the library's own page; a fault of ours is in the log."""
    if fault.exception is not None:
        log.error("page: %s %s", request.path, fault.exception, exc_info=fault.exception)
    return str(fault.status_line)
