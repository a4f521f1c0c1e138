"""Print how long the main jobs take beside a yardstick measured in the same run: ``python -m tests.bench``."""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable
from datetime import UTC, datetime

import numpy as np

from tripplan.data_files import data_dir
from tripplan.documents.day_sheet import day_sheet_pdf
from tripplan.documents.picture import day_picture
from tripplan.environment.tide import minutes_utc
from tripplan.physics import tissues
from tripplan.physics.no_stop import Exposure, Surroundings, no_stop_limits
from tripplan.planning.day import plan_day
from tripplan.rulebook import baseline
from tripplan.store.folder import load_folder
from tripplan.web.app import create_app

ROUNDS = 5
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
    print_roster()


if __name__ == "__main__":
    main()
