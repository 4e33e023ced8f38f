"""The receiver fails: every way at every place of a message's life, and two hours without any network."""

import tempfile
import time
from collections import Counter
from collections.abc import Callable, Mapping
from pathlib import Path

from bench import Bench
from fault_kills import site
from fault_rows import Row
from fault_sends import PLACES, WAYS, Line, Place, ground, play
from path_lag import more_boxes
from receiver import Receiver

from coldbrood.codec import unpack
from coldbrood.journal.reader import JournalReader
from coldbrood.watch.outbox import Message

# Seconds since the first attempt, and the phone. Tries again after 15, 30, 60, 120, 240 s; the second phone
# joins at the third try; a critical alarm repeats after 240 s, too hot after 300 s; at most ten messages in
# ten minutes that may have reached someone, unless critical.
NO: Mapping[Place, str] = {
    "first send": "0-1 15-1 45-1 45-2 60-2 90-2 105-1 150-2 225+1 240+1 240+2",
    "repeat": "0+1 240-1 240+2 255-1 285+1",
    "escalation": "0+1 240+1 240-2 255-2 285+2",
    "digest": "0-1 15-1 45-1 45+2 105+1",
    "cancel": "0-1 15-1 45-1 45-2 60-2 90-2 105-1 150-2 225-1 270-2 300-1 315-1 345-1 345-2 360-2 390-2 "
    "405-1 450-2 525-1 570-2 765-1 810-2",
}
PERHAPS: Mapping[Place, str] = {
    **NO,
    "cancel": "0-1 15-1 45-1 45-2 60-2 90-2 105-1 150-2 225-1 270-2 600-2 615-1 645-1 675-1 675-2 690-2 "
    "720-2 750-1 825-2 870-1",
}
FRESH: Mapping[Place, tuple[int, ...]] = {  # which of the tries begin a new message; all others are repeats
    "first send": (0, 3, 9, 10),
    "repeat": (0, 1, 2),
    "escalation": (0, 1, 2),
    "digest": (0, 3),
    "cancel": (0, 3, 10, 13),
}
PERHAPS_FRESH: Mapping[Place, tuple[int, ...]] = {**FRESH, "cancel": (0, 3, 11, 14)}
SPEED = 480.0
OUTAGE_S = 2 * 3600.0
TOGETHER_S = 600.0
AT_ONCE_S = 60.0  # at 480 times the speed a busy machine takes as long to hand one message on


def by_way_and_place(long: bool) -> Row:
    """All ways at all places; the short form is the long one."""
    row = Row("the receiver refuses, stalls, drops, answers nonsense, is not to be trusted, at every place")
    with ground() as made:
        for way in WAYS:
            for place in PLACES:
                check(row, way, place, play(made, way, place))
    row.note = "the long form is the same" if long else ""
    return row


def check(row: Row, way: str, place: Place, lines: list[Line]) -> None:
    """Hold one timeline to the one expected, whole."""
    row.places += 1
    row.repeated += sum(words.endswith("(again?)") and what == "accepted" for _, _, words, what in lines)
    told = " ".join(f"{t_s}{'+' if what == 'accepted' else '-'}{phone[-1]}" for t_s, phone, _, what in lines)
    doubtful = WAYS[way] == "unknown"
    dies = way.startswith("die")
    whole = (PERHAPS if doubtful and not dies else NO)[place]
    if told != whole:
        row.wrong.append(f"{way}, {place}: {told} instead of {whole}")
        row.lost += place != "cancel" and "+" not in told
    _check_marks(row, f"{way}, {place}", lines, whole, place, doubtful, dies)


def _check_marks(
    row: Row, where: str, lines: list[Line], whole: str, place: Place, doubtful: bool, dies: bool
) -> None:
    """A try after one that may have been taken says so; nothing else does."""
    fresh = (PERHAPS_FRESH if doubtful and not dies else FRESH)[place]
    for n, (t_s, phone, words, _) in enumerate(lines):
        marked = words.endswith("(again?)")
        hurt = doubtful and n not in fresh and not (dies and place == "cancel" and n > fresh[2])
        if marked != hurt:
            row.wrong.append(f"{where}: at {t_s} s to {phone}: {'' if marked else 'not '}marked as a repeat")


def without_network(long: bool) -> Row:
    """Two hours in which nothing leaves the real daemon, then all at once."""
    row = Row("two hours without a network, then all at once")
    for outage_s in (OUTAGE_S, 12 * 3600.0) if long else (OUTAGE_S,):
        with tempfile.TemporaryDirectory() as name:
            _outage(row, Path(name), outage_s)
    return row


def _outage(row: Row, folder: Path, outage_s: float) -> None:
    """Alarms of two boxes and of a probe; the first minutes after must bring each once, and one summary."""
    place = f"{outage_s / 3600.0:.0f} h"
    clock = f"{SPEED:g}@2026-04-11T09:00:00+00:00"
    with site(folder, arrival="2026-04-10", clock=clock, probes=more_boxes(["b"])) as bench:
        phone = bench.receivers["phone"]
        phone.stop()
        bench.start()
        bench.send_c("box-a", 34.5, 34.75)
        bench.send_c("box-b", 12.0, 12.25)
        for _ in range(4):
            bench.publish("outdoor", "nonsense")
        _keep_on(bench, outage_s)
        with Receiver(port=phone.port) as back:
            bench.receivers["phone"] = back
            _keep_on(bench, 0.0, until=lambda: any(t.startswith("No message") for t in bench.titles()))
            bench.flush()
            bench.stop()
            _no_storm(row, bench, place)
    row.places += 1


def _keep_on(bench: Bench, seconds: float, until: Callable[[], bool] | None = None) -> None:
    """Readings go on for so long in the daemon's time, or until something holds."""
    end_s, n = time.monotonic() + (seconds / SPEED if until is None else 60.0), 0
    while time.monotonic() < end_s and not (until is not None and until()):
        n += 1
        bench.send_c("box-a", 34.5 + n % 8 / 16)
        bench.send_c("box-b", 12.0 + n % 8 / 16)
        time.sleep(0.2)
    assert until is None or until(), f"waited in vain: {bench.titles()} {bench.log_text()[-1500:]}"


def _no_storm(row: Row, bench: Bench, place: str) -> None:
    with JournalReader.open(bench.journal_path) as reader:
        messages = [unpack(body, Message) for body in reader.restore().messages.values()]
    accepted = [m for m in messages if m.state == "accepted" and m.ended_t_s is not None]
    first_s = min(m.ended_t_s or 0.0 for m in accepted)
    soon = [m for m in accepted if (m.ended_t_s or 0.0) - first_s < TOGETHER_S]
    # A repeat that falls due by itself meanwhile is none of what had piled up.
    together = [m for m in soon if m.created_t_s <= first_s or m.about.startswith("outage/")]
    together += [m for m in soon if m not in together and (m.created_t_s - first_s) < AT_ONCE_S]
    count = Counter(m.about for m in together)
    summaries = sum(n for about, n in count.items() if about.startswith("outage/"))
    for about in ("too-hot/a", "under-hard-floor/b"):
        if not any(m.about == about for m in soon):
            row.lost += 1
            row.wrong.append(f"{place}: {about} was not told when the network came back")
    if summaries != 1 or any(n > 1 for n in count.values()):
        row.wrong.append(f"{place}: a storm, or no summary: {dict(count)}")
    row.note = f"{len(together)} messages about {len(count)} things in the first minutes"
