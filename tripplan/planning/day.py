"""The plan of a day: a pure function of a request and a world. It reads no clock, disk, network or database."""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, time, timedelta
from itertools import product
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from tripplan import __version__
from tripplan.catalogue.site import Access, Place, Site, TideLimits
from tripplan.catalogue.station import Station
from tripplan.check import Candidate, Check, Contest, Outcome, worst
from tripplan.environment.conditions import as_inputs
from tripplan.environment.daylight import Daylight, daylight
from tripplan.environment.stream import drift_m
from tripplan.environment.tide import HarmonicTide, SecondaryTide, Tide
from tripplan.errors import OutOfRange
from tripplan.people.group import KINDS, Kind
from tripplan.people.person import Person
from tripplan.people.skills import as_compared
from tripplan.physics.exposure import check_gas_density
from tripplan.physics.no_stop import NoStop, Surroundings, handbook_group_after
from tripplan.planning.after import after_dives, drives_between
from tripplan.planning.briefing import briefing_lines, observations
from tripplan.planning.crew import check_ashore, check_crew, check_group, check_support, children_of
from tripplan.planning.gas_need import GroupGas, check_gas, cylinder_of, dive_gas, group_gas
from tripplan.planning.help import Help, emergency_of, help_at
from tripplan.planning.limits import (
    deepest_for,
    depth_contest,
    person_depth,
    surroundings_of,
    time_contest,
    water_temperature_c,
)
from tripplan.planning.packing import Packing, pack
from tripplan.planning.pairing import check_pairs, propose_pairs
from tripplan.planning.plan import (
    AfterDive,
    Closure,
    DayCurve,
    DayPlan,
    DivePlan,
    LeadLine,
    Light,
    PersonDive,
    TideEvent,
    UsableWindow,
    WhatIf,
)
from tripplan.planning.progress import counted_ticks
from tripplan.planning.ratios import GroupRatio, WaterSeen, check_dive_ratio, ratio_of
from tripplan.planning.request import DiveWish, GroupWish, RecentDive, Request
from tripplan.planning.shore import ShoreSea, Weather, least, shore_sea, weather_of
from tripplan.planning.slate import slate_of
from tripplan.planning.teaching import no_instructors, teach
from tripplan.planning.timing import (
    Done,
    Ledger,
    Slot,
    ascent_min,
    find_slot,
    kind_of,
    latest_entry,
    minute_of,
    mixes_of,
    parts_of,
)
from tripplan.planning.weather import (
    Cold,
    breaker_limit_m,
    cold_closures,
    down_to,
    up_to,
    weather_closures,
    wind_limits_kn,
)
from tripplan.planning.weather_checks import DiveHours, check_sources, check_weather
from tripplan.planning.weighting import lead_lines
from tripplan.planning.window import (
    DayGrid,
    Window,
    access_closures,
    light_closures,
    limits_with_margin,
    merge,
    site_stream,
    site_tide,
    stream_closures,
    stream_limit_kn,
    tide_closures,
)
from tripplan.planning.world import CannotPlan, World, request_faults
from tripplan.rulebook import RuleBook

DEEPEST_SEARCHED_M = 60.0  # beyond every level's limit; the search for a depth needs an end


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


@dataclass(frozen=True)
class Judged:
    """A day with everything that was judged, before it is put into words for a reader."""

    setting: Setting
    groups: tuple[GroupSetting, ...]
    dives: tuple[DivePlan, ...]
    ledger: Ledger
    after: tuple[AfterDive, ...]
    lead: tuple[LeadLine, ...]
    packing: Packing
    help_here: Help
    checks: tuple[Check, ...]  # the worst first


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


def judge_day(request: Request, world: World, scenes: Scenes | None = None) -> Judged:
    """Return the dives of one day at one site with every check: what `plan_day` judges, without the words around it.

    scenes -- settings worked out before, of a world with the same sites, stations, conditions and rules

    Raises CannotPlan where the request names a site, person, place or way in that the world does not hold.
    """
    if faults := request_faults(request, world):
        raise CannotPlan(faults)
    rules = world.rules
    site = world.sites[request.site]
    scenes = Scenes(world) if scenes is None else scenes
    setting = scenes.setting(site, request.date, request.measured_pressure_bar)
    groups = [group_setting(group, setting, world) for group in request.groups]
    checks: list[Check] = []
    for held in groups:
        checks.append(check_place(held, site))
        if held.place.swim_min is None:
            sentence = (
                f"{held.group.name}: the swim from the way in to {held.place.name} is not in the site file and is in "
                "no time and no gas here: be in earlier and turn earlier by what it takes."
            )
            checks.append(Check("swim-known", Outcome.CAUTION, sentence, "SITE_FILE", subject=held.group.name))
    dives, dive_checks, ledger = plan_dives(request, world, setting, groups)
    divers = dict.fromkeys(name for group in request.groups for name in group.everybody)
    after, after_checks = after_dives(request, tuple(divers), ledger, setting.grid, rules)
    checks.extend(check_site(site, request, world, setting))
    checks.extend(check_crew(request.crew, world.people, request.date, rules))
    for held in groups:
        checks.extend(check_group(held.group, site, world.people, request.date, rules))
        pairs = propose_pairs(held.group, world.people, request.date, rules)
        checks.extend(check_pairs(held.group, pairs, world.people, request.date, rules))
    checks.extend(check_support(dives, request, world.people, rules))
    checks.extend(dive_checks)
    checks.extend(after_checks)
    checks.extend(drives_between(request, tuple(divers), ledger, setting.grid, rules))
    lead, lead_checks = lead_lines(request.groups, dives, world.people, setting.surroundings, rules)
    checks.extend(lead_checks)
    places = {held.group.name: held.place for held in groups}
    taught = teach(request, dives, places, world.skills, world.ticks, world.people)
    dives = taught.dives
    checks.extend(taught.checks)
    packing = pack(request, dives, lead, world.people, world.kit, rules)
    checks.extend(packing.checks)
    checks.extend(_check_recent(request))
    checks.extend(check_cold(setting, request, world))
    help_here = help_at(site, request.date, request.crew, divers, hours_of(dives), world)
    checks.extend(help_here.checks)
    checks.extend(check_weather_of(dives, groups, setting, rules))
    unique = tuple(sorted(dict.fromkeys(checks), key=lambda check: -check.outcome.severity))
    return Judged(
        setting=setting,
        groups=tuple(groups),
        dives=dives,
        ledger=ledger,
        after=after,
        lead=lead,
        packing=packing,
        help_here=help_here,
        checks=unique,
    )


