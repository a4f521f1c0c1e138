"""Dawn, sunrise, sunset, dusk and moon at a place for one local calendar day, by the astral library.

The day is the solar day whose noon falls on the local date: sunrise and dawn come before that noon, sunset and dusk
follow it, even when they fall past local midnight. An event that does not happen is None, and ``note`` says why.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

if TYPE_CHECKING:
    from astral import Observer

SUN_HORIZON_DEG = -0.8333  # centre of the sun at rise and set: refraction and half the disc, US Naval Observatory
CIVIL_DEG = -6.0  # centre of the sun at civil dawn and dusk, US Naval Observatory


@dataclass(frozen=True)
class Daylight:
    """Light of one day; times are aware, in the zone asked for, to the second."""

    civil_dawn: datetime | None
    sunrise: datetime | None
    solar_noon: datetime
    sunset: datetime | None
    civil_dusk: datetime | None
    sun_is_up_at_noon: bool
    moon_phase_fraction: float  # 0 new, 0.25 first quarter, 0.5 full
    moon_words: str
    note: str = ""


def daylight(latitude_deg: float, longitude_deg: float, day: date, timezone: str) -> Daylight:
    """Return the light of a day.

    latitude_deg, longitude_deg -- north and east positive;  timezone -- IANA name

    At sea level with a free horizon. Sunrise and sunset come some 20 to 40 s late and early against an ephemeris at
    middle latitudes: short, never long.  Source: ASTRONOMY.
    """
    from astral import Observer, moon, sun

    zone = ZoneInfo(timezone)
    observer = Observer(latitude_deg, longitude_deg, 0.0)
    noon = _noon(observer, day, zone)

    def height_deg(hours_from_noon: float) -> float:
        moment = (noon + timedelta(hours=hours_from_noon)).astimezone(UTC)
        return sun.elevation(observer, moment, with_refraction=False)

    def event(edge_deg: float, *, evening: bool) -> datetime | None:
        """Find when the sun crosses a height between noon and the lowest point of the night, by halving."""
        lit, dark = 0.0, _lowest(height_deg, 12.0 if evening else -12.0)
        if not height_deg(dark) < edge_deg < height_deg(lit):
            return None
        while abs(dark - lit) > 0.25 / 3600:
            middle = (lit + dark) / 2
            lit, dark = (middle, dark) if height_deg(middle) >= edge_deg else (lit, middle)
        return _second((noon + timedelta(hours=lit)).astimezone(zone), later=not evening)

    sunrise = event(SUN_HORIZON_DEG, evening=False)
    sunset = event(SUN_HORIZON_DEG, evening=True)
    civil_dawn = event(CIVIL_DEG, evening=False)
    civil_dusk = event(CIVIL_DEG, evening=True)
    noon_deg = height_deg(0.0)
    before_deg, after_deg = (height_deg(_lowest(height_deg, hours)) for hours in (-12.0, 12.0))
    phase = moon.phase(day) / 28 % 1
    return Daylight(
        civil_dawn=civil_dawn,
        sunrise=sunrise,
        solar_noon=noon.replace(microsecond=0),
        sunset=sunset,
        civil_dusk=civil_dusk,
        sun_is_up_at_noon=noon_deg > SUN_HORIZON_DEG,
        moon_phase_fraction=phase,
        moon_words=_moon_words(phase),
        note=_note(noon_deg, before_deg, after_deg, (civil_dawn, sunrise, sunset, civil_dusk)),
    )


def _lowest(height_deg: Callable[[float], float], near_h: float) -> float:
    """Return the hours from noon, within an hour of ``near_h``, at which the sun is lowest (to a second or so)."""
    left, right = near_h - 1.0, near_h + 1.0
    while right - left > 1 / 3600:
        third = (right - left) / 3
        if height_deg(left + third) < height_deg(right - third):
            right -= third
        else:
            left += third
    return (left + right) / 2


def _second(moment: datetime, *, later: bool) -> datetime:
    """Drop the fraction of a second towards the shorter day."""
    whole = moment.replace(microsecond=0)
    return whole + timedelta(seconds=1) if later and moment.microsecond else whole


def _noon(observer: Observer, day: date, zone: ZoneInfo) -> datetime:
    """Return the solar noon whose local date is the day; the library's own can fall on a neighbour (date line)."""
    from astral import sun

    for shift in (0, 1, -1):
        found = sun.noon(observer, date=day + timedelta(days=shift), tzinfo=UTC).astimezone(zone)
        if found.date() == day:
            return found
    middle = datetime(day.year, day.month, day.day, 12, tzinfo=zone)  # noon within minutes of midnight: no such place
    return middle


def _note(noon_deg: float, before_deg: float, after_deg: float, events: tuple[datetime | None, ...]) -> str:
    civil_dawn, sunrise, sunset, civil_dusk = events
    notes = []
    if noon_deg <= SUN_HORIZON_DEG:
        notes.append("the sun does not rise (polar night)")
        if noon_deg <= CIVIL_DEG:
            notes.append("there is no civil twilight either")
    elif before_deg >= SUN_HORIZON_DEG and after_deg >= SUN_HORIZON_DEG:
        notes.append("the sun does not set (midnight sun)")
    else:
        if sunrise is None:
            notes.append("there is no sunrise: the sun was up all night before")
        if sunset is None:
            notes.append("there is no sunset: the sun stays up all night after")
        if civil_dawn is None:
            notes.append("there is no civil dawn: it did not get dark the night before")
        if civil_dusk is None:
            notes.append("there is no civil dusk: civil twilight lasts all night")
    return "; ".join(notes)


def _moon_words(phase: float) -> str:
    """Say the moon's phase and how much of the disc is lit."""
    lit = round((1 - math.cos(2 * math.pi * phase)) / 2 * 100)
    names = (
        (0.03, "new moon"), (0.22, "waxing crescent"), (0.28, "first quarter"), (0.47, "waxing gibbous"),
        (0.53, "full moon"), (0.72, "waning gibbous"), (0.78, "last quarter"), (0.97, "waning crescent"),
    )  # fmt: skip
    name = next((name for upto, name in names if phase < upto), "new moon")
    return f"{name}, {lit} % lit"
