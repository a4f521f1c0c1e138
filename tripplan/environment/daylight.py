"""Dawn, sunrise, sunset, dusk and moon at a place for one local calendar day, by the astral library.

The day is the solar day whose noon falls on the local date: sunrise and dawn come before that noon, sunset and dusk
follow it, even when they fall past local midnight. An event that does not happen is None, and ``note`` says why.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from tripplan.errors import require

if TYPE_CHECKING:
    from astral import Observer

SUN_HORIZON_DEG = -0.8333  # centre of the sun at rise and set: refraction and half the disc, US Naval Observatory
CIVIL_DEG = -6.0  # centre of the sun at civil dawn and dusk, US Naval Observatory
FIRST_YEAR, LAST_YEAR = 1901, 2099  # ASTRONOMY: the library's formulas are meant for these two centuries
WRONG_CLOCK_H = 4.5  # no clock in use puts noon further from 12:00 (the widest, in the west of China, comes to 3.4 h)


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

    latitude_deg, longitude_deg -- north and east positive, -90 to 90 and -180 to 180;  day -- in the years 1901 to 2099
    timezone -- IANA name, known to the system

    At sea level with a free horizon. To latitude 55 within 5 s of an ephemeris, early or late; where the sun grazes an
    edge (dawn at 61 N in June, sunset at 70 N on the last day before the midnight sun) up to 75 s. Refraction varies by
    more than that, so a plan keeps minutes of margin. Raises OutOfRange outside the intervals.  Source: ASTRONOMY.
    """
    from astral import Observer, moon, sun

    require("latitude", latitude_deg, -90, 90, "degrees")
    require("longitude", longitude_deg, -180, 180, "degrees")
    require("year", day.year, FIRST_YEAR, LAST_YEAR, "", "the formulas hold for these two centuries")
    zone = ZoneInfo(timezone)
    observer = Observer(latitude_deg, longitude_deg, 0.0)
    noon = _noon(observer, day, zone)  # in UTC: hours from it are elapsed hours, right across a change of the clock

    def height_deg(hours_from_noon: float) -> float:
        return sun.elevation(observer, noon + timedelta(hours=hours_from_noon), with_refraction=False)

    night_before_h, night_after_h = _lowest(height_deg, -12.0), _lowest(height_deg, 12.0)

    def event(edge_deg: float, dark_h: float) -> datetime | None:
        """Find when the sun crosses a height between noon and the lowest point of a night, by halving."""
        lit, dark = 0.0, dark_h
        if not height_deg(dark) < edge_deg < height_deg(lit):
            return None
        while abs(dark - lit) > 0.25 / 3600:
            middle = (lit + dark) / 2
            lit, dark = (middle, dark) if height_deg(middle) >= edge_deg else (lit, middle)
        return _second((noon + timedelta(hours=lit)).astimezone(zone), later=dark_h < 0)

    sunrise, sunset = event(SUN_HORIZON_DEG, night_before_h), event(SUN_HORIZON_DEG, night_after_h)
    civil_dawn, civil_dusk = event(CIVIL_DEG, night_before_h), event(CIVIL_DEG, night_after_h)
    noon_deg = height_deg(0.0)
    heights = (noon_deg, height_deg(night_before_h), height_deg(night_after_h))
    notes = (*_clock_notes(noon, day, zone), *_missing_notes(heights, (civil_dawn, sunrise, sunset, civil_dusk)))
    phase = moon.phase(day) / 28 % 1
    return Daylight(
        civil_dawn=civil_dawn,
        sunrise=sunrise,
        solar_noon=noon.replace(microsecond=0).astimezone(zone),
        sunset=sunset,
        civil_dusk=civil_dusk,
        sun_is_up_at_noon=noon_deg > SUN_HORIZON_DEG,
        moon_phase_fraction=phase,
        moon_words=_moon_words(phase),
        note="; ".join(notes),
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
    """Return the solar noon whose local date is the day, in UTC; the library's own can be a neighbour's (date line).

    Where the clock puts noon at midnight, a date can have none: then the nearest noon stands for it.
    """
    from astral import sun

    near = (sun.noon(observer, date=day + timedelta(days=n), tzinfo=UTC) for n in (0, 1, -1))
    return min(near, key=lambda noon: (noon.astimezone(zone).date() != day, abs(_hours_from_middle(noon, day, zone))))


def _hours_from_middle(moment: datetime, day: date, zone: ZoneInfo) -> float:
    """Return the elapsed hours from 12:00 of a day by a clock to a moment."""
    return (moment.timestamp() - datetime(day.year, day.month, day.day, 12, tzinfo=zone).timestamp()) / 3600


def _clock_notes(noon: datetime, day: date, zone: ZoneInfo) -> Iterator[str]:
    """Say so where the clock cannot be the one kept at the place: a wrong sign or zone moves the light by hours."""
    if abs(_hours_from_middle(noon, day, zone)) > WRONG_CLOCK_H:
        yield f"the sun is highest at {noon.astimezone(zone):%H:%M} by this clock: check the position and the time zone"


def _missing_notes(heights_deg: tuple[float, float, float], events: tuple[datetime | None, ...]) -> Iterator[str]:
    """Say why an event does not happen.

    heights_deg -- of the sun at noon and at its lowest of the night before and of the night after
    """
    noon_deg, before_deg, after_deg = heights_deg
    civil_dawn, sunrise, sunset, civil_dusk = events
    if noon_deg <= SUN_HORIZON_DEG:
        yield "the sun does not rise (polar night)"
    elif before_deg >= SUN_HORIZON_DEG and after_deg >= SUN_HORIZON_DEG:
        yield "the sun does not set (midnight sun)"
    else:
        if sunrise is None:
            yield "there is no sunrise: the sun was up all night before"
        if sunset is None:
            yield "there is no sunset: the sun stays up all night after"
    if noon_deg <= CIVIL_DEG:
        yield "there is no civil twilight either"
        return
    if civil_dawn is None and before_deg < SUN_HORIZON_DEG:
        yield "there is no civil dawn: it did not get dark the night before"
    if civil_dusk is None and after_deg < SUN_HORIZON_DEG:
        yield "there is no civil dusk: it does not get dark, civil twilight lasts all night"


def _moon_words(phase: float) -> str:
    """Say the moon's phase and how much of the disc is lit."""
    lit = round((1 - math.cos(2 * math.pi * phase)) / 2 * 100)
    names = (
        (0.03, "new moon"), (0.22, "waxing crescent"), (0.28, "first quarter"), (0.47, "waxing gibbous"),
        (0.53, "full moon"), (0.72, "waning gibbous"), (0.78, "last quarter"), (0.97, "waning crescent"),
    )  # fmt: skip
    name = next((name for upto, name in names if phase < upto), "new moon")
    return f"{name}, {lit} % lit"