def plan_day(request: Request, world: World) -> DayPlan:
    """Return the plan of one day at one site, with every check behind it.

    Raises CannotPlan where the request names a site, person, place or way in that the world does not hold.
    """
    judged = judge_day(request, world)
    rules, setting, groups, dives = world.rules, judged.setting, judged.groups, judged.dives
    site, ledger, unique, help_here = setting.site, judged.ledger, judged.checks, judged.help_here
    verdict = worst(unique)
    windows, closures = _shown_windows(groups)
    what_ifs = _what_ifs(dives, groups)
    return DayPlan(
        revision=revision_of(request, world),
        title=request.title or f"{site.name}, {request.date}",
        demonstration=world.demonstration or site.demonstration,
        site=request.site,
        site_name=site.name,
        date=request.date,
        timezone=site.timezone,
        verdict=verdict,
        headline=_headline(site, request, verdict, unique, dives),
        nearest_edge=_nearest_edge(what_ifs, unique),
        windows=windows,
        closures=closures,
        dives=dives,
        checks=unique,
        light=Light(
            civil_dawn=_whole_minute(setting.light.civil_dawn, later=True),
            sunrise=_whole_minute(setting.light.sunrise, later=True),
            sunset=_whole_minute(setting.light.sunset, later=False),
            civil_dusk=_whole_minute(setting.light.civil_dusk, later=False),
            moon_words=setting.light.moon_words,
            note=setting.light.note,
        ),
        tide_events=_tide_events(setting),
        tide_words=_tide_words(site, world.stations.get(site.tide.station or "")),
        curve=_curve(setting, groups, rules.value("tide.height_margin_m"), world),
        emergency=emergency_of(help_here, request.crew, request.date, world),
        observations=observations(site, [held.kind for held in groups], rules),
        forecast_words=_forecast_words(setting),
        conditions=_conditions_lines(setting),
        what_ifs=what_ifs,
        overrides=rules.overridden,
        elevation_m=site.elevation_m,
        surface_pressure_bar=setting.surroundings.surface_pressure_bar,
        water_words=_water_words(site, request, setting),
        hazards=tuple((hazard.what, hazard.control) for hazard in site.hazards),
        briefing=briefing_lines(site, dives, rules, high=site.elevation_m >= rules.value("altitude.corrected_from_m")),
        flag_rule=site.flag_rule,
        after=judged.after,
        lead=judged.lead,
        slates=slate_of(dives, ledger, setting.grid.start, rules),
        packing=judged.packing,
        attribution=_attribution(setting),
        rules_here="; ".join(part for part in (world.code_of_practice, site.rules_here) if part),
    )


def hours_of(dives: Sequence[DivePlan]) -> tuple[datetime, datetime] | None:
    """Return the first entry and the last exit of a day; None where no dive has a time."""
    timed = [dive for dive in dives if dive.entry is not None and dive.exit_by is not None]
    if not timed:
        return None
    return min(d.entry for d in timed if d.entry), max(d.exit_by for d in timed if d.exit_by)


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


def check_place(held: GroupSetting, site: Site) -> Check:
    suits = any(suit in held.place.suits for suit in held.kind.suits)
    wanted = " or ".join(suit.replace("_", " ") for suit in held.kind.suits)
    return Check(
        rule="place-suits",
        outcome=Outcome.OK if suits else Outcome.STOP,
        sentence=(
            f"{held.group.name}: {held.place.name} suits {', '.join(s.replace('_', ' ') for s in held.place.suits)}; "
            f"a {held.kind.words} needs {wanted}."
        ),
        source="SITE_FILE",
        found=", ".join(held.place.suits),
        limit=wanted,
        subject=held.group.name,
    )


def check_site(site: Site, request: Request, world: World, setting: Setting) -> list[Check]:
    rule = world.rules["site.survey_fresh_days"]
    days = (request.date - site.survey_date).days
    fresh = 0 <= days <= rule.value
    checks = [
        Check(
            "survey-fresh",
            Outcome.OK if fresh else Outcome.CAUTION,
            f"{site.name} was surveyed on {site.survey_date}, {days} days before; a survey holds {rule.value:g} days.",
            rule.key,
            days,
            rule.value,
            "days",
            site.name,
        )
    ]
    if site.access.permission:
        sentence = f"Permission: {site.access.permission}. Make sure that it was given for today."
        checks.append(Check("permission", Outcome.CAUTION, sentence, "SITE_FILE", subject=site.name))
    if site.tide.station and site.tide.station not in world.stations:
        sentence = f'The tide station "{site.tide.station}" is not among the stations here: the tide is not known.'
        checks.append(Check("tide-known", Outcome.STOP, sentence, "STATION_FILE", subject=site.name))
    elif site.tide.station:
        unknown = int(np.isnan(setting.heights_m).sum())
        checks.append(
            Check(
                "tide-known",
                Outcome.STOP if unknown else Outcome.OK,
                f"The tide is not known for {unknown} minutes of the day." if unknown else "The tide is known all day.",
                "STATION_FILE",
                unknown,
                0,
                "min",
                site.name,
            )
        )
        if setting.tide is not None:
            incomplete = Outcome.CAUTION if _left_out(setting.tide) else Outcome.OK
            checks.extend(
                Check("tide-complete", incomplete, sentence, "STATION_FILE", subject=site.name)
                for sentence in setting.tide.sentences()
            )
    if site.water.kind != "fresh" and site.water.salinity is None:
        density = setting.surroundings.density_kg_m3
        sentence = f"The salinity is not in the site file: taken as {density:g} kg/m3, against the diver."
        checks.append(Check("salinity-known", Outcome.CAUTION, sentence, "SITE_FILE", subject=site.name))
    if request.measured_pressure_bar is None and site.elevation_m >= world.rules.value("altitude.uncorrected_below_m"):
        sentence = (
            f"Surface pressure {setting.surroundings.surface_pressure_bar:.3f} bar is the standard atmosphere's at "
            f"{site.elevation_m:g} m; a measured one is better."
        )
        checks.append(Check("pressure-measured", Outcome.OK, sentence, "ISO_2533", subject=site.name))
    return checks


def check_weather_of(
    dives: Sequence[DivePlan], groups: Sequence[GroupSetting], setting: Setting, rules: RuleBook
) -> list[Check]:
    """Judge wind, sea and weather for each timed dive, and the forecast itself."""
    grid, site = setting.grid, setting.site
    timed = [(dive, grid.minute_floor(dive.entry)) for dive in dives if dive.entry is not None]
    spans = [slice(entry, entry + (dive.water_time_min or 0) + 1) for dive, entry in timed]
    checks: list[Check] = []
    by_name = {each.group.name: each for each in groups}
    for dive, _ in timed:
        checks.extend(ratio_in_dive(dive, by_name[dive.group], setting, rules))
    if len(setting.rates_kn):
        checks.extend(stream_in_dive(dive, by_name[dive.group], setting, rules) for dive, _ in timed)
    checks.extend(check_sources(site, grid, setting.weather, setting.sea, spans, rules))
    if setting.weather is None or setting.sea is None:
        return checks
    for dive, _ in timed:
        checks.extend(weather_checks(dive, by_name[dive.group], setting, rules))
    return checks


