"""The pure watch over real sends: virtual time, real HTTP, a receiver that fails in a given way and place."""

import os
import socket
import tempfile
from collections.abc import Callable, Iterator, Mapping
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

from certificates import Pair, authority, signed
from receiver import Answer, Receiver
from sites import START_WALL_S, make_site
from watching import Watching

from coldbrood.deliver.channel import ChannelUrl, send
from coldbrood.watch.events import Act, Event, History, Note, SendDone, SendNow, ShowBox
from coldbrood.watch.step import step

TIMEOUT_S = 0.3
Sort = Literal["try-again", "unknown"]
Place = Literal["first send", "repeat", "escalation", "digest", "cancel"]
PLACES: tuple[Place, ...] = ("first send", "repeat", "escalation", "digest", "cancel")

# Each way to fail and what may be known of the message after it: surely not taken, or perhaps.
WAYS: Mapping[str, Sort] = {
    "refuse": "try-again",
    "answer 429": "try-again",
    "answer 500": "try-again",
    "login page": "try-again",
    "no such name": "try-again",
    "certificate expired": "try-again",
    "certificate of another host": "try-again",
    "certificate of an unknown authority": "try-again",
    "stall": "unknown",
    "drop": "unknown",
    "garbage": "unknown",
    "die in mid-answer": "unknown",
}
ANSWERS: Mapping[str, Answer] = {
    "answer 429": Answer(status=429, headers={"Retry-After": "3600"}),
    "answer 500": Answer(status=500),
    "login page": Answer(status=302, headers={"Location": "http://127.0.0.1:9/login"}),
    "stall": Answer("stall"),
    "drop": Answer("drop"),
    "garbage": Answer("garbage"),
}


class Ground:
    """A phone's receiver that is well, and one for each way to fail; addresses are apprise URLs."""

    def __init__(self, stack: ExitStack, folder: Path) -> None:
        ours, unknown = authority(folder, "ours"), authority(folder, "unknown")
        self.authority = ours.certificate
        self.well = stack.enter_context(Receiver())
        self.secure = self._tls(stack, signed(folder, "good", ours))
        self._bad = {
            "certificate expired": self._tls(stack, signed(folder, "old", ours, expired=True)),
            "certificate of another host": self._tls(stack, signed(folder, "else", ours, "DNS:else.invalid")),
            "certificate of an unknown authority": self._tls(stack, signed(folder, "stray", unknown)),
        }
        self._plain = {way: stack.enter_context(Receiver()) for way in ANSWERS}
        for way, receiver in self._plain.items():
            receiver.answer = ANSWERS[way]

    @staticmethod
    def _tls(stack: ExitStack, pair: Pair) -> Receiver:
        return stack.enter_context(Receiver(tls=pair.context()))

    def address(self, way: str) -> str:
        """Where a message fails in this way."""
        if way in self._bad:
            return f"jsons://{self._bad[way].address}/"
        if way in self._plain:
            return f"json://{self._plain[way].address}/"
        if way == "no such name":
            return "json://no-such-receiver.invalid/"
        return f"json://127.0.0.1:{_closed_port()}/"

    def one_that_dies(self, stack: ExitStack) -> Receiver:
        """Takes one request, breaks off in the answer, and is gone from then on."""
        made = stack.enter_context(Receiver())
        made.answer = Answer("drop")
        return made


@contextmanager
def ground() -> Iterator[Ground]:
    """Receivers of all kinds, with the test's own authority trusted as a keeper would have it trusted."""
    with ExitStack() as stack, tempfile.TemporaryDirectory() as name:
        made = Ground(stack, Path(name))
        before = os.environ.get("REQUESTS_CA_BUNDLE")
        os.environ["REQUESTS_CA_BUNDLE"] = str(made.authority)
        try:
            yield made
        finally:
            os.environ.pop("REQUESTS_CA_BUNDLE")
            if before is not None:
                os.environ["REQUESTS_CA_BUNDLE"] = before


@dataclass(frozen=True, slots=True)
class Try:
    """One attempt: seconds since the first, channel, title, what became of it."""

    t_s: float
    channel: str
    title: str
    outcome: str


