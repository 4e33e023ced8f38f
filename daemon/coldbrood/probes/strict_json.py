"""JSON from outside, taken strictly and within bounds (RFC 8259).

The standard library's parser with hooks, not msgspec: msgspec refuses NaN but lets the last of
two equal keys win in silence, and a doubled key means that the sender is not what it seems.
"""

import json
import math
from collections import Counter
from collections.abc import Iterable

from coldbrood.watch.events import Refusal

MAX_BYTES = 16_384
MAX_DEPTH = 8
_MAX_DIGITS = 40


class BadPayload(ValueError):  # noqa: N818 - named for what was sent, as the refusals are
    """A payload that cannot be used, with the named reason."""

    def __init__(self, reason: Refusal, detail: str) -> None:
        super().__init__(f"{reason}: {detail}")
        self.reason: Refusal = reason
        self.detail = detail


def load(payload: bytes) -> object:
    """Parse one JSON text: UTF-8, at most 16 KiB and 8 levels, no double key, no NaN or Infinity.

    Raises BadPayload: too-large, not-a-number or bad-payload.
    """
    require_size(payload, MAX_BYTES)
    try:
        root: object = json.loads(
            payload.decode("utf-8"),
            object_pairs_hook=_once,
            parse_constant=_no_constant,
            parse_float=_finite,
            parse_int=_whole,
        )
    except UnicodeDecodeError as fault:
        raise BadPayload("bad-payload", f"not UTF-8 at byte {fault.start}") from None
    except json.JSONDecodeError as fault:
        raise BadPayload("bad-payload", f"not JSON: {fault.msg} at character {fault.pos}") from None
    except RecursionError:
        raise BadPayload("too-large", f"nested deeper than {MAX_DEPTH} levels") from None
    if _depth(root) > MAX_DEPTH:
        raise BadPayload("too-large", f"nested deeper than {MAX_DEPTH} levels")
    return root


def require_size(payload: bytes, limit: int) -> None:
    """Raise BadPayload (too-large) if the payload is longer than `limit` bytes."""
    if len(payload) > limit:
        raise BadPayload("too-large", f"more than {limit} bytes")


def _once(pairs: list[tuple[str, object]]) -> dict[str, object]:
    members = dict(pairs)
    if len(members) != len(pairs):
        ((twice, _),) = Counter(name for name, _ in pairs).most_common(1)
        raise BadPayload("bad-payload", f"the key {twice!r} stands twice in one object")
    return members


def _no_constant(text: str) -> float:
    raise BadPayload("not-a-number", f"{text} is not a number")


def _finite(text: str) -> float:
    value = float(text)
    if not math.isfinite(value):
        raise BadPayload("not-a-number", f"{text[:_MAX_DIGITS]} is beyond any number")
    return value


def _whole(text: str) -> int | float:
    # int() of thousands of digits is slow or refused; no quantity has so many.
    return int(text) if len(text) <= _MAX_DIGITS else _finite(text)


def _depth(root: object) -> int:
    depth, level = 0, _containers([root])
    while level:
        depth += 1
        level = [child for node in level for child in _children(node)]
    return depth


def _containers(nodes: Iterable[object]) -> list[object]:
    return [node for node in nodes if isinstance(node, dict | list)]


def _children(node: object) -> list[object]:
    if isinstance(node, dict):
        return _containers(node.values())
    return _containers(node) if isinstance(node, list) else []