def dive_hours(dive: DivePlan, held: GroupSetting, setting: Setting) -> DiveHours:
    """Return the minutes of a timed dive and how its group goes in and out."""
    if dive.entry is None:
        raise OutOfRange(f"{dive.group}, dive {dive.number}, has no time")
    entry = setting.grid.minute_floor(dive.entry)
    return DiveHours(
        subject=f"{dive.group}, dive {dive.number}",
        entry=entry,
        out=entry + (dive.water_time_min or 0),
        depth_m=dive.depth_m or 0.0,
        kind=held.kind,
        place=held.place,
        ways=(held.going_in, held.coming_out),
        suit_mm=held.group.suit_mm,
        dry_suit=held.group.dry_suit,
    )


def weather_checks(dive: DivePlan, held: GroupSetting, setting: Setting, rules: RuleBook) -> list[Check]:
    """Return every check of wind, sea and weather of a timed dive; none where nobody told anything."""
    if setting.weather is None or setting.sea is None:
        return []
    hours = dive_hours(dive, held, setting)
    stream = (setting.rates_kn, setting.toward_deg)
    water_c = setting.water_minutes_c
    return list(check_weather(hours, setting.grid, setting.weather, setting.sea, water_c, stream, setting.site, rules))


def _rates_in(hours: DiveHours, setting: Setting, rules: RuleBook) -> NDArray[np.float64]:
    """Return the stream of a dive's minutes, the margin of slack on each side included, knots."""
    margin = int(rules.value("stream.slack_margin_min"))
    return setting.rates_kn[max(hours.entry - margin, 0) : hours.out + margin + 1]


def ratio_in_dive(dive: DivePlan, held: GroupSetting, setting: Setting, rules: RuleBook) -> list[Check]:
    """Judge the number of divers on a timed dive, by its own lowest visibility under water and highest stream.

    Empty where the group is too many in any water.
    """
    hours = dive_hours(dive, held, setting)
    below = np.array([math.nan])
    if setting.weather is not None:
        below = setting.weather.minutes["underwater_visibility_m"][hours.span]
    rates = _rates_in(hours, setting, rules)
    unknown = bool(np.isnan(rates).any())
    seen = WaterSeen(
        visibility_m=least(below),
        seen_throughout=not np.isnan(below).any(),
        stream_kn=None if unknown else float(rates.max(initial=0.0)),
        stream_limit_kn=stream_limit_kn(setting.site, held.kind, rules)[0],
    )
    check = check_dive_ratio(held.ratio, hours.subject, seen, rules)
    return [] if check is None else [check]


def stream_in_dive(dive: DivePlan, held: GroupSetting, setting: Setting, rules: RuleBook) -> Check:
    """Judge the stream of a timed dive, the margin of slack on each side included."""
    hours = dive_hours(dive, held, setting)
    limit_kn, source = stream_limit_kn(setting.site, held.kind, rules)
    rates = _rates_in(hours, setting, rules)
    if not len(rates):
        return Check("stream", Outcome.OK, f"{hours.subject}: no stream here.", "SITE_FILE", subject=hours.subject)
    if np.isnan(rates).any():
        sentence = f"{hours.subject}: the stream is not known for all its minutes."
        return Check("stream", Outcome.STOP, sentence, source, None, limit_kn, "kn", hours.subject)
    found = float(rates.max())
    outcome = Outcome.OK if found <= limit_kn else Outcome.STOP
    carried_m = drift_m(setting.rates_kn[hours.span])
    sentence = (
        f"{hours.subject}: the stream runs up to {up_to(found, 2):.2f} kn and carries who drifts with it "
        f"{carried_m:.0f} m during the dive; the limit is {limit_kn:g} kn."
    )
    return Check("stream", outcome, sentence, source, up_to(found, 2), limit_kn, "kn", hours.subject)


def _forecast_words(setting: Setting) -> str:
    if setting.weather is None:
        return "No forecast was used. Observe on site; the limits stand under “On arrival”."
    forecast = setting.weather.forecast
    told = "; ".join(origin.words for origin in forecast.origins) if forecast else ""
    seen = f"{len(setting.weather.seen)} seen on the spot" if setting.weather.seen else ""
    known = ". ".join(part for part in (told, seen) if part) or "No forecast could be had"
    return known + ". Look on site; the limits stand under “On arrival”."


def _conditions_lines(setting: Setting) -> tuple[str, ...]:
    """Say what was seen, and which forecasts were used or could not be had."""
    weather = setting.weather
    if weather is None:
        return ()
    lines = [f"Seen: {seen.words_in(setting.grid.zone)}" for seen in weather.seen]
    if weather.forecast is not None:
        lines.extend(f"Forecast: {origin.words}" for origin in weather.forecast.origins)
        lines.extend(note.sentence for note in weather.forecast.notes)
    return tuple(lines)


def _attribution(setting: Setting) -> tuple[str, ...]:
    forecast = setting.weather.forecast if setting.weather else None
    return tuple(dict.fromkeys(o.attribution for o in forecast.origins if o.attribution)) if forecast else ()


def _left_out(tide: Tide) -> bool:
    """Return whether the tide, or the one it is derived from, lacks constituents that the engine does not know."""
    if isinstance(tide, SecondaryTide):
        return _left_out(tide.reference)
    return isinstance(tide, HarmonicTide) and bool(tide.left_out)


def _check_recent(request: Request) -> list[Check]:
    if request.recent_dives is None:
        return [
            Check(
                "recent-dives-known",
                Outcome.CAUTION,
                "Nobody has written down whether anyone dived in the days before: ask each person. "
                'The request says recent_dives = "none" when all were asked.',
                "OSHA_T",
            )
        ]
    checks = [Check("recent-dives-known", Outcome.OK, "Dives of the days before were asked for.", "OSHA_T")]
    if isinstance(request.recent_dives, tuple):
        names = {dive.person: None for dive in request.recent_dives if dive.altitude_m is None}
        if names:
            sentence = f"The altitude of earlier dives is not written down ({', '.join(names)}): taken as today's."
            checks.append(Check("recent-altitude-known", Outcome.CAUTION, sentence, "NAVY_RULES"))
    return checks


