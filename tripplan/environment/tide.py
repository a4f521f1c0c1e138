"""Height of the tide and its turning points: from harmonic constants, a printed table, or differences to a reference.

Each kind answers the same three questions (the protocol Tide). Heights are metres above the station's own datum; times
are UTC. A prediction is not a promise: the weather moves the sea by decimetres, and the rule book keeps a margin.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from functools import cached_property, lru_cache
from itertools import pairwise
from typing import Any, Literal, Protocol

import numpy as np
from numpy.typing import NDArray

from tripplan.environment.constituents import canonical, definition, factors, speeds_deg_per_h
from tripplan.errors import OutOfRange, require

Times = NDArray[np.datetime64]
Heights = NDArray[np.float64]
Kind = Literal["high", "low"]

FIRST_YEAR, LAST_YEAR = 1900, 2100
_WHY_YEARS = "the formulas for the places of moon and sun are meant for these two centuries"
_SEARCH_STEP_H = 0.1  # the fastest constituent in use turns in an hour; the derivative cannot hide a root in 6 minutes
_SEAM_H = 72.0  # how far from New Year a turning point can still be the same one seen with the other year's factors
_REACH = timedelta(days=4)  # how far to look for the turning points around a time; successive ones lie within 2 days
_HALVINGS = 22  # 6 minutes halved so often is a tenth of a millisecond
_STEADY_GRID = 64  # from so many evenly spaced times on, the sum is taken over a grid, which is 20 times faster


@dataclass(frozen=True)
class TurningPoint:
    """A high or a low water."""

    time: datetime  # aware, UTC
    kind: Kind
    height_m: float  # above the station's datum


@dataclass(frozen=True)
class Constituent:
    """One harmonic constant as published: its name, amplitude, and phase lag on Greenwich."""

    name: str
    amplitude_m: float
    phase_lag_deg: float


class Tide(Protocol):
    """What every kind of tide answers."""

    def heights_m(self, times: Times) -> Heights:
        """Return the height above the datum at each time (UTC), metres; NaN where it is not known."""
        ...

    def turning_points(self, start: datetime, end: datetime) -> tuple[TurningPoint, ...]:
        """Return the high and low waters from start up to, not including, end."""
        ...

    def sentences(self) -> tuple[str, ...]:
        """Return what a reader of these heights must know."""
        ...


def minutes_utc(start: datetime, end: datetime) -> NDArray[np.datetime64]:
    """Return every whole minute (UTC) from start up to, not including, end.  Raises OutOfRange for naive times."""
    first, last = as_span(start, end)
    return np.arange(_ceil_minute(first), _ceil_minute(last), dtype="datetime64[m]")


def height_m(tide: Tide, when: datetime) -> float:
    """Return the height at one aware time, metres above the datum; NaN when it is not known."""
    (utc, _) = as_span(when, when)
    return float(tide.heights_m(np.array([utc.replace(tzinfo=None)], dtype="datetime64[us]"))[0])


# ---- harmonic constants -------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class HarmonicTide:
    """Tide from published harmonic constants.

    mean_level_m   mean sea level above the datum, metres
    constituents   as published, phase lags on Greenwich (UTC), degrees; a name may stand once

    Equilibrium arguments are those of 1 January 0 h UTC, advanced by the tabulated speeds; node factors are those of
    the middle of the calendar year, since the tidal authority's own tables are made so. Hence the curve steps by
    millimetres (at some stations by centimetres) at 0 h UTC on 1 January, as the published one does. M1 takes Q from
    the mid-year perigee and goes by its tabulated speed 14.4966939.

    A name the engine does not know takes no part in the heights: see ``left_out``.

    Raises OutOfRange for a constituent given twice, or a value that is not finite.  Source: SCHUREMAN.
    """

    mean_level_m: float
    constituents: tuple[Constituent, ...]

    def __post_init__(self) -> None:
        """Refuse values that cannot be added up."""
        require("mean level", self.mean_level_m, -1000, 1000, "m")
        seen: dict[str, str] = {}
        for one in self.constituents:
            require(f"amplitude of {one.name}", one.amplitude_m, 0, 100, "m")
            require(f"phase lag of {one.name}", one.phase_lag_deg, -360, 360, "degrees")
            name = canonical(one.name)
            if name in seen:
                raise OutOfRange(f"{one.name} is the same constituent as {seen[name]}; give it once")
            seen[name] = one.name

    @property
    def left_out(self) -> tuple[Constituent, ...]:
        """The constituents whose names the engine does not know, largest first."""
        unknown = [one for one in self.constituents if definition(one.name) is None]
        return tuple(sorted(unknown, key=lambda one: -one.amplitude_m))

    def heights_m(self, times: Times) -> Heights:
        """Return the height above the datum at each time (UTC), metres.  Raises OutOfRange outside 1900 to 2100."""
        micros = micros_utc(times)
        heights = np.full(micros.shape, np.nan)
        known = ~np.isnat(micros)
        if not known.any():
            return heights
        held = micros if known.all() else micros[known]
        ends = np.array([held.min(), held.max()])
        first_year, last_year = ends.astype("datetime64[Y]")
        if first_year == last_year and held is micros:  # nearly always: nothing to sort out year by year
            _require_years(ends.astype("datetime64[Y]"))
            hours = (micros - first_year.astype("datetime64[us]")).astype(np.int64) / 3.6e9
            return np.asarray(self.mean_level_m + _sum(_year(self, int(first_year.astype(int)) + 1970), hours))
        years = micros.astype("datetime64[Y]")
        _require_years(years[known])
        # Not np.unique, which sorts what is nearly always one year.
        for year in np.arange(first_year, last_year + np.timedelta64(1, "Y")):
            here = known & (years == year)
            if not here.any():
                continue
            hours = (micros[here] - year.astype("datetime64[us]")).astype(np.int64) / 3.6e9
            heights[here] = self.mean_level_m + _sum(_year(self, int(year.astype(int)) + 1970), hours)
        return heights

    def turning_points(self, start: datetime, end: datetime) -> tuple[TurningPoint, ...]:
        """Return the high and low waters from start up to, not including, end, to the second.

        They are the roots of the derivative, bracketed on a six-minute grid and refined, those of a nearly vanishing
        pair included. Each calendar year is searched by itself: the step at New Year is not a turning point.
        Raises OutOfRange for naive times, outside 1900 to 2100, or when end is before start.
        """
        first, last = as_span(start, end)
        points: list[TurningPoint] = []
        for year in range(first.year, min(last.year, LAST_YEAR) + 1):
            points.extend(self._of_year(year, first, last))
        for year in range(first.year, min(last.year + 1, LAST_YEAR) + 1):  # seams at the start of each of these years
            seam = datetime(year, 1, 1, tzinfo=UTC)
            near = timedelta(hours=_SEAM_H)
            if year > FIRST_YEAR and first - near <= seam <= last + near:
                false_one, hidden_one = _at_new_year(self, year)
                if false_one:
                    points = [point for point in points if point.time != false_one.time]
                if hidden_one and first <= hidden_one.time < last:
                    points.append(hidden_one)
        return tuple(sorted(points, key=lambda point: point.time))

    def _of_year(self, year: int, start: datetime, end: datetime) -> list[TurningPoint]:
        """Return the turning points by one year's factors, inside that year and the half-open span."""
        opening, closing = datetime(year, 1, 1, tzinfo=UTC), datetime(year + 1, 1, 1, tzinfo=UTC)
        start, end = max(start, opening), min(end, closing)
        if start >= end:
            return []
        length_h = (closing - opening) / timedelta(hours=1)
        # The grid always hangs on the start of the year, so that any span finds the same roots.
        low = int(np.floor((start - opening) / timedelta(hours=_SEARCH_STEP_H))) - 1
        high = int(np.ceil((end - opening) / timedelta(hours=_SEARCH_STEP_H))) + 1
        harmonics = _year(self, year)
        hours, rose = _turns(harmonics, max(low, 0), min(high, round(length_h / _SEARCH_STEP_H)))
        seconds = np.minimum(np.round(hours * 3600), length_h * 3600 - 1).astype(np.int64)
        heights = self.mean_level_m + _sum(harmonics, seconds / 3600)
        found = [
            TurningPoint(opening + timedelta(seconds=int(second)), "high" if was_rising else "low", float(height))
            for second, was_rising, height in zip(seconds, rose, heights, strict=True)
        ]
        return [point for point in found if start <= point.time < end]

    def sentences(self) -> tuple[str, ...]:
        """Return one sentence on what is left out; none when every constituent is known."""
        if not self.left_out:
            return ()
        listed = ", ".join(f"{one.name} ({one.amplitude_m:.3f} m)" for one in self.left_out)
        total = sum(one.amplitude_m for one in self.left_out)
        count = len(self.left_out)
        noun = "constituent is" if count == 1 else "constituents are"
        return (
            f"{count} tidal {noun} not known to the program and left out: {listed}; "
            f"the heights may be wrong by up to {total:.3f} m for this alone.",
        )


