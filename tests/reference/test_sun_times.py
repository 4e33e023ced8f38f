"""Promise: the year's sun table agrees with NREL's solar position algorithm and survives the polar day."""

from datetime import UTC, date, datetime, time

import pandas as pd
import pytest
from pvlib.solarposition import sun_rise_set_transit_spa

from coldbrood.settings.sun import sun_days

# Places and dates of shared/reference/physics.md section 7 [C]; checked against pvlib's NREL SPA, in 60 s.
PLACES = [
    (36.1, -79.95, date(2026, 4, 10)),
    (-33.9, 18.4, date(2026, 9, 20)),
    (60.2, 24.9, date(2026, 6, 21)),
    (51.5, 0.0, date(2026, 12, 21)),
    (0.0, 0.0, date(2026, 3, 20)),
    (-17.5, -149.5, date(2026, 5, 5)),
]


@pytest.mark.parametrize(("latitude", "longitude", "day"), PLACES)
def test_sun_table_agrees_with_spa(latitude: float, longitude: float, day: date) -> None:
    midnight = datetime.combine(day, time(), UTC)
    sun = sun_days(latitude, longitude, day.year)[day.timetuple().tm_yday - 1]
    noon = midnight.timestamp() + 43_200.0 - longitude * 240.0
    at_noon = pd.DatetimeIndex([pd.Timestamp(noon, unit="s", tz="UTC")])
    spa = sun_rise_set_transit_spa(at_noon, latitude, longitude)
    for ours, theirs in ((sun.sunrise_s, spa["sunrise"].iloc[0]), (sun.sunset_s, spa["sunset"].iloc[0])):
        assert ours is not None
        # Far from Greenwich astral's date and the solar day differ by one: a day's change of the sun on top.
        allowed_s = 130.0 if abs(longitude) > 90 else 60.0
        apart = (midnight.timestamp() + ours - theirs.timestamp()) % 86_400.0
        assert min(apart, 86_400.0 - apart) < allowed_s
    assert sun.sunrise_s is not None
    assert sun.sunset_s is not None
    assert midnight.timestamp() + sun.sunrise_s < noon < midnight.timestamp() + sun.sunset_s


def test_polar_day_has_no_sunset_and_does_not_crash() -> None:
    days = sun_days(69.65, 18.96, 2026)
    assert len(days) == 366
    assert days[date(2026, 6, 21).timetuple().tm_yday - 1].sunset_s is None
    assert days[date(2026, 3, 21).timetuple().tm_yday - 1].sunset_s is not None