def check_cold(setting: Setting, request: Request, world: World) -> list[Check]:
    site, water_c = setting.site, setting.water_c
    told = setting.weather is not None and setting.weather.minutes.knows("water_c")
    divers = [world.people[name] for group in request.groups for name in group.divers]
    children = children_of(divers, request.date, world.rules)
    rule = world.rules["cold.child_water_c"]
    if not children:
        if water_c is None:
            sentence = "The water temperature is neither in the site file nor told today: choose suits on site."
            return [Check("water-temperature-known", Outcome.CAUTION, sentence, "SITE_FILE", subject=site.name)]
        return []
    names = ", ".join(child.name for child in children)
    if water_c is None:
        sentence = f"The water's temperature is not known, and children dive ({names}): measure it, stop below "
        sentence += f"{rule.value:g} C."
        outcome = Outcome.CAUTION
    else:
        usual = "The water has" if told else "The water usually has this month"
        sentence = f"{usual} {down_to(water_c, 1):g} C; children ({names}) do not dive below {rule.value:g} C."
        outcome = Outcome.OK if water_c >= rule.value else Outcome.STOP
    return [Check("cold-children", outcome, sentence, rule.key, water_c, rule.value, "C", names)]


# ---- the dives ----


def plan_dives(
    request: Request, world: World, setting: Setting, groups: Sequence[GroupSetting]
) -> tuple[tuple[DivePlan, ...], list[Check], Ledger]:
    """Time every group's first dive, then every second one, and so on: each sees what the day already holds.

    Where every entry is fixed they are taken in order of time.
    """
    ledger = _open_ledger(request, world, setting)
    dives: list[DivePlan] = []
    checks: list[Check] = []
    turns = [
        (number, held)
        for number in range(1, max(len(held.group.dives) for held in groups) + 1)
        for held in groups
        if number <= len(held.group.dives)
    ]
    if all(wish.entry is not None for held in groups for wish in held.group.dives):
        # Whoever is in two groups has the earlier dive behind them first, whichever number it has in its group.
        turns.sort(key=lambda turn: turn[1].group.dives[turn[0] - 1].entry or time())
    for number, held in turns:
        dive, found = _plan_dive(request, world, setting, held, number, ledger)
        dives.append(dive)
        checks.extend(found)
    checks.extend(check_counts(request, world))
    checks.extend(check_ascents(request, world))
    wet: dict[str, list[str]] = {}
    for dive in dives:
        for person in dive.people:
            wet.setdefault(person.name, []).append(f"{dive.group}, dive {dive.number}")
    checks.extend(check_ashore(request.crew, wet, world.people, request.date, world.rules))
    dives.sort(key=lambda dive: math.inf if dive.entry is None else dive.entry.timestamp())
    return tuple(dives), checks, ledger


def _open_ledger(request: Request, world: World, setting: Setting) -> Ledger:
    arrived = request.altitude.arrived
    ledger = Ledger(
        surroundings=setting.surroundings,
        rules=world.rules,
        arrived=setting.grid.last_of_clock(arrived) if arrived else None,
        settled=request.altitude.settled,
        memo=setting.limits,
    )
    if isinstance(request.recent_dives, tuple):
        for dive in sorted(request.recent_dives, key=lambda dive: dive.surfaced.timestamp()):
            surfaced = minute_of(dive.surfaced, setting.grid.start)
            descent = surfaced - ascent_min(dive.depth_m, world.rules) - dive.minutes
            ledger.done.setdefault(dive.person, []).append(
                Done(
                    dive.depth_m,
                    dive.minutes,
                    descent,
                    surfaced,
                    surfaced,
                    dive.oxygen_percent,
                    _elsewhere(dive, setting, world),
                )
            )
    return ledger


def _elsewhere(dive: RecentDive, setting: Setting, world: World) -> Surroundings | None:
    """Return the water of an earlier dive: its own height where that is known, else today's or the sea's, if heavier.

    Its density is not known: taken as the sea's, against the diver.
    """
    if dive.altitude_m is None or dive.altitude_m == setting.surroundings.altitude_m:
        return None
    return Surroundings(dive.altitude_m, world.rules.value("water.sea_density_kg_m3"), "sea")