@dataclass(frozen=True)
class _Harmonics:
    """One year of a tide: amplitude x node factor, speed in radians an hour, and phase at 1 January 0 h UTC."""

    amplitude_m: Heights
    speed: Heights
    phase: Heights

    def derivative(self) -> _Harmonics:
        """Return the harmonics of the rate of change, an hour: the cosine's derivative is a quarter turn ahead."""
        return _Harmonics(self.amplitude_m * self.speed, self.speed, self.phase + np.pi / 2)


@lru_cache(maxsize=256)
def _year(tide: HarmonicTide, year: int) -> _Harmonics:
    known = [(one, found) for one in tide.constituents if (found := definition(one.name)) is not None]
    definitions = tuple(found for _, found in known)
    node, argument_deg = factors(definitions, year)
    amplitude_m = np.array([one.amplitude_m for one, _ in known])
    lag_deg = np.array([one.phase_lag_deg for one, _ in known])
    return _Harmonics(amplitude_m * node, np.radians(speeds_deg_per_h(definitions)), np.radians(argument_deg - lag_deg))


def _sum(harmonics: _Harmonics, hours: Heights) -> Heights:
    """Return the sum of the cosines at each hour since 1 January 0 h UTC."""
    if hours.size >= _STEADY_GRID:
        step = (hours[-1] - hours[0]) / (hours.size - 1)
        if step and np.abs(np.diff(hours) - step).max() < 1e-7:
            return _sum_on_grid(harmonics, float(hours[0]), float(step), hours.size)
    total = np.empty(hours.size)
    for begin in range(0, hours.size, 20_000):  # so much at a time as stays in the processor's cache
        part = hours[begin : begin + 20_000, None] * harmonics.speed + harmonics.phase
        total[begin : begin + 20_000] = np.cos(part) @ harmonics.amplitude_m
    return total


