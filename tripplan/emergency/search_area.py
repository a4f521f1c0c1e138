"""Where to look for a missing diver: drift from the point last seen, and how the uncertainty grows with time.

The stream carries whoever drifts. The wind adds anything from nothing, for a diver under water, to its whole share for
one who floats high, and not always straight downwind. So the area is not a point but all that can be reached that way,
with a margin of probable error around it.  Source: SAR_DRIFT.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import cache

import numpy as np
from numpy.typing import NDArray

from tripplan.environment.position import Position
from tripplan.environment.wind import STRONGEST_WIND_M_S, apart_deg, checked
from tripplan.errors import OutOfRange, require
from tripplan.language import ENGLISH, Language
from tripplan.rulebook import RuleBook
from tripplan.units import METRES_PER_SECOND_PER_KNOT

STEP_MIN = 10
STEPS = 12  # two hours
MINUTES = STEP_MIN * STEPS
METRES_A_MINUTE_PER_KNOT = METRES_PER_SECOND_PER_KNOT * 60
STRONGEST_STREAM_KN = 40.0  # faster than any stream of the sea: more is a slip, or another unit
NEAREST_THE_POLE_DEG = 88.0  # beyond, two hours of drift could reach the pole, where a box has no sides
STILL_M = 0.5  # what came back to within so much has no direction worth saying
THOUSANDTHS = 60_000  # of a minute of arc, in a degree
SIDES_DEG = (0.0, 90.0, 180.0, 270.0)  # north, east, south, west

Floats = NDArray[np.float64]
Booleans = NDArray[np.bool_]


@dataclass(frozen=True)
class SearchStep:
    """Where somebody may be, so many minutes after they were last seen."""

    minutes: int
    time: datetime
    carried: Position | None  # who drifts with the stream alone, as under water; None: its way is not known
    blown: Position | None  # who drifts with the stream and the strongest pull of the wind; None: a way is not known
    toward_deg: float | None  # from the last point to the middle of the area; None: not known, or no drift
    away_m: float  # so far to the middle
    radius_m: float  # of a circle about each of the two, total probable error times the factor of the first search,
    # and all that a stream or a wind may carry in a direction that is not known
    north: float  # limits of the box around the whole area, degrees, rounded outwards to 0.001 minute
    south: float
    east: float  # smaller than west where the box lies across the meridian of 180 degrees
    west: float

    @property
    def corners(self) -> tuple[Position, Position, Position, Position]:
        """The corners of the box: north-west, north-east, south-east, south-west."""
        return (
            Position(self.north, self.west),
            Position(self.north, self.east),
            Position(self.south, self.east),
            Position(self.south, self.west),
        )


@dataclass(frozen=True)
class SearchArea:
    """The area for each step of two hours, and what is not known about it."""

    last_seen: Position
    last_seen_at: datetime
    steps: tuple[SearchStep, ...]
    stream_known: bool  # how fast
    stream_way_known: bool  # and where to; both true where there is no stream worth the name
    wind_known: bool  # how strong, and where from


def search_area(
    last_seen: Position,
    last_seen_at: datetime,
    stream_kn: Floats,
    stream_toward_deg: Floats,
    wind_m_s: Floats,
    wind_from_deg: Floats,
    rules: RuleBook,
) -> SearchArea:
    """Return where to look, every ten minutes for two hours after somebody was last seen.

    last_seen_at       aware
    stream_kn          one value a minute from last_seen_at on, 121 or more, knots; NaN: not known; empty: there is no
                       stream worth the name
    stream_toward_deg  where it goes; NaN or empty: not known; where the stream stands still no way is needed
    wind_m_s           as the stream, metres a second; empty: nobody told
    wind_from_deg      where it comes from

    The minutes are summed by the trapezoidal rule, east and north apart, and laid on the ellipsoid: north along the
    meridian, then east along the parallel half way. For a steady drift that is right to 1 m over 20 km up to latitude
    70, for one that turns round to 1 m over 4 km up to latitude 60.

    ``carried`` has the stream alone, ``blown`` the stream and wind.drift_percent of the wind, straight downwind. The
    box holds whoever takes any share of that pull, at any angle to downwind up to search.leeway_divergence_deg, both
    changing from minute to minute as they like; so it holds the two points, those diverged to either side, and all
    between them.

    Around all that lies the radius, search.first_factor times the total probable error: the root of the sum of the
    squares of search.position_error_m and of the drift's own error, which grows with time at the root of the sum of
    the squares of search.stream_error_kn and search.leeway_error_kn. (The published worksheets have two more terms:
    the wind's own error, which here lies in the shares of the wind that the box holds anyway, and that of the
    searchers' position, which is taken as right.) It grows as much where no stream and no wind is reckoned.

    A stream or wind of known speed but unknown way adds its whole way to the radius, and the point is None. Where a
    speed is not known the box holds only the rest; the flags say so, and whoever shows the box must say it.

    Raises OutOfRange for a naive time, fewer than 121 values, values that cannot be, and within 2 degrees of a pole.
    Source: SAR_DRIFT.
    """
    if last_seen_at.utcoffset() is None:
        raise OutOfRange(f"{last_seen_at} has no time zone; the time when somebody was last seen needs one")
    require(
        "latitude of the point last seen",
        last_seen.latitude_deg,
        -NEAREST_THE_POLE_DEG,
        NEAREST_THE_POLE_DEG,
        "degrees",
        "nearer the poles a box of latitude and longitude has no sides",
    )
    rate_kn = checked("stream", _two_hours("stream", stream_kn, 0.0), 0, STRONGEST_STREAM_KN, "kn")
    toward = _two_hours("direction of the stream", stream_toward_deg, math.nan)
    speed_m_s = checked("wind", _two_hours("wind", wind_m_s, math.nan), 0, STRONGEST_WIND_M_S, "m/s")
    wind_from = _two_hours("direction of the wind", wind_from_deg, math.nan)
    stream = _flow(rate_kn * METRES_A_MINUTE_PER_KNOT, checked("direction of the stream", toward, 0, 360, "degrees"))
    wind = _flow(
        speed_m_s * 60 * rules.value("wind.drift_percent") / 100,
        (checked("direction of the wind", wind_from, 0, 360, "degrees") + 180) % 360,
        rules.value("search.leeway_divergence_deg"),
    )
    return SearchArea(
        last_seen=last_seen,
        last_seen_at=last_seen_at,
        steps=tuple(
            _step(last_seen, last_seen_at, minutes, stream, wind, rules)
            for minutes in range(STEP_MIN, MINUTES + 1, STEP_MIN)
        ),
        stream_known=bool(stream.speed_known[-1]),
        stream_way_known=bool(stream.way_known[-1]),
        wind_known=bool(wind.known[-1]),
    )


def method_words(language: Language = ENGLISH) -> tuple[str, ...]:
    """Return in short sentences how the area is reckoned and what it cannot tell; they belong beside every area."""
    return (
        language.say("Tell the coastguard first: they search with better means and better reckoning than this."),
        language.say(
            "A diver who holds on to the bottom, or is caught there, does not drift at all: "
            "search the point last seen first."
        ),
        language.say(
            "The boxes follow the stream, with anything from none to the strongest pull of the wind, and a margin that "
            "grows with time."
        ),
        language.say(
            "Eddies, waves, swimming and the shape of the shore are not reckoned. "
            "A box is not a promise: who is missing may be outside it."
        ),
    )


@dataclass(frozen=True)
class _Flow:
    """What a stream or a wind has done to whoever drifts with it: one value for each minute since the start."""

    east_m: Floats  # at its full share, straight along; what is not known moves nobody
    north_m: Floats
    reach_m: tuple[Floats, ...]  # the most that any share at any angle carries to the north, east, south and west
    any_way_m: Floats  # carried in a direction that is not known
    speed_known: Booleans  # so far
    way_known: Booleans

    @property
    def known(self) -> Booleans:
        return self.speed_known & self.way_known


def _flow(rate_m_min: Floats, toward_deg: Floats, spread_deg: float = 0.0) -> _Flow:
    no_speed = np.isnan(rate_m_min)
    no_way = np.isnan(toward_deg) & (rate_m_min != 0)  # also where the speed is not known
    rate = np.where(no_speed | no_way, 0.0, rate_m_min)
    toward = np.where(no_way | np.isnan(toward_deg), 0.0, toward_deg)
    angle = np.radians(toward)
    reach = []
    for side_deg in SIDES_DEG:
        nearest = np.maximum(apart_deg(toward, side_deg) - spread_deg, 0.0)
        reach.append(_summed(rate * np.maximum(np.cos(np.radians(nearest)), 0.0)))
    return _Flow(
        east_m=_summed(rate * np.sin(angle)),
        north_m=_summed(rate * np.cos(angle)),
        reach_m=tuple(reach),
        any_way_m=_summed(np.where(no_way & ~no_speed, rate_m_min, 0.0)),
        speed_known=~np.logical_or.accumulate(no_speed),
        way_known=~np.logical_or.accumulate(no_way),
    )


def _summed(rate_m_min: Floats) -> Floats:
    """Return the metres gone by each minute: the trapezoidal rule."""
    return np.concatenate(([0.0], np.cumsum((rate_m_min[1:] + rate_m_min[:-1]) / 2)))


def _two_hours(name: str, values: Floats, where_empty: float) -> Floats:
    """Return the values of the two hours; an empty array stands for one and the same value throughout."""
    given = np.asarray(values, dtype=np.float64)
    if given.shape == (0,):
        return np.full(MINUTES + 1, where_empty)
    if given.ndim != 1 or len(given) <= MINUTES:
        raise OutOfRange(f"{name} has the shape {given.shape}; it needs {MINUTES + 1} values or more, one a minute")
    return given[: MINUTES + 1]


def _step(start: Position, start_at: datetime, minutes: int, stream: _Flow, wind: _Flow, rules: RuleBook) -> SearchStep:
    east_m, north_m = float(stream.east_m[minutes]), float(stream.north_m[minutes])
    pull_m = float(wind.east_m[minutes]), float(wind.north_m[minutes])
    loose_m = float(stream.any_way_m[minutes] + wind.any_way_m[minutes])
    radius_m = _radius_m(minutes, rules) + loose_m
    carried = blown = toward_deg = None
    away_m = 0.0
    if stream.known[minutes]:
        carried = _moved(start, east_m, north_m)
        middle = (east_m, north_m)
        if wind.known[minutes]:
            blown = _moved(start, east_m + pull_m[0], north_m + pull_m[1])
            middle = (east_m + pull_m[0] / 2, north_m + pull_m[1] / 2)
        if math.hypot(*middle) > STILL_M:
            away_m = math.hypot(*middle)
            toward_deg = math.degrees(math.atan2(*middle)) % 360 % 360
    to_north, to_east, to_south, to_west = (float(side[minutes]) for side in wind.reach_m)
    north, south, east, west = _box(
        start,
        north_m + to_north + radius_m,
        north_m - to_south - radius_m,
        east_m + to_east + radius_m,
        east_m - to_west - radius_m,
    )
    return SearchStep(
        minutes=minutes,
        # By way of UTC: adding to a local time would step over the hour when the clocks change.
        time=(start_at.astimezone(UTC) + timedelta(minutes=minutes)).astimezone(start_at.tzinfo),
        carried=carried,
        blown=blown,
        toward_deg=toward_deg,
        away_m=away_m,
        radius_m=radius_m,
        north=north,
        south=south,
        east=east,
        west=west,
    )


def _radius_m(minutes: int, rules: RuleBook) -> float:
    """Return the factor of the first search times the total probable error, metres."""
    drift_kn = math.hypot(rules.value("search.stream_error_kn"), rules.value("search.leeway_error_kn"))
    error_m = math.hypot(rules.value("search.position_error_m"), drift_kn * METRES_A_MINUTE_PER_KNOT * minutes)
    return rules.value("search.first_factor") * error_m


def _moved(start: Position, east_m: float, north_m: float) -> Position:
    """Return the place so far east and north of another."""
    latitude = _latitude(start.latitude_deg, north_m)
    longitude = start.longitude_deg + east_m / _degree_east_m((start.latitude_deg + latitude) / 2)
    return Position(latitude, longitude - math.copysign(360, longitude) if abs(longitude) > 180 else longitude)


def _box(
    start: Position, north_m: float, south_m: float, east_m: float, west_m: float
) -> tuple[float, float, float, float]:
    """Return the limits to north, south, east and west that hold whoever lies between four distances, outwards."""
    north, south = _latitude(start.latitude_deg, north_m), _latitude(start.latitude_deg, south_m)
    # A metre is worth most degrees nearest the pole, and fewest furthest from it; the drift came from the start.
    degrees_m = [_degree_east_m(latitude) for latitude in (north, south, start.latitude_deg)]
    east = max(east_m / degree_m for degree_m in degrees_m)
    west = min(west_m / degree_m for degree_m in degrees_m)
    return (
        math.ceil(north * THOUSANDTHS) / THOUSANDTHS,
        math.floor(south * THOUSANDTHS) / THOUSANDTHS,
        _on_the_globe(math.ceil((start.longitude_deg + east) * THOUSANDTHS)),
        _on_the_globe(math.floor((start.longitude_deg + west) * THOUSANDTHS)),
    )


def _latitude(from_deg: float, north_m: float) -> float:
    """Return the latitude so far north of another."""
    return from_deg + north_m / _degree_north_m(from_deg)


def _degree_north_m(latitude_deg: float) -> float:
    """Return the length of a degree of latitude on the WGS 84 ellipsoid."""
    axis_m, squared = _ellipsoid()
    bend = 1 - squared * math.sin(math.radians(latitude_deg)) ** 2
    return math.radians(axis_m * (1 - squared) / bend**1.5)


def _degree_east_m(latitude_deg: float) -> float:
    """Return the length of a degree of longitude on the WGS 84 ellipsoid."""
    axis_m, squared = _ellipsoid()
    bend = 1 - squared * math.sin(math.radians(latitude_deg)) ** 2
    return math.radians(axis_m * math.cos(math.radians(latitude_deg)) / math.sqrt(bend))


@cache
def _ellipsoid() -> tuple[float, float]:
    """Return the equatorial radius, metres, and the square of the eccentricity (geopy)."""
    from geopy.distance import ELLIPSOIDS

    axis_km, _, flattening = ELLIPSOIDS["WGS-84"]
    return axis_km * 1000, flattening * (2 - flattening)


def _on_the_globe(thousandths: int) -> float:
    """Return a longitude from -180 to 180 degrees."""
    if abs(thousandths) > 180 * THOUSANDTHS:
        thousandths -= int(math.copysign(360 * THOUSANDTHS, thousandths))
    return thousandths / THOUSANDTHS
