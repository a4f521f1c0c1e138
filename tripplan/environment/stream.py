"""Tidal stream at a site in three ways behind one interface: from slacks, harmonic constants, or a printed table.

Each kind answers the same three questions (the protocol TidalStream). Rates are knots, bearings degrees true toward
which the water goes, times UTC. What is not known is NaN, never none: a stream that nobody can tell closes the water.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import cached_property
from itertools import pairwise
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from tripplan.environment.constituents import definition
from tripplan.environment.tide import (
    FIRST_YEAR,
    LAST_YEAR,
    Constituent,
    HarmonicTide,
    Tide,
    Times,
    TurningPoint,
    as_span,
    in_order,
    micros_utc,
    span_of,
    widened,
)
from tripplan.errors import OutOfRange, require
from tripplan.units import METRES_PER_SECOND_PER_KNOT

Rates = NDArray[np.float64]
Bearings = NDArray[np.float64]

FASTEST_KN = 20.0  # no tidal stream on earth is known to run faster
TABLE_REACH_H = 13.0  # a table counts from one high water to the next at the most, half a lunar day or a whole one
TABLE_COVERS_H = 11.0  # less does not cover a tide of 12 h 25 min
TABLE_STEP_H = 2.0  # between rows further apart the strongest stream could hide


class TidalStream(Protocol):
    """What every kind of tidal stream answers; the tide is that of the site's station, None when it is not known."""

    def rates_kn(self, tide: Tide | None, times: Times) -> Rates:
        """Return the rate at each time (UTC), knots, without sign; NaN where it is not known."""
        ...

    def toward_deg(self, tide: Tide | None, times: Times) -> Bearings:
        """Return where the water goes at each time (UTC), degrees true; NaN at slack and where it is not known."""
        ...

    def slack_times(self, tide: Tide | None, start: datetime, end: datetime) -> tuple[datetime, ...]:
        """Return the slacks known from start up to, not including, end, UTC."""
        ...


