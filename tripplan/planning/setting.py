"""The site on the day, and where and when each group may dive in it: what holds before any dive is timed."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime
from itertools import product

import numpy as np
from numpy.typing import NDArray

from tripplan.catalogue.site import Access, Place, Site
from tripplan.environment.daylight import Daylight, daylight
from tripplan.environment.tide import Tide
from tripplan.people.group import Kind
from tripplan.physics.no_stop import NoStop, Surroundings
from tripplan.planning.crew import children_of
from tripplan.planning.limits import surroundings_of, water_temperature_c
from tripplan.planning.plan import Closure
from tripplan.planning.ratios import GroupRatio, ratio_of
from tripplan.planning.request import GroupWish
from tripplan.planning.shore import ShoreSea, Weather, least, shore_sea, weather_of
from tripplan.planning.timing import kind_of
from tripplan.planning.weather import Cold, cold_closures, weather_closures
from tripplan.planning.window import (
    DayGrid,
    Window,
    access_closures,
    light_closures,
    merge,
    site_stream,
    site_tide,
    stream_closures,
    tide_closures,
)
from tripplan.planning.world import World
from tripplan.rulebook import RuleBook


@dataclass(frozen=True)
class Setting:
    """The site on the day: what holds for every group alike."""

    site: Site
    grid: DayGrid
    light: Daylight
    tide: Tide | None
    heights_m: NDArray[np.float64]  # one a minute and the midnight after; empty where there is no tide
    rates_kn: NDArray[np.float64]  # likewise; empty where there is no stream
    toward_deg: NDArray[np.float64]  # where the stream goes; NaN: not known
    surroundings: Surroundings
    weather: Weather | None  # None: nobody told anything
    sea: ShoreSea | None
    water_minutes_c: NDArray[np.float64]  # seen or forecast, else usual in the month; NaN: not known
    windows: dict[tuple[object, ...], tuple[RuleBook, Window]] = field(
        default_factory=dict, init=False, compare=False, repr=False
    )  # found so far; a changed copy starts without
    limits: dict[tuple[object, ...], NoStop] = field(default_factory=dict, compare=False, repr=False)  # found so far

    @property
    def water_c(self) -> float | None:
        """The coldest water of the day; None: not known."""
        return least(self.water_minutes_c)


@dataclass(frozen=True)
class GroupSetting:
    """Where a group dives and when it may."""

    group: GroupWish
    kind: Kind
    place: Place
    going_in: Access
    coming_out: Access
    window: Window
    cold: Cold  # whom and what the water's temperature is judged against
    ratio: GroupRatio  # what the people ask of the number of divers


class Scenes:
    """The settings of sites and days of one world, each worked out once: tide, light and sea hang on no group."""

    def __init__(self, world: World) -> None:
        self._world = world
        self._settings: dict[tuple[str, date, float | None], Setting] = {}
        self._limits: dict[tuple[object, ...], NoStop] = {}

    def setting(self, site: Site, day: date, measured_pressure_bar: float | None = None) -> Setting:
        """Return the setting of a site on a day."""
        key = (site.slug, day, measured_pressure_bar)
        if key not in self._settings:
            found = setting_of(site, day, self._world, measured_pressure_bar)
            self._settings[key] = replace(found, limits=self._limits)
        return self._settings[key]


def site_windows(site: Site, day: date, kind: Kind, world: World) -> Window:
    """Return the window of a kind of dive at a site on a day, by the ways in and out that leave the most time."""
    return best_ways(setting_of(site, day, world), kind, site.entries, usual_ways_out(site), world.rules)[2]


def usual_ways_out(site: Site) -> tuple[Access, ...]:
    """Return the ways out that a plan may choose by itself: not the alternative exit, which is for when they close.

    The swim to it is in no timing, and often neither a road nor a stretcher reaches it.
    """
    spare = site.alternative_exit.access if site.alternative_exit else None
    return tuple(access for access in site.entries if access.name != spare)


def setting_of(site: Site, day: date, world: World, measured_pressure_bar: float | None = None) -> Setting:
    grid = DayGrid(day, site.timezone)
    station = world.stations.get(site.tide.station) if site.tide.station else None
    tide = site_tide(site, station.tide if station else None)
    minutes = np.concatenate((grid.times, grid.times[-1:] + np.timedelta64(1, "m")))
    if tide is not None:
        heights = tide.heights_m(minutes)
    else:
        heights = np.full(len(minutes), math.nan) if site.tide.station else np.array([])
    stream = site_stream(site)
    # Slacks and tables count from the station's own high and low water, not from the site's.
    turning = station.tide if station else None
    rates = np.array([]) if stream is None else stream.rates_kn(turning, minutes)
    toward = np.array([]) if stream is None else stream.toward_deg(turning, minutes)
    weather = weather_of(world.conditions.get(site.slug), minutes, world.rules)
    if weather is not None and weather.minutes.knows("stream_kn"):
        rates = stream_as_seen(rates, weather)  # what was seen wins, also where the site file says that there is none
        toward = toward if len(toward) else np.full(len(minutes), math.nan)
    usual_c = water_temperature_c(site, day)
    water_c = np.full(len(minutes), math.nan if usual_c is None else usual_c)
    if weather is not None:
        for each in weather.seen:  # colder than usual once is colder than usual for the day
            if each.quantity == "water_c":
                water_c[minutes >= _minute64(each.time)] = np.fmin(each.value, math.nan if usual_c is None else usual_c)
        water_c = np.where(np.isfinite(weather.minutes["water_c"]), weather.minutes["water_c"], water_c)
    return Setting(
        site=site,
        grid=grid,
        light=daylight(site.position.latitude_deg, site.position.longitude_deg, day, site.timezone),
        tide=tide,
        heights_m=heights,
        rates_kn=rates,
        toward_deg=toward,
        surroundings=surroundings_of(site, day, world.rules, measured_pressure_bar),
        weather=weather,
        sea=shore_sea(site, weather, world.rules) if weather is not None else None,
        water_minutes_c=water_c,
    )


def _minute64(moment: datetime) -> np.datetime64:
    return np.datetime64(moment.astimezone(UTC).replace(tzinfo=None), "m")


def stream_as_seen(rates: NDArray[np.float64], weather: Weather) -> NDArray[np.float64]:
    """Return the stream with what was seen in its place while it is fresh.

    Afterwards the reckoned stream counts again, raised by what it was too low; where none is reckoned and some was
    seen, it is not known any more.
    """
    minutes = weather.minutes
    reckoned = rates if len(rates) else np.zeros(minutes.times.shape)
    later = reckoned.copy()
    for seen in sorted(weather.seen, key=lambda each: each.time.timestamp()):
        if seen.quantity != "stream_kn":
            continue
        after = minutes.times >= _minute64(seen.time)
        if not len(rates):
            later[after] = math.nan if seen.value > 0 else 0.0
        elif after.any():
            now = float(reckoned[after][0])
            later[after] = reckoned[after] + max(seen.value - now, 0.0)
    observed = minutes["stream_kn"]
    return np.where(np.isfinite(observed), observed, later)


def window_for(
    setting: Setting, kind: Kind, going_in: Access, coming_out: Access, rules: RuleBook, cold: Cold | None = None
) -> Window:
    """Return the window of a kind of dive by a way in and a way out.

    cold -- whom and what the water's temperature is judged against; None: nobody in particular
    """
    key = (kind.name, going_in.name, coming_out.name, cold, id(rules))
    if key in setting.windows:
        return setting.windows[key][1]
    grid, site = setting.grid, setting.site
    closures: list[Closure] = [
        *access_closures(grid, site.access),
        *light_closures(grid, setting.light, kind, rules),
    ]
    if len(setting.heights_m):
        closures.extend(tide_closures(grid, setting.heights_m, going_in, coming_out, rules))
    else:
        blank = np.zeros(grid.minutes + 1)
        closures.extend(tide_closures(grid, blank, going_in, coming_out, rules))
    if len(setting.rates_kn):
        closures.extend(stream_closures(grid, setting.rates_kn, site, kind, rules))
    if setting.weather is not None and setting.sea is not None:
        closures.extend(weather_closures(grid, setting.weather, setting.sea, site, kind, going_in, coming_out, rules))
    if cold is not None:
        closures.extend(cold_closures(grid, setting.water_minutes_c, cold, rules))
    window = Window(grid, merge(closures))
    setting.windows[key] = (rules, window)  # the rules are kept so that no others can have their identity
    return window


def group_setting(group: GroupWish, setting: Setting, world: World) -> GroupSetting:
    """Choose what the group left open: the place that suits it, and the ways in and out that leave the most time."""
    rules = world.rules
    kind = kind_of(group)
    site = setting.site
    place = site.place(group.place) if group.place else None
    if place is None:
        wished_m = max((wish.depth_m or 0.0 for wish in group.dives), default=0.0)
        ranked = [place for suit in kind.suits for place in site.places if suit in place.suits]
        deep_enough = [place for place in ranked if place.deepest_m >= wished_m]
        place = (deep_enough or ranked or list(site.places))[0]
    ways_in = [a for a in site.entries if group.going_in_by in (None, a.name)]
    named_out = site.entry(group.coming_out_by) if group.coming_out_by else None
    ways_out = [named_out] if named_out else usual_ways_out(site)
    children = children_of([world.people[name] for name in group.divers], setting.grid.day, rules)
    cold = Cold(tuple(child.name for child in children), group.suit_mm)
    going_in, coming_out, window = best_ways(setting, kind, ways_in, ways_out, rules, cold)
    ratio = ratio_of(group, world.people, setting.grid.day, rules)
    return GroupSetting(group, kind, place, going_in, coming_out, window, cold, ratio)


def best_ways(
    setting: Setting,
    kind: Kind,
    ways_in: Sequence[Access],
    ways_out: Sequence[Access],
    rules: RuleBook,
    cold: Cold | None = None,
) -> tuple[Access, Access, Window]:
    """Return the way in, the way out and their window that leave the most minutes to go in; the first on a tie."""
    options = []
    for going_in, coming_out in product(ways_in, ways_out):
        window = window_for(setting, kind, going_in, coming_out, rules, cold)
        minutes = sum(span.minutes for usable in window.usable() for span in usable.entries)
        options.append((minutes, going_in, coming_out, window))
    best = max(options, key=lambda option: option[0])
    return best[1], best[2], best[3]
