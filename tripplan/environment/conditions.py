"""Wind, sea and weather at a place over some days: what is known, from whom and how old. Nothing is filled in.

A forecast is a set of series, each of one quantity from one source. What a leader sees on the spot wins over it while
it is fresh. A minute of which nothing is known is NaN: whoever reads it must say so.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta, tzinfo
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tripplan.errors import OutOfRange
from tripplan.units import METRES_PER_SECOND_PER_KNOT

LONGEST_GAP_MIN = 6 * 60  # forecasts step by up to six hours; across a longer gap nothing is known

Values = NDArray[np.float64]
Minutes = NDArray[np.datetime64]


@dataclass(frozen=True)
class Quantity:
    """One thing that a forecast or an observer can tell."""

    key: str  # ends in its unit
    words: str
    unit: str
    lowest: float  # beyond these the number is a slip, or in another unit
    highest: float
    is_bearing: bool = False


def _q(key: str, words: str, unit: str, lowest: float, highest: float, *, is_bearing: bool = False) -> Quantity:
    return Quantity(key, words, unit, lowest, highest, is_bearing)


_ALL = (
    _q("wind_m_s", "wind", "m/s", 0, 75),
    _q("gust_m_s", "gusts", "m/s", 0, 110),
    _q("wind_from_deg", "direction of the wind", "deg", 0, 360, is_bearing=True),
    _q("air_c", "air temperature", "C", -60, 60),
    _q("rain_mm", "rain", "mm", 0, 400),
    _q("thunder", "thunder", "yes/no", 0, 1),
    _q("visibility_m", "visibility above water", "m", 0, 500_000),
    _q("swell_m", "height of the swell", "m", 0, 30),
    _q("swell_s", "period of the swell", "s", 0, 35),
    _q("swell_from_deg", "direction of the swell", "deg", 0, 360, is_bearing=True),
    _q("wind_sea_m", "height of the wind sea", "m", 0, 30),
    _q("wind_sea_s", "period of the wind sea", "s", 0, 35),
    _q("wind_sea_from_deg", "direction of the wind sea", "deg", 0, 360, is_bearing=True),
    _q("wave_m", "height of the waves, swell and wind sea together", "m", 0, 40),
    _q("wave_s", "period of the waves", "s", 0, 35),
    _q("wave_from_deg", "direction of the waves", "deg", 0, 360, is_bearing=True),
    _q("water_c", "water temperature", "C", -2.5, 40),
    # What only somebody on the spot can tell.
    _q("breaker_m", "largest breaking wave at the way in", "m", 0, 10),
    _q("stream_kn", "stream", "kn", 0, 15),
    _q("underwater_visibility_m", "visibility under water", "m", 0, 80),
    _q("heavy_rain_h", "hours since heavy rain ended", "h", 0, 2000),
)
QUANTITIES: dict[str, Quantity] = {quantity.key: quantity for quantity in _ALL}


@dataclass(frozen=True)
class Origin:
    """Where a value comes from: whose it is, when it was issued, when it came here."""

    source: str  # whose forecast, in words
    fetched: datetime  # when it was asked for and came; for a typed value: when it was seen
    issued: datetime | None = None  # by its maker; None: the source does not say
    attribution: str = ""  # what the source's licence asks to be shown
    latitude_deg: float | None = None  # of the point that it was given for; grids move it
    longitude_deg: float | None = None
    stale: bool = False  # an old copy, since no new one could be had

    @property
    def words(self) -> str:
        """Say whose it is and how old."""
        issued = f", issued {self.issued:%d %B %H:%M %Z}" if self.issued else ""
        old = " (an old copy: no new one could be had)" if self.stale else ""
        return f"{self.source}{issued}, fetched {self.fetched:%d %B %H:%M %Z}{old}"


@dataclass(frozen=True)
class Series:
    """One quantity from one source: values for moments, or for spans of time.

    starts, ends  time-zone aware, in order; an end equal to its start is a moment, between which values are drawn as
                  straight lines; a later end is a span, in which the value holds
    values        in the quantity's unit; None: the source does not know

    Raises OutOfRange for an unknown quantity, lengths that differ, times out of order or naive, or an impossible value.
    """

    quantity: str
    starts: tuple[datetime, ...]
    ends: tuple[datetime, ...]
    values: tuple[float | None, ...]
    origin: Origin

    def __post_init__(self) -> None:
        """Refuse what no forecast means."""
        known = QUANTITIES.get(self.quantity)
        if known is None:
            raise OutOfRange(f'"{self.quantity}" is no quantity known here; known: {", ".join(QUANTITIES)}')
        if not len(self.starts) == len(self.ends) == len(self.values):
            raise OutOfRange(
                f"{known.words}: {len(self.starts)} times and {len(self.values)} values; there must be as many of both"
            )
        if any(moment.tzinfo is None for moment in (*self.starts, *self.ends)):
            raise OutOfRange(f"{known.words}: a time without its offset from UTC")
        if any(later <= earlier for earlier, later in pairwise(self.starts)):
            raise OutOfRange(f"{known.words}: the times are not in order")
        if any(end < start for start, end in zip(self.starts, self.ends, strict=True)):
            raise OutOfRange(f"{known.words}: a span ends before it begins")
        for value in self.values:
            if value is not None and not known.lowest <= value <= known.highest:
                raise OutOfRange(
                    f"{known.words}: {value:g} {known.unit}; it must be from {known.lowest:g} to {known.highest:g}"
                )

    def at(self, times: Minutes) -> Values:
        """Return the value at each time (UTC), NaN where it is not known."""
        found = np.full(times.shape, np.nan)
        if not self.starts:
            return found
        asked = times.astype("datetime64[s]").astype(np.int64)
        starts, ends = _seconds(self.starts), _seconds(self.ends)
        values = np.array([math.nan if value is None else value for value in self.values])
        at = np.searchsorted(starts, asked, side="right") - 1
        inside = at >= 0
        here = np.clip(at, 0, None)
        holds = inside & ((asked < ends[here]) | (asked == starts[here]))
        found[holds] = values[here[holds]]
        if len(starts) > 1:  # between two moments, a straight line
            after = np.clip(here + 1, None, len(starts) - 1)
            moments = (ends == starts)[here] & (ends == starts)[after]
            gap = starts[after] - starts[here]
            between = inside & ~holds & moments & (gap > 0) & (gap <= LONGEST_GAP_MIN * 60)
            share = (asked - starts[here])[between] / gap[between]
            first, second = values[here][between], values[after][between]
            found[between] = _between(first, second, share, self.quantity)
        return found

    def total(self, start: datetime, end: datetime) -> float | None:
        """Return the sum of spans over some time (rain); None where a part of it is not known."""
        covered, total = 0.0, 0.0
        reached = start
        for first, last, value in zip(self.starts, self.ends, self.values, strict=True):
            begin, finish = max(first, start), min(last, end)
            length = (last - first).total_seconds()
            if finish <= begin or length <= 0:
                continue
            if value is None:
                return None
            part = (finish - begin).total_seconds()
            covered += max((finish - max(begin, reached)).total_seconds(), 0.0)  # where spans overlap, once
            reached = max(reached, finish)
            total += value * part / length
        return total if covered >= (end - start).total_seconds() - 1 else None


def _between(first: Values, second: Values, share: Values, quantity: str) -> Values:
    if quantity == "thunder":  # either end having it is enough
        return np.maximum(first, second)
    if QUANTITIES[quantity].is_bearing:
        turn = (second - first + 180) % 360 - 180  # the short way round
        return (first + turn * share) % 360
    return first + (second - first) * share


def _seconds(moments: Iterable[datetime]) -> NDArray[np.int64]:
    return np.array([math.floor(moment.timestamp()) for moment in moments], dtype=np.int64)


@dataclass(frozen=True)
class Note:
    """Something that a source could not tell, when it was asked: it becomes a caution of the plan."""

    source: str
    sentence: str
    asked: datetime


@dataclass(frozen=True)
class Forecast:
    """Series for one place, in order of preference: the first that knows a minute counts; and what could not be had.

    members -- of an ensemble: the same quantities once for each member
    """

    series: tuple[Series, ...] = ()
    notes: tuple[Note, ...] = ()
    members: tuple[tuple[Series, ...], ...] = ()

    @property
    def origins(self) -> tuple[Origin, ...]:
        """Where its values come from, each source once."""
        return tuple(dict.fromkeys(series.origin for series in self.series))


@dataclass(frozen=True)
class Seen:
    """One value that somebody saw or measured on the spot."""

    quantity: str
    value: float
    time: datetime
    by: str = ""

    def __post_init__(self) -> None:
        """Refuse what cannot have been seen."""
        known = QUANTITIES.get(self.quantity)
        if known is None:
            raise OutOfRange(f'"{self.quantity}" is no quantity known here; known: {", ".join(QUANTITIES)}')
        if self.time.tzinfo is None:
            raise OutOfRange(f"{known.words}: the time at which it was seen needs its offset from UTC")
        if not known.lowest <= self.value <= known.highest:
            raise OutOfRange(
                f"{known.words}: {self.value:g} {known.unit}; it must be from {known.lowest:g} to {known.highest:g}"
            )

    def words_in(self, zone: tzinfo) -> str:
        """Say what was seen, when by the clock of a zone, and by whom."""
        return replace(self, time=self.time.astimezone(zone)).words

    @property
    def words(self) -> str:
        """Say what was seen, when and by whom."""
        known = QUANTITIES[self.quantity]
        who = f" by {self.by}" if self.by else ""
        when = f"at {self.time:%H:%M} on {self.time.day} {self.time:%B}{who}"
        if known.key == "thunder":
            return f"thunder {'heard' if self.value else 'not heard'} {when}"
        return f"{known.words} {amount_words(self.quantity, self.value)} {when}"


def amount_words(quantity: str, value: float) -> str:
    """Say a value with its unit; wind in knots, as it is judged."""
    unit = QUANTITIES[quantity].unit
    if unit == "m/s":
        return f"{round(value / METRES_PER_SECOND_PER_KNOT, 1):g} kn"
    return f"{round(value, 2):g} {unit}"


@dataclass(frozen=True)
class Conditions:
    """What is known of wind, sea and weather at one site: a forecast, or none, and what was seen there."""

    forecast: Forecast | None = None
    seen: tuple[Seen, ...] = ()

    def with_seen(self, seen: Sequence[Seen]) -> Conditions:
        """Return the same with more observations."""
        return Conditions(self.forecast, (*self.seen, *seen))

    def member(self, number: int) -> Conditions:
        """Return the conditions of one member of the ensemble; what the member lacks stays the forecast's."""
        if self.forecast is None:
            return self
        series = (*self.forecast.members[number], *self.forecast.series)
        return Conditions(Forecast(series, self.forecast.notes), self.seen)


