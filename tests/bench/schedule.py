"""Print how good schedules are and how fast, beside the first fit of the same run: ``python -m tests.bench.schedule``.

Each part is one invented centre of `schedules.invented`. Shares and ratios come from one run on one machine.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date

from tests.bench.schedules import invented
from tests.bench.table import Row
from tripplan.planning.first_fit import first_fit
from tripplan.planning.outings import Ground, options_of
from tripplan.planning.schedule import Progress
from tripplan.planning.scheduling import Limits, find, schedule_of
from tripplan.planning.shared import Shared
from tripplan.planning.solution import points_of

SECONDS = 60.0
ROW_SECONDS = 10.0


@dataclass(frozen=True)
class Size:
    """One centre to plan for."""

    words: str
    groups: int
    sites: int
    crew: int
    days: int
    seed: int = 1


SIZES = (
    Size("12 groups, 8 sites, 10 crew, one day", 12, 8, 10, 1),
    Size("40 groups, 20 sites, 25 crew, one day", 40, 20, 25, 1),
    Size("40 groups, 8 sites, 12 crew, a week", 40, 8, 12, 7),
)


def measure(size: Size, limit_s: float) -> None:
    """Plan for one centre and print what came out."""
    request, world = invented(size.groups, size.sites, size.crew, size.days, size.seed, first_day=date(2027, 6, 7))
    wanted = sum(len(group.dives) for group in request.groups)
    start = time.perf_counter()
    ground = Ground(request, world)
    options = options_of(ground)
    shared = Shared(ground, options)
    options_s = time.perf_counter() - start
    start = time.perf_counter()
    greedy = first_fit(ground, options, shared)
    greedy_s = time.perf_counter() - start
    greedy_dives = sum(len(made.run.block.numbers) for made in greedy.made)
    greedy_points = sum(points_of(greedy, ground, None).values())
    seen: list[tuple[float, int, int]] = []
    begun = [time.perf_counter()]

    def told(progress: Progress) -> None:
        if progress.placed:
            seen.append((time.perf_counter() - begun[0], progress.placed, progress.objective))
        else:  # still looking at what each group could do, which is measured above
            begun[0] = time.perf_counter()

    found = find(
        request,
        world,
        limits=Limits(seconds=limit_s, seed=1),
        told=told,
        stop=lambda: time.perf_counter() - begun[0] > limit_s,  # on a slow machine
        ground=ground,
        hint=greedy,
    )
    whole_s = time.perf_counter() - begun[0]
    schedule = schedule_of(found, None, Limits())
    best = max((each[2] for each in seen), default=0)
    last_s = next((s for s, _, points in seen if points == best), 0.0)
    gap = schedule.gap
    end = "proved the best" if found.status == "optimal" else "no gap known" if gap is None else f"gap {gap:.1%}"
    print(
        f"\n{size.words}: {wanted} dives wanted\n"
        f"  what each group could do: {options_s:.1f} s, {sum(map(len, options.runs.values()))} runs of entries\n"
        f"  first fit:  {greedy_dives} dives ({greedy_dives / wanted:.0%}), {greedy_points} points, {greedy_s:.2f} s\n"
        f"  the search: {schedule.placed} dives ({schedule.placed / wanted:.0%}), {found.objective} points, "
        f"{found.objective / max(greedy_points, 1):.2f} x first fit; first after "
        f"{seen[0][0] if seen else 0.0:.1f} s, last better one after {last_s:.0f} s; {end} after "
        f"{whole_s:.0f} s; at most {found.bound} points; {found.rounds} rounds of day plans"
    )


def schedule_rows() -> Iterator[Row]:
    """Measure a schedule of the smallest centre, its worth beside the first fit and its time beside the options."""
    size = SIZES[0]
    request, world = invented(size.groups, size.sites, size.crew, size.days, size.seed, first_day=date(2027, 6, 7))
    start = time.perf_counter()
    ground = Ground(request, world)
    options = options_of(ground)
    shared = Shared(ground, options)
    options_s = time.perf_counter() - start
    greedy = first_fit(ground, options, shared)
    start = time.perf_counter()
    found = find(request, world, limits=Limits(seconds=ROW_SECONDS, seed=1), ground=ground, hint=greedy)
    whole_s = time.perf_counter() - start
    part = f"a schedule: {size.words}, {ROW_SECONDS:g} s of the search's own measure"
    yield Row(part, "its time", whole_s, "s", options_s, "what each group could do alone")
    points = sum(points_of(greedy, ground, None).values())
    yield Row(part, "its points", found.objective, "points", points, "the first fit")
    yield Row(part, "its points", found.objective, "points", found.bound, "the most there can be")


def main() -> None:
    """Measure every size and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=SECONDS, help="of search for each size (60)")
    parser.add_argument("--size", type=int, help="only one size, counted from 1")
    chosen = parser.parse_args()
    for number, size in enumerate(SIZES, start=1):
        if chosen.size in (None, number):
            measure(size, chosen.seconds)


if __name__ == "__main__":
    main()
