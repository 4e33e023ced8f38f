"""`coldbrood` as a board has it: what is installed here beside its own dependencies cannot be imported.

Run as `python as_on_board.py NAMES VERB ...`, where NAMES is what `hidden()` gives. Libraries take what they
find (requests takes chardet, msgspec typing_extensions); the test tools bring both, and a board has neither.
"""

import sys
from functools import cache


@cache
def hidden() -> str:
    """Top-level modules, by commas, of every distribution here that `coldbrood run` does not depend on."""
    from importlib.metadata import packages_distributions

    own = _closure("coldbrood")
    found = packages_distributions()
    return ",".join(
        sorted(name for name, dists in found.items() if not own & {_plain(dist) for dist in dists})
    )


def hide(names: str) -> None:
    """Forbid them in this process."""
    for name in names.split(","):
        sys.modules[name] = None  # type: ignore[assignment]  # the import system's own way to forbid one


def command() -> tuple[str, str, str]:
    """What to give to Python in place of `-m coldbrood run`."""
    return __file__, hidden(), "run"


def _closure(name: str) -> set[str]:
    """A distribution and all that it needs here, without extras."""
    from importlib.metadata import requires

    from packaging.requirements import Requirement

    seen: set[str] = set()
    ahead = [name]
    while ahead:
        seen.add(this := _plain(ahead.pop()))
        needs = (Requirement(text) for text in requires(this) or ())
        wanted = (need.name for need in needs if need.marker is None or need.marker.evaluate({"extra": ""}))
        ahead += [need for need in wanted if _plain(need) not in seen]
    return seen


def _plain(name: str) -> str:
    return name.lower().replace("_", "-").replace(".", "-")


if __name__ == "__main__":
    hide(sys.argv.pop(1))
    from coldbrood.cli.main import main

    sys.exit(main())
