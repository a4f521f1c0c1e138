"""A year of tide beside two independent libraries, and a year of windows beside asking for each minute."""

from __future__ import annotations

import time
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from tests.bench.table import Row, seconds
from tripplan.catalogue.site import Site
from tripplan.environment.daylight import daylight
from tripplan.environment.tide import HarmonicTide, height_m, minutes_utc
from tripplan.people.group import KINDS, Kind
from tripplan.planning.season import season_minutes
from tripplan.planning.setting import site_windows, usual_ways_out
from tripplan.planning.window import (
    DayGrid,
    access_closures,
    light_closures,
    limits_with_margin,
    site_stream,
    site_tide,
    stream_limit_kn,
)
from tripplan.planning.world import World
from tripplan.store.folder import Folder

YEAR = (datetime(2027, 1, 1, tzinfo=UTC), datetime(2028, 1, 1, tzinfo=UTC))
# What both libraries know too.
CONSTITUENTS = ("M2", "S2", "N2", "K2", "NU2", "MU2", "2N2", "L2", "K1", "O1", "P1", "Q1", "M4", "MS4", "MN4", "M6")
APART_M = 0.3  # other node factors, taken at other moments
SEASON_SITES, SEASON_FROM, SEASON_TO = 20, date(2027, 1, 1), date(2027, 12, 31)
PLAIN_HOURS, PLAIN_MINUTES = (9, 12, 15), 10  # of one day at each site: from each of these hours on, so many minutes


def tide_rows(folder: Folder) -> Iterator[Row]:
    """Measure a year of heights with the same published constants in all; raises AssertionError where they differ."""
    whole = folder.stations["verrow-harbour"].tide
    assert isinstance(whole, HarmonicTide)
    tide = HarmonicTide(whole.mean_level_m, tuple(one for one in whole.constituents if one.name in CONSTITUENTS))
    times = minutes_utc(*YEAR)[::6].astype("datetime64[s]")
    ours = tide.heights_m(times)
    ours_ms = seconds(lambda: tide.heights_m(times)) * 1000
    part, what = "a year of tide every 6 minutes", f"our own, {len(tide.constituents)} constituents"
    for name, job in (("utide", _by_utide(tide, times, ours)), ("uptide", _by_uptide(tide, times))):
        apart_m = float(np.abs(job() - ours).max())
        assert apart_m < APART_M, f"{name} is {apart_m:.2f} m apart"
        yield Row(part, what, ours_ms, "ms", seconds(job) * 1000, f"{name} (at most {apart_m * 1000:.0f} mm apart)")


def _by_utide(tide: HarmonicTide, times: NDArray[np.datetime64], heights: NDArray[np.float64]):
    import utide

    # Solved only to have its form: the same published constants then stand in both.
    constants = utide.solve(
        times[::10],
        heights[::10],
        lat=46.879,
        constit=sorted(CONSTITUENTS),
        trend=False,
        conf_int="none",
        method="ols",
        verbose=False,
    )
    published = {one.name: one for one in tide.constituents}
    constants.A[:] = [published[name].amplitude_m for name in constants.name]
    constants.g[:] = [published[name].phase_lag_deg for name in constants.name]
    constants.mean = tide.mean_level_m
    return lambda: utide.reconstruct(times, constants, verbose=False).h