@dataclass(frozen=True)
class Sampled:
    """Values of each quantity at some times, NaN where nothing is known, and where each quantity comes from."""

    times: Minutes
    values: Mapping[str, Values]
    origins: Mapping[str, tuple[Origin, ...]] = field(default_factory=dict)  # of the forecast, by quantity
    seen: Mapping[str, tuple[Seen, ...]] = field(default_factory=dict)  # observations that count, by quantity
    worse_than_forecast: tuple[tuple[Seen, float], ...] = ()  # an observation, and the forecast for its time
    seen_now: Mapping[str, NDArray[np.bool_]] = field(default_factory=dict)  # when an observation stands, by quantity

    def __getitem__(self, quantity: str) -> Values:
        """Return the values of a quantity; all NaN where nobody tells it."""
        found = self.values.get(quantity)
        return np.full(self.times.shape, np.nan) if found is None else found

    def stands(self, quantity: str) -> NDArray[np.bool_]:
        """Return the times at which an observation stands in the forecast's place."""
        found = self.seen_now.get(quantity)
        return np.zeros(self.times.shape, dtype=bool) if found is None else found

    def knows(self, quantity: str) -> bool:
        """Return whether the quantity is known at any of the times."""
        return quantity in self.values and bool(np.isfinite(self.values[quantity]).any())

    def raised(self, rises: Mapping[str, float]) -> Sampled:
        """Return the same with quantities raised by so much, where they are known."""
        values = {key: found + rises.get(key, 0.0) for key, found in self.values.items()}
        return replace(self, values=values)


