"""The night trend and the learned drop against the FAO method for frost nights, its figures and its data.

V: documentation of the R package frost (getTrend, buildFAO, predFAO), after Snyder and de
Melo-Abreu, Frost Protection, vol. 1, FAO Environment and Natural Resources Series 10, 2005.
"""

import numpy as np
import pytest

from coldbrood.brooder.outdoor import Habit, expected_drop, learn, night_trend_c, start_habit

HOUR = 3600.0
DAY = 86400.0

TREND_C = [
    -0.8250,
    -1.5603,
    -2.1245,
    -2.6001,
    -3.0191,
    -3.3979,
    -3.7463,
    -4.0706,
    -4.3751,
    -4.6632,
    -4.9371,
    -5.1989,
    -5.4500,
]

T0_C = np.array([3.2, 0.8, 0.2, 2.6, 4.4, 5.2, 2.7, 1.2, 4.5, 5.6])
DEW_C = np.array([-4.2, -8.8, -6.5, -6.2, -6.1, 2.6, -0.7, -1.7, -1.2, 0.1])
LOW_C = np.array([-3.1, -5.0, -6.3, -5.4, -4.0, -2.5, -4.8, -5.0, -4.4, -3.3])


def test_trend_of_the_manuals_night() -> None:
    """V: 0.95 C two hours after sunset to -5.45 C at sunrise, 15 h after sunset: hours 3 to 15."""
    part = np.arange(1, 14) / 13.0
    assert night_trend_c(0.95, -5.45, part, power=0.5) == pytest.approx(TREND_C, abs=1e-3)


def test_trend_of_the_manuals_night_in_fahrenheit() -> None:
    """V: 33.7 to 22.2 F in 15 h: hours 3 to 5. The trend is linear in temperature, so F serves as well."""
    part = np.arange(1, 4) / 13.0
    assert night_trend_c(33.7, 22.2, part, power=0.5) == pytest.approx([30.5105, 29.1893, 28.1756], abs=1e-3)


def test_our_power_keeps_the_ends_and_stays_above_the_fao_trend_between() -> None:
    part = np.linspace(0.0, 1.0, 50)
    ours, fao = night_trend_c(8.0, 1.0, part), night_trend_c(8.0, 1.0, part, power=0.5)
    assert (ours[0], ours[-1]) == (8.0, 1.0)
    assert np.all(ours[1:-1] > fao[1:-1])


def taught_by(starts_c: np.ndarray, lows_c: np.ndarray) -> Habit:
    """Nights of 15 h by the FAO trend, read each quarter of an hour; sunset at 16, sunrise at 7."""
    habit = start_habit()
    for day, (start_c, low_c) in enumerate(zip(starts_c, lows_c, strict=True)):
        for hour in np.arange(12.0, 33.0, 0.25):
            part = np.clip(np.array((hour - 18.0) / 13.0), 0.0, 1.0)
            outdoor_c = float(night_trend_c(start_c, low_c, part, power=0.5))
            habit = learn(habit, day * DAY + hour * HOUR, outdoor_c, 16 * HOUR, 31 * HOUR)
    return habit


def test_drops_learned_from_the_manuals_nights() -> None:
    """V for the ten nights; the shape between their ends is the FAO trend."""
    assert taught_by(T0_C, LOW_C).drops_c == pytest.approx(T0_C - LOW_C, abs=1e-9)


def two_step(starts_c: np.ndarray, dew_c: np.ndarray, lows_c: np.ndarray) -> tuple[float, float, float]:
    """The FAO fit: low on T0 by a line, then what is left on the dew point."""
    b, c1 = np.polyfit(starts_c, lows_c, 1)
    a, c2 = np.polyfit(dew_c, lows_c - (b * starts_c + c1), 1)
    return float(b), float(a), float(c1 + c2)


def test_low_of_the_manuals_nights_beside_the_fao_regression() -> None:
    """Each night foretold from the other nine. The comparator itself gives the published answer.

    With nine nights and no dew point the drop cannot do as well: it may err by up to twice the
    regression's error (our bar), and its 80 % range must hold 5 or more of the ten (binomial, 99 %).
    """
    b, a, c = two_step(T0_C, DEW_C, LOW_C)
    assert b * 10.0 + a * 2.0 + c == pytest.approx(-0.7409219, abs=1e-4)  # V: T0 10, dew point 2
    ours, fao, held = [], [], 0
    for night in range(10):
        rest = np.arange(10) != night
        drop_c, sd_c = expected_drop(taught_by(T0_C[rest], LOW_C[rest]))
        error_c = T0_C[night] - drop_c - LOW_C[night]
        held += bool(abs(error_c) <= 1.2816 * sd_c)
        ours.append(abs(error_c))
        b, a, c = two_step(T0_C[rest], DEW_C[rest], LOW_C[rest])
        fao.append(abs(b * T0_C[night] + a * DEW_C[night] + c - LOW_C[night]))
    print(
        f"manual's ten nights, mean error: ours {np.mean(ours):.2f} C, FAO {np.mean(fao):.2f} C; held {held}"
    )
    assert np.mean(ours) <= 2.0 * np.mean(fao)
    assert held >= 5
