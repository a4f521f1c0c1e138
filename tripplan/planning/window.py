"""Usable minutes of one local day at one site: each restriction closes minutes and says why; nothing is dropped.

A minute is closed for "entry" (nobody may go in), or for "water" (nobody may be in the water or come out). The way out
must work during every minute of a dive, not only at its planned end: a dive that is broken off early must get out.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from functools import cached_property
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from tripplan.catalogue.site import Access, Season, Site, SiteAccess, TideLimits
from tripplan.environment.daylight import Daylight
from tripplan.environment.stream import (
    ConstantsStream,
    SlackStream,
    StreamConstituent,
    StreamRow,
    TableStream,
    TidalStream,
)
from tripplan.environment.tide import SecondaryTide, Tide
from tripplan.people.group import Kind
from tripplan.planning.plan import Closure, Phase, Span, UsableWindow
from tripplan.rulebook import RuleBook

Minutes = NDArray[np.bool_]


@dataclass(frozen=True)
class DayGrid:
    """The minutes of one local calendar day: 1440, or more or fewer on a day when the clock changes."""

    day: date
    timezone: str

    @cached_property  # a window asks for these hundreds of times
    def zone(self) -> ZoneInfo:
        """The time zone of the site."""
        return ZoneInfo(self.timezone)

    @cached_property
    def start(self) -> datetime:
        """The first moment of the day, local."""
        return self._midnight(self.day)

    @cached_property
    def minutes(self) -> int:
        """How many minutes the day really has."""
        after = self._midnight(self.day + timedelta(days=1))
        return round((after.timestamp() - self.start.timestamp()) / 60)

    def _midnight(self, day: date) -> datetime:
        # By way of UTC: where the clock skips midnight, the day begins at the first time that the clock does show.
        return datetime.combine(day, time(), tzinfo=self.zone).astimezone(UTC).astimezone(self.zone)

    @cached_property
    def times(self) -> NDArray[np.datetime64]:
        """The start of each minute, UTC."""
        first = np.datetime64(self.start.astimezone(UTC).replace(tzinfo=None), "m")
        return first + np.arange(self.minutes).astype("timedelta64[m]")

    def at(self, minute: int) -> datetime:
        """Return the local time of a minute of the day; ``minutes`` itself is the next midnight."""
        return (self.start.astimezone(UTC) + timedelta(minutes=minute)).astimezone(self.zone)

    def minute_floor(self, moment: datetime) -> int:
        """Return the minute in which a moment lies; may lie outside the day."""
        return math.floor(round((moment.timestamp() - self.start.timestamp()) / 60, 6))

    def minute_ceil(self, moment: datetime) -> int:
        """Return the first whole minute not before a moment; may lie outside the day."""
        return math.ceil(round((moment.timestamp() - self.start.timestamp()) / 60, 6))

    def of_clock(self, clock: time) -> int | None:
        """Return the first minute that reads this clock time or later on this day; None where there is none."""
        asked = clock.hour * 60 + clock.minute + bool(clock.second or clock.microsecond)
        later = np.flatnonzero(self._clock_minutes >= asked)
        return int(later[0]) if len(later) else None

    def last_of_clock(self, clock: time) -> int | None:
        """Return the last minute that reads this clock time: the second one where the clock is put back over it."""
        same = np.flatnonzero(self._clock_minutes == clock.hour * 60 + clock.minute)
        return int(same[-1]) if len(same) and not clock.second else self.of_clock(clock)

    def clock_minutes(self) -> NDArray[np.int_]:
        """Return hour x 60 + minute of the local clock for each minute of the day."""
        return self._clock_minutes

    @cached_property
    def _clock_minutes(self) -> NDArray[np.int_]:
        return np.array([(t := self.at(m)).hour * 60 + t.minute for m in range(self.minutes)])


@dataclass(frozen=True)
class Window:
    """Closures of a day and the minutes that remain."""

    grid: DayGrid
    closures: tuple[Closure, ...]

    def closed(self, phase: Phase) -> Minutes:
        """Return for each minute whether being in the water ("water"), or going in ("entry"), is closed.

        What closes the water also closes going in.
        """
        closed = np.zeros(self.grid.minutes, dtype=bool)
        for closure in self.closures:
            if closure.phase == "water" or phase == "entry":
                first = max(self.grid.minute_floor(closure.start), 0)
                closed[first : max(self.grid.minute_ceil(closure.end), 0)] = True
        return closed

    def reasons(self, minute: int, phase: Phase = "entry") -> tuple[Closure, ...]:
        """Return everything that closes a minute; empty where it is open."""
        moment = self.grid.at(minute).timestamp()  # two equal clock times of an autumn night are not the same moment
        return tuple(
            closure
            for closure in self.closures
            if closure.start.timestamp() <= moment < closure.end.timestamp()
            and (closure.phase == "water" or phase == "entry")
        )

    def usable(self, groups: tuple[str, ...] = ()) -> tuple[UsableWindow, ...]:
        """Return the windows: from the first minute one may go in to the minute by which everybody is out."""
        water_open = ~self.closed("water")
        entry_open = ~self.closed("entry")
        windows = []
        for first, end in runs(water_open):
            entries = [(first + a, first + b) for a, b in runs(entry_open[first:end])]
            if entries:
                windows.append(
                    UsableWindow(
                        start=self.grid.at(entries[0][0]),
                        end=self.grid.at(end),
                        entries=tuple(Span(self.grid.at(a), self.grid.at(b)) for a, b in entries),
                        groups=groups,
                    )
                )
        return tuple(windows)


def runs(flags: Minutes) -> Iterator[tuple[int, int]]:
    """Yield each run of true values as (first, one past the last)."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], flags, [False])).astype(np.int8)))
    for first, end in zip(edges[::2], edges[1::2], strict=True):
        yield int(first), int(end)