# What was seen worse than forecast keeps its difference for the rest of the record: of these more is worse, or less.
_MORE_IS_WORSE = ("wind_m_s", "gust_m_s", "swell_m", "wind_sea_m", "wave_m")
_LESS_IS_WORSE = ("visibility_m", "water_c")


def sample(conditions: Conditions, times: Minutes, holds_h: float) -> Sampled:
    """Return every quantity at each time, UTC: what was seen while it is fresh, else the forecast.

    holds_h -- for how many hours after its time an observation stands in the forecast's place; where the forecast for a
    later minute is worse than that for its time, it grows worse by as much. A later observation takes over from an
    earlier one. Afterwards the forecast counts again; where wind or sea was seen above the forecast
    for its time, the forecast stays raised by the difference, since it was wrong on the dangerous side.
    """
    values: dict[str, Values] = {}
    origins: dict[str, tuple[Origin, ...]] = {}
    for series in conditions.forecast.series if conditions.forecast else ():
        found = series.at(times)
        held = values.get(series.quantity)
        if held is None:
            values[series.quantity] = found
            used = np.isfinite(found)
        else:
            used = np.isnan(held) & np.isfinite(found)
            held[used] = found[used]
        if used.any():
            origins[series.quantity] = (*origins.get(series.quantity, ()), series.origin)
    by_quantity: dict[str, list[Seen]] = {}
    for seen in sorted(conditions.seen, key=lambda seen: seen.time.timestamp()):
        by_quantity.setdefault(seen.quantity, []).append(seen)
    counted: dict[str, tuple[Seen, ...]] = {}
    worse: list[tuple[Seen, float]] = []
    stands: dict[str, NDArray[np.bool_]] = {}
    asked = times.astype("datetime64[s]").astype(np.int64)
    for quantity, observations in by_quantity.items():
        held = values.setdefault(quantity, np.full(times.shape, np.nan))
        forecast = held.copy()
        for seen in observations:
            start = math.floor(seen.time.timestamp())
            end = start + round(holds_h * 3600)
            now = (asked >= start) & (asked < end)
            stands[quantity] = (stands.get(quantity, np.zeros(asked.shape, dtype=bool)) & (asked < start)) | now
            if quantity in (*_MORE_IS_WORSE, *_LESS_IS_WORSE) and conditions.forecast is not None:
                then = _forecast_at(conditions.forecast, quantity, seen.time)
                after = asked >= start
                held[after] = forecast[after]
                if then is not None and (seen.value < then if quantity in _LESS_IS_WORSE else seen.value > then):
                    limits = QUANTITIES[quantity]
                    shifted = forecast[after] + (seen.value - then)
                    if quantity != "visibility_m":  # fog lifts: it speaks for its hours only
                        held[after] = np.clip(shifted, limits.lowest, limits.highest)
                    worse.append((seen, then))
            held[now] = seen.value + _worsening(conditions.forecast, seen, forecast)[now]
            if now.any():
                counted[quantity] = (*counted.get(quantity, ()), seen)
    return Sampled(times, values, origins, counted, tuple(worse), stands)