# ---- from slacks --------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class SlackStream:
    """A stream that turns so many minutes after (negative: before) high and low water at the station.

    high_water_slack_min, low_water_slack_min  minutes from high and low water to slack, -360 to 360
    spring_rate_kn, neap_rate_kn               strongest rate of a half-tide at springs and at neaps, knots
    spring_range_m, neap_range_m               ranges of tide for which those rates hold, metres
    flood_toward_deg, ebb_toward_deg           where flood and ebb run to, degrees true; None: not known

    The flood is the half-tide from the slack of a low water to the slack of the next high water. Between two slacks
    the rate follows half a sine: none at slack, half of its peak after a sixth of the time, 87 % after a third, all of
    it half way (the navigator's "50/90 rule" says 0, 50, 90, 100). Source: COMMON_PRACTICE.

    Raises OutOfRange for other offsets, for rates outside 0 to 20 knots, or when springs are not above neaps.
    """

    high_water_slack_min: float
    low_water_slack_min: float
    spring_rate_kn: float
    neap_rate_kn: float
    spring_range_m: float
    neap_range_m: float
    flood_toward_deg: float | None = None
    ebb_toward_deg: float | None = None

    def __post_init__(self) -> None:
        """Refuse what no stream table has."""
        require("slack from high water", self.high_water_slack_min, -360, 360, "min")
        require("slack from low water", self.low_water_slack_min, -360, 360, "min")
        require("neap rate", self.neap_rate_kn, 0, FASTEST_KN, "kn")
        require("spring rate", self.spring_rate_kn, self.neap_rate_kn, FASTEST_KN, "kn", "not below the neap rate")
        _require_ranges(self.spring_range_m, self.neap_range_m)
        _require_bearing("flood direction", self.flood_toward_deg)
        _require_bearing("ebb direction", self.ebb_toward_deg)

    def peak_rate_kn(self, range_m: float) -> float:
        """Return the strongest rate of a half-tide of a range, knots.

        On the straight line through neaps and springs, also above springs; below neaps it stays at the neap rate,
        which is the cautious side: a small range never promises less stream than was measured at neaps.
        """
        beyond = _springs_share(range_m, self.spring_range_m, self.neap_range_m)
        return self.neap_rate_kn + beyond * (self.spring_rate_kn - self.neap_rate_kn)

    def slack_times(self, tide: Tide | None, start: datetime, end: datetime) -> tuple[datetime, ...]:
        """Return the slacks from start up to, not including, end, UTC.  Raises OutOfRange for naive times."""
        first, last = as_span(start, end)
        around = self._around(tide, first, last) if tide is not None else []
        return tuple(slack.time for _, slack in around if first <= slack.time < last)

    def rates_kn(self, tide: Tide | None, times: Times) -> Rates:
        """Return the rate at each time (UTC), knots, without sign; NaN where the tide is not known."""
        return self._rates_and_floods(tide, times)[0]

    def toward_deg(self, tide: Tide | None, times: Times) -> Bearings:
        """Return where the water goes at each time (UTC), degrees true; NaN at slack and where it is not known."""
        rates, floods = self._rates_and_floods(tide, times)
        return _along_axis(rates > 0, floods, self.flood_toward_deg, self.ebb_toward_deg)

    def _rates_and_floods(self, tide: Tide | None, times: Times) -> tuple[Rates, NDArray[np.bool_]]:
        """Return the rates, and whether each time lies in a flood."""
        micros = micros_utc(times)
        rates = np.full(micros.shape, np.nan)
        floods = np.zeros(micros.shape, dtype=bool)
        span = span_of(micros)
        around = self._around(tide, *span) if span and tide is not None else []
        if tide is None or len(around) < 2:
            return rates, floods
        turn_us, slack_us = (_micros([pair[which].time for pair in around]) for which in (0, 1))
        height = np.array([turn.height_m for turn, _ in around])
        high = np.array([turn.kind == "high" for turn, _ in around])
        peak_kn = np.array([self.peak_rate_kn(float(range_m)) for range_m in np.abs(np.diff(height))])
        middle = turn_us[:-1] + np.diff(turn_us) / 2
        known = np.isfinite(tide.heights_m(middle)) & (high[:-1] != high[1:])
        here = (micros >= slack_us[0]) & (micros <= slack_us[-1])  # NaT is never here
        half_tide = np.clip(np.searchsorted(slack_us, micros[here], side="right") - 1, 0, slack_us.size - 2)
        share = (micros[here] - slack_us[half_tide]) / np.diff(slack_us)[half_tide]
        # sin(pi) leaves a trace of rounding: no rate is below zero.
        rates[here] = np.where(known[half_tide], peak_kn[half_tide] * np.abs(np.sin(np.pi * share)), np.nan)
        floods[here] = ~high[half_tide]
        return rates, floods

    def _around(self, tide: Tide, start: datetime, end: datetime) -> list[tuple[TurningPoint, TurningPoint]]:
        """Return the turning points around a span, each with itself moved to its slack.

        Where the offsets would put one slack before the last (the tide hardly turned in between), both are left out and
        the stream runs on: fewer slacks are promised, never more.
        """
        turns = tide.turning_points(*widened(start, end))
        slacks = [
            TurningPoint(
                turn.time
                + timedelta(minutes=self.high_water_slack_min if turn.kind == "high" else self.low_water_slack_min),
                turn.kind,
                turn.height_m,
            )
            for turn in turns
        ]
        return [(turns[number], slacks[number]) for number in in_order(slacks)]


# ---- from harmonic constants --------------------------------------------------------------------------------------


@dataclass(frozen=True)
class StreamConstituent:
    """One published harmonic constant of a stream along its axis: name, amplitude, and phase lag on Greenwich."""

    name: str
    amplitude_kn: float
    phase_lag_deg: float


@dataclass(frozen=True)
class StreamPeak:
    """A strongest flood (above 0) or ebb (below 0)."""

    time: datetime  # aware, UTC
    velocity_kn: float


