"""How the report speaks: the page's texts and figures, and figures that a program can read beside the word.

A `figure` holds in `value` the number behind it, in C, min, h, L, kWh, kg or a count, whatever is shown.
"""

from collections.abc import Mapping
from datetime import date, datetime
from html import escape
from typing import Final

from coldbrood.brooder.sizing import Help
from coldbrood.brooder.specs import BoxSpec
from coldbrood.page.phrases import HELPS
from coldbrood.page.speech import MONTHS, N_, Speech
from coldbrood.report.markup import figure
from coldbrood.watch.wording import box_title, sentence

DAY_H: Final = 24.0
CHICKS: Final[Mapping[str, str]] = {"layer": N_("layer"), "broiler": N_("broiler")}
SURE: Final[Mapping[str, str]] = {
    "known": N_("known"),
    "learning": N_("learning"),
    "unknown": N_("not known"),
}


class Words(Speech):
    """Speech for paper."""

    def plain(self, value: float, digits: int = 0) -> str:
        """A number with just so many digits after the mark, thousands apart."""
        marks = str.maketrans(",.", self.say("thousands and decimal marks ,.")[-2:])
        return f"{value:,.{digits}f}".translate(marks)

    def rough(self, value: float) -> str:
        """A number to three places that count."""
        return f"{value:.3g}".replace(".", self.plain(0.5, 1)[1])

    def count(self, name: str, value: float, digits: int = 0) -> str:
        """A number as a figure."""
        return figure(name, value, self.plain(value, digits))

    def heat(self, name: str, celsius: float | None) -> str:
        """A temperature as a figure, in the keeper's unit."""
        return figure(name, celsius, "" if celsius is None else self.degrees(celsius))

    def hold(self, name: str, hours: float | None) -> str:
        """A hold as a figure; None is beyond a day, 0 a jug that cannot warm the box."""
        if hours is None:
            return self.say("over 24 h")
        return figure(name, hours, self.say("not at all") if hours == 0.0 else f"{self.plain(hours, 1)} h")

    def hours(self, hours: float) -> str:
        """A hold in hours; one of a day or more as such."""
        return self.say("a day or more") if hours >= DAY_H else f"{self.plain(hours, 1)} h"

    def time(self, minutes: float) -> str:
        """A length of time in words: 45 min, 34 h."""
        return f"{minutes:.0f} min" if minutes < 120.0 else f"{minutes / 60.0:.0f} h"

    def hour(self, hour: int) -> str:
        """An hour of the day under a plot: 22, or 10 pm."""
        if self.site.keeper.clock_24h:
            return f"{hour:02d}"
        return f"{hour % 12 or 12} {'am' if hour < 12 else 'pm'}"

    def day_month(self, day: date) -> str:
        """A date without its year, no line break within."""
        said = self.say("{day} {month}", day=day.day, month=self.say(MONTHS[day.month - 1]))
        return said.replace(" ", "\N{NO-BREAK SPACE}")

    def day_year(self, day: date) -> str:
        """A date in words that no one reads the other way round."""
        return f"{self.day_month(day)} {day.year}"

    def when(self, wall_s: float) -> str:
        """Day and time of day."""
        day = datetime.fromtimestamp(wall_s, self.site.zone).date()
        return f"{self.day_month(day)} {self.clock(wall_s)}"

    def box(self, name: str) -> str:
        """A box as it is called within a sentence; not yet safe in HTML."""
        return self.say("box {name}", name=box_title(name).removeprefix("box "))

    def box_first(self, name: str) -> str:
        """The same where a sentence begins."""
        return sentence(self.box(name))

    def help(self, spec: BoxSpec, one: Help) -> str:
        """A change to the box, in words."""
        if one.key == "towel":
            return (
                self.say("no towel round the jug") if spec.jug_wrapped else self.say("a towel round the jug")
            )
        return self.say(HELPS.get(one.key, one.change))

    def safe(self, text: str, **values: object) -> str:
        """A text as HTML; values that are text are escaped by whoever gives them."""
        said = escape(self.say(text), quote=False)
        return said.format(**values) if values else said
