"""The table of the config file that tells of the phone page."""

from typing import Annotated, Literal

from msgspec import Struct

from coldbrood.settings.setting import Host, about, text

Peers = Literal["local", "any"]
WeekStart = Literal["monday", "saturday", "sunday"]
Language = Annotated[str, text("[a-z]{2}", "a language of two letters, ISO 639-1")]


class PageTable(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """[page]."""

    enabled: Annotated[bool, about("Whether the board shows the page.")] = True
    address: Annotated[
        Host,
        about(
            "Address of this board on which the page listens; 0.0.0.0 is every IPv4 address it has, and "
            "127.0.0.1 this board alone."
        ),
    ] = "0.0.0.0"
    port: Annotated[int, about("Port on which the page listens.", ge=1, le=65535)] = 8417
    peers: Annotated[
        Peers,
        about(
            "Who is answered at all: phones on the local network, or any address. The page is plain HTTP, "
            "which others on the way can read, so do not open it to the internet: use a tunnel."
        ),
    ] = "local"
    host: Annotated[
        Host | None,
        about(
            "A name by which phones reach this board, besides its own host name and its addresses.",
            example="brooder.home.arpa",
        ),
    ] = None
    language: Annotated[Language, about("Language of the page.")] = "en"
    week_starts: Annotated[WeekStart, about("First day of the week on the page of days.")] = "monday"
