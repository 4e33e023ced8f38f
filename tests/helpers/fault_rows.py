"""What a fault loop found: one row a fault, counted from journal, receivers and what was sent."""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from bench import Bench

from coldbrood.codec import unpack
from coldbrood.journal.reader import JournalReader
from coldbrood.watch.alarms import Alarm

MARK = "(again?)"
BY_READINGS = ("under-hard-floor", "too-hot", "probe-wrong", "battery-low")

States = Mapping[str, tuple[str, bool, str, int]]


@dataclass
class Row:
    """One fault in all its places. `wrong` says in words what broke a promise; empty when all held."""

    fault: str
    places: int = 0
    lost: int = 0
    repeated: int = 0
    wrong: list[str] = field(default_factory=list)
    note: str = ""
    figures: dict[str, tuple[float, float]] = field(default_factory=dict)

    def measure(self, name: str, value: float, bar: float) -> None:
        """Keep the worst value of a figure beside its bar; the name ends with the unit."""
        self.figures[name] = (max(value, self.figures.get(name, (value, bar))[0]), bar)

    def add(self, other: "Row") -> None:
        """Take another row of the same fault in."""
        self.places += other.places
        self.lost += other.lost
        self.repeated += other.repeated
        self.wrong += other.wrong
        for name, (value, bar) in other.figures.items():
            self.measure(name, value, bar)


def wait_told(bench: Bench, title: str, place: str = "", patience_s: float = 60.0) -> None:
    """Until a message whose title begins so is on the phone."""
    bench.wait_for(
        lambda: any(told.startswith(title) for told in bench.titles()), f"{place}: {title}", patience_s
    )


def unique_lines(wrong: Iterable[str]) -> str:
    """The first few of what went wrong."""
    return "; ".join(list(dict.fromkeys(wrong))[:5])


def check(row: Row, bench: Bench, values: Sequence[float], alarms: Sequence[str], place: str) -> None:
    """Hold one site after its faults to the promises.

    Every published value is in the journal once and in order, every alarm named in `alarms` (the start of a
    title) reached the phone, and what came twice was marked, once at most.
    """
    kept = [r.value for r in bench.readings() if r.quantity == "temperature_c" and r.probe == "box-a"]
    missing = Counter(values) - Counter(kept)
    extra = Counter(kept) - Counter(values)
    row.lost += missing.total()
    _say(row, place, missing, "readings missing")
    _say(row, place, extra, "readings kept that were not sent, or twice")
    if not missing and not extra and kept != list(values):
        row.wrong.append(f"{place}: order not kept: {kept}")
    told = [(str(r.json()["title"]), str(r.json()["message"])) for r in bench.receivers["phone"].received]
    for title in alarms:
        if not any(said.startswith(title) for said, _ in told):
            row.lost += 1
            row.wrong.append(f"{place}: alarm lost: {title}")
    _count_repeats(row, place, told)


def _count_repeats(row: Row, place: str, told: Sequence[tuple[str, str]]) -> None:
    """The same text again is a repeat: it must carry the mark, and comes once at most for each kill."""
    seen: set[str] = set()
    for title, body in told:
        if title.endswith(MARK):
            row.repeated += 1
        elif body in seen:
            row.wrong.append(f"{place}: came twice unmarked: {title}")
        seen.add(body)


def _say(row: Row, place: str, values: Counter[float], what: str) -> None:
    if values:
        row.wrong.append(f"{place}: {what}: {dict(values)}")


def alarm_states(bench: Bench) -> States:
    """State, activity, reason and raises of each alarm that readings alone decide."""
    with JournalReader.open(bench.journal_path) as reader:
        bodies = reader.restore().alarms
    mine = [unpack(body, Alarm) for key, body in bodies.items() if key.startswith(BY_READINGS)]
    return {row.key: (row.state, row.active, row.reason, row.raises) for row in mine if row.raises}