def _close(grid: DayGrid, closed: Minutes, phase: Phase, rule: str, sentence: str, source: str) -> Iterator[Closure]:
    for first, end in runs(closed):
        yield Closure(grid.at(first), grid.at(end), phase, rule, sentence, source)


def _whole_day(grid: DayGrid, rule: str, sentence: str, source: str) -> Closure:
    return Closure(grid.at(0), grid.at(grid.minutes), "water", rule, sentence, source)


def _day_words(day: str) -> str:
    """Return a day of the year, "MM-DD", as it is said."""
    named = date.fromisoformat(f"2000-{day}")  # a leap year
    return f"{named.day} {named:%B}"


def access_closures(grid: DayGrid, access: SiteAccess) -> Iterator[Closure]:
    """Close what the gate closes: hours of the day and seasons of the year."""
    if access.seasons and not any(_in_season(grid.day, season) for season in access.seasons):
        open_words = "; ".join(f"{_day_words(season.first)} to {_day_words(season.last)}" for season in access.seasons)
        yield _whole_day(grid, "access-season", f"Access is closed today: it is open from {open_words}.", "SITE_FILE")
    if access.hours:
        opens, closes = access.hours.opens, access.hours.closes
        clock = grid.clock_minutes()
        shut = (clock < opens.hour * 60 + opens.minute) | (clock >= closes.hour * 60 + closes.minute)
        sentence = f"Access is open {opens:%H:%M} to {closes:%H:%M}."
        yield from _close(grid, shut, "water", "access-hours", sentence, "SITE_FILE")


def _in_season(day: date, season: Season) -> bool:
    """Judge a day against a season, both ends included; a season may run over New Year."""
    today = f"{day:%m-%d}"
    if season.first <= season.last:
        return season.first <= today <= season.last
    return today >= season.first or today <= season.last