def _worsening(forecast: Forecast | None, seen: Seen, values: Values) -> Values:
    """Return by how much the forecast has become worse since something was seen; 0 where it has not, or is not known.

    What was seen at eight does not speak for ten where the forecast rises in between.
    """
    sign = 1.0 if seen.quantity in (*_MORE_IS_WORSE, "thunder") else -1.0 if seen.quantity == "visibility_m" else 0.0
    then = _forecast_at(forecast, seen.quantity, seen.time) if forecast is not None and sign else None
    if then is None:
        return np.zeros(values.shape)
    grown = np.maximum(np.nan_to_num(values - then) * sign, 0.0) * sign
    limits = QUANTITIES[seen.quantity]
    return np.clip(seen.value + grown, limits.lowest, limits.highest) - seen.value


def _forecast_at(forecast: Forecast, quantity: str, moment: datetime) -> float | None:
    at = np.array([np.datetime64(moment.astimezone(UTC).replace(tzinfo=None), "s")])
    for series in forecast.series:
        if series.quantity == quantity and math.isfinite(found := float(series.at(at)[0])):
            return found
    return None


def rain_spans(forecast: Forecast | None) -> tuple[Series, ...]:
    """Return the forecast's series of rain; none where nobody tells it."""
    return tuple(series for series in (forecast.series if forecast else ()) if series.quantity == "rain_mm")


