"""Print how long the main jobs take beside a yardstick measured in the same run: ``python -m tests.bench``."""

from __future__ import annotations

import statistics
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import numpy as np

from tripplan.catalogue.site import Site
from tripplan.data_files import data_dir
from tripplan.documents.day_sheet import day_sheet_pdf
from tripplan.documents.emergency_sheet import action_sheets_pdf
from tripplan.documents.picture import day_picture
from tripplan.environment.daylight import daylight
from tripplan.environment.tide import HarmonicTide, height_m, minutes_utc
from tripplan.people.group import KINDS, Kind
from tripplan.physics import tissues
from tripplan.physics.no_stop import Exposure, Surroundings, no_stop_limits
from tripplan.planning.action_sheet import ActionSheet, sheets_of_day
from tripplan.planning.day import plan_day, site_windows, usual_ways_out
from tripplan.planning.season import season_minutes
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
from tripplan.rulebook import baseline
from tripplan.store.folder import Folder, load_folder
from tripplan.web.app import create_app

ROUNDS = 5
SEASON_SITES, SEASON_FROM, SEASON_TO = 20, date(2027, 1, 1), date(2027, 12, 31)
PLAIN_HOURS, PLAIN_MINUTES = (9, 12, 15), 10  # of one day at each site: from each of these hours on, so many minutes
ROSTER, INTEGRATED = 1000, 20  # people; those of them whose limit is also integrated numerically
SEA_BAR, DENSITY_KG_M3, AIR_PERCENT = 1.01325, 1025.0, 21.0


def seconds(job: Callable[[], object]) -> float:
    """Return the median of some rounds after one that warms up."""
    job()
    times = []
    for _ in range(ROUNDS):
        start = time.perf_counter()
        job()
        times.append(time.perf_counter() - start)
    return statistics.median(times)


def independent_tide(times: np.ndarray) -> Callable[[], object]:
    """Return a job that reconstructs a tide of the same constituents with the utide library."""
    import utide

    day_numbers = times.astype("datetime64[s]")
    sample = day_numbers[:: 60 * 6][:1500]
    hours = (sample - sample[0]).astype(float) / 3600
    heights = 1.4 * np.cos(2 * np.pi * hours / 12.4206) + 0.4 * np.cos(2 * np.pi * hours / 12.0)
    fitted = utide.solve(sample, heights, lat=47.0, constit=["M2", "S2", "N2", "K1", "O1"], verbose=False)
    return lambda: utide.reconstruct(day_numbers, fitted, verbose=False)


def integrated_limit_min(state: np.ndarray, depth_m: float, high: float, rates: tissues.Rates) -> float:
    """Return a no-stop time by scipy's integration alone: what the ascent allows, the descent, the stay until then."""
    from scipy.integrate import solve_ivp

    rate = tissues.coefficients().rate_per_min
    surface, bottom = 0.79 * (SEA_BAR - 0.0627), 0.79 * (SEA_BAR + depth_m * DENSITY_KG_M3 * 9.80665e-5 - 0.0627)
    allowed = tissues.surface_limit_bar(SEA_BAR, high)
    precise = {"method": "DOP853", "rtol": 1e-8, "atol": 1e-10}

    def slope(t: float, p: np.ndarray, start: float, end: float, minutes: float) -> np.ndarray:
        return rate * (start + (end - start) * t / minutes - p)

    up_min, down_min = depth_m / rates.ascent_m_min, depth_m / rates.descent_m_min
    backwards = solve_ivp(slope, (up_min, 0.0), allowed, args=(bottom, surface, up_min), **precise)
    most = np.minimum(allowed, backwards.y[:, -1])

    def reached(t: float, p: np.ndarray, *_: float) -> float:
        return float(np.max(p - most))

    reached.terminal = True  # type: ignore[attr-defined]
    arrived = solve_ivp(slope, (0.0, down_min), state, args=(surface, bottom, down_min), **precise).y[:, -1]
    if np.any(state > allowed) or np.any(arrived > most):
        return 0.0
    stay = solve_ivp(slope, (0.0, 2000.0), arrived, args=(bottom, bottom, 1.0), events=reached, **precise)
    return down_min + float(stay.t_events[0][0]) if stay.t_events[0].size else float("inf")


