"""What a check found: its state, what that means, what to do about it."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final, Literal

State = Literal["fault", "caution", "well"]
ORDER: Final[tuple[State, ...]] = ("fault", "caution", "well")


@dataclass(frozen=True, slots=True)
class Finding:
    """One line. `do` is empty when there is nothing to do."""

    state: State
    what: str
    means: str
    do: str = ""

    def __str__(self) -> str:
        end = f" To do: {self.do}." if self.do else ""
        return f"{self.state:<7}  {self.what}: {self.means}.{end}"


def well(what: str, means: str) -> Finding:
    """All is well with it."""
    return Finding("well", what, means)


def fault(what: str, means: str, do: str) -> Finding:
    """It keeps the watch from its work, or hides something from it."""
    return Finding("fault", what, means, do)


def caution(what: str, means: str, do: str) -> Finding:
    """It works, and may not for long."""
    return Finding("caution", what, means, do)


def in_order(found: Iterable[Finding]) -> list[Finding]:
    """What to do first comes first: faults, then cautions, each as they rest on each other."""
    return sorted(found, key=lambda finding: ORDER.index(finding.state))
