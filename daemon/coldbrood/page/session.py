"""Who asks: the link with its token, the cookie after it, the form that types a token in."""

import logging
from typing import Final

from bottle import HTTPResponse, request

from coldbrood.page import guard
from coldbrood.page.desk import Desk
from coldbrood.page.frame import Frame, page
from coldbrood.page.keys import Role
from coldbrood.page.markup import tag
from coldbrood.page.replies import HTML, PLAIN, answer

log = logging.getLogger("coldbrood.page")

COOKIE: Final = "coldbrood"
COOKIE_S: Final = 400 * 86_400  # the longest that browsers keep one (from memory: RFC 6265bis)
TOKEN_MOST: Final = 200


def check_peer(desk: Desk) -> None:
    """Refuse who is not on the local network, and a name that is not ours. Raises HTTPResponse."""
    if desk.page.local_only and not guard.is_local(peer()):
        raise answer(403, "not on the local network", PLAIN)
    if not guard.is_ours(request.get_header("Host", ""), desk.page.host):
        raise answer(421, "this board is not known by that name: page.host in the config gives it one", PLAIN)


def peer() -> str:
    """The address the request came from; what a proxy claims is not believed."""
    return str(request.environ.get("REMOTE_ADDR", ""))


def proof(desk: Desk) -> str:
    """What a form of this session carries; a page of someone else's cannot know it."""
    return desk.keys.sign(f"form.{request.get_cookie(COOKIE, default='')}")


def check_form(desk: Desk, given: str) -> None:
    """Refuse a form that did not come from a page of ours. Raises HTTPResponse."""
    origin, site = request.get_header("Origin"), request.get_header("Sec-Fetch-Site")
    if not guard.same_origin(origin, site, request.get_header("Host", "")):
        raise answer(403, "this form came from another site", PLAIN)
    if not desk.keys.signed(f"form.{request.get_cookie(COOKIE, default='')}", given):
        raise answer(403, "this form is not of your session: open the page again", PLAIN)


def role_now(desk: Desk, slow: guard.Slow) -> Role | None:
    """By the cookie, or by a bearer token (RFC 6750) for a program. Raises HTTPResponse."""
    scheme, _, token = request.get_header("Authorization", "").partition(" ")
    if scheme.lower() == "bearer":
        return _tried(desk, slow, token.strip())
    return desk.keys.read_cookie(request.get_cookie(COOKIE, default=""))


def enter(desk: Desk, slow: guard.Slow, token: str) -> HTTPResponse:
    """A cookie for a right token, and on to the page."""
    role = _tried(desk, slow, token.strip()[:TOKEN_MOST])
    if role is None:
        return entrance(desk, wrong=bool(token))
    reply = answer(303, "", PLAIN, Location="/")
    reply.set_cookie(
        COOKIE,
        desk.keys.cookie(role, desk.clock.wall_s()),
        max_age=COOKIE_S,
        path="/",
        httponly=True,
        samesite="strict",
    )
    return reply


def entrance(desk: Desk, wrong: bool = False) -> HTTPResponse:
    """The page that asks for the token."""
    speech = desk.speech()
    asked = tag(
        "form",
        tag("label", speech.say("Token"), tag("input", name="k", autocomplete="off", required=True)),
        tag("button", speech.say("Enter"), class_="large"),
        method="post",
        action="/enter",
    )
    body = [
        tag("h1", speech.say("Who is it?")),
        tag("p", speech.say("That token is not right."), role="alert", class_="cry-out") if wrong else None,
        tag("p", speech.say("Open the link or the code that the board gave you, or type its token.")),
        asked,
    ]
    frame = Frame(speech.say("Enter"), "/enter", speech.clock(desk.clock.wall_s()), body, guest=False)
    return answer(401, page(speech, frame), HTML)


def _tried(desk: Desk, slow: guard.Slow, token: str) -> Role | None:
    """The role of a token; a wrong one makes its address wait. Raises HTTPResponse while it waits."""
    wait_s = slow.wait_s(peer())
    if wait_s > 0.0:
        raise answer(
            429, f"too many wrong tokens: try again in {wait_s:.0f} s", PLAIN, Retry_After=f"{wait_s:.0f}"
        )
    role = desk.keys.role_of(token) if token else None
    if role is not None:
        slow.right(peer())
    elif token:
        slow.wrong(peer())
        log.warning("page: a wrong token from %s", peer())
    return role
