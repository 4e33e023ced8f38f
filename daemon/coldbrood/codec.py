"""The watch's records as bytes for the journal, and back. Arrays travel with their type and shape."""

from typing import Any, TypeVar

import msgspec
import numpy as np

T = TypeVar("T")


class CannotRead(Exception):  # noqa: N818 - it says what happened, like the journal's own words
    """Kept bytes do not fit the record they should be, as after an upgrade that changed it."""


def pack(record: object) -> bytes:
    """Any frozen record of the watch or the trade as bytes."""
    return msgspec.msgpack.encode(record, enc_hook=_array_out)


def unpack(data: bytes, kind: type[T]) -> T:
    """The record again, equal to the one packed. Raises CannotRead."""
    try:
        return msgspec.msgpack.decode(data, type=kind, dec_hook=_array_in)
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