def print_roster() -> None:
    """Measure and print the no-stop times of a roster: in one call, one by one, and by numerical integration."""
    random = np.random.default_rng(1)
    rules = baseline()
    rates, high = tissues.rates_of(rules), rules.value("model.gradient_factor_high")
    rest = tissues.saturated(SEA_BAR)
    before_m, before_min = random.uniform(6, 30, ROSTER), random.uniform(5, 30, ROSTER)
    surfaced = tissues.after_dive(rest, before_m, before_min, SEA_BAR, DENSITY_KG_M3, AIR_PERCENT, rates)
    states = tissues.after_interval(surfaced, random.uniform(60, 240, ROSTER), SEA_BAR)
    depths = random.uniform(12, 40, ROSTER)
    there = (SEA_BAR, DENSITY_KG_M3, AIR_PERCENT, high, rates)
    pairs = [(state, float(depth_m)) for state, depth_m in zip(states, depths, strict=True)]

    def one_by_one() -> list[float]:
        return [tissues.no_stop_time_min(state, depth_m, *there) for state, depth_m in pairs]

    def integrated() -> list[float]:
        return [integrated_limit_min(state, depth_m, high, rates) for state, depth_m in pairs[:INTEGRATED]]

    together = tissues.no_stop_time_each_min(states, depths, *there)
    if one_by_one() != together.tolist():
        raise AssertionError("one call and one by one differ")
    known = np.array(integrated())
    both = np.isfinite(known)
    if not np.array_equal(both, np.isfinite(together[:INTEGRATED])):
        raise AssertionError("the model and its numerical integration differ in who has a limit")
    apart_s = np.max(np.abs(known[both] - together[:INTEGRATED][both])) * 60
    if apart_s > 1.1:  # rounding down to the second takes up to one
        raise AssertionError(f"the model and its numerical integration are {apart_s:.1f} s apart")
    in_one_call = ROSTER / seconds(lambda: tissues.no_stop_time_each_min(states, depths, *there))
    rows = [
        (f"a roster of {ROSTER} in one call", in_one_call),
        ("the same one by one", ROSTER / seconds(one_by_one)),
        (f"{INTEGRATED} of them by numerical integration", INTEGRATED / seconds(integrated)),
    ]
    print(f"\nno-stop times (the integration agrees within {apart_s:.2f} s, of which rounding down may take 1)")
    for name, each_second in rows:
        print(f"{name:50} {each_second:9.0f} /s   one call is {in_one_call / each_second:7.1f} x as fast")


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


def print_season(folder: Folder) -> None:
    """Measure and print a year of windows for twenty sites, and a year of tide beside the utide library."""
    import utide

    world, kind = replace(folder.world, conditions={}), KINDS["guided"]
    sites = twenty_sites(folder)
    taken_s = seconds(lambda: season_minutes(sites, world, kind, SEASON_FROM, SEASON_TO))
    day = date(2027, 6, 12)
    moments = [(hour, minute) for hour in PLAIN_HOURS for minute in range(PLAIN_MINUTES)]
    start, plain = time.perf_counter(), {}
    for site in folder.sites.values():
        grid = DayGrid(day, site.timezone)
        for hour, minute in moments:
            plain[site.slug, hour * 60 + minute] = plainly_open(site, world, kind, grid.at(hour * 60 + minute))
    each_s = (time.perf_counter() - start) / len(plain)
    for site in folder.sites.values():
        if len(site.entries) == 1:  # there are no other ways that the window could choose
            window = site_windows(site, day, kind, world)
            water, entry = ~window.closed("water"), ~window.closed("entry")
            for hour, minute in moments:
                number = hour * 60 + minute
                if plain[site.slug, number] != (water[number], entry[number]):
                    raise AssertionError(f"{site.slug}: the plain loop and the window differ at minute {number}")
    site_days = len(sites) * ((SEASON_TO - SEASON_FROM).days + 1)
    originals = list(folder.sites.values())
    day_s = seconds(lambda: [site_windows(site, day, kind, world) for site in originals]) / len(originals)
    print(f"\na year of windows at {len(sites)} sites: {taken_s:.2f} s in one run")
    for words, whole_s in (
        (f"day by day, as a plan does ({day_s * 1000:.0f} ms a day, scaled up from {len(originals)} sites)", day_s),
        (f"minute by minute, all asked anew ({each_s * 1000:.1f} ms each, from {len(plain)} minutes)", each_s * 1440),
    ):
        print(f"  {words}: {whole_s * site_days:,.0f} s, {whole_s * site_days / taken_s:,.0f} x as long")
    whole = folder.stations["verrow-harbour"].tide
    assert isinstance(whole, HarmonicTide)
    names = {"M2", "S2", "N2", "K2", "NU2", "MU2", "2N2", "L2", "K1", "O1", "P1", "Q1", "M4", "MS4", "MN4", "M6"}
    tide = HarmonicTide(whole.mean_level_m, tuple(one for one in whole.constituents if one.name in names))
    times = minutes_utc(datetime(2027, 1, 1, tzinfo=UTC), datetime(2028, 1, 1, tzinfo=UTC))[::6].astype("datetime64[s]")
    heights = tide.heights_m(times)
    # Solved only to have its form: the same published constants then stand in both.
    constants = utide.solve(
        times[::10], heights[::10], lat=46.879, constit=sorted(names), trend=False, conf_int="none", method="ols",
        verbose=False,
    )  # fmt: skip
    published = {one.name: one for one in tide.constituents}
    constants.A[:] = [published[name].amplitude_m for name in constants.name]
    constants.g[:] = [published[name].phase_lag_deg for name in constants.name]
    constants.mean = tide.mean_level_m
    theirs = utide.reconstruct(times, constants, verbose=False).h
    apart_mm = float(np.abs(theirs - heights).max()) * 1000
    ours_s = seconds(lambda: tide.heights_m(times))
    theirs_s = seconds(lambda: utide.reconstruct(times, constants, verbose=False))
    print(
        f"a year of tide every 6 min, {len(names)} constituents: {ours_s * 1000:.1f} ms, {theirs_s / ours_s:.0f} x as "
        f"fast as utide; heights at most {apart_mm:.0f} mm apart (other node factors) in a range of "
        f"{np.ptp(heights):.1f} m"
    )


