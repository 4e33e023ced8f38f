"""How long a cell feeds a probe: the sums of a wake and a sleep. Pure.

    I_avg = (I_wake t_wake + n I_ds t_ds) / T + I_sleep (T - t_wake) / T,   days = usable mAh / (I_avg 24)

The arithmetic is computed (C); the inputs are assumptions until you have measured your board. Self-discharge
is left out: over these spans it is within what is not known of the inputs.
"""

from collections.abc import Mapping
from dataclasses import dataclass

SENSOR_MA = 1.5  # DS18B20 sheet: at most, while converting (V: kernel driver's text)
SENSOR_S = 0.75  # DS18B20 sheet: 12 bits (V)


@dataclass(frozen=True, slots=True)
class Cell:
    """A sort of cell. `usable` is the share of its charge to count on, not in hard frost."""

    capacity_mah: float
    usable: float
    low_v: float
    empty_v: float
    words: str


# Charges, shares and voltages are from memory (M): ask the sheet of your own cells. Cells in series give the
# charge of one, cells in parallel the sum.
CELLS: Mapping[str, Cell] = {
    "nimh-2aa": Cell(2000, 0.80, 2.4, 2.1, "two NiMH AA in series"),
    "li-18650": Cell(2600, 0.85, 3.5, 3.2, "one lithium-ion 18650"),
    "li-2x18650": Cell(5200, 0.85, 3.5, 3.2, "two lithium-ion 18650 in parallel"),
    "life-18650": Cell(1500, 0.90, 3.1, 2.9, "one lithium iron phosphate 18650"),
}


@dataclass(frozen=True, slots=True)
class Habit:
    """How a probe lives: the defaults are the middle case of the sums this house was planned with."""

    interval_s: float = 300.0
    wake_s: float = 3.0
    wake_ma: float = 100.0
    sleep_ua: float = 30.0
    sensors: int = 1


def mean_ma(habit: Habit) -> float:
    """The mean current in mA. Raises ValueError if it is awake for longer than its interval."""
    return sum(_parts_ma(habit))


def radio_share(habit: Habit) -> float:
    """The share of being awake, 0 to 1."""
    return _parts_ma(habit)[0] / mean_ma(habit)


def days(cell: Cell, habit: Habit) -> float:
    """Days from full to empty, with the usable share."""
    return cell.capacity_mah * cell.usable / (mean_ma(habit) * 24)


def _parts_ma(habit: Habit) -> tuple[float, float, float]:
    """Awake, sensors, asleep."""
    span_s = habit.interval_s
    if not 0 < habit.wake_s < span_s:
        raise ValueError(f"wake_s: {habit.wake_s:g}: above 0 and under the interval, {span_s:g} s")
    awake = habit.wake_ma * habit.wake_s / span_s
    sensors = habit.sensors * SENSOR_MA * SENSOR_S / span_s
    asleep = habit.sleep_ua / 1000 * (span_s - habit.wake_s) / span_s
    return awake, sensors, asleep
