"""Reads a report as a program would: its figures by name, its sections, whatever it would fetch."""

from dataclasses import dataclass, field
from html.parser import HTMLParser


@dataclass
class Read(HTMLParser):
    """`values` and `texts` by the name of the figure, `names` all ids, `fetches` what it refers to."""

    values: dict[str, float] = field(default_factory=dict)
    texts: dict[str, str] = field(default_factory=dict)
    names: list[str] = field(default_factory=list)
    fetches: list[str] = field(default_factory=list)
    tags: list[str] = field(default_factory=list)
    words: list[str] = field(default_factory=list)
    _in: str | None = None

    def __post_init__(self) -> None:
        super().__init__()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = {name: value or "" for name, value in attrs}
        self.tags.append(tag)
        if "id" in given:
            self.names.append(given["id"])
        refers = [given[name] for name in ("src", "href", "xlink:href", "action", "srcset") if name in given]
        self.fetches += [to for to in refers if not to.startswith("#")]
        if tag == "data":
            self._in = given["id"]
            self.values[self._in] = float(given["value"])
            self.texts[self._in] = ""

    def handle_endtag(self, tag: str) -> None:
        if tag == "data":
            self._in = None

    def handle_data(self, data: str) -> None:
        if self._in is not None:
            self.texts[self._in] += data
        self.words.append(data)

    def text(self) -> str:
        """All words, spaces made single."""
        return " ".join(" ".join(self.words).split())


def read(html: str) -> Read:
    """Parse one report."""
    found = Read()
    found.feed(html)
    found.close()
    return found
