"""Readings that wait for the radio: a bounded ring in the memory that outlives deep sleep, no flash to wear.

At one sensor the 2 kB of an ESP32 (M) hold 338 readings, 28 hours at five minutes. When it is full the oldest
goes. Losing all power loses the ring, and so does a changed number of sensors.
"""

import binascii
import struct

MAGIC = b"cb1"
HEADER = "<3sBBBHi"
HEADER_BYTES = struct.calcsize(HEADER)
SUM_BYTES = 4
NONE = -32768
OLDEST_S = 47 * 3600  # the daemon refuses what is older than two days


class Ring:
    """Rows of (seconds, values), oldest first, each value a small whole number or None."""

    def __init__(self, fields, room_bytes=2048):
        self.row = "<i" + "h" * fields
        self.row_bytes = struct.calcsize(self.row)
        self.fields = fields
        self.most = (room_bytes - HEADER_BYTES - SUM_BYTES) // self.row_bytes
        self.rows = []
        self.misses = 0  # wakes in a row without an acknowledgement
        self.told = 0  # 1: the last word was taken
        self.due_s = 0  # when the next wake was to be

    def load(self, blob):
        """Take up what was kept; whatever is not sound counts as nothing kept."""
        if len(blob) < HEADER_BYTES + SUM_BYTES or blob[:3] != MAGIC:
            return
        body = blob[:-SUM_BYTES]
        if struct.unpack("<I", blob[-SUM_BYTES:])[0] != binascii.crc32(body):
            return
        _, fields, misses, told, count, due_s = struct.unpack(HEADER, body)
        if fields != self.fields or len(body) != HEADER_BYTES + count * self.row_bytes:
            return
        self.misses, self.told, self.due_s = misses, told, due_s
        for index in range(count):
            stamp_s, *values = struct.unpack_from(self.row, body, HEADER_BYTES + index * self.row_bytes)
            self.rows.append((stamp_s, [None if value == NONE else value for value in values]))

    def dump(self):
        """All of it as bytes with a check sum."""
        misses = self.misses if self.misses < 240 else 120 + self.misses % 120  # keeps its third
        body = struct.pack(HEADER, MAGIC, self.fields, misses, self.told, len(self.rows), self.due_s)
        body += b"".join(
            struct.pack(self.row, stamp_s, *[NONE if value is None else value for value in values])
            for stamp_s, values in self.rows
        )
        return body + struct.pack("<I", binascii.crc32(body))

    def add(self, stamp_s, values):
        """One more reading; a full ring loses its oldest."""
        self.rows.append((stamp_s, values))
        self.rows = self.rows[-self.most :]

    def drop(self, count):
        """The oldest were taken by the broker."""
        self.rows = self.rows[count:]

    def mend_clock(self, now_s):
        """Ages stay true if the clock began anew: all stamps move with it. What is too old goes."""
        if self.rows and now_s < self.rows[-1][0]:
            shift_s = now_s - self.due_s
            self.rows = [(stamp_s + shift_s, values) for stamp_s, values in self.rows]
        self.rows = [entry for entry in self.rows if now_s - entry[0] <= OLDEST_S]
