"""Wind at a shore: its force in words, whether it blows onto or off the shore, and where it carries a swimmer.

Everywhere: floats or arrays in, the same shape out; NaN is "not known" and stays NaN; an impossible value is refused.
Bearings are degrees true; a wind is named by where it comes from, a stream and a drift by where they go.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from tripplan.errors import require
from tripplan.tables import read_table
from tripplan.units import METRES_PER_SECOND_PER_KNOT

Numbers = float | NDArray[np.float64]  # one value or an array of them
Booleans = bool | NDArray[np.bool_]

STRONGEST_WIND_M_S = 120.0  # stronger than any wind measured at sea level: more is a slip, or another unit
SLACK_KN = 1e-9  # 3 knots given in metres a second are 3 knots, whatever floating point makes of them
TEN_MINUTES_S = 600.0


def checked(name: str, value: Numbers, low: float, high: float, unit: str, why: str = "") -> NDArray[np.float64]:
    """Return a value or an array as an array; NaN passes.

    Raises OutOfRange naming the value that lies furthest outside low to high.
    """
    values = np.asarray(value, dtype=np.float64)
    outside = np.maximum(low - values, values - high)
    if (outside > 0).any():
        worst = values.ravel()[np.nanargmax(outside.ravel())]
        require(name, float(worst), low, high, unit, why)
    return values


def shaped(result: NDArray[np.float64]) -> Numbers:
    """Return a plain number where every input was one, and the array elsewhere."""
    return float(result) if np.ndim(result) == 0 else result


def knots(speed_m_s: Numbers) -> Numbers:
    """Return a speed in knots.

    >>> round(knots(10.0), 2)
    19.44
    """
    return shaped(np.asarray(speed_m_s, dtype=np.float64) / METRES_PER_SECOND_PER_KNOT)


def m_s_of_knots(speed_kn: Numbers) -> Numbers:
    """Return a speed given in knots, in metres a second."""
    return shaped(np.asarray(speed_kn, dtype=np.float64) * METRES_PER_SECOND_PER_KNOT)


@dataclass(frozen=True)
class BeaufortRow:
    """One force of the Beaufort scale, with the waves of the open sea, which a sheltered shore does not see."""

    force: int
    name: str
    lowest_kn: float
    highest_kn: float | None  # None: and above
    probable_wave_m: float | None  # None: not printed
    probable_max_wave_m: float | None
    sea_state: str


@cache
def beaufort_rows() -> tuple[BeaufortRow, ...]:
    """Return the scale from force 0 to 12.  Source: BEAUFORT."""
    return tuple(
        BeaufortRow(
            force=int(row["force"]),
            name=row["name"],
            lowest_kn=float(row["wind_kn_min"]),
            highest_kn=_number(row["wind_kn_max"]),
            probable_wave_m=_number(row["probable_wave_m"]),
            probable_max_wave_m=_number(row["probable_max_wave_m"]),
            sea_state=row["sea_state_code"],
        )
        for row in read_table("beaufort")
    )


def beaufort_row(force: int) -> BeaufortRow:
    """Return the words and the open-sea waves of a force.  Raises OutOfRange for a force outside 0 to 12."""
    require("Beaufort force", force, 0, 12, "")
    return beaufort_rows()[int(force)]


def beaufort(wind_m_s: Numbers) -> int | NDArray[np.int64]:
    """Return the Beaufort force of a wind, 0 to 12.

    The scale is printed in whole knots: a speed between two rows counts as the higher force. (Its column in metres a
    second puts three boundaries up to half a knot lower: 0.2 for 0.46, 7.9 for 8.2 and 10.7 for 10.8 m/s.)
    Raises OutOfRange for NaN too, which no whole number can stand for, and outside 0 to 120 m/s.  Source: BEAUFORT.

    >>> beaufort(m_s_of_knots(16.0)), beaufort(m_s_of_knots(16.5))
    (4, 5)
    """
    speed = checked("wind", wind_m_s, 0, STRONGEST_WIND_M_S, "m/s")
    if np.isnan(speed).any():
        require("wind", float("nan"), 0, STRONGEST_WIND_M_S, "m/s", "an unknown wind has no force")
    highest_kn = [row.highest_kn for row in beaufort_rows() if row.highest_kn is not None]
    force = np.searchsorted(highest_kn, np.asarray(knots(speed)) - SLACK_KN, side="left")
    return int(force) if np.ndim(force) == 0 else force.astype(np.int64)


def off_facing_deg(wind_from_deg: Numbers, facing_deg: Numbers) -> Numbers:
    """Return the angle between a wind and the way a shore faces: 0 straight onto it, 180 straight off it, degrees.

    facing_deg  bearing seen when looking out from the shore, straight away from it

    Raises OutOfRange for bearings outside 0 to 360.

    >>> off_facing_deg(350.0, 20.0)
    30.0
    """
    wind = checked("direction of the wind", wind_from_deg, 0, 360, "degrees")
    facing = checked("way the shore faces", facing_deg, 0, 360, "degrees")
    return shaped(apart_deg(wind, facing))


def onshore(off_deg: Numbers, along_deg: float) -> Booleans:
    """Return whether a wind counts as blowing onto the shore.

    off_deg    its angle as of off_facing_deg, degrees; NaN: not known, which counts as both onto and off the shore
    along_deg  a wind that lies within so many degrees of blowing along the shore counts as both, 0 to 90

    Raises OutOfRange outside 0 to 180, and for other values of along_deg.
    """
    off = _off(off_deg, along_deg)
    return _booleans(~(off > 90 + along_deg))  # so that NaN is true


def offshore(off_deg: Numbers, along_deg: float) -> Booleans:
    """Return whether a wind counts as blowing off the shore; as for onshore."""
    off = _off(off_deg, along_deg)
    return _booleans(~(off < 90 - along_deg))


@dataclass(frozen=True)
class Drift:
    """Where the surface carries whoever floats: speed, way, and how far in ten minutes."""

    speed_m_s: Numbers
    toward_deg: Numbers  # NaN: not known, or no drift at all
    in_ten_minutes_m: Numbers


def surface_drift(
    wind_m_s: Numbers,
    wind_from_deg: Numbers,
    wind_percent: float,
    stream_m_s: Numbers = 0.0,
    stream_toward_deg: Numbers = float("nan"),
) -> Drift:
    """Return the drift of the surface: a share of the wind, with it, and the stream.

    wind_percent       speed of the surface in per cent of the wind's, 0 to 20
    stream_m_s         speed of the stream, 0 to 20
    stream_toward_deg  where it goes

    Where one of the two runs and its direction is not known, their speeds add up, as if they ran together, and the
    way of the drift is not known. A speed that is not known leaves the drift not known.
    Raises OutOfRange outside the intervals.  Source: TEXTBOOK_DRIFT.
    """
    require("share of the wind", wind_percent, 0, 20, "%")
    wind, wind_from, stream, stream_toward = np.broadcast_arrays(
        checked("wind", wind_m_s, 0, STRONGEST_WIND_M_S, "m/s"),
        checked("direction of the wind", wind_from_deg, 0, 360, "degrees"),
        checked("stream", stream_m_s, 0, 20, "m/s"),
        checked("direction of the stream", stream_toward_deg, 0, 360, "degrees"),
    )
    with_wind = wind * wind_percent / 100
    # A part that stands still needs no direction; north keeps the NaN of an unneeded one out of the sum.
    wind_toward = np.radians(np.where(with_wind == 0, 0.0, wind_from + 180))
    toward = np.radians(np.where(stream == 0, 0.0, stream_toward))
    north = with_wind * np.cos(wind_toward) + stream * np.cos(toward)
    east = with_wind * np.sin(wind_toward) + stream * np.sin(toward)
    one_moves = (with_wind == 0) | (stream == 0)  # then the sum is the one that moves, to the last digit
    speed = np.where(np.isnan(north) | one_moves, with_wind + stream, np.hypot(north, east))
    way = np.where(speed > 0, np.degrees(np.arctan2(east, north)) % 360 % 360, np.nan)
    return Drift(shaped(speed), shaped(way), shaped(speed * TEN_MINUTES_S))


def apart_deg(bearing_deg: NDArray[np.float64], other_deg: Numbers) -> NDArray[np.float64]:
    """Return the angle between bearings, 0 to 180 degrees."""
    return np.abs((bearing_deg - other_deg + 180) % 360 - 180)


def _off(off_deg: Numbers, along_deg: float) -> NDArray[np.float64]:
    require("half width of the winds along the shore", along_deg, 0, 90, "degrees")
    return checked("angle off the way the shore faces", off_deg, 0, 180, "degrees")


def _booleans(answer: NDArray[np.bool_]) -> Booleans:
    return bool(answer) if np.ndim(answer) == 0 else answer


def _number(cell: str) -> float | None:
    return float(cell) if cell else None