def _plan_dive(
    request: Request, world: World, setting: Setting, held: GroupSetting, number: int, ledger: Ledger
) -> tuple[DivePlan, list[Check]]:
    rules, site, grid = world.rules, setting.site, setting.grid
    group, kind, place = held.group, held.kind, held.place
    wish = _not_before_the_dives_before(group, number)
    subject = f"{group.name}, dive {number}"
    people = [world.people[name] for name in group.everybody]
    leader = world.people[group.leader] if group.leader else None
    children = children_of([world.people[name] for name in group.divers], request.date, rules)
    water_c = setting.water_c

    mixes, richest = mixes_of(group, wish), group.richest_percent(wish)

    def contest_with(no_stop: Candidate | None) -> Contest:
        course = world.skills.course(kind.name)
        return depth_contest(
            people,
            leader,
            kind,
            place,
            site,
            setting.surroundings,
            richest,
            request.date,
            rules,
            no_stop,
            course,
            wish.course_dive,
        )

    fixed_m = contest_with(None).value or 0.0
    cap = time_contest([], kind, children, water_c, None, fixed_m, rules).value or 0.0
    depth_m = min(wish.depth_m, fixed_m) if wish.depth_m is not None else fixed_m
    depth_m = math.floor(round(depth_m * 10, 6)) / 10
    if wish.depth_m is None:
        depth_m = min(depth_m, _depth_for_time(wish, int(cap), depth_m, group, held, ledger, rules.value))
    cylinder = cylinder_of(group, wish, water_c)

    def gas_for(minutes: int) -> GroupGas | None:
        if cylinder is None or depth_m <= 0:
            return None
        return group_gas(people, cylinder, depth_m, minutes, place.swim_min or 0, setting.surroundings, rules)

    gas = gas_for(max(min(int(cap), wish.minutes or int(cap)), 1))
    if gas is not None:
        cap = min(cap, float(gas.longest_min))
    if gas is not None and gas.longest_min < 1:
        slot = Slot(None, reasons=(gas.candidate.sentence,))
    elif depth_m > 0:
        slot = find_slot(group, wish, depth_m, int(cap), place, site, held.window, ledger, request, world.people, rules)
    elif fixed_m > 0:
        slot = Slot(None, reasons=("the no-stop limits leave no time at any depth",))
    else:
        slot = Slot(None, reasons=("the depth limit is 0 m",))
    checks = check_wishes(subject, wish, fixed_m, contest_with(None))
    checks.append(check_bottom(subject, kind, place, contest_with(None)))
    if slot.entry is None:
        reasons = [reason.rstrip(".") for reason in slot.reasons] or ["no reason found"]
        sentence = f"{subject}: no minute of the day works. {'; '.join(reasons)}."
        checks.append(Check("entry-possible", Outcome.STOP, sentence, "SITE_FILE", subject=subject))
        checks.extend(check_gas(subject, gas))
        checks.extend(_day_already_spent(subject, people, held, wish, ledger))
        return _unplaced(held, number, wish, setting, contest_with(None), depth_m), checks

    parts = parts_of(depth_m, slot.bottom_min, place, rules)
    descent = slot.entry + parts.swim_out
    limits = [(person, ledger.limit(person.name, depth_m, mixes[person.name], descent)) for person in people]
    deepest = deepest_for(
        slot.bottom_min, _limit_at(ledger, group, wish, descent), min(DEEPEST_SEARCHED_M, fixed_m + 20)
    )
    no_stop = Candidate(
        "no-stop",
        max(deepest, depth_m),
        f"no-stop limits allow {slot.bottom_min} min down to {max(deepest, depth_m):g} m",
        "NAVY_7",
    )
    contest = contest_with(no_stop)
    gas = gas_for(slot.bottom_min)
    checks.extend(check_gas(subject, gas))
    density = check_gas_density(depth_m, setting.surroundings, rules, richest)
    checks.append(replace(density, sentence=f"{subject}: {density.sentence}", subject=subject))
    time = time_contest(
        limits, kind, children, water_c, slot.window_bottom_min, depth_m, rules, gas.candidate if gas else None
    )
    intervals = [
        descent - ledger.ready_at(person.name)[0] for person in people if ledger.ready_at(person.name)[0] > -math.inf
    ]
    after = {
        person.name: handbook_group_after(
            depth_m,
            slot.bottom_min,
            setting.surroundings,
            ledger.exposures(person.name, descent),
            rules,
            hours_since_arrival_h=ledger.hours_since_arrival_h(descent),
            oxygen_percent=mixes[person.name],
        )
        for person in people
    }
    checks.extend(_check_times(subject, wish, slot, time))
    checks.extend(_no_stop_checks(subject, limits))
    told = {check.sentence for _, limit in limits for check in limit.checks}
    for person in people:  # a group that the handbook cannot give afterwards is said, not left blank
        checks.extend(
            replace(check, sentence=f"{subject}: {person.name}: {check.sentence}", subject=subject)
            for check in after[person.name].checks
            if check.outcome is Outcome.STOP and check.sentence not in told
        )
    checks.extend(_check_deeper(subject, people, depth_m, ledger))
    surfaced = descent + parts.bottom + parts.ascent
    out = slot.entry + parts.water
    overdue = min(out + int(rules.value("overdue.after_min")), slot.window_end)
    any_limit = limits[0][1]
    dive = DivePlan(
        group=group.name,
        kind=kind.name,
        kind_words=kind.words,
        number=number,
        site=request.site,
        place=place.name,
        going_in_by=held.going_in.name,
        coming_out_by=held.coming_out.name,
        leader=group.leader,
        assistants=group.assistants,
        divers=group.divers,
        pairs=propose_pairs(group, world.people, request.date, rules),
        entry=grid.at(slot.entry),
        descent=grid.at(descent),
        exit=grid.at(out),
        exit_by=grid.at(overdue),
        overdue_at=grid.at(overdue),
        window_closes=grid.at(slot.window_end),
        depth=contest,
        time=time,
        depth_m=depth_m,
        bottom_time_min=slot.bottom_min,
        water_time_min=parts.water,
        surface_interval_min=math.floor(min(intervals)) if intervals else None,
        equivalent_depth_m=any_limit.equivalent_depth_m,
        handbook_row_fsw=any_limit.handbook_row_fsw,
        gauge_zeroed_m=any_limit.gauge_zeroed_m,
        gauge_sealed_m=any_limit.gauge_sealed_m,
        oxygen_percent=group.richest_percent(wish),
        tide_entry_m=_height_at(setting, slot.entry),
        tide_exit_m=_height_at(setting, out),
        people=tuple(
            replace(
                _person_dive(person, group, request, kind, leader, limit, after[person.name].group, rules),
                oxygen_percent=mixes[person.name],
            )
            for person, limit in limits
        ),
        moved_because="; ".join(slot.reasons),
        gas=dive_gas(gas, rules) if gas else None,
    )
    for person in people:
        ledger.done.setdefault(person.name, []).append(
            Done(depth_m, slot.bottom_min, descent, surfaced, out, mixes[person.name])
        )
    ledger.in_water.append((slot.entry, out, group.everybody))
    last = latest_entry(held.window, slot.entry, parts.water, slot.window_end)
    margin = last - slot.entry
    checks.append(
        Check(
            "entry-margin",
            Outcome.OK if margin > 0 else Outcome.CAUTION,
            f"{subject}: in at {dive.entry:%H:%M}; it still fits when going in as late as {grid.at(last):%H:%M}.",
            "SITE_FILE",
            margin,
            0,
            "min",
            subject,
        )
    )
    return dive, checks


def _not_before_the_dives_before(group: GroupWish, number: int) -> DiveWish:
    """Return a dive's wish, no earlier than the dives before it were asked for.

    Where one of those finds no time, the next must not slip into the early morning in its place.
    """
    wish = group.dives[number - 1]
    if wish.entry is not None:
        return wish
    asked = [clock for dive in group.dives[:number] if (clock := dive.entry or dive.not_before) is not None]
    return wish.model_copy(update={"not_before": max(asked)}) if asked else wish


def check_bottom(subject: str, kind: Kind, place: Place, contest: Contest) -> Check:
    """Judge the bottom of the place against the depth limit: nobody dives above a bottom that begins beyond it."""
    limit_m = contest.value or 0.0
    because = contest.binding.sentence if contest.binding else ""
    if place.shallowest_m > limit_m:
        outcome = Outcome.STOP
        words = f"{place.name} begins at {place.shallowest_m:g} m, beyond the limit of {limit_m:g} m ({because})"
    elif kind.training and place.deepest_m > limit_m:
        outcome = Outcome.CAUTION
        words = f"{place.name} goes on to {place.deepest_m:g} m, beyond the limit of {limit_m:g} m ({because}): "
        words += "the leader stays on the deep side"
    else:
        outcome = Outcome.OK
        words = f"{place.name} is {place.shallowest_m:g} to {place.deepest_m:g} m; the limit is {limit_m:g} m"
    return Check(
        "bottom-within-limit", outcome, f"{subject}: {words}.", "SITE_FILE", place.deepest_m, limit_m, "m", subject
    )


def _day_already_spent(
    subject: str, people: Sequence[Person], held: GroupSetting, wish: DiveWish, ledger: Ledger
) -> list[Check]:
    """Return what stops somebody's dives for the whole day, reckoned at the last minute in which one may go in."""
    usable = held.window.usable()
    if not usable:
        return []
    descent = held.window.grid.minute_floor(usable[-1].entries[-1].end) - 1
    try:
        limits = [(p, ledger.limit(p.name, 1.0, mixes_of(held.group, wish)[p.name], descent)) for p in people]
    except OutOfRange as error:
        return [Check("no-stop-known", Outcome.STOP, f"{subject}: {error}.", "NAVY_7", subject=subject)]
    return [check for check in _no_stop_checks(subject, limits) if check.outcome is Outcome.STOP]