@dataclass(frozen=True)
class ConstantsStream:
    """A stream along one axis from published harmonic constants; it needs no tide.

    constituents                      as published, phase lags on Greenwich (UTC), degrees; a name may stand once
    mean_kn                           the steady stream, knots, flood above 0, -20 to 20
    flood_toward_deg, ebb_toward_deg  where flood and ebb run to, degrees true; None: not known

    Reckoned as a tide is (see HarmonicTide).  Raises OutOfRange for a name that is not known, since a stream without
    one of its parts is not known either, for one given twice, for none at all, and for values no stream has.
    Source: SCHUREMAN.
    """

    constituents: tuple[StreamConstituent, ...]
    mean_kn: float
    flood_toward_deg: float | None = None
    ebb_toward_deg: float | None = None

    def __post_init__(self) -> None:
        """Refuse what cannot be added up to a stream."""
        if not self.constituents:
            raise OutOfRange("a stream from harmonic constants has no constituent; give at least one, like M2")
        require("mean stream", self.mean_kn, -FASTEST_KN, FASTEST_KN, "kn")
        for one in self.constituents:
            require(f"amplitude of {one.name}", one.amplitude_kn, 0, FASTEST_KN, "kn")
            if definition(one.name) is None:
                raise OutOfRange(f"{one.name} is not the name of a constituent known here; M2 or K1 is")
        _require_bearing("flood direction", self.flood_toward_deg)
        _require_bearing("ebb direction", self.ebb_toward_deg)
        _ = self._curve  # judges phases and doubled names

    @cached_property
    def _curve(self) -> HarmonicTide:
        """The engine of the tide, with knots in place of metres."""
        return HarmonicTide(
            self.mean_kn,
            tuple(Constituent(one.name, one.amplitude_kn, one.phase_lag_deg) for one in self.constituents),
        )

    def velocities_kn(self, times: Times) -> Rates:
        """Return the velocity along the axis at each time (UTC), knots, flood above 0; NaN where a time is not one.

        Raises OutOfRange outside 1900 to 2100.
        """
        return self._curve.heights_m(times)

    def rates_kn(self, tide: Tide | None, times: Times) -> Rates:
        """Return the rate at each time (UTC), knots, without sign; the tide is not needed."""
        return np.abs(self.velocities_kn(times))

    def toward_deg(self, tide: Tide | None, times: Times) -> Bearings:
        """Return where the water goes at each time (UTC), degrees true; NaN at slack or where it is not given."""
        velocities = self.velocities_kn(times)
        return _along_axis(np.abs(velocities) > 0, velocities > 0, self.flood_toward_deg, self.ebb_toward_deg)

    def peaks(self, start: datetime, end: datetime) -> tuple[StreamPeak, ...]:
        """Return the strongest floods and ebbs from start up to, not including, end; a lull in either is none."""
        return tuple(
            StreamPeak(turn.time, turn.height_m)
            for turn in self._curve.turning_points(start, end)
            if (turn.kind == "high") == (turn.height_m > 0) and turn.height_m
        )

    def slack_times(self, tide: Tide | None, start: datetime, end: datetime) -> tuple[datetime, ...]:
        """Return the slacks from start up to, not including, end, UTC: the first whole second by which it has turned.

        Raises OutOfRange for naive times.
        """
        first, last = as_span(start, end)
        if first == last:
            return ()
        earliest = _second(datetime(FIRST_YEAR, 1, 1, tzinfo=UTC))
        nodes = {max(_second(first) - 1, earliest), _second(last - timedelta(microseconds=1))}
        # From one strongest flood or ebb to the next the velocity only rises or only falls, but for the step at
        # New Year (see HarmonicTide): between such times it crosses zero once or not at all.
        nodes |= {_second(turn.time) for turn in self._curve.turning_points(first, last)}
        for year in range(first.year, min(last.year, LAST_YEAR) + 1):
            seam = datetime(year, 1, 1, tzinfo=UTC)
            nodes |= {max(_second(seam) - 1, earliest), _second(seam)} if first <= seam < last else set()
        found = self._crossings(np.array(sorted(nodes)))
        slacks = (datetime(1970, 1, 1, tzinfo=UTC) + timedelta(seconds=int(second)) for second in found)
        return tuple(slack for slack in slacks if first <= slack < last)

    def _crossings(self, nodes: NDArray[np.int64]) -> NDArray[np.int64]:
        """Return the first second after each change of sign between neighbouring nodes, by halving."""

        def floods(seconds: NDArray[np.int64]) -> NDArray[np.bool_]:
            return self.velocities_kn(seconds.astype("datetime64[s]")) > 0

        at_nodes = floods(nodes)
        change = np.flatnonzero(at_nodes[:-1] != at_nodes[1:])
        left, right, before = nodes[change], nodes[change + 1], at_nodes[change]
        while change.size and (right - left).max() > 1:
            middle = (left + right) // 2
            same = floods(middle) == before
            left, right = np.where(same, middle, left), np.where(same, right, middle)
        return right


# ---- from a printed table -----------------------------------------------------------------------------------------


@dataclass(frozen=True)
class StreamRow:
    """A row of a printed table of the stream; the direction is None where none is printed."""

    hours_from_high_water: float
    spring_kn: float
    neap_kn: float
    toward_deg: float | None = None


