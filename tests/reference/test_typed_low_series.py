"""On a year of real nights a good typed low helps the own forecast, and a useless one is found out."""

from pathlib import Path

import numpy as np
import pvlib
import pytest

from coldbrood.brooder.typed_low import LEAST_C, MOST_C, Lows, combine, say, see, settle, tonight

DAY_S, HOUR_S = 86_400.0, 3600.0


def series() -> tuple[np.ndarray[tuple[int], np.dtype[np.float64]], int]:
    """Hourly air of an inland year, pvlib's 723170TYA.CSV: row i is the hour ending i + 1."""
    path = Path(pvlib.__file__).parent / "data" / "723170TYA.CSV"
    data, _ = pvlib.iotools.read_tmy3(path, coerce_year=1990, map_variables=True)
    return data["temp_air"].to_numpy(dtype=np.float64), len(data)


def played(bias_c: float, sd_c: float) -> tuple[float, float, float]:
    """Mean absolute errors of the own forecast, of the two combined, and coverage of its 80 % range.

    Own: T21 less the mean drop of up to 20 nights (baseline c20, physics.md section 6), with their spread.
    Typed: what came, off by a bias and chance. Seed 1.
    """
    air_c, hours = series()
    rng, lows, drops = np.random.default_rng(1), Lows(), [4.0, 2.0, 6.0]
    own, both, inside = [], [], []
    for day in range(hours // 24 - 1):
        t21_c, night_c = float(air_c[24 * day + 20]), air_c[24 * day + 21 : 24 * day + 31]
        came_c, bed_s = float(night_c.min()), DAY_S * day + 21 * HOUR_S
        typed_c = float(np.clip(came_c + bias_c + sd_c * rng.standard_normal(), LEAST_C, MOST_C))
        lows = say(lows, bed_s, typed_c, bed_s + 11 * HOUR_S)
        mean_c, spread_c = t21_c - float(np.mean(drops)), float(np.std(drops)) + 0.5
        found_c, found_sd_c = combine(mean_c, spread_c, tonight(lows, bed_s))
        own.append(abs(mean_c - came_c))
        both.append(abs(found_c - came_c))
        inside.append(abs(found_c - came_c) <= 1.2816 * found_sd_c)
        for hour, value in enumerate(night_c, start=1):
            lows = see(lows, bed_s + hour * HOUR_S, float(value))
        lows = settle(lows, bed_s + 12 * HOUR_S)
        drops = [*drops, t21_c - came_c][-20:]
    assert len(own) > 360
    return float(np.mean(own)), float(np.mean(both)), float(np.mean(inside))


def test_the_own_forecast_alone_is_the_sheets_baseline() -> None:
    # c20 inland: 2.069 over nights 5 to 363 (C); all nights here, so near it.
    assert played(0.0, 1.0)[0] == pytest.approx(2.07, abs=0.1)


def test_a_good_radio_halves_the_error_though_it_is_always_two_degrees_off() -> None:
    own, both, inside = played(2.0, 1.0)
    assert both < 0.5 * own
    assert 0.72 < inside < 0.92


def test_a_usual_radio_helps() -> None:
    own, both, inside = played(1.0, 2.0)
    assert both < 0.75 * own
    assert 0.72 < inside < 0.92


def test_a_useless_radio_does_no_harm() -> None:
    own, both, _ = played(-3.0, 8.0)
    assert both < 1.03 * own
