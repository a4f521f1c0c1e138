"""A place on the Earth: read strictly from text, shown and spoken as rescue services read it."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from tripplan.errors import OutOfRange, TripplanError


class BadPosition(TripplanError, ValueError):
    """A position is not written in one of the two accepted forms."""


ACCEPTED = 'accepted: decimal degrees "47.0512, -17.1234", or degrees and decimal minutes "47 03.072 N, 17 07.404 W"'


@dataclass(frozen=True)
class Position:
    """Latitude and longitude in degrees, north and east positive, WGS 84."""

    latitude_deg: float
    longitude_deg: float

    def __post_init__(self) -> None:
        """Refuse what is not on the globe."""
        if not -90 <= self.latitude_deg <= 90:
            raise OutOfRange(f"latitude is {self.latitude_deg:g}; it must be from -90 to 90 degrees")
        if not -180 <= self.longitude_deg <= 180:
            raise OutOfRange(f"longitude is {self.longitude_deg:g}; it must be from -180 to 180 degrees")

    @property
    def degrees_minutes(self) -> str:
        """The position in degrees and decimal minutes, three decimals (1.9 m of latitude).

        >>> Position(47.0512, -17.1234).degrees_minutes
        "47° 03.072' N, 017° 07.404' W"
        """
        return (
            f"{_degrees_minutes(self.latitude_deg, 'N', 'S', 2)}, {_degrees_minutes(self.longitude_deg, 'E', 'W', 3)}"
        )

    @property
    def decimal(self) -> str:
        """The position in decimal degrees, five decimals (1.1 m of latitude)."""
        return f"{self.latitude_deg:.5f}, {self.longitude_deg:.5f}"

    @property
    def spoken(self) -> str:
        """The position digit by digit, as it is read out on the phone or the radio."""
        return f"{_spoken(self.latitude_deg, 'North', 'South', 2)}; {_spoken(self.longitude_deg, 'East', 'West', 3)}"

    @property
    def geo_uri(self) -> str:
        """The position as a geo URI (RFC 5870)."""
        return f"geo:{self.latitude_deg:.5f},{self.longitude_deg:.5f}"


def _split(angle_deg: float) -> tuple[int, float]:
    """Return whole degrees and minutes rounded to 0.001, carrying 60 minutes into the next degree."""
    thousandths = round(abs(angle_deg) * 60_000)
    return thousandths // 60_000, thousandths % 60_000 / 1000


def _degrees_minutes(angle_deg: float, positive: str, negative: str, digits: int) -> str:
    degrees, minutes = _split(angle_deg)
    return f"{degrees:0{digits}d}° {minutes:06.3f}' {negative if angle_deg < 0 else positive}"


_DIGITS = ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")


def _spoken(angle_deg: float, positive: str, negative: str, digits: int) -> str:
    degrees, minutes = _split(angle_deg)
    whole, fraction = f"{minutes:06.3f}".split(".")

    def say(text: str) -> str:
        return " ".join(_DIGITS[int(digit)] for digit in text)

    side = negative if angle_deg < 0 else positive
    return f"{say(f'{degrees:0{digits}d}')} degrees, {say(whole)} decimal {say(fraction)} minutes {side}"


_DECIMAL = re.compile(r"([+-]?\d{1,3}(?:\.\d+)?)\s*,\s*([+-]?\d{1,3}(?:\.\d+)?)")
_HALF = r"(\d{{1,{digits}}})(?:°\s*|\s+)(\d{{1,2}}(?:\.\d+)?)(?:'|′)?\s*([{sides}])"
_MINUTES = re.compile(_HALF.format(digits=2, sides="NS") + r"\s*,?\s+" + _HALF.format(digits=3, sides="EW"))


def read_position(text: str) -> Position:
    """Read a position in decimal degrees or in degrees and decimal minutes; the whole text must match.

    Raises BadPosition for any other form, OutOfRange for a place not on the globe.

    >>> read_position("47 03.072 N, 17 07.404 W").decimal
    '47.05120, -17.12340'
    """
    stripped = text.strip()
    if found := _DECIMAL.fullmatch(stripped):
        return Position(float(found[1]), float(found[2]))
    if found := _MINUTES.fullmatch(stripped):
        latitude = _from_minutes(found[1], found[2], found[3] == "S")
        longitude = _from_minutes(found[4], found[5], found[6] == "W")
        return Position(latitude, longitude)
    raise BadPosition(f'"{text}" is not read as a position; {ACCEPTED}')


def _from_minutes(degrees: str, minutes: str, negative: bool) -> float:
    if float(minutes) >= 60:
        raise BadPosition(f"{minutes} minutes is not below 60; {ACCEPTED}")
    angle = int(degrees) + float(minutes) / 60
    return -angle if negative else angle


def distance_km(start: Position, end: Position) -> float:
    """Return the geodesic distance on the WGS 84 ellipsoid, kilometres (geopy)."""
    from geopy.distance import geodesic

    return float(geodesic((start.latitude_deg, start.longitude_deg), (end.latitude_deg, end.longitude_deg)).kilometers)


def bearing_deg(start: Position, end: Position) -> float:
    """Return the initial great-circle bearing from start to end, degrees true, 0 to 360."""
    lat1, lat2 = math.radians(start.latitude_deg), math.radians(end.latitude_deg)
    east = math.radians(end.longitude_deg - start.longitude_deg)
    y = math.sin(east) * math.cos(lat2)
    x = math.cos(lat1) * math.sin(lat2) - math.sin(lat1) * math.cos(lat2) * math.cos(east)
    return math.degrees(math.atan2(y, x)) % 360