@dataclass
class Sending(Watching):
    """Sends for real. `urls` may be changed while it plays; `gone` gives up its port after one request."""

    urls: dict[str, str] = field(default_factory=dict)
    tries: list[Try] = field(default_factory=list)
    gone: dict[str, Receiver] = field(default_factory=dict)

    def do(self, event: Event) -> tuple[Act, ...]:
        """One event, and what really became of each send."""
        self.state, acts = step(self.site, self.state, event, self.now)
        for act in acts:
            if isinstance(act, SendNow):
                self._send(act)
            elif isinstance(act, History):
                self.history.append(act)
            elif isinstance(act, ShowBox):
                self.shown[act.box] = act.body
        return acts

    def _send(self, act: SendNow) -> None:
        result = send(
            ChannelUrl(act.channel, self.urls[act.channel]), act.title, act.body, act.urgency, TIMEOUT_S
        )
        self.tries.append(Try(self.t_s, act.channel, act.title, result.outcome))
        if act.channel in self.gone:
            self.gone.pop(act.channel).stop()
        self.do(SendDone(act.key, result.outcome, result.detail))


Line = tuple[int, str, str, str]
Strike = Callable[..., None]
Mend = Callable[[], None]


def play(made: Ground, way: str, place: Place) -> list[Line]:
    """The timeline of one way at one place: seconds since the first attempt, channel, words, outcome."""
    with ExitStack() as stack:
        watching = Sending(make_site(), START_WALL_S)
        well = f"json://{made.well.address}/"
        watching.urls = {"phone-1": well, "phone-2": well}

        def strike(*channels: str) -> None:
            for channel in channels:
                if way == "die in mid-answer":
                    watching.gone[channel] = made.one_that_dies(stack)
                    watching.urls[channel] = f"json://{watching.gone[channel].address}/"
                else:
                    watching.urls[channel] = made.address(way)

        def mend() -> None:
            watching.urls.update({"phone-1": well, "phone-2": well})

        SCENES[place](watching, strike, mend)
        return _lines(watching)


def _pass_s(watching: Sending, seconds: float) -> None:
    """Time with the outdoor probe heard, so that its silence is no part of the play."""
    until_t_s, n = watching.t_s + seconds, 0
    while watching.t_s < until_t_s:
        n += 1
        watching.send_c("outdoor", 8.0 + 0.0625 * (n % 2))
        watching.pass_s(min(300.0, until_t_s - watching.t_s))


def _cold(watching: Sending) -> None:
    """Two looks at a box far under its hard floor: critical, and it hides the nudge to refill by design."""
    watching.send_c("box-a", 12.0)
    watching.pass_s(15.0)
    watching.send_c("box-a", 12.25)


def _first(watching: Sending, strike: Strike, mend: Mend) -> None:
    strike("phone-1", "phone-2")
    _cold(watching)
    _pass_s(watching, 140.0)
    mend()
    _pass_s(watching, 160.0)


def _repeat(watching: Sending, strike: Strike, mend: Mend) -> None:
    _cold(watching)
    _pass_s(watching, 60.0)
    strike("phone-1")
    _pass_s(watching, 210.0)
    mend()
    _pass_s(watching, 180.0)


def _escalation(watching: Sending, strike: Strike, mend: Mend) -> None:
    strike("phone-2")
    _cold(watching)
    _pass_s(watching, 270.0)
    mend()
    _pass_s(watching, 180.0)


def _digest(watching: Sending, strike: Strike, mend: Mend) -> None:
    watching.wall_s += 12 * 3600.0 - 60.0  # bedtime is in a minute
    watching.send_c("box-a", 28.0)
    strike("phone-1")
    _pass_s(watching, 150.0)
    mend()
    _pass_s(watching, 60.0)


def _cancel(watching: Sending, strike: Strike, mend: Mend) -> None:
    """Too hot, and cool again before anything could be said: it is not said afterwards."""
    watching.do(Note("filled", "refill", "a", watching.t_s, watching.wall_s))
    strike("phone-1", "phone-2")
    for celsius in (33.0, 34.25, 34.5):
        watching.send_c("box-a", celsius)
        watching.pass_s(15.0)
    for celsius in (31.0, 30.9, 30.8):
        _pass_s(watching, 300.0)
        watching.send_c("box-a", celsius)
    mend()
    _pass_s(watching, 900.0)


SCENES: Mapping[Place, Callable[[Sending, Strike, Mend], None]] = {
    "first send": _first,
    "repeat": _repeat,
    "escalation": _escalation,
    "digest": _digest,
    "cancel": _cancel,
}


def _lines(watching: Sending) -> list[Line]:
    first_s = watching.tries[0].t_s if watching.tries else 0.0
    return [(round(t.t_s - first_s), t.channel, _short(t.title), t.outcome) for t in watching.tries]


def _short(title: str) -> str:
    mark = " (again?)" if title.endswith("(again?)") else ""
    return title.partition(":")[0] + mark


def _closed_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port
