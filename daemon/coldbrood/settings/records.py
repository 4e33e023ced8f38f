"""What loading gives back: the config, or every problem at once."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from coldbrood.settings.secrets import Secret
from coldbrood.watch.rest import RestLimits
from coldbrood.watch.site import Site


@dataclass(frozen=True, slots=True)
class Problem:
    """One fault: which field, what stands there (never a secret), what is allowed."""

    field: str
    value: str
    allowed: str

    def __str__(self) -> str:
        return f"{self.field}: {self.value}: {self.allowed}"


@dataclass(frozen=True, slots=True)
class Caution:
    """Something that works but that the keeper should know."""

    field: str
    text: str

    def __str__(self) -> str:
        return f"{self.field}: {self.text}"


class ConfigProblems(Exception):  # noqa: N818 - it holds all problems, not one error
    """The config file cannot be used; `problems` holds every reason, never empty."""

    def __init__(self, problems: tuple[Problem, ...]) -> None:
        super().__init__("\n".join(str(problem) for problem in problems))
        self.problems = problems


@dataclass(frozen=True, slots=True)
class Broker:
    """Where the MQTT broker listens and how to log in."""

    host: str
    port: int
    username: str | None
    password: Secret | None
    tls_ca: Path | None


@dataclass(frozen=True, slots=True)
class Channel:
    """One way to reach a person. The URL holds the right to send, so it is a secret."""

    name: str
    url: Secret
    title_max: int
    body_max: int


@dataclass(frozen=True, slots=True)
class Sounder:
    """A program that makes a noise on this board, and its arguments."""

    command: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Heartbeat:
    """Where and how often it is told that all is well."""

    url: Secret
    method: str
    every_s: float


@dataclass(frozen=True, slots=True)
class Sleep:
    """Who is told until when the board may sleep, and within which limits."""

    file: Path | None
    command: tuple[str, ...]
    limits: RestLimits


@dataclass(frozen=True, slots=True)
class Mirror:
    """A server that takes a copy of the readings."""

    url: str
    org: str
    bucket: str
    token: Secret | None


@dataclass(frozen=True, slots=True)
class Page:
    """Where and for whom the page is shown. `host` is a further name of this board."""

    address: str
    port: int
    local_only: bool
    host: str | None
    language: str
    week_starts: str


@dataclass(frozen=True, slots=True)
class Config:
    """All that the config file says. `broker` is None when every probe is wired and no [broker] is given.

    `stated` are its keys as they stand in the file; secrets do not stand there, only where they are.
    """

    site: Site
    broker: Broker | None
    channels: tuple[Channel, ...]
    journal_path: Path
    sounder: Sounder | None = None
    heartbeat: Heartbeat | None = None
    mirror: Mirror | None = None
    sleep: Sleep | None = None
    page: Page | None = None
    stated: Mapping[str, object] = field(default_factory=dict)
    cautions: tuple[Caution, ...] = ()
