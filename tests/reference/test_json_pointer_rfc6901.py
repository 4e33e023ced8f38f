"""Pointers of a probe's config lead where RFC 6901 says, in its own document."""

import math

import pytest

from coldbrood.probes.payload import decode
from coldbrood.probes.strict_json import BadPayload
from coldbrood.watch.site import ProbeSpec

# RFC 6901 section 5, as kept in reference/standards.md section 5 (marks V and C).
DOCUMENT = rb"""{"foo":["bar","baz"],"":0,"a/b":1,"c%d":2,"e^f":3,"g|h":4,"i\\j":5,"k\"l":6," ":7,"m~n":8}"""


def at(pointer: str, document: bytes = DOCUMENT) -> float:
    spec = ProbeSpec("p", "box", "a", "mqtt", 60.0, format="pointers", pointers={"temperature_c": pointer})
    (sample,) = decode(document, spec)
    return sample.value


@pytest.mark.parametrize(
    ("pointer", "value"),
    [
        ("/", 0),
        ("/a~1b", 1),
        ("/c%d", 2),
        ("/e^f", 3),
        ("/g|h", 4),
        ("/i\\j", 5),
        ('/k"l', 6),
        ("/ ", 7),
        ("/m~0n", 8),
    ],
)
def test_the_documents_numbers(pointer: str, value: float) -> None:
    assert at(pointer) == value


def test_escapes_are_undone_in_the_right_order() -> None:
    # standards.md check value 10 [C]: "~01" is the key "~1", not "/".
    assert at("/~01", b'{"~1": 9}') == 9


@pytest.mark.parametrize("pointer", ["", "/foo", "/foo/0", "/foo/-"])
def test_what_is_no_number_there_is_not_made_one(pointer: str) -> None:
    # "/foo/-" is the member after the last, so none on reading: from memory [M].
    assert math.isnan(at(pointer))


@pytest.mark.parametrize("pointer", ["/foo/2", "/foo/01", "/a~1b/0", "/nothing"])
def test_what_leads_nowhere_gives_no_value(pointer: str) -> None:
    # The error cases are from memory [M].
    with pytest.raises(BadPayload) as caught:
        at(pointer)
    assert caught.value.reason == "no-temperature"


@pytest.mark.parametrize("pointer", ["foo", "/~2", "/foo~"])
def test_bad_syntax_is_said(pointer: str) -> None:
    with pytest.raises(BadPayload, match="pointer"):
        at(pointer)
