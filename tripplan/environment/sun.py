"""The sun over a place for many times at once, and dawn, sunrise, sunset and dusk of many days in one call.

The equations are those of the NOAA Solar Calculator, after Meeus, which the astral library of ``daylight`` uses too; so
a year by this module is the year that 365 calls of ``daylight`` give, to the second. Source: ASTRONOMY.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from functools import lru_cache
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from tripplan.environment.daylight import CIVIL_DEG, FIRST_YEAR, LAST_YEAR, SUN_HORIZON_DEG
from tripplan.errors import OutOfRange, require

Degrees = NDArray[np.float64]
Seconds = NDArray[np.int64]  # since 1 January 1970, 0 h UTC
Moments = NDArray[np.datetime64]

NEAREST_POLE_DEG = 89.8  # the library takes no latitude nearer to a pole, where every direction is north or south
DAY_S = 86_400
EPOCH_CENTURY = (2_440_587.5 - 2_451_545.0) / 36_525  # 1 January 1970 in Julian centuries from noon of 1 January 2000
_GRAZING_DEG = 0.5  # so near an edge at the lowest point of the night, a crossing is searched for as daylight does it
_POLAR_DEG = 80.0  # from here on the sun's lowest point of a night is not where its hour angle says
_NEAR_S = 4  # how far from the reckoned crossing its second is looked for


@dataclass(frozen=True)
class SolarPosition:
    """The sun at each time: its centre, without refraction."""

    elevation_deg: Degrees
    declination_deg: Degrees
    equation_of_time_min: Degrees


@dataclass(frozen=True)
class SunTimes:
    """Events of successive local days, UTC, in whole seconds rounded towards the shorter day; NaT: does not happen."""

    civil_dawn: Moments
    sunrise: Moments
    solar_noon: Moments
    sunset: Moments
    civil_dusk: Moments
    sun_is_up_at_noon: NDArray[np.bool_]


def solar_position(latitude_deg: float, longitude_deg: float, times: Moments) -> SolarPosition:
    """Return where the sun stands at each time (UTC, cut to whole seconds), degrees and minutes.

    latitude_deg, longitude_deg -- north and east positive, -90 to 90 and -180 to 180

    Within some 0.01 degrees of an ephemeris from 1901 to 2099. NaN where a time is not one.
    Raises OutOfRange outside the intervals, or for times that are no datetime64.  Source: ASTRONOMY.
    """
    _require_place(latitude_deg, longitude_deg)
    array = np.asarray(times)
    if array.dtype.kind != "M":
        raise OutOfRange(f"times are of type {array.dtype}; they must be numpy datetime64, UTC")
    missing = np.isnat(array)
    seconds = np.where(missing, np.datetime64(0, "s"), array.astype("datetime64[s]")).astype(np.int64)
    declination, equation = _declination_and_equation(seconds)
    elevation = _elevation(latitude_deg, longitude_deg, seconds, declination, equation)
    found = (np.where(missing, np.nan, value) for value in (elevation, declination, equation))
    return SolarPosition(*found)


def sun_times(latitude_deg: float, longitude_deg: float, first_day: date, last_day: date, timezone: str) -> SunTimes:
    """Return the sun's events of every local day from the first to the last, both included.

    latitude_deg, longitude_deg -- north and east positive, -90 to 90 and -180 to 180
    first_day, last_day -- in the years 1901 to 2099;  timezone -- IANA name, known to the system

    The same seconds as ``daylight`` for each day. Raises OutOfRange outside the intervals.  Source: ASTRONOMY.
    """
    _require_place(latitude_deg, longitude_deg)
    for day in (first_day, last_day):
        require("year", day.year, FIRST_YEAR, LAST_YEAR, "", "the formulas hold for these two centuries")
    sky = _Sky(min(max(latitude_deg, -NEAREST_POLE_DEG), NEAREST_POLE_DEG), longitude_deg)
    noon = sky.noons(first_day, last_day, timezone)
    noon_deg = sky.elevation(noon)
    civil_dawn, sunrise, sunset, civil_dusk = sky.events(noon, noon_deg)
    return SunTimes(
        civil_dawn=civil_dawn,
        sunrise=sunrise,
        solar_noon=noon.astype("datetime64[s]"),
        sunset=sunset,
        civil_dusk=civil_dusk,
        sun_is_up_at_noon=noon_deg > SUN_HORIZON_DEG,
    )


def local_midnights(first_day: date, last_day: date, timezone: str) -> Moments:
    """Return the first moment of each local day, and of the day after the last, UTC, whole seconds.

    Where the clock skips midnight, a day begins at the first time that the clock does show.
    """
    return _clock_at(first_day, last_day + timedelta(days=1), timezone, time())


@lru_cache(maxsize=32)
def _clock_at(first_day: date, last_day: date, timezone: str, clock: time) -> Moments:
    """Return when a clock shows a time on each day, UTC."""
    zone = ZoneInfo(timezone)
    days = [first_day + timedelta(days=n) for n in range((last_day - first_day).days + 1)]
    local = [datetime.combine(day, clock, tzinfo=zone) for day in days]
    moments = np.array([moment.astimezone(UTC).replace(tzinfo=None) for moment in local], dtype="datetime64[s]")
    moments.flags.writeable = False  # it is handed out again
    return moments


def _require_place(latitude_deg: float, longitude_deg: float) -> None:
    require("latitude", latitude_deg, -90, 90, "degrees")
    require("longitude", longitude_deg, -180, 180, "degrees")


# ---- the equations of the NOAA Solar Calculator -------------------------------------------------------------------


def _declination_and_equation(seconds: Seconds) -> tuple[Degrees, Degrees]:
    """Return the sun's declination, degrees, and the equation of time, minutes."""
    century = seconds / (DAY_S * 36_525.0) + EPOCH_CENTURY
    mean_longitude = np.radians((280.46646 + century * (36000.76983 + 0.0003032 * century)) % 360.0)
    mean_anomaly = np.radians(357.52911 + century * (35999.05029 - 0.0001537 * century))
    eccentricity = 0.016708634 - century * (0.000042037 + 0.0000001267 * century)
    sin_m, sin_2m, sin_3m = (np.sin(n * mean_anomaly) for n in (1, 2, 3))
    centre_deg = (
        sin_m * (1.914602 - century * (0.004817 + 0.000014 * century))
        + sin_2m * (0.019993 - 0.000101 * century)
        + sin_3m * 0.000289
    )
    node = np.radians(125.04 - 1934.136 * century)
    apparent_longitude = mean_longitude + np.radians(centre_deg - 0.00569 - 0.00478 * np.sin(node))
    tilt_seconds = 21.448 - century * (46.815 + century * (0.00059 - century * 0.001813))
    obliquity = np.radians(23.0 + (26.0 + tilt_seconds / 60.0) / 60.0 + 0.00256 * np.cos(node))
    declination = np.degrees(np.arcsin(np.sin(obliquity) * np.sin(apparent_longitude)))
    y = np.tan(obliquity / 2.0) ** 2
    equation = 4.0 * np.degrees(
        y * np.sin(2 * mean_longitude)
        - 2 * eccentricity * sin_m
        + 4 * eccentricity * y * sin_m * np.cos(2 * mean_longitude)
        - 0.5 * y * y * np.sin(4 * mean_longitude)
        - 1.25 * eccentricity**2 * sin_2m
    )
    return declination, equation


