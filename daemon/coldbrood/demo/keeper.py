"""The simulated keeper: reads the phone, gets up, walks, acts. Knows nothing but the messages."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Final

MINUTE_S: Final = 60.0
LET_IT_WORK_S: Final = 45 * MINUTE_S  # what was just done is not done again on the next repeat

# How a title begins or what it says -> what the keeper does about it, and how long that takes.
ANSWERS: Final = (
    ("Refill now", "refill", 20 * MINUTE_S),
    ("Too cold", "refill", 10 * MINUTE_S),
    ("No refill seen", "refill", 10 * MINUTE_S),
    ("One fill now", "refill", 10 * MINUTE_S),
    ("Too hot", "air", 10 * MINUTE_S),
    ("Cannot see", "battery", 20 * MINUTE_S),
)


@dataclass(frozen=True, slots=True)
class Errand:
    """Something the keeper will do at `due_s` of the story."""

    act: str
    due_s: float


class Keeper:
    """Errands in hand. One of a kind at a time: a repeat of the nudge does not send the keeper twice."""

    def __init__(self, planned: Iterable[Errand] = ()) -> None:
        self._errands = list(planned)
        self._busy_until_s: dict[str, float] = {}

    def told(self, title: str, now_s: float) -> str | None:
        """Take one message; the act it sets off, or None if there is nothing to do or it is under way."""
        for words, act, takes_s in ANSWERS:
            if title.startswith(words) and now_s >= self._busy_until_s.get(act, 0.0):
                self._busy_until_s[act] = now_s + takes_s + LET_IT_WORK_S
                self._errands.append(Errand(act, now_s + takes_s))
                return act
        return None

    def carry_out(self, now_s: float, do: Callable[[str], None]) -> None:
        """Do all that is due, in order."""
        due = sorted((one for one in self._errands if one.due_s <= now_s), key=lambda one: one.due_s)
        self._errands = [one for one in self._errands if one.due_s > now_s]
        for errand in due:
            do(errand.act)
