"""Promise: setup takes each probe once, offers the one that fits best, writes down a topic that is not the
usual one, and a box is never left without a probe.
"""

from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any, cast

import pytest

from coldbrood.setup.ask import Question, SetupFault, Written
from coldbrood.setup.ear import Ear, Packet
from coldbrood.setup.eyes import Eyes
from coldbrood.setup.values import Old

WIRE, OTHER_WIRE = "28-0316a2795cff", "28-0316a2795caa"
BODY = b'[{"n": "temperature", "u": "Cel", "v": 24.5}]'


class Heard:
    """An ear that heard these topics, and hears one more each time it is waited for."""

    def __init__(self, topics: Iterable[str] = (), later: Iterable[str] = ()) -> None:
        self._topics, self._later = list(topics), list(later)
        self.waits = 0

    def packets(self) -> list[Packet]:
        return [Packet(topic, BODY, 0.0) for topic in self._topics]

    def wait(self, _limit_s: float) -> bool:
        self.waits += 1
        self._topics += self._later[:1]
        del self._later[:1]
        return True


class Keeper(Written):
    """Types one line after the other at the same question; keeps defaults and what was said."""

    def __init__(self, **typed: list[str]) -> None:
        super().__init__({}, 78)
        self._typed = typed
        self.defaults: list[str | None] = []
        self.lines: list[str] = []

    def ask(self, question: Question[Any]) -> Any:
        self.defaults.append(question.default)
        left = self._typed.get(question.key)
        if left:
            self._answers[question.key] = left.pop(0)
        else:
            self._answers.pop(question.key, None)
        return super().ask(question)

    def say(self, *lines: str) -> None:
        self.lines += lines


def eyes(
    keeper: Keeper,
    *topics: str,
    later: Iterable[str] = (),
    wires: Iterable[str] = (),
    old: Mapping[str, Any] | None = None,
    broker: bool = True,
) -> Eyes:
    ear = cast(Ear, Heard(topics, later)) if broker else None
    return Eyes(keeper, Old("", old or {}), "larch-lane", ear, list(wires))


def topic(probe: str, site: str = "larch-lane") -> str:
    return f"coldbrood/{site}/{probe}/reading"


def test_enter_takes_the_probes_that_were_heard_by_their_names() -> None:
    keeper = Keeper()
    rows = eyes(keeper, topic("outdoor"), topic("box-b"), topic("shed-a")).probes(["a", "b"])
    assert keeper.defaults == ["shed-a", "box-b", "outdoor"]
    assert [(row["name"], row.get("box")) for row in rows] == [
        ("shed-a", "a"),
        ("box-b", "b"),
        ("outdoor", None),
    ]
    assert all("topic" not in row for row in rows), "the usual one needs no line"


def test_a_topic_that_is_not_the_usual_one_is_written_down() -> None:
    (row, _) = eyes(Keeper(), topic("box-a", "old-name"), topic("outdoor")).probes(["a"])
    assert row["topic"] == "coldbrood/old-name/box-a/reading"


def test_the_files_own_probe_comes_before_one_that_was_heard() -> None:
    old = {"probe": [{"name": "mine", "role": "box", "box": "a"}, {"name": "yard", "role": "outdoor"}]}
    keeper = Keeper()
    eyes(keeper, topic("box-a"), topic("outdoor"), old=old).probes(["a"])
    assert keeper.defaults == ["mine", "yard"]


def test_nothing_heard_gives_names_to_enrol_and_tells_which_are_not_heard() -> None:
    keeper = Keeper()
    looked = eyes(keeper)
    assert [row["name"] for row in looked.probes(["a"])] == ["box-a", "outdoor"]
    assert looked.unheard() == ["box-a", "outdoor"]
    assert any("Heard on the broker: nothing yet." in line for line in keeper.lines)


def test_wires_get_names_a_source_and_a_short_interval() -> None:
    keeper = Keeper()
    looked = eyes(keeper, wires=[WIRE, OTHER_WIRE], broker=False)
    box, outdoor = looked.probes(["a"])
    assert (box["name"], box["source"], box["sensor_id"]) == ("box-a", "onewire", WIRE)
    assert (outdoor["name"], outdoor["sensor_id"], outdoor["interval_min"]) == ("outdoor", OTHER_WIRE, 1.0)
    assert looked.unheard() == [], "a wire needs no password"


@pytest.mark.parametrize(("first", "again"), [("box-a", "box-a"), (WIRE, WIRE)])
def test_no_probe_is_taken_twice(first: str, again: str) -> None:
    """A sensor on a wire was, and only the check of the whole file at the end found it."""
    keeper = Keeper(probe_a=[first], probe_outdoor=[again])
    with pytest.raises(SetupFault, match=f"{first} is taken already: another name"):
        eyes(keeper, topic("box-a"), wires=[WIRE]).probes(["a"])


def test_a_box_is_never_left_without_a_probe_the_outside_may_be() -> None:
    keeper = Keeper(probe_a=["none", "none", "box-a"], probe_outdoor=["none"])
    rows = eyes(keeper).probes(["a"])
    assert [row["name"] for row in rows] == ["box-a"]
    assert sum("cannot be watched" in line for line in keeper.lines) == 2


def test_wait_listens_and_then_offers_who_spoke() -> None:
    keeper = Keeper(probe_a=["wait"])
    looked = eyes(keeper, later=[topic("barn-a")])
    rows = looked.probes(["a"])
    assert rows[0]["name"] == "barn-a"
    assert keeper.defaults[:2] == ["box-a", "barn-a"]
    assert any("barn-a (24.5 C)" in line for line in keeper.lines)


def test_without_a_broker_wait_says_so_and_asks_again() -> None:
    keeper = Keeper(probe_a=["wait"])
    assert eyes(keeper, wires=[WIRE], broker=False).probes(["a"])[0]["sensor_id"] == WIRE
    assert "There is no broker to listen on." in keeper.lines


def test_what_is_said_fits_a_narrow_terminal() -> None:
    keeper = Keeper(probe_a=["none", "wait"])
    many = [topic(f"a-probe-with-a-long-name-{n}") for n in range(12)]
    eyes(keeper, *many, wires=[WIRE, OTHER_WIRE]).probes(["a"])
    assert max(map(len, keeper.lines)) <= 80


def test_a_name_that_cannot_be_one_is_refused(tmp_path: Path) -> None:
    with pytest.raises(SetupFault, match="answers: probe_a: a/b: "):
        eyes(Keeper(probe_a=["a/b"])).probes(["a"])
