"""The page's own sign: a box with a jug in it, the water as high as there is time left."""

from coldbrood.page.markup import Html, tag

FULL_S = 6 * 3600.0
TOP, FOOT, DEEP = 13.0, 38.0, 22.0


def share_left(left_s: float | None) -> float:
    """How full the jug is drawn, 0 to 1; full when no refill is due within some hours."""
    return 1.0 if left_s is None else min(1.0, max(0.0, left_s / FULL_S))


def sign(share: float, alert: bool, blind: bool) -> Html:
    """The sign, for the eye only: the words beside it say the same."""
    high = DEEP * share
    water = tag("rect", x=17, y=round(FOOT - 2 - high, 1), width=14, height=round(high, 1), class_="water")
    inside = [
        None if blind else water,
        tag("path", d="M20 8h8v5l3 4v21h-14v-21l3-4z", class_="jug"),
        tag("path", d="M24 17v10M24 31v3", class_="cry") if alert else None,
        tag("path", d="M20 21q4-6 8 0q0 3-4 5v2M24 32v2", class_="cry") if blind and not alert else None,
    ]
    return tag(
        "svg",
        tag("path", d="M4 12v32h40v-32M1 12l6-7M47 12l-6-7", class_="crate"),
        inside,
        viewBox="0 0 48 48",
        class_="sign",
        aria_hidden="true",
        focusable="false",
    )
