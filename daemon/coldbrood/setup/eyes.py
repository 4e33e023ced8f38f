"""Which probe looks at which box: from those heard on the broker and those on this board's wires."""

from collections.abc import Sequence
from typing import Any, Final

from coldbrood.setup import found, read
from coldbrood.setup.ask import Asker, BadAnswer, Question, wrapped
from coldbrood.setup.ear import Ear
from coldbrood.setup.found import Heard
from coldbrood.setup.read import NONE
from coldbrood.setup.values import Old

Row = dict[str, Any]

WAIT: Final = "wait"
WAIT_S: Final = 60.0
BOX_WHY: Final = (
    "The probe that hangs in box {box}, at the chicks' back height and a hand's breadth from the jug. "
    "Another name does too: of a probe not heard yet."
)
OUTDOOR_WHY: Final = (
    "The probe outside, in the shade, out of rain and wind. Without one tonight is a wide guess."
)


class Eyes:
    """Asks for the probes of one site. `limit_s` bounds each wait for one to speak."""

    def __init__(self, asker: Asker, old: Old, site: str, ear: Ear | None, wires: Sequence[str]) -> None:
        self._asker, self._old, self._site, self._ear = asker, old, site, ear
        self._wires = list(wires)
        self._taken: set[str] = set()

    def probes(self, boxes: Sequence[str]) -> list[Row]:
        """A [[probe]] for each box and one for the outside; more stay as they are in the file."""
        rows = [
            self._one(f"probe_{box}", f"probe in box {box}", BOX_WHY.format(box=box), "box", box)
            for box in boxes
        ]
        outdoor = self._one("probe_outdoor", "probe outside, or none", OUTDOOR_WHY, "outdoor", None)
        return [row for row in (*rows, outdoor) if row is not None]

    def unheard(self) -> list[str]:
        """Names taken of battery probes that have not spoken: they may have no password yet."""
        heard = {one.probe for one in self._heard()}
        return sorted(name for name in self._taken if name not in heard and name not in self._wires)

    def _one(self, key: str, words: str, why: str, role: str, box: str | None) -> Row | None:
        """A probe named or taken from what is there; `wait` listens for a while and asks again."""
        text = WAIT
        while text == WAIT:
            self._tell()
            default = self._default(role, box)
            text = self._asker.ask(Question(key, words, why, self._name, default))
            if text == WAIT:
                self._listen()
        if text == NONE:
            if role == "box":
                self._asker.say(*wrapped("  A box without a probe cannot be watched."))
                return self._one(key, words, why, role, box)
            return None
        self._taken.add(text)
        return self._row(text, role, box)

    def _name(self, text: str) -> str:
        if text in (WAIT, NONE):
            return text
        found_name = text if text in self._wires else str(read.of_schema("probe", "name")(text))
        if found_name in self._taken:
            raise BadAnswer(f"{found_name} is taken already: another name")
        return found_name

    def _tell(self) -> None:
        heard = [str(one) for one in self._heard() if one.probe not in self._taken]
        wires = [one for one in self._wires if one not in self._taken]
        said = []
        if self._ear is not None:
            said.append(f"Heard on the broker: {', '.join(heard) or 'nothing yet'}.")
            if not heard:
                said.append("Press a probe's reset button, then answer wait to listen for a minute.")
        if wires:
            said.append(f"On this board's wires: {', '.join(wires)}.")
        self._asker.say("", *wrapped(" ".join(said)))

    def _heard(self) -> list[Heard]:
        return [] if self._ear is None else found.heard(self._ear.packets())

    def _listen(self) -> None:
        if self._ear is None:
            self._asker.say("There is no broker to listen on.")
            return
        self._asker.say(f"Listening for up to {WAIT_S:.0f} s ...")
        if self._ear.wait(WAIT_S):
            self._ear.wait(1.0)  # its neighbour may speak at the same time

    def _default(self, role: str, box: str | None) -> str:
        """The file's own, else one heard whose name fits, else the only one left, else a name to enrol."""
        own = [row for row in self._old.rows("probe") if row.get("role") == role and row.get("box") == box]
        names = [str(row["name"]) for row in own if "name" in row]
        heard = [one.probe for one in self._heard()]
        wish = "outdoor" if role == "outdoor" else f"box-{box}"
        fitting = [name for name in heard if name == wish or (box is not None and name.endswith(f"-{box}"))]
        left = [name for name in (*heard, *self._wires) if name not in self._taken]
        return next((name for name in (*names, *fitting, *left) if name not in self._taken), wish)

    def _row(self, name: str, role: str, box: str | None) -> Row:
        row: Row = {"name": name, "role": role}
        if name in self._wires:
            row |= {
                "name": "outdoor" if role == "outdoor" else f"box-{box}",
                "source": "onewire",
                "sensor_id": name,
            }
            row["interval_min"] = 1.0  # a wire costs no battery
        if box is not None:
            row["box"] = box
        heard = next((one for one in self._heard() if one.probe == name), None)
        if heard is not None and heard.topic != f"coldbrood/{self._site}/{name}/reading":
            row["topic"] = heard.topic
        return row
