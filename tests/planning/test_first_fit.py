"""What is placed by taking the first thing that fits keeps every rule, and is never better than the best."""

from __future__ import annotations

from random import Random

import pytest

from tests.bench.schedules import invented
from tests.planning.schedule_validator import violations
from tests.planning.school_world import guided, school, school_world
from tests.planning.test_schedule_exhaustive import CASES
from tripplan.planning.first_fit import first_fit
from tripplan.planning.outings import Ground, options_of
from tripplan.planning.schedule import Schedule
from tripplan.planning.schedule_request import ScheduleRequest
from tripplan.planning.scheduling import Found, Limits, make_schedule, schedule_of
from tripplan.planning.shared import Shared
from tripplan.planning.solution import points_of
from tripplan.planning.trips import Judge
from tripplan.planning.world import World

OF_THE_PLANS = ("plan-stop", "trip-stop", "times-differ")  # the plans of the days judge it afterwards


def by_first_fit(request: ScheduleRequest, world: World) -> Schedule:
    ground = Ground(request, world)
    options = options_of(ground)
    shared, judge = Shared(ground, options), Judge(ground)
    solution = first_fit(ground, options, shared)
    value = sum(points_of(solution, ground, None).values())
    status = "feasible" if solution.made else "none"
    found = Found(ground, options, shared, judge, solution, status, value, value, 0.0, 0, {})  # type: ignore[arg-type]
    return schedule_of(found, None, Limits())


@pytest.mark.parametrize("name", CASES)
def test_it_keeps_every_rule_where_one_thing_is_short(name: str) -> None:
    request, world = CASES[name]
    assert broken(by_first_fit(request, world), request, world) == []


@pytest.mark.parametrize("seed", range(4))
def test_it_keeps_every_rule_at_an_invented_centre(seed: int) -> None:
    random = Random(seed)
    request, world = invented(
        random.randint(2, 6), random.randint(2, 4), random.randint(4, 8), random.randint(1, 4), 400 + seed, tight=1.0
    )
    schedule = by_first_fit(request, world)
    assert broken(schedule, request, world) == []
    assert schedule.outings or not any(options_of(Ground(request, world)).runs.values())


def broken(schedule: Schedule, request: ScheduleRequest, world: World) -> list[str]:
    found = violations(schedule, request, world, explained=False)
    return [each for each in found if each.split(":")[0] not in OF_THE_PLANS]


def test_the_first_fit_places_what_is_easy_and_the_search_is_no_worse() -> None:
    request, world = school(guided("Dabs", "Ann", "Ben", number=2), guided("Eels", "Cy", "Dee")), school_world()
    first = by_first_fit(request, world)
    best = make_schedule(request, world, limits=Limits(seconds=None), explain=False)
    assert first.placed == best.placed == 3
    assert first.objective <= best.objective