def _limit_at(ledger: Ledger, group: GroupWish, wish: DiveWish, descent: float) -> Callable[[float], int | None]:
    def limit(depth_m: float) -> int | None:
        try:
            return ledger.tightest(mixes_of(group, wish), depth_m, descent)
        except OutOfRange:  # deeper than the handbook's last row
            return 0

    return limit


def _depth_for_time(
    wish: DiveWish,
    cap: int,
    deepest_m: float,
    group: GroupWish,
    held: GroupSetting,
    ledger: Ledger,
    value: Callable[[str], float],
) -> float:
    """Return the deepest depth that allows the wished minutes (or the shortest dive) at the first possible descent."""
    usable = held.window.usable()
    first = held.window.grid.minute_floor(usable[0].start) if usable else 0
    ready = max((ledger.ready_at(name)[0] for name in group.everybody), default=-math.inf)
    descent = max(float(first), ready + value("surface_interval.shortest_min"))
    minutes = min(wish.minutes if wish.minutes is not None else int(value("dive.shortest_min")), cap)
    return deepest_for(minutes, _limit_at(ledger, group, wish, descent), deepest_m)


def check_wishes(subject: str, wish: DiveWish, fixed_m: float, contest: Contest) -> list[Check]:
    if wish.depth_m is None:
        return []
    fits = wish.depth_m <= fixed_m
    because = contest.binding.sentence if contest.binding else ""
    source = contest.binding.source if contest.binding else "REQUEST"
    sentence = f"{subject}: {wish.depth_m:g} m is wished; before time counts, the limit is {fixed_m:g} m ({because})."
    outcome = Outcome.OK if fits else Outcome.STOP
    return [Check("depth-within-limit", outcome, sentence, source, wish.depth_m, fixed_m, "m", subject)]


def _check_times(subject: str, wish: DiveWish, slot: Slot, time: Contest) -> list[Check]:
    binding = time.binding
    limit = time.value if time.value is not None else math.inf
    checks: list[Check] = []
    if wish.minutes is not None:
        fits = wish.minutes <= slot.bottom_min
        because = f" ({binding.sentence})" if binding else ""
        sentence = f"{subject}: {wish.minutes} min are wished; {slot.bottom_min} min are possible{because}."
        source = binding.source if binding else "REQUEST"
        outcome = Outcome.OK if fits else Outcome.STOP
        checks.append(
            Check("time-within-limit", outcome, sentence, source, wish.minutes, slot.bottom_min, "min", subject)
        )
    spare = limit - slot.bottom_min
    sentence = (
        f"{subject}: {slot.bottom_min} min planned, {limit:g} min allowed ({binding.sentence if binding else ''})."
    )
    checks.append(
        Check(
            "bottom-time",
            Outcome.OK if spare >= 0 else Outcome.STOP,
            sentence,
            binding.source if binding else "REQUEST",
            slot.bottom_min,
            limit if math.isfinite(limit) else None,
            "min",
            subject,
        )
    )
    return checks


def _no_stop_checks(subject: str, limits: Sequence[tuple[Person, NoStop]]) -> list[Check]:
    """Keep each person's physics checks, one line for all people whom the same sentence concerns."""
    names: dict[Check, list[str]] = {}
    for person, limit in limits:
        for check in limit.checks:
            names.setdefault(check, []).append(person.name)
    everybody = len(limits)
    return [
        replace(
            check,
            sentence=f"{subject}: {check.sentence}" + ("" if len(who) == everybody else f" ({', '.join(who)})"),
            subject=subject,
        )
        for check, who in names.items()
    ]


def _check_deeper(subject: str, people: Sequence[Person], depth_m: float, ledger: Ledger) -> list[Check]:
    before = [
        (dive.depth_m, person.name)
        for person in people
        for dive in ledger.done.get(person.name, [])
        if dive.depth_m < depth_m
    ]
    if not before:
        return []
    shallowest, name = min(before)
    sentence = (
        f"{subject}: {depth_m:g} m comes after a shallower dive ({name}, {shallowest:g} m): deepest first is usual."
    )
    return [Check("deepest-first", Outcome.CAUTION, sentence, "COMMON_PRACTICE", depth_m, shallowest, "m", subject)]


def _made_today(request: Request, world: World) -> tuple[str, ...]:
    """Return who made each of the recent dives that are of the day itself, by the site's clock."""
    if not isinstance(request.recent_dives, tuple):
        return ()
    zone = ZoneInfo(world.sites[request.site].timezone)
    return tuple(dive.person for dive in request.recent_dives if dive.surfaced.astimezone(zone).date() == request.date)


def check_ascents(request: Request, world: World) -> list[Check]:
    """Judge how often each person comes up in the day: exercises with several ascents count each of them.

    A dive made before the plan counts as one: of more nobody wrote.
    """
    counts: dict[str, int] = {}
    for group in request.groups:
        for name in group.everybody:
            counts[name] = counts.get(name, 0) + sum(dive.ascents for dive in group.dives)
    for name in _made_today(request, world):
        if name in counts:
            counts[name] += 1
    rule = world.rules["ascent.most_per_day"]
    return [
        Check(
            "ascents-per-day",
            Outcome.OK if count <= rule.value else Outcome.STOP,
            f"{name} comes up {count} time{'s' if count > 1 else ''} today; {rule.value:g} are allowed.",
            rule.key,
            count,
            rule.value,
            "ascents",
            name,
        )
        for name, count in counts.items()
    ]


def check_counts(request: Request, world: World) -> list[Check]:
    """Judge how many dives each person makes in the day; who leads peers makes no more than they do."""
    counts: dict[str, int] = {}
    staff: set[str] = set()
    for group in request.groups:
        if KINDS[group.kind].led:
            staff.update(group.assistants, [group.leader] if group.leader else [])
        for name in group.everybody:
            counts[name] = counts.get(name, 0) + len(group.dives)
    for name in _made_today(request, world):  # one made this morning is one of today's
        if name in counts:
            counts[name] += 1
    checks: list[Check] = []
    for name, count in counts.items():
        rule = world.rules["dive.most_per_day_staff" if name in staff else "dive.most_per_day"]
        outcome = Outcome.OK if count <= rule.value else Outcome.STOP
        sentence = f"{name} makes {count} dive{'s' if count > 1 else ''} today; {rule.value:g} are allowed."
        checks.append(Check("dives-per-day", outcome, sentence, rule.key, count, rule.value, "dives", name))
    return checks


