"""Invented centres of every size: each schedule that is made is judged by a validator that shares no code with it.

TRIPPLAN_INSTANCES raises the number of centres (60 in a normal run); those beyond the first 60 are larger.
"""

from __future__ import annotations

import os
from random import Random

import pytest

from tests.bench.schedules import invented
from tests.planning.schedule_validator import violations
from tripplan.people.group import KINDS
from tripplan.planning.request import GroupWish
from tripplan.planning.schedule_request import Absence, ScheduleRequest, schedule_faults
from tripplan.planning.scheduling import Limits, make_schedule
from tripplan.planning.world import World

NORMAL, AT_ONCE = 60, 5
INSTANCES = int(os.environ.get("TRIPPLAN_INSTANCES", str(NORMAL)))
LIMITS = Limits(seconds=1.0, seed=1, workers=1)  # counted in work done, so that every machine finds the same


def instance(seed: int) -> tuple[ScheduleRequest, World]:
    random = Random(seed)
    most = 3 if seed < NORMAL else 6
    return invented(
        groups=random.randint(1, most),
        sites=random.randint(1, most),
        crew=random.randint(3, 4 + most),
        days=random.randint(1, 2 if seed < NORMAL else 4),
        seed=seed,
        kit=random.random() < 0.8,
        vehicles=random.random() < 0.7,
        tight=random.choice((0.0, 0.5, 1.0)),
    )


@pytest.mark.parametrize("first", range(0, INSTANCES, AT_ONCE))
def test_the_validator_accepts_every_schedule(first: int) -> None:
    placed = wanted = 0
    for seed in range(first, min(first + AT_ONCE, INSTANCES)):
        request, world = instance(seed)
        schedule = make_schedule(request, world, limits=LIMITS, explain=False)
        assert violations(schedule, request, world, explained=False) == [], seed
        placed, wanted = placed + schedule.placed, wanted + schedule.wanted
    assert placed * 3 >= wanted  # an empty schedule breaks no rule


@pytest.mark.parametrize("seed", range(1000, 1006))
def test_the_validator_accepts_a_schedule_made_again_when_somebody_falls_ill(seed: int) -> None:
    request, world = invented(3, 2, 8, 2, seed)
    before = make_schedule(request, world, limits=LIMITS, explain=False)
    assert before.outings
    ill = next(name for outing in before.outings for name in (*outing.crew, *outing.divers) if name in crew(request))
    absent = (*request.absent, Absence(person=ill, days=request.dates))
    again = request.model_copy(update={"absent": absent})
    schedule = make_schedule(again, world, before=before, limits=LIMITS, explain=False)
    assert violations(schedule, again, world, before=before, explained=False) == []
    assert not any(ill in outing.crew for outing in schedule.outings)


def crew(request: ScheduleRequest) -> set[str]:
    return {worker.name for worker in request.crew}


def test_the_invented_centres_are_repeatable_and_without_fault() -> None:
    for seed in range(20):
        request, world = invented(9, 5, 8, 4, seed)
        assert (request, world) == invented(9, 5, 8, 4, seed)
        assert schedule_faults(request, world) == ()
        assert len(request.groups) == 9 and len(world.sites) == 5
    assert invented(3, 2, 5, 2, 1)[0] != invented(3, 2, 5, 2, 2)[0]


def test_the_invented_centres_hold_every_kind_of_wish_and_of_group() -> None:
    kinds: set[str] = set()
    wishes: set[str] = set()
    for seed in range(40):
        request, _ = invented(12, 5, 8, 4, seed)
        kinds |= {group.kind for group in request.groups}
        wishes |= {key for group in request.groups for key in group.model_fields_set - GroupWish.model_fields.keys()}
        wishes |= {key for key in ("pinned", "excluded", "absent", "closed") if getattr(request, key)}
    assert kinds == KINDS.keys() - {"level_2_course"}
    assert wishes >= {"days", "preferred_days", "preferred_leader", "not_with", "not_sites", "not_before", "not_after"}
    assert wishes >= {"pinned", "excluded", "absent", "closed"}
