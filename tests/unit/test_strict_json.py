"""JSON from outside is parsed within bounds of size and depth, and nothing doubtful gets through."""

import pytest

from coldbrood.probes import strict_json
from coldbrood.probes.strict_json import BadPayload


def reason_of(payload: bytes) -> str:
    with pytest.raises(BadPayload) as caught:
        strict_json.load(payload)
    return caught.value.reason


def test_plain_json_is_read() -> None:
    assert strict_json.load(b'{"a":[1,2.5,true,null,"x"],"b":-1e2}') == {
        "a": [1, 2.5, True, None, "x"],
        "b": -100.0,
    }


@pytest.mark.parametrize(
    "payload", [b"", b" ", b"{", b"\x00", b"\xef\xbb\xbf1", b'{"a":1}x', b"\xff", b'{"a":1,"a":2}', b"[1,]"]
)
def test_what_is_not_clean_json_is_refused(payload: bytes) -> None:
    assert reason_of(payload) == "bad-payload"


def test_a_doubled_key_is_named() -> None:
    with pytest.raises(BadPayload, match="'t' stands twice"):
        strict_json.load(b'{"x":{"t":1,"t":2}}')


@pytest.mark.parametrize(
    "payload", [b"NaN", b"[Infinity]", b'{"v":-Infinity}', b"1e999", b"-1e400", b"9" * 4000]
)
def test_what_is_no_finite_number_is_refused(payload: bytes) -> None:
    assert reason_of(payload) == "not-a-number"


def test_many_digits_that_fit_a_number_are_read() -> None:
    assert strict_json.load(b"1" + b"0" * 60) == 1e60


def test_size_has_a_limit() -> None:
    at_limit = b'"' + b"x" * (strict_json.MAX_BYTES - 2) + b'"'
    assert strict_json.load(at_limit) == "x" * (strict_json.MAX_BYTES - 2)
    assert reason_of(at_limit + b" ") == "too-large"


@pytest.mark.parametrize(("opening", "closing"), [(b"[", b"]"), (b'{"a":', b"}")])
def test_depth_has_a_limit(opening: bytes, closing: bytes) -> None:
    def nested(levels: int) -> bytes:
        return opening * levels + b"1" + closing * levels

    assert strict_json.load(nested(strict_json.MAX_DEPTH))
    assert reason_of(nested(strict_json.MAX_DEPTH + 1)) == "too-large"
    assert reason_of(nested(2500)) == "too-large"
