"""Promise: a kept record comes back as it was or not at all; one kept before there was a sum still does."""

import msgspec
import numpy as np
import pytest
from box_days import FLOCK, SPEC

from coldbrood.brooder.estimate import Estimate, start
from coldbrood.codec import CannotRead, pack, unpack
from coldbrood.watch.alarms import Alarm

ALARM = Alarm("too-hot", "a", "unacknowledged", "high", active=True, raised_t_s=9.5, told=3)


def test_a_record_comes_back_as_it_was() -> None:
    estimate = start(SPEC, FLOCK, 4)
    assert unpack(pack(ALARM), Alarm) == ALARM
    assert np.array_equal(unpack(pack(estimate), Estimate).bank.theta, estimate.bank.theta)


def test_no_flipped_bit_is_believed() -> None:
    data = pack(ALARM)
    for bit in range(8 * len(data)):
        hurt = bytearray(data)
        hurt[bit // 8] ^= 1 << bit % 8
        with pytest.raises(CannotRead, match=r"^Alarm: "):
            unpack(bytes(hurt), Alarm)


@pytest.mark.parametrize(
    "data", [b"", b"\xc1", b"\xc1\x00\x00\x00\x00", pack(ALARM)[:-1], pack(ALARM) + b"\x00"]
)
def test_what_is_cut_short_or_too_long_is_not_read(data: bytes) -> None:
    with pytest.raises(CannotRead):
        unpack(data, Alarm)


def test_a_record_of_before_there_was_a_sum_is_read() -> None:
    assert unpack(msgspec.msgpack.encode(ALARM), Alarm) == ALARM
