"""Waves at a shore: the sea that a wind raises over open water, and what waves do where it gets shallow.

Everywhere: floats or arrays in, the same shape out; NaN is "not known" and stays NaN; an impossible value is refused
with OutOfRange. Heights are significant heights (crest to trough, mean of the highest third), periods those of the
peak of the spectrum, unless said otherwise. A wave of height 0 has period 0.

Readings chosen where the sources leave a choice, each against the diver:
- of two published forms of the growth of a wind sea the higher counts, and the longer period;
- each form keeps its own law for how long a wind must blow; the textbook's builds a sea faster than the CEM's;
- a wind whose past is not known has blown for ever, one whose direction is not known blows along each fetch;
- no fetch is narrowed by the width of the water;
- a breaker is never lower than the wave was in deep water.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from tripplan.environment.wind import STRONGEST_WIND_M_S, Numbers, apart_deg, checked, shaped
from tripplan.errors import OutOfRange, require
from tripplan.units import STANDARD_GRAVITY_M_S2 as G

Floats = NDArray[np.float64]
Fetch = tuple[float, float]  # bearing from the shore over the water, degrees true; metres of open water
Sector = tuple[float, float]  # from and to a bearing, clockwise, degrees true
Breaking = Literal["spilling", "plunging", "surging", "unknown"]

HIGHEST_WAVE_M = 60.0
LONGEST_PERIOD_S = 60.0  # wind waves and swell end near 30 s
DEEPEST_M = 12_000.0
SHALLOWEST_M = 0.01
LONGEST_FETCH_M = 20_040_000.0  # half way round the Earth
LONGEST_DURATION_H = 8784.0
FOR_EVER_H = 1e9  # a wind that has blown so long is limited by nothing but the water
STILL_M_S = 1e-9  # rounding of a sum of winds is not a wind
SHARP_CORNER_DEG = 1e-9  # a swell that does not turn at all: the share falls at the edge itself

# CEM_II_2, equations II-2-36 to II-2-38; u* friction velocity, X fetch, t duration.
CEM_DRAG = (0.0011, 0.000035)  # u*^2 / U^2 = 0.001 (1.1 + 0.035 U), U in m/s
CEM_HEIGHT = 4.13e-2  # g H / u*^2 = 4.13e-2 (g X / u*^2)^(1/2)
CEM_PERIOD = 0.651  # g T / u* = 0.651 (g X / u*^2)^(1/3)
CEM_HIGHEST = 2.115e2  # g H / u*^2, fully developed
CEM_LONGEST = 2.398e2  # g T / u*, fully developed
CEM_DURATION = 5.23e-3  # g X / u*^2 = 5.23e-3 (g t / u*)^(3/2)

# WAVE_TEXTBOOK, equations 5.3 to 5.8; U wind 10 m above the water, F fetch.
TEXTBOOK_HEIGHT = 0.0016  # g H / U^2 = 0.0016 (g F / U^2)^(1/2)
TEXTBOOK_PERIOD = 0.286  # g T / U = 0.286 (g F / U^2)^(1/3)
TEXTBOOK_HIGHEST = 0.243  # g H / U^2, fully developed
TEXTBOOK_LONGEST = 8.13  # g T / U, fully developed
TEXTBOOK_DURATION = 68.8  # SPM_1984: g t / U = 68.8 (g F / U^2)^(2/3)

BREAKER_HEIGHT = 0.39  # KOMAR_GAUGHAN_1972: Hb = 0.39 g^(1/5) (T H0^2)^(2/5)
BREAKER_TO_DEPTH = 0.78  # SOLITARY_LIMIT: Hb / db
SPILLING_BELOW = 0.5  # BATTJES_1974, with the height in deep water
SURGING_ABOVE = 3.3


@dataclass(frozen=True)
class WindSea:
    """The sea that a wind has raised; both values have the shape of what was asked for."""

    height_m: Numbers
    period_s: Numbers


# ---- a wave over a bottom ----


def deep_wavelength_m(period_s: Numbers) -> Numbers:
    """Return the length of a wave in deep water, g T^2 / 2 pi, metres.

    Raises OutOfRange for a period outside 0 to 60 s.  Source: LINEAR_WAVES.

    >>> round(deep_wavelength_m(10.0), 1)
    156.1
    """
    return shaped(_deep_wavelength_m(_period(period_s)))


def wave_number_per_m(period_s: Numbers, depth_m: Numbers) -> Numbers:
    """Return 2 pi / wavelength over a depth, in 1/m, from w^2 = g k tanh(k d).

    period_s  above 0 to 60;  depth_m  0.01 to 12000

    Solved by Newton's method to rounding.  Raises OutOfRange outside the intervals.  Source: LINEAR_WAVES.
    """
    period, depth = _over_bottom(period_s, depth_m)
    return shaped(_depths_in_radians(period, depth) / depth)


def wavelength_m(period_s: Numbers, depth_m: Numbers) -> Numbers:
    """Return the length of a wave over a depth, metres; as for wave_number_per_m."""
    return shaped(2 * np.pi / np.asarray(wave_number_per_m(period_s, depth_m)))


def phase_speed_m_s(period_s: Numbers, depth_m: Numbers) -> Numbers:
    """Return the speed at which a crest runs over a depth, metres a second; as for wave_number_per_m."""
    return shaped(np.asarray(wavelength_m(period_s, depth_m)) / np.asarray(period_s, dtype=np.float64))


def near_bottom_speed_m_s(height_m: Numbers, period_s: Numbers, depth_m: Numbers) -> Numbers:
    """Return the greatest speed of the water to and fro at the bottom, pi H / (T sinh k d), metres a second.

    Take the greatest wave's height where the greatest surge is asked for. No wave (height 0), no surge.
    Raises OutOfRange as wave_number_per_m does.  Source: LINEAR_WAVES.
    """
    height, period, depth = np.broadcast_arrays(
        _height(height_m), _period(period_s), checked("depth", depth_m, SHALLOWEST_M, DEEPEST_M, "m")
    )
    _need_period(height, period)
    still = (height == 0) & (period == 0)
    kd = _depths_in_radians(np.where(still, 1.0, period), depth)
    one_over_sinh = 2 * np.exp(-kd) / -np.expm1(-2 * kd)  # sinh itself overflows in deep water
    return shaped(np.pi * height / np.where(still, 1.0, period) * one_over_sinh)


# ---- the sea that a wind raises ----


def textbook_wind_sea(wind_m_s: Numbers, fetch_m: Numbers, duration_h: Numbers | None = None) -> WindSea:
    """Return the wind sea by the textbook form in the wind 10 m above the water.

    wind_m_s    0 to 120;  fetch_m  straight-line open water, 0 to 20 040 000 m
    duration_h  how long it has blown so, 0 to 8784; None: for ever

    Raises OutOfRange outside the intervals.  Source: WAVE_TEXTBOOK; the duration law: SPM_1984.
    """
    return _shaped_sea(_textbook(*_grown_by(wind_m_s, fetch_m, duration_h)))


def cem_wind_sea(wind_m_s: Numbers, fetch_m: Numbers, duration_h: Numbers | None = None) -> WindSea:
    """Return the wind sea by the form in the friction velocity; as for textbook_wind_sea.  Source: CEM_II_2."""
    return _shaped_sea(_cem(*_grown_by(wind_m_s, fetch_m, duration_h)))


def wind_sea(wind_m_s: Numbers, fetch_m: Numbers, duration_h: Numbers | None = None) -> WindSea:
    """Return the higher of the two forms' heights and the longer of their periods; as for textbook_wind_sea.

    >>> wind_sea(10.0, 0.0)
    WindSea(height_m=0.0, period_s=0.0)
    """
    return _shaped_sea(_either(*_grown_by(wind_m_s, fetch_m, duration_h)))


def local_wind_sea(
    wind_m_s: Numbers, wind_from_deg: Numbers, fetches: Sequence[Fetch], duration_h: Numbers | None = None
) -> WindSea:
    """Return the highest wind sea that a wind raises along any of the listed fetches.

    fetches  bearings over open water seen from the shore, with its length in metres

    Along a bearing within 90 degrees of the wind blows the wind's component, its speed x cos(angle). Where the
    direction is not known the whole wind is taken along each bearing. Of equal heights the longest period counts.
    Without any fetch there is no sea; an unknown wind leaves it unknown even then.
    Raises OutOfRange outside the intervals of textbook_wind_sea.  Source: DONELAN_1980 for the component.
    """
    wind, wind_from, duration = np.broadcast_arrays(_wind(wind_m_s), _wind_from(wind_from_deg), _duration(duration_h))
    bearing, fetch = _fetches(fetches)
    along = _blowing(_component(wind, wind_from, bearing))
    highest = _highest(*_either(along, fetch, duration[..., None]), first_axis=wind.ndim)
    return _shaped_sea(_unknown_where(np.isnan(wind) | np.isnan(duration), *highest))


def grown_wind_sea(
    hourly_wind_m_s: Floats, hourly_wind_from_deg: Floats, fetches: Sequence[Fetch], longest_h: int = 24
) -> WindSea:
    """Return the wind sea at each hour of a record of hourly winds.

    longest_h  how far to look back, 1 to 240 hours

    For every number of hours back, the vector mean of the winds since then has blown for so long; the highest sea
    counts. The record reaches back to its start or to the last hour of unknown wind. Where that is less than
    longest_h, the mean wind of all that is known is taken to have blown for ever. A sea raised before the record
    starts by a wind stronger than any in it is beyond this method. The sea of an hour of unknown wind is unknown.
    Directions, fetches and errors as for local_wind_sea; OutOfRange too for records of different length.
    """
    require("hours to look back", longest_h, 1, 240, "h")
    wind, wind_from = _wind(hourly_wind_m_s), _wind_from(hourly_wind_from_deg)
    if wind.ndim != 1 or wind.shape != wind_from.shape:
        raise OutOfRange(
            f"the winds have the shape {wind.shape} and their directions {wind_from.shape}; "
            "both must be one row of hours, as many of both"
        )
    bearing, fetch = _fetches(fetches)
    if not wind.size:
        return WindSea(wind.copy(), wind.copy())
    reach = _reach(wind, longest_h)
    hours = np.arange(1.0, longest_h + 1)

    component = _component(wind, wind_from, bearing)
    before = np.full((longest_h - 1, bearing.size), np.nan)
    latest_first = sliding_window_view(np.concatenate((before, component)), longest_h, axis=0)[..., ::-1]
    mean = np.cumsum(latest_first, axis=-1) / hours  # hour, bearing, hours back; NaN beyond the reach
    known = hours <= reach[:, None, None]
    along = _blowing(np.where(known, mean, 0.0))

    ends_short = (hours == reach[:, None]) & (hours < longest_h)
    duration = np.where(ends_short, FOR_EVER_H, hours)[:, None, :]
    height, period = _either(along, fetch[:, None], duration)
    return WindSea(*_unknown_where(np.isnan(wind), *_highest(height, period, first_axis=1)))


def combined_height_m(*heights_m: Numbers) -> Numbers:
    """Return the height of seas that run together: the root of the sum of squares, since their energies add.

    Raises OutOfRange for a height outside 0 to 60 m.

    >>> combined_height_m(0.3, 0.4)
    0.5
    """
    return shaped(np.sqrt(np.asarray(sum(np.square(_height(height)) for height in heights_m), dtype=np.float64)))


def largest_of(height_m: Numbers, period_s: Numbers, minutes: Numbers) -> Numbers:
    """Return the height to expect of the largest wave while one waits, metres: H sqrt(ln N / 2), at least H.

    minutes  0 to 10 080; N waves pass in it

    Raises OutOfRange for a height outside 0 to 60 m, a period outside 0 to 60 s, or 0 s with a height.
    Source: RAYLEIGH_WAVES.
    """
    height, period, wait = np.broadcast_arrays(
        _height(height_m), _period(period_s), checked("time", minutes, 0, 10_080, "min")
    )
    _need_period(height, period)
    waves = wait * 60 / np.where(period == 0, 1.0, period)
    return shaped(height * np.sqrt(np.maximum(np.log(np.where(waves < 1, 1.0, waves)) / 2, 1.0)))


# ---- where it breaks ----


def breaker_height_m(deep_height_m: Numbers, period_s: Numbers) -> Numbers:
    """Return the height at which a wave breaks on a beach, 0.39 g^(1/5) (T H0^2)^(2/5), metres.

    deep_height_m  height offshore, in deep water, 0 to 60;  period_s  0 to 60

    The formula as published, also for tiny waves: it raises a low long swell many times (0.01 m of 10 s to 0.04 m) and
    comes to nothing with the wave. For waves steeper than 1 in 18 it falls below the height offshore, which then
    counts: those break by their own steepness. Bending of the crests and sheltering are not in it.
    Raises OutOfRange outside the intervals, or for a wave without a period.  Source: KOMAR_GAUGHAN_1972.
    """
    height, period = np.broadcast_arrays(_height(deep_height_m), _period(period_s))
    _need_period(height, period)
    published = BREAKER_HEIGHT * G**0.2 * (period * height**2) ** 0.4
    return shaped(np.maximum(published, height))


def breaker_depth_m(breaker_m: Numbers) -> Numbers:
    """Return the depth of still water in which a breaker breaks, Hb / 0.78, metres.

    Raises OutOfRange for a height outside 0 to 60 m.  Source: SOLITARY_LIMIT.

    >>> round(breaker_depth_m(1.0), 2)
    1.28
    """
    return shaped(_height(breaker_m) / BREAKER_TO_DEPTH)


def surf_similarity(slope: Numbers, deep_height_m: Numbers, period_s: Numbers) -> Numbers:
    """Return the surf similarity, slope / sqrt(H0 / L0), which tells how a wave breaks.

    slope  rise over run of the beach where waves break, 0 to 20

    A vanishing wave only laps: height 0 gives infinity.
    Raises OutOfRange outside the intervals, or for a wave without a period.  Source: BATTJES_1974.
    """
    steep, height, period = np.broadcast_arrays(
        checked("slope of the beach", slope, 0, 20, "rise over run"), _height(deep_height_m), _period(period_s)
    )
    _need_period(height, period)
    flat = height == 0
    similarity = steep * np.sqrt(_deep_wavelength_m(period) / np.where(flat, 1.0, height))
    return shaped(np.where(flat & ~np.isnan(similarity), np.inf, similarity))


def breaker_type(similarity: float) -> Breaking:
    """Return how a wave breaks: "spilling", "plunging" or "surging"; "unknown" for NaN.

    Raises OutOfRange for a similarity below 0.  Source: BATTJES_1974: plunging from 0.5 to 3.3.
    """
    given = _similarity(similarity)
    if np.isnan(given):
        return "unknown"
    if given < SPILLING_BELOW:
        return "spilling"
    return "surging" if given > SURGING_ABOVE else "plunging"


def breaker_types(similarity: Floats) -> NDArray[np.str_]:
    """Return how each wave of an array breaks; as for breaker_type."""
    given = _similarity(similarity)
    return np.select(
        [np.isnan(given), given < SPILLING_BELOW, given > SURGING_ABOVE],
        ["unknown", "spilling", "surging"],
        default="plunging",
    )


# ---- which swell comes in ----


def swell_share(from_deg: Numbers, sectors: Sequence[Sector], wrap_deg: float, sheltered_share: float) -> Numbers:
    """Return which share of a swell's height reaches a shore: 1 inside a sector open to it.

    from_deg         where the swell comes from
    sectors          open bearings, each clockwise from its first to its second; 0 to 360 is all round
    wrap_deg         so far outside the nearest edge the share has fallen, evenly, to sheltered_share; 0 to 180
    sheltered_share  what comes round the corner everywhere else, 0 to 1

    A swell from an unknown direction comes straight in where any sector is open.
    Raises OutOfRange outside the intervals.
    """
    require("turn of a swell round a corner", wrap_deg, 0, 180, "degrees")
    require("share of a swell in shelter", sheltered_share, 0, 1, "")
    bearing = checked("direction of the swell", from_deg, 0, 360, "degrees")
    outside = np.full(bearing.shape, 360.0)  # further than any edge
    for first, last in sectors:
        require("first bearing of a sector", first, 0, 360, "degrees")
        require("last bearing of a sector", last, 0, 360, "degrees")
        width = 360.0 if last - first == 360 else (last - first) % 360
        beyond = np.minimum(apart_deg(bearing, first), apart_deg(bearing, last))
        outside = np.minimum(outside, np.where((bearing - first) % 360 <= width, 0.0, beyond))
    fallen = np.minimum(outside, wrap_deg) / wrap_deg if wrap_deg > 0 else np.where(outside > 0, 1.0, 0.0)
    share = np.maximum(1 - (1 - sheltered_share) * fallen, sheltered_share)
    return shaped(np.where(np.isnan(bearing), 1.0 if len(sectors) else sheltered_share, share))


# ---- what was given ----


def _height(height_m: Numbers) -> Floats:
    return checked("wave height", height_m, 0, HIGHEST_WAVE_M, "m")


def _period(period_s: Numbers) -> Floats:
    return checked("wave period", period_s, 0, LONGEST_PERIOD_S, "s")


def _wind(wind_m_s: Numbers) -> Floats:
    return checked("wind", wind_m_s, 0, STRONGEST_WIND_M_S, "m/s")


def _wind_from(wind_from_deg: Numbers) -> Floats:
    return checked("direction of the wind", wind_from_deg, 0, 360, "degrees")


def _duration(duration_h: Numbers | None) -> Floats:
    if duration_h is None:
        return np.asarray(FOR_EVER_H)
    return checked("duration of the wind", duration_h, 0, LONGEST_DURATION_H, "h")


def _grown_by(wind_m_s: Numbers, fetch_m: Numbers, duration_h: Numbers | None) -> tuple[Floats, Floats, Floats]:
    fetch = checked("fetch", fetch_m, 0, LONGEST_FETCH_M, "m")
    wind, water, duration = np.broadcast_arrays(_wind(wind_m_s), fetch, _duration(duration_h))
    return wind, water, duration


def _fetches(fetches: Sequence[Fetch]) -> tuple[Floats, Floats]:
    pairs = np.array(fetches, dtype=np.float64).reshape(-1, 2)
    for bearing, fetch in pairs:
        require("bearing of a fetch", float(bearing), 0, 360, "degrees")
        require("fetch", float(fetch), 0, LONGEST_FETCH_M, "m")
    return pairs[:, 0], pairs[:, 1]


def _similarity(similarity: Numbers) -> Floats:
    given = np.asarray(similarity, dtype=np.float64)
    if (given < 0).any():
        require("surf similarity", float(np.nanmin(given)), 0, math.inf, "")
    return given


def _over_bottom(period_s: Numbers, depth_m: Numbers) -> tuple[Floats, Floats]:
    period, depth = np.broadcast_arrays(_period(period_s), checked("depth", depth_m, SHALLOWEST_M, DEEPEST_M, "m"))
    if (period == 0).any():
        raise OutOfRange(f"wave period is 0 s; it must be above 0, to {LONGEST_PERIOD_S:g} s")
    return period, depth


def _need_period(height: Floats, period: Floats) -> None:
    """Refuse a wave without a period."""
    if ((height > 0) & (period == 0)).any():
        worst = float(height[period == 0].max())
        raise OutOfRange(f"a wave {worst:g} m high has the period 0 s; it must be above 0, to {LONGEST_PERIOD_S:g} s")


# ---- the formulas, on checked arrays ----


def _deep_wavelength_m(period: Floats) -> Floats:
    return G * period**2 / (2 * np.pi)


def _depths_in_radians(period: Floats, depth: Floats) -> Floats:
    """Return x = k d, the root of x tanh x = w^2 d / g."""
    target = (2 * np.pi / period) ** 2 * depth / G
    x = target / np.sqrt(np.tanh(target))  # within 5 % of the root everywhere, exact at both ends
    for _ in range(5):  # each step squares the error: 2e-3, 2e-6, 4e-12, rounding
        tanh = np.tanh(x)
        x = x - (x * tanh - target) / (tanh + x * (1 - tanh**2))
    return x


def _textbook(wind: Floats, fetch: Floats, duration_h: Floats) -> tuple[Floats, Floats]:
    """Solve the printed forms for H and T, with wind only where it multiplies: no wind is no division by 0."""
    reached = np.minimum(fetch, (duration_h * 3600 / TEXTBOOK_DURATION) ** 1.5 * np.sqrt(G * wind))
    height = np.minimum(TEXTBOOK_HEIGHT * wind * np.sqrt(reached / G), TEXTBOOK_HIGHEST * wind**2 / G)
    period = np.minimum(TEXTBOOK_PERIOD * np.cbrt(wind * reached / G**2), TEXTBOOK_LONGEST * wind / G)
    return height, period


def _cem(wind: Floats, fetch: Floats, duration_h: Floats) -> tuple[Floats, Floats]:
    """As the textbook form, in the friction velocity."""
    friction = wind * np.sqrt(CEM_DRAG[0] + CEM_DRAG[1] * wind)
    reached = np.minimum(fetch, CEM_DURATION * (duration_h * 3600) ** 1.5 * np.sqrt(G * friction))
    height = np.minimum(CEM_HEIGHT * friction * np.sqrt(reached / G), CEM_HIGHEST * friction**2 / G)
    period = np.minimum(CEM_PERIOD * np.cbrt(friction * reached / G**2), CEM_LONGEST * friction / G)
    return height, period


def _either(wind: Floats, fetch: Floats, duration_h: Floats) -> tuple[Floats, Floats]:
    one, other = _textbook(wind, fetch, duration_h), _cem(wind, fetch, duration_h)
    return np.maximum(one[0], other[0]), np.maximum(one[1], other[1])


def _component(wind: Floats, wind_from: Floats, bearing: Floats) -> Floats:
    """Return the wind along each bearing, negative against it; one axis more, for the bearings."""
    angle = np.radians(apart_deg(wind_from[..., None], bearing))
    whole = wind[..., None]
    return np.where(np.isnan(angle), whole, whole * np.cos(angle))


def _blowing(component: Floats) -> Floats:
    return np.where(component < STILL_M_S, 0.0, component)  # NaN stays


def _reach(wind: Floats, longest_h: int) -> NDArray[np.int64]:
    """Return for each hour how many hours back, itself counted, the wind is known."""
    here = np.arange(wind.size)
    last_unknown = np.maximum.accumulate(np.where(np.isnan(wind), here, -1))
    return np.minimum(here - last_unknown, longest_h)


def _highest(height: Floats, period: Floats, first_axis: int) -> tuple[Floats, Floats]:
    """Return the highest sea over the last axes, and the longest period of those as high."""
    over = tuple(range(first_axis, height.ndim))
    top = height.max(axis=over, initial=0.0, keepdims=True)
    as_high = height >= top * (1 - 1e-9)
    return top.squeeze(over), np.where(as_high, period, 0.0).max(axis=over, initial=0.0)


def _unknown_where(unknown: NDArray[np.bool_], height: Floats, period: Floats) -> tuple[Floats, Floats]:
    return np.where(unknown, np.nan, height), np.where(unknown, np.nan, period)


def _shaped_sea(sea: tuple[Floats, Floats]) -> WindSea:
    return WindSea(shaped(sea[0]), shaped(sea[1]))
