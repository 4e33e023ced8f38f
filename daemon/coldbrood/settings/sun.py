"""Sunrise and sunset for each day of the year, asked of astral once: the pure rooms need no almanac."""

from datetime import UTC, date, datetime, time, timedelta

from astral import Observer
from astral.sun import sunrise, sunset

from coldbrood.watch.site import SunDay

DAY_S = 86_400.0


def sun_days(latitude_deg: float, longitude_deg: float, year: int) -> tuple[SunDay, ...]:
    """All 366 days of the calendar by day of the year; the last repeats in a short year.

    Each day is the solar day of its date: sunrise and sunset lie round the site's own noon. Over the years
    the times move by a minute or two, which no forecast of the night feels.
    """
    observer = Observer(latitude_deg, longitude_deg)
    days = (date(year, 1, 1) + timedelta(days=i) for i in range(366))
    return tuple(_sun_day(observer, longitude_deg, day) for day in days)


def _sun_day(observer: Observer, longitude_deg: float, day: date) -> SunDay:
    noon_s = DAY_S / 2 - longitude_deg * 240.0
    midnight = datetime.combine(day, time(), UTC)
    try:
        rise_s = (sunrise(observer, day) - midnight).total_seconds()
        set_s = (sunset(observer, day) - midnight).total_seconds()
    except ValueError:  # astral's word for a day on which the sun does not rise or set
        return SunDay(None, None)
    return SunDay((rise_s - noon_s) % -DAY_S + noon_s, (set_s - noon_s) % DAY_S + noon_s)