def _sum_on_grid(harmonics: _Harmonics, first_h: float, step_h: float, count: int) -> Heights:
    """Return the same sum on evenly spaced hours: cos(a + b) as a product of two short tables of exp(ia), exp(ib)."""
    width = int(np.ceil(np.sqrt(count)))
    rows = -(-count // width)
    coarse = first_h + step_h * width * np.arange(rows)
    fine = step_h * np.arange(width)
    left = harmonics.amplitude_m * np.exp(1j * (coarse[:, None] * harmonics.speed + harmonics.phase))
    right = np.exp(1j * harmonics.speed[:, None] * fine)
    product = left.real @ right.real - left.imag @ right.imag
    return np.asarray(product.ravel()[:count])


def _turns(harmonics: _Harmonics, first: int, last: int) -> tuple[Heights, NDArray[np.bool_]]:
    """Return the hours of the derivative's roots between two grid numbers, and whether the tide rose before each.

    A root is bracketed by a change of sign between neighbours of the grid. Where the sign is the same but the second
    derivative changes its own, the derivative has an extreme in between: if that lies beyond zero, two roots do.
    """
    rate, bend = harmonics.derivative(), harmonics.derivative().derivative()
    if last - first < 1 or not harmonics.amplitude_m.any():
        return np.empty(0), np.empty(0, dtype=bool)
    grid = _SEARCH_STEP_H * np.arange(first, last + 1, dtype=np.float64)
    count = grid.size
    slopes = _sum_on_grid(rate, float(grid[0]), _SEARCH_STEP_H, count)
    bends = _sum_on_grid(bend, float(grid[0]), _SEARCH_STEP_H, count)
    rising = slopes > 0
    crossing = np.flatnonzero(rising[:-1] != rising[1:])
    left, right, before = grid[crossing], grid[crossing + 1], rising[crossing]
    turning = np.flatnonzero((rising[:-1] == rising[1:]) & ((bends[:-1] > 0) != (bends[1:] > 0)))
    # Only where the slope could reach zero at all within the step.
    reach = _SEARCH_STEP_H * np.maximum(np.abs(bends[turning]), np.abs(bends[turning + 1]))
    turning = turning[np.minimum(np.abs(slopes[turning]), np.abs(slopes[turning + 1])) <= reach]
    if turning.size:
        middle = _roots(bend, grid[turning], grid[turning + 1], bends[turning] > 0)
        beyond = (_sum(rate, middle) > 0) != rising[turning]
        left = np.concatenate([left, grid[turning][beyond], middle[beyond]])
        right = np.concatenate([right, middle[beyond], grid[turning + 1][beyond]])
        before = np.concatenate([before, rising[turning][beyond], ~rising[turning][beyond]])
    hours = _roots(rate, left, right, before)
    order = np.argsort(hours)
    return hours[order], before[order]


def _roots(harmonics: _Harmonics, left: Heights, right: Heights, before: NDArray[np.bool_]) -> Heights:
    """Return the root in each bracket, by halving.

    before -- whether the sum is above zero at the left end, as found on the grid: reckoned anew, rounding could turn
    the sign of a root that falls on the grid
    """
    left, right = left.copy(), right.copy()
    for _ in range(_HALVINGS):
        middle = (left + right) / 2
        same = (_sum(harmonics, middle) > 0) == before
        left = np.where(same, middle, left)
        right = np.where(same, right, middle)
    return (left + right) / 2


@lru_cache(maxsize=1024)
def _at_new_year(tide: HarmonicTide, year: int) -> tuple[TurningPoint | None, TurningPoint | None]:
    """Return the turning point that two years both show at the start of a year, and the one that neither shows.

    A high water falling within minutes of 0 h UTC on 1 January can lie just before by the new year's factors and just
    after by the old year's, and then neither year's search shows it; or the other way round, and then both do. Either
    way two of a kind follow each other, and the bend of the curve tells which it is. A hidden one is put at 0 h; of a
    doubled one the lesser is false.
    """
    seam, near = datetime(year, 1, 1, tzinfo=UTC), timedelta(hours=_SEAM_H)
    before, after = tide._of_year(year - 1, seam - near, seam), tide._of_year(year, seam, seam + near)
    if not (before and after) or before[-1].kind != after[0].kind:
        return None, None
    last, first = before[-1], after[0]
    closing_h = (seam - datetime(year - 1, 1, 1, tzinfo=UTC)) / timedelta(hours=1)
    bends = (
        _sum(_year(tide, of).derivative().derivative(), np.array([hour]))[0]
        for of, hour in ((year - 1, closing_h), (year, 0.0))
    )
    kind: Kind = "high" if sum(bends) < 0 else "low"
    if kind != last.kind:
        return None, TurningPoint(seam, kind, tide.mean_level_m + float(_sum(_year(tide, year), np.array([0.0]))[0]))
    # Of two as good as equal (a tide driven by the sun alone turns at 0 h every year) the one after the seam stays.
    old_is_more = (last.height_m - first.height_m) * (1 if kind == "high" else -1) > 1e-6
    return (first if old_is_more else last), None


# ---- a printed table ----------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class PrintedTide:
    """Tide from a harbour's printed table of high and low waters.

    points         in order of time, high and low by turns (two of a kind only across a gap that is not interpolated)
    longest_gap_h  longest time between two points across which a height is interpolated, hours

    Between two points the height follows half a cosine, the usual reading of a printed table. Outside the table and
    across a longer gap it is not known (NaN).  Raises OutOfRange for points out of order.  Source: COMMON_PRACTICE.
    """

    points: tuple[TurningPoint, ...]
    longest_gap_h: float

    def __post_init__(self) -> None:
        """Refuse a table that cannot be read as a curve."""
        require("longest gap", self.longest_gap_h, 0, 1000, "h")
        for point in self.points:
            as_span(point.time, point.time)
        for one, two in pairwise(self.points):
            if fault := out_of_order(one, two, self.longest_gap_h):
                raise OutOfRange(fault)

    @cached_property
    def _as_arrays(self) -> tuple[NDArray[Any], Heights]:
        return _arrays(self.points)

    def heights_m(self, times: Times) -> Heights:
        """Return the height above the datum at each time (UTC), metres; NaN outside the table or in a long gap."""
        micros = micros_utc(times)
        _require_years(micros[~np.isnat(micros)].astype("datetime64[Y]"))
        heights = np.full(micros.shape, np.nan)
        if not self.points:
            return heights
        at, level = self._as_arrays
        here = ~np.isnat(micros) & (micros >= at[0]) & (micros <= at[-1])
        if not here.any():
            return heights
        wanted = micros[here].astype(np.int64)
        at_us = at.astype(np.int64)
        if at_us.size == 1:
            heights[here] = level[0]
            return heights
        left = np.clip(np.searchsorted(at_us, wanted, side="right") - 1, 0, at_us.size - 2)
        length = at_us[left + 1] - at_us[left]
        share = (wanted - at_us[left]) / length
        middle, half = (level[left] + level[left + 1]) / 2, (level[left] - level[left + 1]) / 2
        value = middle + half * np.cos(np.pi * share)
        open_gap = (length > self.longest_gap_h * 3.6e9) & (share > 0) & (share < 1)
        heights[here] = np.where(open_gap, np.nan, value)
        return heights

    def turning_points(self, start: datetime, end: datetime) -> tuple[TurningPoint, ...]:
        """Return the printed high and low waters from start up to, not including, end."""
        first, last = as_span(start, end)
        return tuple(
            replace(point, time=point.time.astimezone(UTC)) for point in self.points if first <= point.time < last
        )

    def sentences(self) -> tuple[str, ...]:
        """Return what the table covers, and where it has gaps."""
        if not self.points:
            return ("The tide table is empty: no height is known.",)
        said = [
            f"The tide table runs from {_shown(self.points[0].time)} to {_shown(self.points[-1].time)}; "
            "outside it no height is known. Between its high and low waters heights follow half a cosine."
        ]
        limit = timedelta(hours=self.longest_gap_h)
        gaps = [(one, two) for one, two in pairwise(self.points) if two.time - one.time > limit]
        if gaps:
            one, two = gaps[0]
            more = f", and in {len(gaps) - 1} more such gaps" if len(gaps) > 1 else ""
            said.append(
                f"The table has no entry for more than {self.longest_gap_h:g} h from {_shown(one.time)} to "
                f"{_shown(two.time)}{more}; no height is known there."
            )
        return tuple(said)


def out_of_order(one: TurningPoint, two: TurningPoint, longest_gap_h: float) -> str:
    """Return a sentence on why the second cannot follow the first in a table; empty when it can."""
    if two.time <= one.time:
        return f"{_shown(two.time)} does not come after {_shown(one.time)}; times must rise from line to line"
    if two.time - one.time > timedelta(hours=longest_gap_h):
        return ""
    if one.kind == two.kind:
        missing = "low" if one.kind == "high" else "high"
        return (
            f"two {one.kind} waters follow each other, {_shown(one.time)} and {_shown(two.time)}; "
            f"high and low must take turns (is a {missing} water missing?)"
        )
    high, low = (one, two) if one.kind == "high" else (two, one)
    if high.height_m < low.height_m:
        return (
            f"the high water of {_shown(high.time)} ({high.height_m:g} m) is lower than the low water of "
            f"{_shown(low.time)} ({low.height_m:g} m)"
        )
    return ""


# ---- differences to a reference -----------------------------------------------------------------------------------


@dataclass(frozen=True)
class SecondaryTide:
    """Tide of a secondary station: its reference's high and low waters shifted in time and changed in height.

    high_time_min, low_time_min  minutes added to the time of the reference's high and low water
    high_ratio, low_ratio        factors on their heights above the reference's datum
    high_add_m, low_add_m        metres then added

    In between, the reference's own curve is stretched from turning point to turning point, so that it rises and falls
    as the reference does. Where the shifts would bring two turning points out of order (both nearly vanish in the
    reference), the pair is left out and half a cosine leads over it.
    Raises OutOfRange for differences beyond 12 h, ratios outside 0 to 10 or heights beyond 20 m.
    Source: COMMON_PRACTICE; it agrees with the tidal authority's tables of subordinate stations.
    """

    reference: Tide
    high_time_min: float
    low_time_min: float
    high_ratio: float = 1.0
    low_ratio: float = 1.0
    high_add_m: float = 0.0
    low_add_m: float = 0.0

    def __post_init__(self) -> None:
        """Refuse differences that no tide table has."""
        for kind in ("high", "low"):
            require(f"time difference of {kind} water", getattr(self, f"{kind}_time_min"), -720, 720, "min")
            require(f"height ratio of {kind} water", getattr(self, f"{kind}_ratio"), 0, 10, "")
            require(f"height difference of {kind} water", getattr(self, f"{kind}_add_m"), -20, 20, "m")

    def _moved(self, point: TurningPoint) -> TurningPoint:
        high = point.kind == "high"
        return TurningPoint(
            point.time + timedelta(minutes=self.high_time_min if high else self.low_time_min),
            point.kind,
            point.height_m * (self.high_ratio if high else self.low_ratio)
            + (self.high_add_m if high else self.low_add_m),
        )

    def _around(self, start: datetime, end: datetime) -> tuple[list[TurningPoint], list[TurningPoint], list[int]]:
        """Return the turning points around a span at the reference and here, and the numbers of those that stay."""
        there = list(self.reference.turning_points(*widened(start, end)))
        here = [self._moved(point) for point in there]
        return there, here, in_order(here)

    def heights_m(self, times: Times) -> Heights:
        """Return the height above this station's datum at each time (UTC), metres; NaN where it is not known."""
        micros = micros_utc(times)
        heights = np.full(micros.shape, np.nan)
        span = span_of(micros)
        there, here, kept = self._around(*span) if span else ([], [], [])
        if len(kept) < 2:
            return heights
        at_here, level_here = _arrays([here[number] for number in kept])
        at_there, level_there = _arrays([there[number] for number in kept])
        inside = (micros >= at_here[0]) & (micros <= at_here[-1])
        wanted = micros[inside]
        left = np.clip(np.searchsorted(at_here, wanted, side="right") - 1, 0, at_here.size - 2)
        share = (wanted - at_here[left]) / (at_here[left + 1] - at_here[left])
        spans = (at_there[left + 1] - at_there[left]).astype(np.int64)
        curve = self.reference.heights_m(at_there[left] + np.round(share * spans).astype("timedelta64[us]"))
        rise = level_there[left + 1] - level_there[left]
        plain = (np.diff(kept) == 1)[left] & (rise != 0)
        with np.errstate(divide="ignore", invalid="ignore"):
            risen = np.where(plain, (curve - level_there[left]) / rise, (1 - np.cos(np.pi * share)) / 2)
        risen = np.where(np.isnan(curve), np.nan, np.clip(risen, 0, 1))
        heights[inside] = level_here[left] + risen * (level_here[left + 1] - level_here[left])
        return heights

    def turning_points(self, start: datetime, end: datetime) -> tuple[TurningPoint, ...]:
        """Return the high and low waters from start up to, not including, end."""
        first, last = as_span(start, end)
        _, here, kept = self._around(first, last)
        return tuple(here[number] for number in kept if first <= here[number].time < last)

    def sentences(self) -> tuple[str, ...]:
        """Return what the reference says of itself, and that the heights come by differences."""
        return (
            "Heights come by differences from a reference station and are less certain than its own.",
            *self.reference.sentences(),
        )


def in_order(points: Iterable[TurningPoint]) -> list[int]:
    """Return the numbers of the turning points that stay when moving them has brought some out of order.

    Two neighbours out of order in time, or in height (a high below a low), go both: neither is a turning point there.
    """
    kept: list[tuple[int, TurningPoint]] = []
    for number, point in enumerate(points):
        if kept and _crossed(kept[-1][1], point):
            kept.pop()
        else:
            kept.append((number, point))
    return [number for number, _ in kept]


def _crossed(one: TurningPoint, two: TurningPoint) -> bool:
    if two.time <= one.time:
        return True
    if one.kind == two.kind:
        return False
    rising = two.kind == "high"
    return two.height_m < one.height_m if rising else two.height_m > one.height_m


# ---- times --------------------------------------------------------------------------------------------------------


def as_span(start: datetime, end: datetime) -> tuple[datetime, datetime]:
    """Return both times in UTC; raises OutOfRange for naive ones, years out of range, or an end before the start."""
    for when in (start, end):
        if when.tzinfo is None or when.utcoffset() is None:
            raise OutOfRange(f"{when.isoformat()} has no time zone; give a time with its offset from UTC")
    try:
        first, last = start.astimezone(UTC), end.astimezone(UTC)
    except OverflowError:
        raise OutOfRange(f"{start.isoformat()} cannot be told in UTC; years {_accepted_years()}") from None
    closing = datetime(LAST_YEAR + 1, 1, 1, tzinfo=UTC)
    for when in (first, last):
        if when.year < FIRST_YEAR or when > closing:
            raise OutOfRange(f"the year is {when.year}; it must be {_accepted_years()}")
    if last < first:
        raise OutOfRange(f"the end, {end.isoformat()}, is before the start, {start.isoformat()}")
    return first, last


def _accepted_years() -> str:
    return f"from {FIRST_YEAR} to {LAST_YEAR} ({_WHY_YEARS})"


def _require_years(years: Times) -> None:
    if years.size == 0:
        return
    for year in (int(years.min().astype(int)) + 1970, int(years.max().astype(int)) + 1970):
        if not FIRST_YEAR <= year <= LAST_YEAR:
            raise OutOfRange(f"the year is {year}; it must be {_accepted_years()}")


def widened(start: datetime, end: datetime) -> tuple[datetime, datetime]:
    """Return a span (UTC) far enough on both sides to hold the turning points around it."""
    earliest, latest = datetime(FIRST_YEAR, 1, 1, tzinfo=UTC), datetime(LAST_YEAR + 1, 1, 1, tzinfo=UTC)
    # Hung on whole days, so that neighbouring questions look at the same turning points.
    day = start.replace(hour=0, minute=0, second=0, microsecond=0)
    return (
        day - _REACH if day - earliest > _REACH else earliest,
        end + _REACH if latest - end > _REACH else latest,
    )


def span_of(micros: Times) -> tuple[datetime, datetime] | None:
    """Return the first and the last of some times, UTC; None when none is known.  Raises OutOfRange for other years."""
    known = micros[~np.isnat(micros)]
    if known.size == 0:
        return None
    _require_years(known.astype("datetime64[Y]"))
    return _aware(known.min()), _aware(known.max())


def micros_utc(times: Times) -> NDArray[Any]:
    """Return times as microseconds, at least one-dimensional.  Raises OutOfRange for anything but datetime64."""
    array = np.atleast_1d(np.asarray(times))
    if array.dtype.kind != "M":
        raise OutOfRange(f"times are of type {array.dtype}; they must be numpy datetime64, UTC")
    return array.astype("datetime64[us]")


def _aware(when: np.datetime64) -> datetime:
    moment: datetime = when.astype("datetime64[us]").item()
    return moment.replace(tzinfo=UTC)


def _arrays(points: Sequence[TurningPoint]) -> tuple[NDArray[Any], Heights]:
    at = np.array([point.time.astimezone(UTC).replace(tzinfo=None) for point in points], dtype="datetime64[us]")
    return at, np.array([point.height_m for point in points])


def _ceil_minute(when: datetime) -> np.datetime64:
    plain = when.replace(tzinfo=None)
    whole = plain.replace(second=0, microsecond=0)
    return np.datetime64(whole + timedelta(minutes=1) if whole < plain else whole, "m")


def _shown(when: datetime) -> str:
    return when.astimezone(UTC).strftime("%Y-%m-%d %H:%M UTC")
