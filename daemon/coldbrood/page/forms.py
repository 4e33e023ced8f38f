"""Small forms: a button each, or some fields and a button. Each has a key of its own, so as to count once."""

from dataclasses import dataclass

from coldbrood.notes import new_key
from coldbrood.page.markup import Child, Html, tag
from coldbrood.page.phrases import CAUSES, LOOK_INS
from coldbrood.page.speech import N_, Speech

Value = str | int | float | None

AGO_MIN = (15, 30, 60, 120)
SHELVE_MIN = (30, 60, 120)
WORDS_MOST = 400
WHEN = (
    (0, N_("just now")),
    (15, N_("15 min ago")),
    (30, N_("30 min ago")),
    (60, N_("1 h ago")),
    (120, N_("2 h ago")),
)


@dataclass(frozen=True, slots=True)
class Forms:
    """The forms of one request: for whom, with what proof, and where to go after. A guest gets none."""

    speech: Speech
    proof: str
    back: str
    wall_s: float
    guest: bool = False

    def form(self, kind: str, *fields: Child, **values: Value) -> Html | None:
        """A form that posts one note. `values` go along unseen."""
        if self.guest:
            return None
        hidden = {"proof": self.proof, "key": new_key(self.wall_s), "kind": kind, "back": self.back, **values}
        unseen = [tag("input", type="hidden", name=k, value=v) for k, v in hidden.items() if v is not None]
        return tag("form", unseen, fields, method="post", action="/act", class_="tap", data_kind=kind)

    def button(
        self, kind: str, says: str, /, look: str = "", **values: str | int | float | None
    ) -> Html | None:
        """A form that is nothing but its button."""
        return self.form(kind, tag("button", says, class_=look or None), **values)

    def refilled(self, box: str, text: str, look: str = "") -> Html | None:
        """Refilled just now."""
        return self.button("refill", text, look, box=box)

    def refilled_before(self, box: str) -> Html | None:
        """Refilled some time ago: one button each."""
        say = self.speech.say
        if self.guest:
            return None
        taps = [
            tag("button", say_ago(self.speech, minutes), name="ago_min", value=minutes) for minutes in AGO_MIN
        ]
        legend = tag("legend", say("Refilled earlier"))
        return self.form("refill", tag("fieldset", legend, tag("div", taps, class_="taps")), box=box)

    def look_in(self, box: str) -> Html | None:
        """What the keeper sees: seven buttons."""
        taps = [
            tag("button", self.speech.say(words), name="look_in", value=seen)
            for seen, words in LOOK_INS.items()
        ]
        legend = tag("legend", self.speech.say("Look-in: what do they do?"))
        return self.form("look-in", tag("fieldset", legend, tag("div", taps, class_="taps")), box=box)

    def loss(self, box: str) -> Html | None:
        """A loss with its likely cause and free words."""
        say = self.speech.say
        causes = [tag("option", say(words), value=cause) for cause, words in CAUSES.items()]
        return self.form(
            "loss",
            tag(
                "fieldset",
                tag("legend", say("Loss")),
                tag("label", say("How many"), _whole("count", 1, 1, 500)),
                tag("label", say("Likely cause"), tag("select", causes, name="cause")),
                self._when(),
                tag("label", say("In your words"), tag("input", name="text", maxlength=WORDS_MOST)),
                tag("button", say("Note the loss")),
            ),
            box=box,
        )

    def count(self, box: str, chicks: int) -> Html | None:
        """A head count."""
        say = self.speech.say
        return self.form(
            "count",
            tag(
                "fieldset",
                tag("legend", say("Count")),
                tag("label", say("Chicks in this box"), _whole("count", chicks, 0, 500)),
                tag("button", say("Note the count")),
            ),
            box=box,
        )

    def words(self, box: str) -> Html | None:
        """Free words."""
        say = self.speech.say
        area = tag("textarea", name="text", rows=2, maxlength=WORDS_MOST, required=True)
        return self.form(
            "text",
            tag(
                "fieldset",
                tag("legend", say("Note")),
                tag("label", say("In your words"), area),
                tag("button", say("Keep the note")),
            ),
            box=box,
        )

    def low(self) -> Html | None:
        """The night's low as the radio or a neighbour has it."""
        say = self.speech.say
        field = tag("input", type="number", name="low", min=-60, max=120, step="any", required=True)
        return self.form(
            "low",
            tag(
                "fieldset",
                tag("legend", say("Low announced for tonight")),
                tag("label", say("As the radio says, {unit}", unit=self.speech.unit), field),
                tag("button", say("Note the low")),
            ),
        )

    def _when(self) -> Html:
        options = [tag("option", self.speech.say(words), value=minutes) for minutes, words in WHEN]
        return tag("label", self.speech.say("When"), tag("select", options, name="ago_min"))


def say_ago(speech: Speech, minutes: int) -> str:
    """One of the offered times."""
    return speech.say(dict(WHEN)[minutes])


def _whole(name: str, value: int, least: int, most: int) -> Html:
    return tag(
        "input",
        type="number",
        inputmode="numeric",
        name=name,
        value=value,
        min=least,
        max=most,
        required=True,
    )