@dataclass(frozen=True)
class TableStream:
    """A stream from a table by hours from the station's high water, as printed on charts and in atlases.

    rows                          hours before (below 0) and after high water, rising, fractions allowed
    spring_range_m, neap_range_m  ranges of tide for which the printed rates hold, metres

    Rates lie between neaps and springs by the range of the tide, the larger of rise and fall beside its high water:
    on a straight line, also above springs; below neaps they stay the neap rates. Between two rows the rate is
    interpolated in a straight line. Where the stream turns by more than a right angle from row to row, the velocity
    is, so that it passes through slack; where it turns by less it swings round without weakening. No hour outside the
    rows of every high water around is known; where the rows of two high waters overlap, the stronger counts.

    Raises OutOfRange for rows out of order, more than 2 h apart, over less than 11 h or more than 13 h from high water,
    and for rates and ranges no stream has.  Source: COMMON_PRACTICE.
    """

    rows: tuple[StreamRow, ...]
    spring_range_m: float
    neap_range_m: float

    def __post_init__(self) -> None:
        """Refuse a table that cannot be read as a stream."""
        _require_ranges(self.spring_range_m, self.neap_range_m)
        for row in self.rows:
            where = f"at {row.hours_from_high_water:+g} h"
            require("hours from high water", row.hours_from_high_water, -TABLE_REACH_H, TABLE_REACH_H, "h")
            require(f"neap rate {where}", row.neap_kn, 0, FASTEST_KN, "kn")
            require(f"spring rate {where}", row.spring_kn, row.neap_kn, FASTEST_KN, "kn", "not below the neap rate")
            _require_bearing(f"direction {where}", row.toward_deg)
        hours = [row.hours_from_high_water for row in self.rows]
        for one, two in pairwise(hours):
            if fault := row_fault(one, two):
                raise OutOfRange(f"hours from high water: {two:g} {fault}")
        if fault := table_fault(hours):
            raise OutOfRange(f"the table of the stream {fault}")

    def rates_kn(self, tide: Tide | None, times: Times) -> Rates:
        """Return the rate at each time (UTC), knots, without sign; NaN where it is not known."""
        return self._rates_and_bearings(tide, times)[0]

    def toward_deg(self, tide: Tide | None, times: Times) -> Bearings:
        """Return where the water goes at each time (UTC), degrees true; NaN at slack and where it is not known."""
        return self._rates_and_bearings(tide, times)[1]

    def slack_times(self, tide: Tide | None, start: datetime, end: datetime) -> tuple[datetime, ...]:
        """Return the slacks from start up to, not including, end, UTC, to the second.

        They are the moments of least rate in between two rows from one of which to the other the stream turns by more
        than a right angle, and the middles of rows without any stream. Without directions a turn cannot be told from a
        lull, and none is promised.  Raises OutOfRange for naive times.
        """
        first, last = as_span(start, end)
        found: list[datetime] = []
        for high_water, range_m in self._high_waters(tide, first, last):
            rates = self._row_rates_kn(range_m)
            hours = np.array(list(self._slack_hours(rates))) if not np.isnan(range_m) else np.empty(0)
            slacks = [high_water + timedelta(hours=float(hour)) for hour in hours]
            inside = [number for number, slack in enumerate(slacks) if first <= _whole_second(slack) < last]
            if not inside:
                continue
            here = self.rates_kn(tide, _micros([slacks[number] for number in inside]))
            own, _ = self._between_rows(hours[inside], rates)
            # Not where the rows of another high water tell of a stronger stream, or of one that is not known.
            found += [
                _whole_second(slacks[n]) for n, kn, most in zip(inside, own, here, strict=True) if most <= kn + 1e-6
            ]
        return tuple(sorted(set(found)))

    def _rates_and_bearings(self, tide: Tide | None, times: Times) -> tuple[Rates, Bearings]:
        micros = micros_utc(times)
        rates, bearings = np.full(micros.shape, np.nan), np.full(micros.shape, np.nan)
        unknown = np.zeros(micros.shape, dtype=bool)
        span = span_of(micros)
        order = np.argsort(micros, kind="stable")  # NaT comes last
        in_turn = micros[order]
        reach = np.array([self.rows[number].hours_from_high_water * 3.6e9 for number in (0, -1)])
        reach = np.array([np.ceil(reach[0]), np.floor(reach[1])]).astype("timedelta64[us]")
        for high_water, range_m in self._high_waters(tide, *span) if span else ():
            first, last = _micros([high_water]) + reach
            here = order[np.searchsorted(in_turn, first) : np.searchsorted(in_turn, last, side="right")]
            if np.isnan(range_m):
                unknown[here] = True
                continue
            hours = (micros[here] - _micros([high_water])) / np.timedelta64(1, "h")
            kn, deg = self._between_rows(hours, self._row_rates_kn(range_m))
            stronger = ~(kn <= rates[here])  # also where nothing was known yet
            rates[here[stronger]], bearings[here[stronger]] = kn[stronger], deg[stronger]
        rates[unknown] = bearings[unknown] = np.nan
        return rates, bearings

    def _row_rates_kn(self, range_m: float) -> Rates:
        """Return the rates of the rows at a range of tide."""
        neap, spring = (np.array([getattr(row, name) for row in self.rows]) for name in ("neap_kn", "spring_kn"))
        return np.asarray(neap + _springs_share(range_m, self.spring_range_m, self.neap_range_m) * (spring - neap))

    def _directions_deg(self) -> Bearings:
        return np.array([np.nan if row.toward_deg is None else row.toward_deg for row in self.rows])

    def _between_rows(self, hours: Rates, rates: Rates) -> tuple[Rates, Bearings]:
        """Return rate and direction at hours from high water inside the table, from the rates of the rows."""
        row_h = np.array([row.hours_from_high_water for row in self.rows])
        left = np.clip(np.searchsorted(row_h, hours, side="right") - 1, 0, row_h.size - 2)
        share = (hours - row_h[left]) / np.diff(row_h)[left]
        before, after = (1 - share) * rates[left], share * rates[left + 1]
        direction = np.radians(self._directions_deg())
        # Slack has no direction: towards and away from it the water goes as in the other row.
        from_rad = np.where(rates[left] == 0, direction[left + 1], direction[left])
        to_rad = np.where(rates[left + 1] == 0, direction[left], direction[left + 1])
        east = before * np.sin(from_rad) + after * np.sin(to_rad)
        north = before * np.cos(from_rad) + after * np.cos(to_rad)
        turns = np.cos(to_rad - from_rad) < 0  # by more than a right angle; False where a direction is not known
        kn = np.where(turns, np.hypot(east, north), before + after)
        deg = np.degrees(np.arctan2(east, north)) % 360
        deg[deg >= 360] = 0.0  # a hair below 0 comes round to 360
        return kn, np.where(kn > 1e-9, deg, np.nan)

    def _slack_hours(self, rates: Rates) -> Iterator[float]:
        """Yield the hours from high water at which the stream is slack, from the rates of the rows."""
        hours = [row.hours_from_high_water for row in self.rows]
        resting: list[float] = []
        for hour, rate in zip([*hours, np.nan], [*rates, np.nan], strict=True):
            if rate == 0:
                resting.append(hour)
            elif resting:
                yield (resting[0] + resting[-1]) / 2
                resting = []
        east, north = (rates * turned(np.radians(self._directions_deg())) for turned in (np.sin, np.cos))
        for number in range(len(hours) - 1):
            before, after = np.array([east[number], north[number]]), np.array([east[number + 1], north[number + 1]])
            if before @ after < 0:  # never where a direction is not known
                share = before @ (before - after) / ((before - after) @ (before - after))
                yield float(hours[number] + share * (hours[number + 1] - hours[number]))

    def _high_waters(self, tide: Tide | None, start: datetime, end: datetime) -> list[tuple[datetime, float]]:
        """Return the high waters around a span with their ranges, NaN where a low water beside one is not known."""
        turns = tide.turning_points(*widened(start, end)) if tide is not None else ()
        if tide is None or not turns:
            return []
        at = _micros([turn.time for turn in turns])
        known = np.isfinite(tide.heights_m(at[:-1] + np.diff(at) / 2)) if len(turns) > 1 else np.empty(0, dtype=bool)
        found = []
        for number, turn in enumerate(turns):
            if turn.kind != "high":
                continue
            inside = 0 < number < len(turns) - 1 and known[number - 1] and known[number]
            beside = [turns[number - 1], turns[number + 1]] if inside else []
            lows = [one.height_m for one in beside if one.kind == "low"]
            found.append((turn.time, turn.height_m - min(lows) if len(lows) == 2 else np.nan))
        return found


