"""The watch's records as bytes for the journal, and back. Arrays travel with their type and shape.

A sum goes with each, since SQLite has none: a record altered on the card must be missed, not believed.
"""

import zlib
from typing import Any, TypeVar

import msgspec
import numpy as np

T = TypeVar("T")

# A byte that begins no MessagePack, then a CRC-32 of what follows. Records of before have neither.
_SUMMED = b"\xc1"
_HEAD = 5


class CannotRead(Exception):  # noqa: N818 - it says what happened, like the journal's own words
    """Kept bytes do not fit the record they should be, as after an upgrade that changed it."""


def pack(record: object) -> bytes:
    """Any frozen record of the watch or the trade as bytes."""
    body = msgspec.msgpack.encode(record, enc_hook=_array_out)
    return b"".join((_SUMMED, zlib.crc32(body).to_bytes(_HEAD - 1), body))


def unpack(data: bytes, kind: type[T]) -> T:
    """The record again, equal to the one packed. Raises CannotRead."""
    body = memoryview(data)
    if data[:1] == _SUMMED:
        body = body[_HEAD:]
        if zlib.crc32(body) != int.from_bytes(data[1:_HEAD]):
            raise CannotRead(f"{kind.__name__}: damaged: its sum does not fit")
    try:
        return msgspec.msgpack.decode(body, type=kind, dec_hook=_array_in)
    except (msgspec.DecodeError, msgspec.ValidationError, ValueError, TypeError) as error:
        raise CannotRead(f"{kind.__name__}: {error}") from error


def _array_out(value: object) -> object:
    if isinstance(value, np.ndarray):
        return [value.dtype.str, list(value.shape), value.tobytes()]
    if isinstance(value, np.generic):
        return value.item()
    raise NotImplementedError(f"no bytes for {type(value).__name__}")


def _array_in(_kind: type, value: Any) -> object:
    dtype, shape, data = value
    return np.frombuffer(data, dtype=dtype).reshape(shape).copy()
