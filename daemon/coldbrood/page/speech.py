"""How the page speaks: the language of its texts, and figures in the keeper's units, clock and language."""

import gettext
from collections.abc import Mapping
from datetime import date
from pathlib import Path

from coldbrood.watch.localtime import clock_text, local
from coldbrood.watch.site import Site

LOCALE = Path(__file__).parent / "locale"
DOMAIN = "coldbrood"
MINUS = "\N{MINUS SIGN}"


def N_(text: str) -> str:  # noqa: N802 - the name that gettext's tools know
    """Mark a text for translation where it is not said yet."""
    return text


WEEKDAYS = (N_("Mon"), N_("Tue"), N_("Wed"), N_("Thu"), N_("Fri"), N_("Sat"), N_("Sun"))
MONTHS = (
    N_("January"),
    N_("February"),
    N_("March"),
    N_("April"),
    N_("May"),
    N_("June"),
    N_("July"),
    N_("August"),
    N_("September"),
    N_("October"),
    N_("November"),
    N_("December"),
)


class Speech:
    """Texts in one language and figures for one keeper."""

    def __init__(self, site: Site, language: str) -> None:
        self.site = site
        self.language = language
        self._catalogue = gettext.translation(DOMAIN, LOCALE, [language], fallback=True)

    def say(self, text: str, **values: object) -> str:
        """A text in the language, its {names} filled in."""
        return _filled(self._catalogue.gettext(text), values) if text else ""

    def say_n(self, one: str, many: str, n: int, **values: object) -> str:
        """A text that counts, with its own form for each number as the language has them."""
        return _filled(self._catalogue.ngettext(one, many, n), {**values, "n": n})

    def number(self, value: float, digits: int = 1) -> str:
        """A number with the language's decimal mark, no needless nought, a true minus."""
        text = f"{value:.{digits}f}"
        if digits and text.endswith(f".{'0' * digits}"):
            text = text[: -digits - 1]
        if not text.strip("-0."):
            text = text.lstrip("-")
        return text.replace(".", self.say("decimal mark .")[-1]).replace("-", MINUS)

    def bare_degrees(self, celsius: float) -> str:
        """A temperature without its unit: a tenth of a degree C, or a whole degree F."""
        if self.site.keeper.unit == "F":
            return self.number(celsius * 9 / 5 + 32, 0)
        return self.number(celsius)

    def degrees(self, celsius: float | None) -> str:
        """A temperature with its unit, or that it is not known."""
        if celsius is None:
            return self.say("not known")
        return f"{self.bare_degrees(celsius)}\N{NO-BREAK SPACE}{self.unit}"

    def difference(self, kelvin: float) -> str:
        """A difference of temperature with its unit."""
        shown = kelvin * 9 / 5 if self.site.keeper.unit == "F" else kelvin
        return f"{self.number(shown)}\N{NO-BREAK SPACE}{self.unit}"

    @property
    def unit(self) -> str:
        """Degrees C or F."""
        return f"\N{DEGREE SIGN}{self.site.keeper.unit}"

    def clock(self, wall_s: float) -> str:
        """Time of day by the keeper's clock, no line break within."""
        return clock_text(self.site, wall_s).replace(" ", "\N{NO-BREAK SPACE}")

    def clock_near(self, wall_s: float, now_wall_s: float) -> str:
        """Time of day, with its day where that is not today's or tonight's."""
        if abs(wall_s - now_wall_s) < 18 * 3600.0:
            return self.clock(wall_s)
        return f"{self.day(local(self.site, wall_s).date())} {self.clock(wall_s)}"

    def day(self, day: date) -> str:
        """A day as Fri 10 April."""
        weekday, month = self.say(WEEKDAYS[day.weekday()]), self.say(MONTHS[day.month - 1])
        return self.say("{weekday} {day} {month}", weekday=weekday, day=day.day, month=month)

    def ago(self, seconds: float) -> str:
        """How long ago, in the unit that fits."""
        minutes = max(0, round(seconds / 60))
        if minutes == 0:
            return self.say("just now")
        if minutes < 120:
            return self.say_n("{n} min ago", "{n} min ago", minutes)
        if minutes < 48 * 60:
            return self.say_n("{n} h ago", "{n} h ago", minutes // 60)
        return self.say_n("{n} day ago", "{n} days ago", minutes // 1440)


def _filled(text: str, values: Mapping[str, object]) -> str:
    return text.format(**values) if values else text
