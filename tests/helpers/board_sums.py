"""How long a card lasts and what a board eats: sums with stated inputs, each a guess to be put right.

Marks: V read in a source, C computed, M from memory.
"""

from dataclasses import dataclass

DAYS_A_YEAR = 365.25
HOURS_A_DAY = 24.0


@dataclass(frozen=True, slots=True)
class Card:
    """An SD card: how much it holds, how often a cell can be written, how much more it writes than is asked.

    M: consumer cards are of cells for 500 to 3,000 writes, seldom stated; small synced writes make a card
    move whole blocks, some 10 to 50 times what was asked. The defaults are the bad ends of a cheap card.
    """

    capacity_gb: float = 16.0
    cell_writes: float = 500.0
    amplification: float = 50.0

    def years(self, mb_a_day: float) -> float:
        """capacity * cell writes / (amplification * written a day). Raises ValueError for no writes."""
        if mb_a_day <= 0.0:
            raise ValueError(f"mb_a_day: {mb_a_day}: more than 0")
        return self.capacity_gb * 1000.0 * self.cell_writes / (self.amplification * mb_a_day) / DAYS_A_YEAR


@dataclass(frozen=True, slots=True)
class Board:
    """A small board: watts at rest with Wi-Fi on, watts more for a busy core, times slower than here.

    M: 512 MB boards rest at 0.6 to 1.5 W and take some 0.6 W more for a busy core; 3 to 10 times slower is
    the estimate of the measured facts. Measure your own: a USB power meter for a day.
    """

    rest_w: float = 1.2
    busy_w: float = 0.6
    slower: float = 10.0

    def wh_a_day(self, cpu_s_a_day: float) -> float:
        """Rest for a day, and the busy seconds on top; no more of them than a day has."""
        busy_h = min(HOURS_A_DAY, cpu_s_a_day * self.slower / 3600.0)
        return self.rest_w * HOURS_A_DAY + self.busy_w * busy_h


@dataclass(frozen=True, slots=True)
class Battery:
    """A solar battery: charge, voltage, the share that may be used, what the converter to 5 V lets through.

    M: lead lives long if half of it is used; converters let 80 to 90 % through.
    """

    amp_hours: float = 20.0
    volts: float = 12.0
    usable: float = 0.5
    converter: float = 0.85

    def days(self, wh_a_day: float) -> float:
        """Days without any sun."""
        return self.amp_hours * self.volts * self.usable * self.converter / wh_a_day