def _person_dive(
    person: Person,
    group: GroupWish,
    request: Request,
    kind: Kind,
    leader: Person | None,
    limit: NoStop,
    group_after: str | None,
    rules: RuleBook,
) -> PersonDive:
    own = person_depth(person, request.date, kind, leader, rules)
    role = "leader" if person.name == group.leader else ("assistant" if person.name in group.assistants else "diver")
    return PersonDive(
        name=person.name,
        role=role,  # type: ignore[arg-type]
        level_words=person.level.words,
        age=person.age_on(request.date),
        depth_limit_m=own.value or 0.0,
        depth_because=own.sentence,
        group_before=limit.handbook_group,
        group_after=group_after,
        no_stop_min=limit.no_stop_min,
    )


def _unplaced(
    held: GroupSetting, number: int, wish: DiveWish, setting: Setting, contest: Contest, depth_m: float
) -> DivePlan:
    """Return a dive that has no time: nothing in it may be read as a time to go in."""
    group = held.group
    return DivePlan(
        group=group.name,
        kind=held.kind.name,
        kind_words=held.kind.words,
        number=number,
        site=setting.site.slug,
        place=held.place.name,
        going_in_by=held.going_in.name,
        coming_out_by=held.coming_out.name,
        leader=group.leader,
        assistants=group.assistants,
        divers=group.divers,
        pairs=(),
        entry=None,
        descent=None,
        exit=None,
        exit_by=None,
        overdue_at=None,
        window_closes=None,
        depth=contest,
        time=Contest("longest bottom time", "min", ()),
        depth_m=depth_m,
        bottom_time_min=None,
        water_time_min=None,
        surface_interval_min=None,
        equivalent_depth_m=None,
        handbook_row_fsw=None,
        gauge_zeroed_m=None,
        gauge_sealed_m=None,
        oxygen_percent=group.richest_percent(wish),
        tide_entry_m=None,
        tide_exit_m=None,
        people=(),
    )


def _height_at(setting: Setting, minute: int) -> float | None:
    if not len(setting.heights_m) or minute >= len(setting.heights_m):
        return None
    height = float(setting.heights_m[minute])
    return None if math.isnan(height) else round(height, 3)


# ---- what the plan shows ----


def _shown_windows(groups: Sequence[GroupSetting]) -> tuple[tuple[UsableWindow, ...], tuple[Closure, ...]]:
    """Return windows and closures, once for all groups where they agree, else labelled with the groups they are for."""
    by_window: dict[tuple[Closure, ...], list[GroupSetting]] = {}
    for held in groups:
        by_window.setdefault(held.window.closures, []).append(held)
    windows: list[UsableWindow] = []
    closures: list[Closure] = []
    for shared, holders in by_window.items():
        names = () if len(by_window) == 1 else tuple(held.group.name for held in holders)
        windows.extend(holders[0].window.usable(names))
        closures.extend(replace(closure, groups=names) for closure in shared)
    windows.sort(key=lambda window: (window.start.timestamp(), window.groups))
    return tuple(windows), tuple(closures)


def _whole_minute(moment: datetime | None, *, later: bool) -> datetime | None:
    """Return a moment of light at a whole minute, the day made shorter: dawn and sunrise up, sunset and dusk down."""
    if moment is None:
        return None
    whole = moment.replace(second=0, microsecond=0)
    return (
        whole
        if not later or whole == moment
        else (whole.astimezone(UTC) + timedelta(minutes=1)).astimezone(moment.tzinfo)
    )


def _tide_events(setting: Setting) -> tuple[TideEvent, ...]:
    if setting.tide is None:
        return ()
    grid = setting.grid
    points = setting.tide.turning_points(grid.at(0), grid.at(grid.minutes))
    return tuple(TideEvent(p.time.astimezone(grid.zone), p.kind, round(p.height_m, 3)) for p in points)


def _tide_words(site: Site, station: Station | None) -> str:
    if site.tide.station is None:
        return f"No tide: {site.tide.none_because}"
    if station is None:
        return f'Tide station "{site.tide.station}" is missing: the tide is not known.'
    link = site.tide
    offsets = []
    if link.high_time_min or link.low_time_min:
        offsets.append(f"high water {link.high_time_min:+g} min, low water {link.low_time_min:+g} min")
    if (link.high_ratio, link.low_ratio) != (1, 1):
        offsets.append(f"heights times {link.high_ratio:g} and {link.low_ratio:g}")
    if link.high_add_m or link.low_add_m:
        offsets.append(f"heights {link.high_add_m:+g} m and {link.low_add_m:+g} m")
    shifted = f", {'; '.join(offsets)}" if offsets else ""
    return f"{station.name}{shifted}; heights above {station.datum}. Predicted: weather moves the sea by decimetres."


def _curve(setting: Setting, groups: Sequence[GroupSetting], margin_m: float, world: World) -> DayCurve:
    first = groups[0]
    site = setting.site

    def edges(way: object) -> tuple[float | None, float | None]:
        return limits_with_margin(way, margin_m) if isinstance(way, TideLimits) else (None, None)

    limit = min(stream_limit_kn(site, held.kind, world.rules)[0] for held in groups) if len(setting.rates_kn) else None
    return DayCurve(
        midnight=setting.grid.start,
        minutes=setting.grid.minutes,
        tide_m=tuple(float(h) for h in setting.heights_m[:-1]) if len(setting.heights_m) else (),
        stream_kn=tuple(float(r) for r in setting.rates_kn[:-1]) if len(setting.rates_kn) else (),
        going_in_m=edges(first.going_in.going_in),
        coming_out_m=edges(first.coming_out.coming_out),
        stream_limit_kn=limit,
        **_weather_curve(setting, first, [held.kind for held in groups], world.rules),
    )


def _weather_curve(setting: Setting, first: GroupSetting, kinds: Sequence[Kind], rules: RuleBook) -> dict[str, Any]:
    """Return what the picture shows of surf and wind: the first group's ways, the strictest limits of all groups."""
    weather, sea = setting.weather, setting.sea
    if weather is None or sea is None:
        return {}
    ways = (first.going_in, first.coming_out)
    limits = np.min([wind_limits_kn(weather, setting.site, kind, ways, rules) for kind in kinds], axis=0)
    found: dict[str, Any] = {}
    if sea.known.any():
        limit_m = min(breaker_limit_m(setting.site, kind, rules)[0] for kind in kinds)
        # A part of the sea alone may look calm: it is drawn only where it is too much already.
        shown = np.where(sea.incomplete & ~(sea.breaker_m > limit_m), math.nan, sea.breaker_m)
        found["surf_m"] = tuple(float(value) for value in shown[:-1])
        found["surf_limit_m"] = limit_m
    if np.isfinite(weather.wind_kn).any():
        found["wind_kn"] = tuple(float(value) for value in weather.wind_kn[:-1])
        found["gust_kn"] = tuple(float(value) for value in weather.gust_kn[:-1])
        found["wind_from_deg"] = tuple(float(value) for value in weather.minutes["wind_from_deg"][:-1])
        found["wind_limit_kn"] = tuple(float(value) for value in limits[:-1])
    return found