def light_closures(grid: DayGrid, light: Daylight, kind: Kind, rules: RuleBook) -> Iterator[Closure]:
    """Close what is too dark (or, for a night dive, too light). Seconds are rounded against the diver."""
    if kind.name == "night":
        yield from _night_closures(grid, light, rules)
        return
    if light.sunrise is None and light.sunset is None:
        if not light.sun_is_up_at_noon:
            yield _whole_day(grid, "light", f"No daylight: {light.note}.", "ASTRONOMY")
        return
    minute = np.arange(grid.minutes)
    if light.sunrise is not None:
        rule = rules["light.entry_after_sunrise_min"]
        earliest = grid.minute_ceil(light.sunrise + timedelta(minutes=rule.value))
        dawn = grid.minute_ceil(light.sunrise)
        sentence = f"Nobody goes in before {_clock(grid, earliest)}, {rule.value:g} min after sunrise."
        yield from _close(grid, minute < earliest, "entry", "light", sentence, rule.key)
        yield from _close(grid, minute < dawn, "water", "light", f"The sun rises at {_clock(grid, dawn)}.", "ASTRONOMY")
    if light.sunset is not None:
        key = "light.training_exit_before_sunset_min" if kind.training else "light.exit_before_sunset_min"
        rule = rules[key]
        latest = grid.minute_floor(light.sunset - timedelta(minutes=rule.value))
        sentence = (
            f"Everybody is out by {_clock(grid, latest)}, {rule.value:g} min before sunset ({light.sunset:%H:%M})."
        )
        yield from _close(grid, minute >= latest, "water", "light", sentence, rule.key)


def _night_closures(grid: DayGrid, light: Daylight, rules: RuleBook) -> Iterator[Closure]:
    rule = rules["light.night_entry_after_civil_dusk_min"]
    if light.civil_dusk is None:
        if light.sun_is_up_at_noon or light.civil_dawn is not None:  # else it is dark all day
            why = light.note or "civil dusk is not known"
            yield _whole_day(grid, "light", f"No night dive: {why}.", "ASTRONOMY")
        return
    earliest = grid.minute_ceil(light.civil_dusk + timedelta(minutes=rule.value))
    minute = np.arange(grid.minutes)
    sentence = f"A night dive goes in from civil dusk, {light.civil_dusk:%H:%M}, plus {rule.value:g} min."
    yield from _close(grid, minute < earliest, "entry", "light", sentence, rule.key)


def _clock(grid: DayGrid, minute: int) -> str:
    return f"{grid.at(minute):%H:%M}"


def site_tide(site: Site, station_tide: Tide | None) -> Tide | None:
    """Return the tide at the site: the station's, shifted and scaled where the site file gives offsets."""
    link = site.tide
    plain = (link.high_time_min, link.low_time_min, link.high_ratio, link.low_ratio, link.high_add_m, link.low_add_m)
    if station_tide is None or plain == (0, 0, 1, 1, 0, 0):
        return station_tide
    return SecondaryTide(
        reference=station_tide,
        high_time_min=link.high_time_min,
        low_time_min=link.low_time_min,
        high_ratio=link.high_ratio,
        low_ratio=link.low_ratio,
        high_add_m=link.high_add_m,
        low_add_m=link.low_add_m,
    )


def limits_with_margin(way: TideLimits, margin_m: float) -> tuple[float | None, float | None]:
    """Return the lowest and highest height of a way in or out, drawn in by the margin on both sides."""
    lowest = None if way.lowest_m is None else way.lowest_m + margin_m
    highest = None if way.highest_m is None else way.highest_m - margin_m
    return lowest, highest