def row_fault(one_h: float, two_h: float) -> str:
    """Return a sentence's end on why a row of a stream table cannot follow another; empty when it can."""
    if two_h == one_h:
        return "stands twice; a row for each hour"
    if two_h < one_h:
        return f"stands after {one_h:g}; hours rise from row to row"
    if two_h - one_h > TABLE_STEP_H:
        return f"is {two_h - one_h:g} h after the row before; rows stand at most {TABLE_STEP_H:g} h apart"
    return ""


def table_fault(hours: list[float]) -> str:
    """Return a sentence's end on why rows of a stream table are too few; empty when they cover a tide."""
    covered_h = max(hours) - min(hours) if hours else 0.0
    if covered_h < TABLE_COVERS_H:
        return f"covers {covered_h:g} h; it must cover {TABLE_COVERS_H:g} h or more, a whole tide"
    return ""


# ---- what a diver makes of it -------------------------------------------------------------------------------------


def slack_windows(rates_kn: Rates, times: Times, limit_kn: float) -> tuple[tuple[datetime, datetime], ...]:
    """Return the first and last time (UTC) of each run of times at which the rate is within a limit.

    rates_kn, times -- of one length, the times rising;  limit_kn -- 0 to 20 knots

    A rate that is not known is not within the limit.  Raises OutOfRange for other lengths, order or limits.
    """
    require("limit of the stream", limit_kn, 0, FASTEST_KN, "kn")
    micros, rates = micros_utc(times), np.atleast_1d(np.asarray(rates_kn, dtype=float))
    if micros.shape != rates.shape or micros.ndim != 1:
        raise OutOfRange(f"there are {rates.size} rates and {micros.size} times; give one rate for each time")
    if not (np.diff(micros) > np.timedelta64(0, "us")).all():
        raise OutOfRange("the times of the rates do not rise from one to the next")
    within = np.concatenate(([False], np.abs(rates) <= limit_kn, [False]))
    edges = np.flatnonzero(within[1:] != within[:-1])
    moments = [moment.replace(tzinfo=UTC) for moment in micros.tolist()]
    return tuple((moments[first], moments[end - 1]) for first, end in zip(edges[::2], edges[1::2], strict=True))


