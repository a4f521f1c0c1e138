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
from tripplan.physics.no_stop import Exposure, Surroundings, no_stop_limits
from tripplan.planning.day import plan_day
from tripplan.rulebook import baseline
from tripplan.store.folder import load_folder
from tripplan.web.app import create_app

ROUNDS = 5


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


if __name__ == "__main__":
    main()
