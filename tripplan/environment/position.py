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
        return f"{_five(self.latitude_deg)}, {_five(self.longitude_deg)}"

    @property
    def spoken(self) -> str:
        """The position digit by digit, as it is read out on the phone or the radio."""
        return f"{_spoken(self.latitude_deg, 'North', 'South', 2)}; {_spoken(self.longitude_deg, 'East', 'West', 3)}"

    @property
    def geo_uri(self) -> str:
        """The position as a geo URI (RFC 5870)."""
        return f"geo:{_five(self.latitude_deg)},{_five(self.longitude_deg)}"


def _five(angle_deg: float) -> str:
    """Print five decimals, never "-0.00000"."""
    return f"{round(angle_deg, 5) + 0.0:.5f}"


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


# Marks that word processors, maps and phones put in place of the plain ones.
_SAME = str.maketrans({"\u2212": "-", "\u2019": "'", "\u2032": "'", "\u00ba": "\u00b0"})
_DECIMAL = re.compile(r"([+-]?[0-9]{1,3}(?:\.[0-9]+)?)\s*,\s*([+-]?[0-9]{1,3}(?:\.[0-9]+)?)")
_ONE_DECIMAL_COMMA = re.compile(r"[+-]?[0-9]+,[0-9]+")  # "47,05": one number with a comma, or two whole degrees?
_HALF = r"([0-9]{{1,{digits}}})(?:\s*°\s*|\s+)([0-9]{{1,2}}(?:\.[0-9]+)?)\s*'?\s*([{sides}])"
_MINUTES = re.compile(_HALF.format(digits=2, sides="NSns") + r"(?:\s*,\s*|\s+)" + _HALF.format(digits=3, sides="EWew"))


def read_position(text: str) -> Position:
    """Read a position in decimal degrees or in degrees and decimal minutes; the whole text must match.

    Latitude stands first. Anything that could be read in two ways is refused.

    Raises BadPosition for any other form, OutOfRange for a place not on the globe.

    >>> read_position("47 03.072 N, 17 07.404 W").decimal
    '47.05120, -17.12340'
    """
    plain = text.strip().translate(_SAME)
    if (found := _DECIMAL.fullmatch(plain)) and not _ONE_DECIMAL_COMMA.fullmatch(plain):
        return Position(float(found[1]), float(found[2]))
    if found := _MINUTES.fullmatch(plain):
        latitude = _from_minutes(found[1], found[2], found[3] in "Ss")
        longitude = _from_minutes(found[4], found[5], found[6] in "Ww")
        return Position(latitude, longitude)
    raise BadPosition(f'"{text}" is not read as a position{_why(plain)}; {ACCEPTED}')


def _from_minutes(degrees: str, minutes: str, negative: bool) -> float:
    if float(minutes) >= 60:
        raise BadPosition(f"{minutes} minutes is not below 60; {ACCEPTED}")
    angle = int(degrees) + float(minutes) / 60
    return -angle if negative else angle


def _why(plain: str) -> str:
    """Say what is probably wrong with a text that is not a position; empty where there is no telling."""
    numbers = re.findall(r"[0-9]+(?:\.[0-9]+)?", plain)
    letters = re.findall(r"[A-Za-z]+", plain)
    half = r"[-+0-9.°'\"\u2033\s]+"
    if re.search(r"[0-9],[0-9]", plain) and "." not in plain:
        return ": decimals have a point, not a comma"
    if len(numbers) >= 5 or '"' in plain or "\u2033" in plain or "''" in plain:
        return ": seconds are not read; divide them by 60 and write them as decimals of the minutes"
    if re.fullmatch(rf"{half}[EWew]\s*,?\s*{half}[NSns]", plain):
        return ": latitude (N or S) stands first, then longitude (E or W)"
    if letters and re.search(r"[-+]", plain):
        return ": give either signs or letters, not both"
    if letters and len(numbers) == 2:
        return ": with letters give degrees and minutes, without letters decimal degrees with a sign"
    if not letters and len(numbers) == 4:
        return ": with minutes give the letters N or S, E or W"
    return ""


def distance_km(start: Position, end: Position) -> float:
    """Return the geodesic distance on the WGS 84 ellipsoid, kilometres (geopy)."""
    from geopy.distance import geodesic

    return float(geodesic((start.latitude_deg, start.longitude_deg), (end.latitude_deg, end.longitude_deg)).kilometers)


def bearing_deg(start: Position, end: Position) -> float:
    """Return the initial great-circle bearing from start to end, degrees true, 0 to below 360."""
    lat1, lat2 = math.radians(start.latitude_deg), math.radians(end.latitude_deg)
    east = math.radians(end.longitude_deg - start.longitude_deg)
    y = math.sin(east) * math.cos(lat2)
    x = math.cos(lat1) * math.sin(lat2) - math.sin(lat1) * math.cos(lat2) * math.cos(east)
    return math.degrees(math.atan2(y, x)) % 360 % 360  # a tiny negative angle comes out of the first one as 360