def tide_closures(
    grid: DayGrid, heights_m: NDArray[np.float64], entry: Access, leaving: Access, rules: RuleBook
) -> Iterator[Closure]:
    """Close the minutes whose height of tide, at the start or at the end of the minute, the way in or out forbids.

    heights_m -- one for each minute of the grid and one for the midnight after it; NaN: not known, which closes
    """
    margin = rules["tide.height_margin_m"]
    for access, way, phase, doing in (
        (entry, entry.going_in, "entry", "Going in"),
        (leaving, leaving.coming_out, "water", "Coming out"),
    ):
        rule = "tide-going-in" if phase == "entry" else "tide-coming-out"
        if not isinstance(way, TideLimits):
            yield _whole_day(grid, rule, f"{doing} by {access.name} is not possible.", "SITE_FILE")
            continue
        lowest, highest = limits_with_margin(way, margin.value)
        if lowest is None and highest is None:
            continue
        unknown = np.isnan(heights_m)
        for broken, words in (
            (unknown, f"{doing} by {access.name} depends on the tide, and the tide is not known."),
            (
                heights_m < (-math.inf if lowest is None else lowest),
                f"{doing} by {access.name} needs at least {way.lowest_m} m of tide and {margin.value:g} m margin.",
            ),
            (
                heights_m > (math.inf if highest is None else highest),
                f"{doing} by {access.name} needs at most {way.highest_m} m of tide less {margin.value:g} m margin.",
            ),
        ):
            closed = broken[:-1] | broken[1:]
            yield from _close(grid, closed, phase, rule, words, "SITE_FILE")  # type: ignore[arg-type]


def site_stream(site: Site) -> TidalStream | None:
    """Return the stream of the site; None where there is none worth the name."""
    stream = site.stream
    if stream.kind == "none":
        return None
    if stream.kind == "constants":
        return ConstantsStream(
            tuple(StreamConstituent(name, *map(float, pair)) for name, pair in (stream.constituents or {}).items()),
            math.nan if stream.mean_kn is None else stream.mean_kn,
            stream.flood_toward_deg,
            stream.ebb_toward_deg,
        )
    if stream.kind == "table":
        return TableStream(
            tuple(StreamRow(**row.model_dump()) for row in stream.table or ()),
            stream.spring_range_m or 0.0,
            stream.neap_range_m or 0.0,
        )
    return SlackStream(
        high_water_slack_min=stream.high_water_slack_min or 0.0,
        low_water_slack_min=stream.low_water_slack_min or 0.0,
        spring_rate_kn=stream.spring_rate_kn or 0.0,
        neap_rate_kn=stream.neap_rate_kn or 0.0,
        spring_range_m=stream.spring_range_m or 0.0,
        neap_range_m=stream.neap_range_m or 0.0,
        flood_toward_deg=stream.flood_toward_deg,
        ebb_toward_deg=stream.ebb_toward_deg,
    )


def stream_limit_kn(site: Site, kind: Kind, rules: RuleBook) -> tuple[float, str]:
    """Return the strongest stream for a kind of dive at the site, knots, and the key of who says so."""
    key = "stream.training_limit_kn" if kind.training else "stream.limit_kn"
    if site.limits.stream_kn is not None and site.limits.stream_kn < rules.value(key):
        return site.limits.stream_kn, "SITE_FILE"
    return rules.value(key), key


def stream_closures(
    grid: DayGrid, rates_kn: NDArray[np.float64], site: Site, kind: Kind, rules: RuleBook
) -> Iterator[Closure]:
    """Close the minutes in which the stream runs too hard, and the margin on each side of them."""
    limit_kn, source = stream_limit_kn(site, kind, rules)
    margin = int(rules.value("stream.slack_margin_min"))
    unknown = np.isnan(rates_kn)
    hard = np.abs(np.nan_to_num(rates_kn)) > limit_kn
    for flags, words in (
        (unknown, "The stream is not known."),
        (hard, f"The stream runs above {limit_kn:g} kn (with {margin} min margin on each side)."),
    ):
        wide = flags[:-1] | flags[1:]
        for first, end in list(runs(wide)):
            wide[max(first - margin, 0) : end + margin] = True
        yield from _close(grid, wide, "water", "stream", words, source)


def merge(closures: Sequence[Closure]) -> tuple[Closure, ...]:
    """Return closures in order of time, each kept once."""
    # By timestamp: on the night the clocks go back two different closures can read alike on the clock.
    once = {(c.start.timestamp(), c.end.timestamp(), c.phase, c.rule, c.sentence): c for c in closures}
    return tuple(sorted(once.values(), key=lambda c: (c.start.timestamp(), c.end.timestamp(), c.rule)))