def _by_uptide(tide: HarmonicTide, times: NDArray[np.datetime64]):
    import uptide

    since_s = (times - times[0]) / np.timedelta64(1, "s")
    amplitudes = [one.amplitude_m for one in tide.constituents]
    phases = [np.radians(one.phase_lag_deg) for one in tide.constituents]
    middle_s = float(since_s[len(since_s) // 2])

    def heights() -> NDArray[np.float64]:
        library = uptide.Tides([one.name for one in tide.constituents])
        library.set_initial_time(YEAR[0].replace(tzinfo=None))
        library.compute_nodal_corrections(middle_s)
        found: NDArray[np.float64] = tide.mean_level_m + library.from_amplitude_phase(amplitudes, phases, since_s)
        return found

    return heights


def twenty_sites(folder: Folder) -> list[Site]:
    """Return the sites of the demonstration, and copies whose tide turns some minutes earlier or later."""
    originals = list(folder.sites.values())
    found = []
    for number in range(SEASON_SITES):
        site, round_ = originals[number % len(originals)], number // len(originals)
        if round_ and site.tide.station:
            tide = site.tide
            moved = {"high_time_min": tide.high_time_min + 7 * round_, "low_time_min": tide.low_time_min - 4 * round_}
            site = site.model_copy(update={"slug": f"{site.slug}-{round_}", "tide": tide.model_copy(update=moved)})
        found.append(site)
    return found


def plainly_open(site: Site, world: World, kind: Kind, moment: datetime) -> tuple[bool, bool]:
    """Return whether one may be in the water, and go in, in one minute by the first ways, with one call a question."""
    rules = world.rules
    grid = DayGrid(moment.date(), site.timezone)
    light = daylight(site.position.latitude_deg, site.position.longitude_deg, grid.day, site.timezone)
    closures = [*access_closures(grid, site.access), *light_closures(grid, light, kind, rules)]
    here = [each for each in closures if each.start <= moment < each.end]
    water, entry = not any(each.phase == "water" for each in here), not here
    station = world.stations[site.tide.station].tide if site.tide.station else None
    tide = site_tide(site, station)
    margin_m = rules.value("tide.height_margin_m")
    for way, going_in in ((site.entries[0].going_in, True), (usual_ways_out(site)[0].coming_out, False)):
        lowest, highest = limits_with_margin(way, margin_m) if way != "not_used" else (None, None)
        for minute in (moment, moment + timedelta(minutes=1)):
            height = height_m(tide, minute) if tide is not None else 0.0
            if (lowest is not None and not height >= lowest) or (highest is not None and not height <= highest):
                entry = False
                water = water and going_in
    if (stream := site_stream(site)) is not None:
        margin = int(rules.value("stream.slack_margin_min"))
        for minute in range(-margin, margin + 2):
            when = np.array(
                [(moment + timedelta(minutes=minute)).astimezone(UTC).replace(tzinfo=None)], "datetime64[m]"
            )
            if not stream.rates_kn(station, when)[0] <= stream_limit_kn(site, kind, rules)[0]:
                water = entry = False
    return water, entry


def window_rows(folder: Folder) -> Iterator[Row]:
    """Measure a year of windows at twenty sites; raises AssertionError where the plain loop says otherwise."""
    world, kind = replace(folder.world, conditions={}), KINDS["guided"]
    sites, originals = twenty_sites(folder), list(folder.sites.values())
    taken_s = seconds(lambda: season_minutes(sites, world, kind, SEASON_FROM, SEASON_TO), rounds=3)
    day = date(2027, 6, 12)
    moments = [(hour, minute) for hour in PLAIN_HOURS for minute in range(PLAIN_MINUTES)]
    start, plain = time.perf_counter(), {}
    for site in originals:
        grid = DayGrid(day, site.timezone)
        for hour, minute in moments:
            plain[site.slug, hour * 60 + minute] = plainly_open(site, world, kind, grid.at(hour * 60 + minute))
    each_s = (time.perf_counter() - start) / len(plain)
    for site in originals:
        if len(site.entries) == 1:  # there are no other ways that the window could choose
            window = site_windows(site, day, kind, world)
            water, entry = ~window.closed("water"), ~window.closed("entry")
            for hour, minute in moments:
                number = hour * 60 + minute
                assert plain[site.slug, number] == (water[number], entry[number]), f"{site.slug}: minute {number}"
    site_days = len(sites) * ((SEASON_TO - SEASON_FROM).days + 1)
    day_s = seconds(lambda: [site_windows(site, day, kind, world) for site in originals]) / len(originals)
    part, what = f"windows of a year at {len(sites)} sites", "all in one run"
    yield Row(part, what, taken_s, "s", day_s * site_days, "day by day, as a plan does (scaled up)")
    yield Row(part, what, taken_s, "s", each_s * 1440 * site_days, "minute by minute, all asked anew (scaled up)")
