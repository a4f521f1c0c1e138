"""Day plan, picture and printed sheets beside the plain plan, and the memory of fifty sheets."""

from __future__ import annotations

import subprocess
import sys
import time
from collections.abc import Iterator
from datetime import timedelta

from tests.bench.table import Row, seconds
from tripplan.data_files import data_dir
from tripplan.documents.day_sheet import day_sheet_pdf
from tripplan.documents.emergency_sheet import action_sheets_pdf
from tripplan.documents.picture import day_picture
from tripplan.physics.no_stop import Exposure, Surroundings, no_stop_limits
from tripplan.planning.action_sheet import ActionSheet, sheets_of_day
from tripplan.planning.day import plan_day
from tripplan.planning.tolerance import with_edges
from tripplan.rulebook import baseline
from tripplan.store.folder import Folder, load_folder

SHEETS = 50
PDF_AT_MOST_S = 1.0
MEMORY = """
import sys
from pathlib import Path
from tests.bench.papers import many_sheets
sheets = many_sheets(int(sys.argv[1]))
if sys.argv[2] == "print":
    from tripplan.documents.emergency_sheet import action_sheets_pdf
    action_sheets_pdf(sheets)
print(next(line.split()[1] for line in Path("/proc/self/status").read_text().splitlines() if line.startswith("VmHWM")))
"""


def plan_rows(folder: Folder) -> Iterator[Row]:
    """Measure a plan of three dives and eight people, and what is printed of it."""
    request = folder.requests["saturday-ledge"]
    plan = plan_day(request, folder.world)
    water = Surroundings(altitude_m=1640.0, density_kg_m3=1000.0, water="fresh")
    before = [Exposure(18.0, 30.0, 75.0), Exposure(14.0, 30.0, 90.0)]
    depths = iter(range(10, 10_000_000))

    def limits() -> object:
        depth_m = 5 + next(depths) % 150 / 10  # another depth each time, so that nothing is remembered
        return no_stop_limits(depth_m, water, before, baseline(), hours_since_arrival_h=8.0)

    one_ms = seconds(limits, rounds=15) * 1000
    part, against = "the plan of a day, three dives, eight people", "one person's no-stop limits after two dives"
    plan_ms = seconds(lambda: plan_day(request, folder.world)) * 1000
    yield Row(part, "the plan", plan_ms, "ms", one_ms, against)
    edges_ms = seconds(lambda: with_edges(plan, request, folder.world)) * 1000
    yield Row(part, "how far it is from its edges", edges_ms, "ms", plan_ms, "the plan")
    yield Row(part, "its picture", seconds(lambda: day_picture(plan)) * 1000, "ms", plan_ms, "the plan")
    sheet_ms = seconds(lambda: day_sheet_pdf(plan, "a4")) * 1000
    limit = PDF_AT_MOST_S * 1000 / plan_ms
    yield Row(part, "its sheet as PDF", sheet_ms, "ms", plan_ms, "the plan", limit)


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


def sheet_rows() -> Iterator[Row]:
    """Measure one and fifty emergency sheets in one PDF, and the memory of the fifty."""
    sheets = many_sheets(SHEETS)
    one_ms = seconds(lambda: action_sheets_pdf(sheets[:1])) * 1000
    start = time.perf_counter()
    made = action_sheets_pdf(sheets)
    many_ms = (time.perf_counter() - start) * 1000
    what = f"{SHEETS} in one PDF of {len(made) / 1e6:.1f} MB"
    yield Row("emergency sheets", what, many_ms, "ms", one_ms, "one sheet")

    def peak_mb(job: str) -> float:
        command = [sys.executable, "-c", MEMORY, str(SHEETS), job]
        return int(subprocess.run(command, capture_output=True, check=True, text=True).stdout) / 1024

    yield Row("memory", f"{SHEETS} emergency sheets, at the peak", peak_mb("print"), "MB", peak_mb("nothing"), "before")
