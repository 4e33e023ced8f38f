"""Wall time as the keeper lives it: hours of the day, the chicks' age, the night."""

from datetime import UTC, date, datetime, time, timedelta

from coldbrood.watch.events import Now
from coldbrood.watch.site import Keeper, Site

DAY_S = 86_400.0


def local(site: Site, wall_s: float) -> datetime:
    """Local date and time of a Unix time."""
    return datetime.fromtimestamp(wall_s, site.zone)


def wall_of(now: Now, t_s: float) -> float:
    """Unix time of a watch time, by the clock as it stands."""
    return now.wall_s + (t_s - now.t_s)


def watch_of(now: Now, wall_s: float) -> float:
    """Watch time of a Unix time, by the clock as it stands."""
    return now.t_s + (wall_s - now.wall_s)


def age_days(site: Site, wall_s: float) -> float:
    """Days since local midnight of day 0, never negative: an unset clock makes chicks young: cautious."""
    day0 = datetime.combine(site.batch.day0, time(), site.zone)
    return max(0.0, (wall_s - day0.timestamp()) / DAY_S)


def second_of_day(site: Site, wall_s: float) -> int:
    """Seconds of the local day gone by on the keeper's clock."""
    at = local(site, wall_s)
    return at.hour * 3600 + at.minute * 60 + at.second


def is_night(site: Site, wall_s: float) -> bool:
    """Whether the keeper sleeps: from bedtime to rising, over midnight where need be."""
    keeper, second = site.keeper, second_of_day(site, wall_s)
    if keeper.bedtime_s > keeper.rising_s:
        return second >= keeper.bedtime_s or second < keeper.rising_s
    return keeper.bedtime_s <= second < keeper.rising_s


def next_wall_s(site: Site, wall_s: float, second: int) -> float:
    """Unix time of the next local `second` of the day after `wall_s`; right over a change of summer time."""
    at = local(site, wall_s)
    for days in (0, 1, 2):
        then = _at_second(site, at.date() + timedelta(days=days), second)
        if then.timestamp() > wall_s:
            return then.timestamp()
    raise AssertionError("two days hold every second of the day")


def _at_second(site: Site, day: date, second: int) -> datetime:
    return datetime.combine(day, time(second // 3600, second % 3600 // 60, second % 60), site.zone)


def night_ahead(site: Site, wall_s: float) -> tuple[float, float]:
    """Unix times of bedtime and rising of the night that is on, or the next one."""
    keeper = site.keeper
    rising_s = next_wall_s(site, wall_s, keeper.rising_s)
    if is_night(site, wall_s):
        return wall_s, rising_s
    bedtime_s = next_wall_s(site, wall_s, keeper.bedtime_s)
    return bedtime_s, next_wall_s(site, bedtime_s, keeper.rising_s)


def night_sun(site: Site, wall_s: float) -> tuple[float | None, float | None]:
    """Unix times of sunset and sunrise round the night that is on, or the next one; None without sun."""
    if not site.sun:
        return None, None
    solar_day = datetime.fromtimestamp(wall_s + site.longitude_deg * 240.0, UTC).date()
    rise_s, _ = _sun_wall_s(site, solar_day)
    before = solar_day - timedelta(days=1) if rise_s is not None and wall_s < rise_s else solar_day
    _, set_s = _sun_wall_s(site, before)
    rise_s, _ = _sun_wall_s(site, before + timedelta(days=1))
    return set_s, rise_s


def night_over(site: Site, wall_s: float) -> float:
    """Unix time at which the low of the night that is on, or the next one, is past.

    An hour after sunrise (the habit's morning mark, brooder/habit.py); where there is none, rising.
    """
    _, sunrise_s = night_sun(site, wall_s)
    if sunrise_s is not None and sunrise_s + 3600.0 > wall_s:
        return sunrise_s + 3600.0
    return next_wall_s(site, wall_s, site.keeper.rising_s)


def _sun_wall_s(site: Site, day: date) -> tuple[float | None, float | None]:
    sun = site.sun[min(day.timetuple().tm_yday, len(site.sun)) - 1]
    midnight_s = datetime.combine(day, time(), UTC).timestamp()
    rise_s = None if sun.sunrise_s is None else midnight_s + sun.sunrise_s
    set_s = None if sun.sunset_s is None else midnight_s + sun.sunset_s
    return rise_s, set_s


def clock_text(site: Site, wall_s: float) -> str:
    """Time of day as the keeper reads it: 02:40, or 2:40 am."""
    at = local(site, wall_s)
    if site.keeper.clock_24h:
        return at.strftime("%H:%M")
    return f"{at.hour % 12 or 12}:{at.minute:02d} {'am' if at.hour < 12 else 'pm'}"


def degrees_text(keeper: Keeper, celsius: float) -> str:
    """A temperature with its unit, to a tenth of a degree C or a whole degree F."""
    if keeper.unit == "F":
        return f"{_plain(round(celsius * 9 / 5 + 32))} F"
    return f"{_plain(round(celsius, 1))} C"


def difference_text(keeper: Keeper, kelvin: float) -> str:
    """A difference of temperature in the keeper's unit."""
    if keeper.unit == "F":
        return f"{_plain(round(kelvin * 9 / 5, 1))} F"
    return f"{_plain(round(kelvin, 1))} C"


def _plain(number: float) -> str:
    """12.0 as 12, -0.0 as 0."""
    return f"{number + 0.0:.1f}".removesuffix(".0").replace("-0.0", "0") if number else "0"
