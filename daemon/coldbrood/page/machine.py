"""What a part of the board says of itself, which comes as an English sentence, in the page's language.

The sentence is found again among the phrases; what the system or a library adds to it stays as it came.
"""

import re
from typing import Final

from coldbrood.page.phrases import MACHINE
from coldbrood.page.speech import Speech
from coldbrood.watch.wellness import Trouble

# What of a phrase is a phrase again; the rest is a name or a number, and no name is translated.
DEEPER: Final = frozenset({"fault", "why", "what", "act", "detail"})
_NAME: Final = re.compile(r"\{(\w+)\}")


def _pattern(phrase: str) -> re.Pattern[str]:
    parts = _NAME.split(phrase)
    found = (f"(?P<{part}>.*?)" if n % 2 else re.escape(part) for n, part in enumerate(parts))
    return re.compile("".join(found), re.DOTALL)


_PATTERNS: Final = tuple((phrase, _pattern(phrase)) for phrase in MACHINE)


def machine_words(speech: Speech, text: str) -> str:
    """The sentence in the page's language; an unknown one as it is."""
    for phrase, pattern in _PATTERNS:
        found = pattern.fullmatch(text)
        if found is not None:
            inside = {
                name: machine_words(speech, part) if name in DEEPER else part
                for name, part in found.groupdict().items()
            }
            return speech.say(phrase, **inside)
    return text


def trouble_words(speech: Speech, trouble: Trouble) -> str:
    """A part that is not well, and why."""
    return f"{machine_words(speech, trouble.part)}: {machine_words(speech, trouble.detail)}"