def drift_m(rates_kn: Rates, minutes_step: float = 1.0) -> float:
    """Return how far the water goes while these rates hold, metres; NaN when any of them is not known.

    rates_kn      one every step from the beginning to the end of a dive, knots
    minutes_step  minutes from one to the next, above 0 to 60

    Runs to and fro add up: it is a way, not a distance from the start. Half-tides follow the navigator's rule of thirds
    (1, 2, 3, 3, 2, 1 twelfths of the way in each sixth of the time).  Raises OutOfRange for fewer than two rates.
    """
    require("step", minutes_step, 1e-6, 60, "min")
    rates = np.abs(np.atleast_1d(np.asarray(rates_kn, dtype=float)))
    if rates.size < 2:
        raise OutOfRange(f"there are {rates.size} rates; a drift needs one at the beginning and one at the end")
    return float(np.sum((rates[:-1] + rates[1:]) / 2) * minutes_step * 60 * METRES_PER_SECOND_PER_KNOT)


# ---- shared -------------------------------------------------------------------------------------------------------


def _springs_share(range_m: float, spring_range_m: float, neap_range_m: float) -> float:
    """Return how far a range lies from neaps (0) to springs (1); above 1 beyond springs, never below 0."""
    return max(range_m - neap_range_m, 0.0) / (spring_range_m - neap_range_m)


def _require_ranges(spring_range_m: float, neap_range_m: float) -> None:
    require("spring range", spring_range_m, 0, 20, "m")
    require("neap range", neap_range_m, 0, 20, "m")
    if not spring_range_m > neap_range_m > 0:
        raise OutOfRange(
            f"spring range is {spring_range_m:g} m and neap range {neap_range_m:g} m; "
            "the spring range must be the larger and both above 0"
        )


def _require_bearing(name: str, bearing_deg: float | None) -> None:
    if bearing_deg is not None:
        require(name, bearing_deg, 0, 360, "degrees")


def _along_axis(
    runs: NDArray[np.bool_], floods: NDArray[np.bool_], flood_deg: float | None, ebb_deg: float | None
) -> Bearings:
    flood, ebb = (np.nan if bearing is None else bearing for bearing in (flood_deg, ebb_deg))
    return np.where(runs, np.where(floods, flood, ebb), np.nan)


def _micros(times: list[datetime]) -> Any:
    return np.array([time.replace(tzinfo=None) for time in times], dtype="datetime64[us]")


def _second(time: datetime) -> int:
    """Return whole seconds since 1970, rounded down."""
    return (time - datetime(1970, 1, 1, tzinfo=UTC)) // timedelta(seconds=1)


def _whole_second(time: datetime) -> datetime:
    return (time + timedelta(microseconds=500_000)).replace(microsecond=0)