def _what_ifs(dives: Sequence[DivePlan], groups: Sequence[GroupSetting]) -> tuple[WhatIf, ...]:
    """Return what could change the answer and by how much: delay, a deeper dive, the tide at the way out."""
    windows = {held.group.name: held for held in groups}
    found: list[WhatIf] = []
    for dive in dives:
        if dive.entry is None or dive.window_closes is None or dive.bottom_time_min is None:
            continue
        held = windows[dive.group]
        name = f"{dive.group}, dive {dive.number}"
        grid = held.window.grid
        end = grid.minute_floor(dive.window_closes)
        late = grid.at(latest_entry(held.window, grid.minute_floor(dive.entry), dive.water_time_min or 0, end))
        closing = held.window.reasons(min(end, grid.minutes - 1), "water") if end < grid.minutes else ()
        why = closing[0].sentence if closing else "The day ends."
        found.append(
            WhatIf(
                f"{name}: in as late as {late:%H:%M} and the dive still fits as planned. What ends it: {why}",
                margin_min=round((late.timestamp() - dive.entry.timestamp()) / 60),
            )
        )
        limits = (held.coming_out.coming_out, dive.tide_exit_m)
        if isinstance(limits[0], TideLimits) and limits[1] is not None:
            for edge, words in ((limits[0].lowest_m, "above the lowest"), (limits[0].highest_m, "below the highest")):
                if edge is not None:
                    spare = abs(limits[1] - edge)
                    found.append(
                        WhatIf(
                            f"{name}: at the planned time out the tide is {limits[1]:.1f} m, {spare:.1f} m {words} "
                            f"for coming out by {dive.coming_out_by}."
                        )
                    )
        deeper = next((c for c in dive.depth.candidates if c.name == "no-stop"), None)
        if deeper is not None and dive.depth_m is not None:
            found.append(WhatIf(f"{name}: planned to {dive.depth_m:g} m; the {deeper.sentence}, not deeper."))
        binding = dive.time.binding
        if binding is not None and dive.time.value is not None:
            found.append(
                WhatIf(
                    f"{name}: {dive.time.value - dive.bottom_time_min:g} min of bottom time are spare "
                    f"({binding.sentence})."
                )
            )
    return tuple(found)


def _nearest_edge(what_ifs: Sequence[WhatIf], checks: Sequence[Check]) -> str:
    stops = [check for check in checks if check.outcome is Outcome.STOP]
    if stops:
        more = f" (and {len(stops) - 1} more)" if len(stops) > 1 else ""
        return f"What stops it: {stops[0].sentence}{more}"
    timed = [what for what in what_ifs if what.margin_min is not None]
    if not timed:
        return "Nothing is timed."
    closest = min(timed, key=lambda what: what.margin_min or 0)
    return f"Closest to stopping it, {closest.margin_min} min away: {closest.sentence}"


def _headline(
    site: Site, request: Request, verdict: Outcome, checks: Sequence[Check], dives: Sequence[DivePlan]
) -> str:
    day = f"{request.date:%A} {request.date.day} {request.date:%B %Y}"
    where = f"{site.name}, {day}"
    if verdict is Outcome.STOP:
        stops = sum(check.outcome is Outcome.STOP for check in checks)
        return (
            f"Do not go as asked: {where}. {stops} thing{'s' if stops > 1 else ''} stop{'' if stops > 1 else 's'} it."
        )
    timed = [dive for dive in dives if dive.entry is not None and dive.exit is not None]
    cautions = sum(check.outcome is Outcome.CAUTION for check in checks)
    care = f", with {cautions} caution{'s' if cautions != 1 else ''}" if cautions else ""
    first = min((dive.entry for dive in timed if dive.entry), key=lambda t: t.timestamp())
    last = max((dive.exit for dive in timed if dive.exit), key=lambda t: t.timestamp())
    return f"Go{care}: {where}. First in {first:%H:%M}, last out {last:%H:%M}."


def _water_words(site: Site, request: Request, setting: Setting) -> str:
    told = setting.weather is not None and setting.weather.minutes.knows("water_c")
    temperature_c = setting.water_c
    usual = f", usually {temperature_c:g} C in {request.date:%B}" if temperature_c is not None else ""
    if told and temperature_c is not None:
        usual = f", {down_to(temperature_c, 1):g} C today at the coldest"
    return f"{site.water.kind} water, {setting.surroundings.density_kg_m3:.0f} kg/m3{usual}"


def revision_of(request: Request, world: World) -> str:
    """Return a short hash of everything the plan was made from: the same inputs give the same eight characters.

    The program's version is one of them: another version may reckon otherwise from the same files.
    """
    text = json.dumps(plan_inputs(request, world), sort_keys=True, ensure_ascii=True, default=repr)
    return hashlib.sha256(text.encode()).hexdigest()[:8]


def plan_inputs(request: Request, world: World) -> dict[str, Any]:
    """Return everything that a plan is made from, as values that can be kept."""
    site = world.sites[request.site]
    names = {name for group in request.groups for name in group.everybody}
    names |= {*request.crew.everybody}
    who = {as_compared(name) for name in names}
    station = world.stations.get(site.tide.station or "")
    ticks = [tick for _, told in sorted(world.ticks.items()) for tick in told if as_compared(tick.person) in who]
    counted = set(counted_ticks(ticks, no_instructors(world.people)))
    return {
        "version": __version__,
        "request": request.model_dump(mode="json"),
        "site": {**site.model_dump(mode="json", fallback=repr), "slug": site.slug},
        "station": repr(station),
        "people": {name: world.people[name].model_dump(mode="json") for name in sorted(names)},
        "rules": {key: [rule.value, rule.reason] for key, rule in sorted(world.rules.rules.items())},
        "readiness": world.readiness.model_dump(mode="json"),
        "kit": None if world.kit is None else world.kit.model_dump(mode="json"),
        "skills": [
            course.model_dump(mode="json")
            for course in world.skills.courses
            if course.kind in {group.kind for group in request.groups}
        ],
        "ticks": [repr(tick) for tick in ticks],
        "ticks_not_counted": [repr(tick) for tick in ticks if tick not in counted],  # by who is no instructor
        "confirmed": [repr(one) for one in world.confirmed if one.at.date() <= request.date],
        "conditions": as_inputs(world.conditions[site.slug]) if site.slug in world.conditions else None,
        "centre": [world.centre_name, world.code_of_practice, world.demonstration],
    }