SHEETS = 50
MEMORY = """
import sys
from pathlib import Path
from tests.bench.__main__ import many_sheets
sheets = many_sheets(int(sys.argv[1]))
if sys.argv[2] == "print":
    from tripplan.documents.emergency_sheet import action_sheets_pdf
    action_sheets_pdf(sheets)
print(next(line.split()[1] for line in Path("/proc/self/status").read_text().splitlines() if line.startswith("VmHWM")))
"""


def many_sheets(count: int) -> list[ActionSheet]:
    """Return emergency sheets of the demonstration's sites on one day after another, some with dives."""
    folder = load_folder(data_dir("sites"))
    requests = list(folder.requests.values())
    first = min(request.date for request in requests)
    made: list[ActionSheet] = []
    while len(made) < count:
        day = first + timedelta(days=len(made) // len(folder.sites))
        sheets = sheets_of_day(day, list(folder.sites), requests, folder.world)
        made.extend(each.sheet for each in sheets)
    return made[:count]


def print_sheets(bare_s: float) -> None:
    """Print how long one and fifty emergency sheets take in one PDF, and how much memory."""
    sheets = many_sheets(SHEETS)
    one_s = seconds(lambda: action_sheets_pdf(sheets[:1]))
    start = time.perf_counter()
    made = action_sheets_pdf(sheets)
    many_s = time.perf_counter() - start

    def peak_mb(what: str) -> float:
        command = [sys.executable, "-c", MEMORY, str(SHEETS), what]
        return int(subprocess.run(command, capture_output=True, check=True, text=True).stdout) / 1024

    without, with_print = peak_mb("nothing"), peak_mb("print")
    print(
        f"\n{SHEETS} emergency sheets in one PDF of {len(made) / 1e6:.1f} MB: {many_s:.2f} s, {many_s / one_s:.1f} x "
        f"one sheet ({one_s * 1000:.0f} ms, {one_s / bare_s:.0f} x bare page)\n"
        f"  memory at its peak: {with_print:.0f} MB, {with_print / without:.2f} x the {without:.0f} MB before printing"
    )


def main() -> None:
    """Measure and print the table."""
    folder = load_folder(data_dir("sites"))
    request = folder.requests["saturday-ledge"]
    plan = plan_day(request, folder.world)
    tide = folder.stations["verrow-harbour"].tide
    assert tide is not None
    year = minutes_utc(datetime(2027, 1, 1, tzinfo=UTC), datetime(2028, 1, 1, tzinfo=UTC))
    water = Surroundings(altitude_m=1640.0, density_kg_m3=1000.0, water="fresh")
    before = [Exposure(18.0, 30.0, 75.0), Exposure(14.0, 30.0, 90.0)]
    depths = iter(range(10, 10_000_000))

    def limits() -> object:
        depth_m = 5 + next(depths) % 150 / 10  # another depth each time, so that nothing is remembered
        return no_stop_limits(depth_m, water, before, baseline(), hours_since_arrival_h=8.0)

    client = create_app(data_dir("sites"), clock=lambda: datetime(2026, 12, 1, 8, tzinfo=UTC)).test_client()
    address = "/plan?site=stair-ledge&date=2026-12-12&group=Terns&group=Skuas&asked=yes"
    bare = seconds(lambda: client.get("/healthz"))
    yardstick = seconds(independent_tide(year[::10]))
    rows = [
        ("a year of tide heights, every 10 min", seconds(lambda: tide.heights_m(year[::10])), yardstick, "utide"),
        ("a year of tide heights, every minute", seconds(lambda: tide.heights_m(year)), yardstick, "utide, 10 min"),
        ("no-stop limits of one person, two dives before", seconds(limits), bare, "bare page"),
        ("a day plan, three dives, eight people", seconds(lambda: plan_day(request, folder.world)), bare, "bare page"),
        ("the picture of the day", seconds(lambda: day_picture(plan)), bare, "bare page"),
        ("the sheet as PDF", seconds(lambda: day_sheet_pdf(plan, "a4")), bare, "bare page"),
        ("the page of a plan, picture remembered", seconds(lambda: client.get(address)), bare, "bare page"),
    ]
    print(f"median of {ROUNDS} rounds in one run")
    for name, taken, base, words in rows:
        print(f"{name:50} {taken * 1000:9.2f} ms   {taken / base:9.2f} x {words}")
    print_sheets(bare)
    print_roster()
    print_season(folder)


if __name__ == "__main__":
    main()
