"""One service of the apprise library without the other hundred.

Left to itself the library loads every service it knows to find the one that a URL's scheme names: seconds,
and some 10 MiB for good (`tests/benchmarks/board.py`). The source of each says its schemes in plain words, so
only that one is loaded and handed over as an object, which the library's `add` takes. What is not found so,
such as a URL as a service's own website shows it, goes the library's way.
"""

import importlib
import pkgutil
import re
from collections.abc import Iterator
from functools import lru_cache
from pathlib import Path
from types import ModuleType
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from apprise import Apprise, AppriseAsset
    from apprise.plugins.base import NotifyBase

_PACKAGE: Final = "apprise.plugins"
_SET: Final = re.compile(
    r"""^\s+(?:secure_)?protocol\b[^=\n]*=\s*(\([^()]*\)|\{[^{}]*\}|\[[^\[\]]*\]|[^\n]*)""", re.MULTILINE
)
_QUOTED: Final = re.compile(r"""["']([A-Za-z0-9.+-]+)["']""")


def add(service: "Apprise", url: str, asset: "AppriseAsset") -> bool:
    """Add the service of a URL; False if the library cannot use it."""
    from apprise.utils.parse import parse_urls

    urls = parse_urls(url)  # type: ignore[no-untyped-call]  # it has no types
    plugin = plugin_of(urls[0].partition("://")[0].lower()) if len(urls) == 1 else None
    if plugin is None or not plugin.enabled:
        return bool(service.add(url))
    found = plugin.parse_url(urls[0].replace("/#", "/%23"))  # as the library does before it parses
    if not found:
        return False
    try:
        made = plugin(**found, asset=asset)
    except Exception:  # noqa: BLE001 - the library's own way, too, takes any error for a URL of no use
        return False
    return bool(made.enabled) and bool(service.add(made))


@lru_cache(maxsize=16)
def plugin_of(scheme: str) -> "type[NotifyBase] | None":
    """The class that serves a scheme; None if the search by words does not find it."""
    for name in _modules_that_say(scheme):
        try:
            module = importlib.import_module(f"{_PACKAGE}.{name}")
        except ImportError:
            continue
        for found in vars(module).values():
            if isinstance(found, type) and hasattr(found, "app_id") and scheme in _schemes(found):
                return found
    return None


def _schemes(found: type) -> set[str]:
    schemas = getattr(found, "schemas", None)
    return schemas(found) if callable(schemas) else set()


def _modules_that_say(scheme: str) -> Iterator[str]:
    package = importlib.import_module(_PACKAGE)
    for module in pkgutil.iter_modules(package.__path__):
        if not module.name.startswith(("_", "base")) and scheme in _schemes_said(package, module.name):
            yield module.name


def _schemes_said(package: ModuleType, name: str) -> frozenset[str]:
    """What the source of one module sets `protocol` and `secure_protocol` to."""
    texts = (
        path.read_text(encoding="utf-8")
        for place in package.__path__
        for path in (Path(place, f"{name}.py"), *sorted(Path(place, name).glob("*.py")))
        if path.is_file()
    )
    return frozenset(
        said for text in texts for value in _SET.findall(text) for said in _QUOTED.findall(value)
    )