def _elevation(
    latitude_deg: float, longitude_deg: float, seconds: Seconds, declination: Degrees, equation_min: Degrees
) -> Degrees:
    solar_min = (seconds % DAY_S) / 60.0 + equation_min + 4.0 * longitude_deg
    hour_angle = np.radians(solar_min / 4.0 - 180.0)
    latitude, dec = np.radians(min(max(latitude_deg, -NEAREST_POLE_DEG), NEAREST_POLE_DEG)), np.radians(declination)
    height = np.cos(latitude) * np.cos(dec) * np.cos(hour_angle) + np.sin(latitude) * np.sin(dec)
    return np.asarray(90.0 - np.degrees(np.arccos(np.clip(height, -1.0, 1.0))))


# ---- the events of days -------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Sky:
    """The sky over one place."""

    latitude_deg: float
    longitude_deg: float

    def elevation(self, seconds: Seconds) -> Degrees:
        return _elevation(self.latitude_deg, self.longitude_deg, seconds, *_declination_and_equation(seconds))

    def noons(self, first_day: date, last_day: date, timezone: str) -> Seconds:
        """Return the solar noon whose local date is the day; where a date has none, the nearest, as ``daylight`` does.

        Noon of a date by the longitude alone can fall on a neighbour of the local date (date line), so both are tried.
        """
        midnight = local_midnights(first_day, last_day, timezone).astype(np.int64)
        start = (np.datetime64(first_day, "D") - np.datetime64(0, "D")).astype(np.int64)
        dates = (start + np.arange(-1, midnight.size)) * DAY_S  # 0 h UTC, from the day before to the day after
        _, equation_min = _declination_and_equation(dates)
        hours = (720.0 - 4.0 * self.longitude_deg - equation_min) / 60.0
        hour = np.trunc(hours)
        minute = np.trunc((hours - hour) * 60)
        second = np.trunc(((hours - hour) * 60 - minute) * 60)
        noon = dates + (hour * 3600 + minute * 60 + second).astype(np.int64)
        candidates = np.stack((noon[1:-1], noon[2:], noon[:-2]))  # of equals the first is taken
        middle = _clock_at(first_day, last_day, timezone, time(12)).astype(np.int64)
        elsewhere = (candidates < midnight[:-1]) | (candidates >= midnight[1:])
        away = np.abs(candidates - middle) + elsewhere * (10 * DAY_S)
        return np.asarray(np.take_along_axis(candidates, away.argmin(axis=0)[None], axis=0)[0])

    def events(self, noon: Seconds, noon_deg: Degrees) -> tuple[Moments, Moments, Moments, Moments]:
        """Return civil dawn, sunrise, sunset and civil dusk of each noon."""
        edges, ways = np.array([CIVIL_DEG, SUN_HORIZON_DEG, SUN_HORIZON_DEG, CIVIL_DEG]), np.array([-1, -1, 1, 1])
        nights = noon + np.array([[-1], [1]]) * (DAY_S // 2)
        declination, _ = _declination_and_equation(nights)
        lowest_deg = np.abs(self.latitude_deg + declination) - 90.0  # at hour angle 180 degrees
        close = np.zeros(nights.shape, dtype=bool)
        for edge in (CIVIL_DEG, SUN_HORIZON_DEG):
            close |= (np.abs(lowest_deg - edge) < _GRAZING_DEG) | (np.abs(noon_deg - edge) < _GRAZING_DEG)
        close |= abs(self.latitude_deg) > _POLAR_DEG
        dark_h = np.broadcast_to([[-12.0], [12.0]], nights.shape).copy()
        if close.any():
            noons = np.broadcast_to(noon, nights.shape)[close]
            dark_h[close] = self._lowest_h(noons, dark_h[close])
            lowest_deg[close] = self.elevation(_at(noons, dark_h[close]))
        of_night = [0, 0, 1, 1]  # dawn and sunrise end the night before, sunset and dusk begin the one after
        lowest_deg, close, dark_h = lowest_deg[of_night], close[of_night], dark_h[of_night]
        edge_deg, way = (np.broadcast_to(one[:, None], close.shape) for one in (edges, ways))
        noons = np.broadcast_to(noon, close.shape)
        happens = (lowest_deg < edge_deg) & (noon_deg > edge_deg)
        found = np.full(close.shape, np.datetime64("NaT"), dtype="datetime64[s]")
        steep = happens & ~close
        found[steep], sure = self._crossing(noons[steep], edge_deg[steep], way[steep])
        halved = happens & close
        halved[steep] = ~sure
        if halved.any():
            found[halved] = self._halving(noons[halved], dark_h[halved], edge_deg[halved])
        return found[0], found[1], found[2], found[3]

    def _crossing(self, noon: Seconds, edge_deg: Degrees, way: NDArray[np.int64]) -> tuple[Moments, NDArray[np.bool_]]:
        """Return the crossing of an edge before (-1) or after (+1) noon, and whether it is surely that second.

        Reckoned by the hour angle, which is exact for the declination of that moment; then the second is looked for.
        """
        latitude, edge = np.radians(self.latitude_deg), np.radians(edge_deg)
        solar_min = (noon % DAY_S) / 60.0 + 4.0 * self.longitude_deg
        at = noon + way * (DAY_S / 4)
        for _ in range(3):
            declination, equation_min = _declination_and_equation(at.astype(np.int64))
            dec = np.radians(declination)
            cosine = (np.sin(edge) - np.sin(latitude) * np.sin(dec)) / (np.cos(latitude) * np.cos(dec))
            angle_min = 4.0 * np.degrees(np.arccos(np.clip(cosine, -1, 1)))
            past_min = (solar_min + equation_min) % 1440.0 - 720.0  # how far the sun is past the meridian at noon
            at = noon + (way * angle_min - past_min) * 60.0
        middle = np.round(at).astype(np.int64)
        lit, dark = middle - way * _NEAR_S, middle + way * _NEAR_S
        sure = (self.elevation(lit) >= edge_deg) & (self.elevation(dark) < edge_deg)
        while np.abs(dark - lit).max(initial=0) > 1:
            half = (lit + dark) // 2
            bright = self.elevation(half) >= edge_deg
            lit, dark = np.where(bright, half, lit), np.where(bright, dark, half)
        # Light is reckoned by whole seconds: the first that is lit has begun to be so within it, and is not counted.
        return np.where(way < 0, lit + 1, lit).astype("datetime64[s]"), sure

    def _lowest_h(self, noon: Seconds, near_h: Degrees) -> Degrees:
        """Return the hours from noon, within an hour of ``near_h``, at which the sun is lowest, as daylight does."""
        left, right = near_h - 1.0, near_h + 1.0
        while (right - left).max(initial=0.0) > 1 / 3600:
            third = (right - left) / 3
            falls = self.elevation(_at(noon, left + third)) < self.elevation(_at(noon, right - third))
            left, right = np.where(falls, left, left + third), np.where(falls, right - third, right)
        return (left + right) / 2

    def _halving(self, noon: Seconds, dark_h: Degrees, edge_deg: Degrees) -> Moments:
        """Return the crossing of an edge between noon and the lowest point of a night by halving, as daylight does."""
        lit, dark = np.zeros(noon.shape), dark_h.copy()
        later = dark < 0
        while (wide := np.abs(dark - lit) > 0.25 / 3600).any():
            middle = (lit + dark) / 2
            bright = self.elevation(_at(noon, middle)) >= edge_deg
            lit, dark = np.where(wide & bright, middle, lit), np.where(wide & ~bright, middle, dark)
        micros = noon * 1_000_000 + np.round(lit * 3.6e9).astype(np.int64)
        whole = micros // 1_000_000
        return np.where(later & (micros % 1_000_000 > 0), whole + 1, whole).astype("datetime64[s]")


def _at(noon: Seconds, hours: Degrees) -> Any:
    """Return noon and some hours, cut to the second, as the library cuts its times."""
    return noon + np.round(hours * 3.6e9).astype(np.int64) // 1_000_000