def heavy_rain_spans(
    forecast: Forecast | None, start: datetime, end: datetime, heavy_mm: float
) -> tuple[list[tuple[datetime, datetime]], bool]:
    """Return the hours between two moments in which it rained and that ended a heavy 24 h, and whether all is known.

    heavy_mm -- that much or more within 24 h is heavy

    Neighbouring hours are put together. Where a source does not know an hour, the next one is asked; an hour that
    nobody knows counts as dry and makes the answer incomplete. The 24 h reach back before ``start``.
    """
    first_asked = start - timedelta(hours=23)
    hours = max(math.ceil((end - first_asked).total_seconds() / 3600), 0)
    rain: list[float | None] = []
    series = rain_spans(forecast)
    for number in range(hours):
        first = first_asked + timedelta(hours=number)
        totals = (each.total(first, first + timedelta(hours=1)) for each in series)
        rain.append(next((total for total in totals if total is not None), None))
    spans: list[tuple[datetime, datetime]] = []
    for number in range(23, hours):
        if rain[number] and sum(mm or 0.0 for mm in rain[number - 23 : number + 1]) >= heavy_mm:
            first = first_asked + timedelta(hours=number)
            last = first + timedelta(hours=1)
            if spans and spans[-1][1] == first:
                spans[-1] = (spans[-1][0], last)
            else:
                spans.append((first, last))
    return spans, all(mm is not None for mm in rain)


def m_s(knots: float) -> float:
    """Return a speed given in knots, in metres a second."""
    return knots * METRES_PER_SECOND_PER_KNOT


def as_inputs(conditions: Conditions) -> dict[str, Any]:
    """Return the conditions as plain values, the same for the same conditions: a part of the plan's revision."""
    forecast = conditions.forecast
    return {
        "seen": [[seen.quantity, seen.value, seen.time.isoformat(), seen.by] for seen in conditions.seen],
        "series": [_plain(series) for series in forecast.series] if forecast else [],
        "members": [[_plain(series) for series in member] for member in forecast.members] if forecast else [],
        "notes": [[note.source, note.sentence] for note in forecast.notes] if forecast else [],
    }


def _plain(series: Series) -> list[Any]:
    origin = series.origin
    return [
        series.quantity,
        [moment.isoformat() for moment in series.starts],
        [moment.isoformat() for moment in series.ends],
        series.values,
        [origin.source, str(origin.issued), str(origin.fetched), origin.stale],
    ]
