"""The schedule is as good as can be: on small centres every combination is looked at, by code of the tests' own.

TRIPPLAN_INSTANCES (60 in a normal run) raises the number of invented centres.
"""

from __future__ import annotations

import os
import subprocess
import sys
from dataclasses import replace
from datetime import UTC, date, datetime, time
from pathlib import Path
from random import Random
from typing import Any

import pytest

from tests.bench.schedules import invented
from tests.planning.schedule_exhaustive import best_of, points
from tests.planning.schedule_validator import violations
from tests.planning.school_world import (
    COVE,
    FILLER,
    GUEST,
    ONE,
    QUARRY,
    SIZE,
    TWO,
    both_sites,
    crew,
    fleet,
    guided,
    school,
    school_world,
    store,
    trial,
)
from tests.planning.small_world import person, rules_with
from tripplan.catalogue.site import Capacity, Site, Stream, StreamTableRow
from tripplan.check import Outcome
from tripplan.people.level import Level
from tripplan.planning.day import plan_day
from tripplan.planning.outings import Block, Ground, Run, as_if_done, options_of
from tripplan.planning.request import Altitude, Crew, GroupWish, Request
from tripplan.planning.schedule_request import (
    Absence,
    ClosedSite,
    DriveTime,
    Exclusion,
    Pin,
    ScheduleRequest,
    Start,
)
from tripplan.planning.scheduling import Limits, make_schedule
from tripplan.planning.world import World

NORMAL = 60
INSTANCES = int(os.environ.get("TRIPPLAN_INSTANCES", str(NORMAL)))
CENTRES = 4 * INSTANCES // NORMAL
PROVED = Limits(seconds=None, seed=1, workers=1)
Case = tuple[ScheduleRequest, World]


# ---- small centres where one thing is short ----


def cove(**edits: Any) -> dict[str, Site]:
    """Return the sites with something of the cove changed."""
    sites = both_sites()
    return {**sites, COVE: sites[COVE].model_copy(update=edits)}


def hours(opens: time, closes: time) -> Start:
    return Start(position="46.9000, -16.9000", timezone="Atlantic/Azores", opens=opens, closes=closes)


THREES = (guided("Dabs", "Ann", "Ben", "Cy"), guided("Eels", "Dee", "Eva", "Flo"))
PAIRS = (guided("Dabs", "Ann", "Ben"), guided("Eels", "Cy", "Dee"))
MANY = crew("Ida", "Ola", "Gil", Sol="ashore", Bea="ashore", Mae="ashore", Oxy="ashore")
FAR = (DriveTime(site=COVE, minutes=60, km=60), DriveTime(site=QUARRY, minutes=20, km=12.5))
LONG_DAY = hours(time(4, 0), time(23, 0))
ABROAD = person("Ann", Level.LEVEL_2, language="Hungarian", **GUEST)
SPEAKS = person("Kay", Level.LEVEL_3, sizes=SIZE, speaks=("Hungarian",))
YOUNG = person("Yo", Level.LEVEL_3, date(2010, 1, 1), sizes=SIZE)
SWIFT = Stream(
    kind="table",
    table=tuple(
        StreamTableRow(hours_from_high_water=n, spring_kn=kn, neap_kn=kn)
        for n, kn in zip(range(-6, 7), (0.0, 0.2, 0.3, 0.4, 0.3, 0.2, 0.0, 0.2, 0.3, 0.4, 0.3, 0.2, 0.0), strict=True)
    ),
    spring_range_m=4.0,
    neap_range_m=2.0,
)

CASES: dict[str, Case] = {
    "plenty of everything": (
        school(
            guided("Dabs", "Ann", "Ben", "Cy", number=2),
            trial("Gobies", "Wim", "Zoe"),
            compressor=FILLER,
            vehicles=fleet(9, 5, 5),
        ),
        school_world(kit=store()),
    ),
    "vehicles for one group after the other": (school(*THREES, vehicles=fleet(9, 5), crew=MANY), school_world()),
    "a vehicle that is away on the first day": (
        school(
            *THREES, vehicles=(fleet(9)[0].model_copy(update={"off": (ONE,)}), *fleet(1, 5, 5)[1:]), crew=MANY, days=2
        ),
        school_world(step=120),
    ),
    "seats of the crew only": (
        school(guided("Dabs", "Ann", "Ben", "Cy", needs_seats=False), vehicles=fleet(1, 2)),
        school_world(),
    ),
    "parking for the team and one more": (
        school(*THREES, vehicles=fleet(5, 5, 5, 5), crew=MANY, sites=(COVE,)),
        school_world(sites=cove(capacity=Capacity(divers=20, vehicles=2))),
    ),
    "parking while others are on the road": (
        school(
            *THREES, vehicles=fleet(5, 5, 5), drives=FAR, crew=MANY, sites=(COVE,),
            centre=hours(time(8, 0), time(15, 0)),
        ),
        school_world(sites=cove(capacity=Capacity(divers=20, vehicles=2)), step=15),
    ),
    "room in the water for one group": (
        school(*THREES, crew=MANY, sites=(COVE,)),
        school_world(sites=cove(capacity=Capacity(divers=6)), step=30),
    ),
    "room in the water if nobody assists": (
        school(
            guided("Dabs", "Ann", "Ben", "Cy", "Dee"), guided("Eels", "Eva", "Flo"), sites=(COVE,),
            crew=crew("Ida", "Gil", "Kay", Sol="ashore", Bea="ashore"),
        ),
        school_world(ABROAD, SPEAKS, sites=cove(capacity=Capacity(divers=5))),
    ),
    "room in the water with all who are settled to assist": (
        school(
            *PAIRS, sites=(COVE,), crew=crew("Ida", "Gil", "Kay", "Ola", Sol="ashore", Bea="ashore"),
            pinned=(Pin(group="Dabs", dives=(1,), leader="Ida", assistants=("Gil", "Kay")),),
        ),
        school_world(sites=cove(capacity=Capacity(divers=7))),
    ),
    "cylinders for one group, never filled": (school(*THREES, crew=MANY), school_world(kit=store(6))),
    "cylinders filled between two groups": (
        school(guided("Dabs", "Ann", "Ben", number=2), guided("Eels", "Dee", "Eva"), crew=MANY, compressor=FILLER),
        school_world(kit=store(6)),
    ),
    "one oxygen kit for two sites": (
        school(
            guided("Dabs", "Ann", "Ben", "Cy", sites=(COVE,)), guided("Eels", "Dee", "Eva", sites=(QUARRY,)), crew=MANY
        ),
        school_world(kit=store(oxygen_kit=1)),
    ),
    "one flag for two groups": (school(*THREES, crew=MANY), school_world(kit=store(flag=1))),
    "masks for one group": (school(*THREES, crew=MANY), school_world(kit=store(mask=7))),
    "somebody in two groups": (
        school(guided("Dabs", "Ann", "Ben", number=2), guided("Eels", "Ann", "Eva", number=2), crew=MANY),
        school_world(),
    ),
    "a minor in the crew": (school(*PAIRS, crew=crew("Ida", "Gil", "Yo", Sol="ashore")), school_world(YOUNG)),
    "rest between an evening and a morning": (
        school(
            guided("Dabs", "Ann", "Ben", days=(ONE,), not_before=time(13, 0)),
            guided("Eels", "Cy", "Dee", days=(TWO,), not_after=time(12, 0)),
            days=2, centre=LONG_DAY, crew=crew("Ida", "Gil", Sol="ashore", Bea="ashore", Mae="ashore"),
        ),
        school_world(step=60),
    ),
    "one day of work in seven": (
        school(
            guided("Dabs", "Ann", "Ben", number=2, most_dives_per_day=1), guided("Eels", "Cy", "Dee"), days=2,
            crew=crew("Ida", "Gil", Sol="ashore", Bea="ashore", Mae="ashore", Oxy="ashore"),
        ),
        school_world(step=120, work__most_in_seven_days=1),
    ),
    "two dives in seven days": (
        school(guided("Dabs", "Ann", "Ben", number=2), guided("Eels", "Cy", "Dee"), guided("Gobies", "Flo", "Hal")),
        school_world(work__dives_in_seven_most=2),
    ),
    "one ascent in seven days": (
        school(*PAIRS, crew=crew("Ida", "Gil", "Kay", Sol="ashore", Bea="ashore")),
        school_world(work__ascents_in_seven_most=1),
    ),
    "a language that one assistant speaks": (
        school(
            guided("Dabs", "Ann", "Ben", "Cy", "Dee", "Hal"), guided("Eels", "Eva", "Flo"),
            crew=crew("Ida", "Gil", "Kay", "Ola", Sol="ashore", Bea="ashore"),
        ),
        school_world(ABROAD, SPEAKS),
    ),
    "a stream in which fewer may go": (
        school(
            guided("Dabs", "Ann", "Ben", "Cy", "Dee"), sites=(COVE,),
            crew=crew("Ida", "Gil", Sol="ashore", Bea="ashore"),
        ),
        school_world(sites=cove(stream=SWIFT)),
    ),
    "one leader for four groups": (
        school(
            *PAIRS, guided("Gobies", "Flo", "Hal"), guided("Rays", "Eva", "Jo"),
            crew=crew("Ida", Sol="ashore", Bea="ashore"),
        ),
        school_world(),
    ),
    "a long time at the surface before the next dive": (
        school(
            guided("Dabs", "Ann", "Ben", not_with=("Ida",), not_after=time(12, 0), sites=(COVE,)),
            guided("Eels", "Cy", "Dee", not_with=("Gil",), not_before=time(10, 50), sites=(QUARRY,)),
            centre=hours(time(8, 0), time(14, 0)), crew=crew("Ida", "Gil", Sol="ashore"),
        ),
        school_world(surface_interval__shortest_min=300),
    ),
    "wishes, absence, a closed site": (
        school(
            guided("Dabs", "Ann", "Ben", number=2, preferred_leader="Gil", preferred_days=(TWO,)), days=2,
            absent=(Absence(person="Gil", days=(TWO,)),),
            closed=(ClosedSite(site=COVE, days=(TWO,), because="road works"),),
            excluded=(Exclusion(group="Dabs", day=ONE, site=QUARRY),),
        ),
        school_world(),
    ),
    "what is settled, and who is not to lead": (
        school(
            guided("Dabs", "Ann", "Ben", number=2), guided("Eels", "Cy", "Dee", not_with=("Ida",)),
            pinned=(Pin(group="Dabs", dives=(2,), day=ONE, site=QUARRY, leader="Gil", assistants=("Ida",)),),
            crew=crew("Ida", "Gil", "Kay", Sol="ashore", Bea="ashore"),
        ),
        school_world(),
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", CASES)
def test_no_combination_is_better_where_one_thing_is_short(name: str) -> None:
    is_best(*CASES[name])


@pytest.mark.parametrize("seed", range(CENTRES))
def test_no_combination_is_better_at_an_invented_centre(seed: int) -> None:
    is_best(*centre(seed))


def centre(seed: int) -> Case:
    random = Random(seed)
    days = random.choice((1, 1, 2))
    request, world = invented(
        random.choice((2, 2, 3)),
        random.choice((2, 2, 3)),
        random.randint(3, 5),
        days,
        seed,
        kit=random.random() < 0.7,
        vehicles=random.random() < 0.7,
        tight=random.choice((0.5, 1.0)),
    )
    return request, replace(world, rules=rules_with(plan__entry_step_min=60 * days))


def is_best(request: ScheduleRequest, world: World) -> None:
    schedule = make_schedule(request, world, limits=PROVED, explain=False)
    assert violations(schedule, request, world, explained=False) == []
    assert dict(schedule.terms) == points(schedule.outings, schedule.shore, request, world)
    best = best_of(request, world)
    assert (schedule.objective, schedule.bound, schedule.status) == (best.objective, best.objective, "optimal")


def test_leaving_branches_early_leaves_out_nothing() -> None:
    """The search of the tests finds the same where it looks at every combination without exception."""
    request, world = school(*PAIRS, vehicles=fleet(5, 5)), school_world(step=120)
    everything, some = best_of(request, world, prune=False), best_of(request, world)
    assert everything.objective == some.objective
    assert everything.looked_at > some.looked_at > 0


# ---- what each group could do alone ----


@pytest.mark.parametrize("seed", range(max(CENTRES // 3, 1)))
def test_a_first_entry_is_possible_where_the_plan_of_a_day_says_so(seed: int) -> None:
    random = Random(seed)
    request, world = invented(5, 5, 6, 2, seed)
    ground = Ground(request, world)
    options = options_of(ground)
    ashore = [each.name for each in request.crew if world.people[each.name].level is Level.LEVEL_2][:2]
    asked = 0
    for block in random.sample([each for each in options.blocks if options.runs[each]], 2):
        some = random.choice(options.runs[block])
        alike = [
            each
            for each in options.runs[block]
            if (each.site, each.day, each.place) == (some.site, some.day, some.place)
        ]
        edges = {minute for run in alike for minute in (run.first - 5, run.first, run.last, run.last + 5)}
        midnight = ground.minute(some.day, time())
        for minute in sorted(edges | {midnight + 5 * random.randrange(60, 260) for _ in range(6)}):
            run = next((each for each in alike if each.first <= minute <= each.last), None)
            group = request.group(block.group)
            first, last = ground.span(group, some.day)
            in_hours = first <= minute - some.before_min and minute + some.after_min <= last
            stops = stops_of(request, world, block, run or some, minute, ashore, random)
            assert (run is not None) == (in_hours and not stops), (block.key, some.site, some.day, minute, stops)
            asked += 1
    assert asked >= 12


def stops_of(
    request: ScheduleRequest, world: World, block: Block, run: Run, minute: int, ashore: list[str], random: Random
) -> list[str]:
    """Return what stops one group alone, with two ashore and a team as the run needs it."""
    group = request.group(block.group)
    leader = random.choice(sorted(run.needs.leaders))
    others = sorted(run.needs.assistants - {leader})
    random.shuffle(others)
    moments = [datetime.fromtimestamp((minute + times.entry) * 60, tz=UTC) for times in run.times]
    zone = Ground(request, world).zone
    clocks = [moment.astimezone(zone) for moment in moments]
    if any(clock.date() != run.day for clock in clocks):
        return ["not within the day"]
    dives = tuple(
        group.dives[number - 1].model_copy(update={"entry": clock.time()})
        for number, clock in zip(block.numbers, clocks, strict=True)
    )
    fields = {key: getattr(group, key) for key in GroupWish.model_fields}
    fields.update(
        leader=leader or None,
        assistants=tuple(others[: run.needs.leaders[leader][1]]),
        place=run.place,
        going_in_by=run.going_in,
        coming_out_by=run.coming_out,
        dives=dives,
    )
    kit_up = world.rules.value("schedule.kit_up_min")
    arrived = datetime.fromtimestamp((minute - kit_up) * 60, tz=UTC).astimezone(zone).time()
    high = world.sites[run.site].elevation_m >= world.rules.value("altitude.uncorrected_below_m")
    asked = Request(
        site=run.site,
        date=run.day,
        crew=Crew(dive_director=ashore[0], shore_watch=(ashore[0],), oxygen_provider=(ashore[1],)),
        altitude=Altitude(arrived=arrived) if high else Altitude(),
        recent_dives="none",
        groups=(GroupWish(**fields),),
    )
    ticks = as_if_done(Ground(request, world), group, block.numbers[0], run.day)
    made = plan_day(asked, replace(world, kit=None, ticks=ticks))
    return [check.sentence for check in made.checks if check.outcome is Outcome.STOP]


# ---- the same again ----


@pytest.mark.parametrize("workers", [1, 2])
@pytest.mark.parametrize("seed", [14])
def test_the_same_input_and_seed_give_the_same_schedule(seed: int, workers: int) -> None:
    request, world = invented(4, 3, 6, 2, seed)
    limits = Limits(seconds=2.0, seed=5, workers=workers)
    one, other = (make_schedule(request, world, limits=limits, explain=False) for _ in range(2))
    assert replace(one, seconds=0.0) == replace(other, seconds=0.0)
    assert one.outings


SCRIPT = """
from tests.bench.schedules import invented
from tripplan.planning.scheduling import Limits, make_schedule
request, world = invented(3, 2, 4, 1, 10)
made = make_schedule(request, world, limits=Limits(seconds=1.0, seed=1, workers=1))
print(made.revision, made.objective, made.outings, made.shore, made.fillings, made.loads, made.unplaced)
"""


def test_another_process_with_another_order_of_sets_makes_the_same_schedule() -> None:
    said = [
        subprocess.run(
            [sys.executable, "-c", SCRIPT],
            env={**os.environ, "PYTHONHASHSEED": number, "PYTHONPATH": str(Path.cwd())},
            capture_output=True,
            text=True,
            check=True,
        ).stdout
        for number in ("1", "2")
    ]
    assert said[0] == said[1]
    assert "Outing" in said[0] and "Unplaced" in said[0]


def test_another_seed_finds_no_better_and_no_worse() -> None:
    request, world = invented(3, 2, 5, 1, 4)
    made = [make_schedule(request, world, limits=Limits(None, seed, 1), explain=False) for seed in (1, 2, 3)]
    assert {each.status for each in made} == {"optimal"}
    assert len({each.objective for each in made}) == 1


# ---- what can never be ----


def best(request: ScheduleRequest, world: World, **more: Any) -> int:
    made = make_schedule(request, world, limits=PROVED, explain=False, **more)
    assert made.status == "optimal"
    return made.objective


@pytest.mark.parametrize("seed", range(max(CENTRES // 3, 1)))
def test_less_to_choose_from_is_never_worth_more(seed: int) -> None:
    request, world = centre(200 + seed)
    whole = best(request, world)
    for worker in request.crew:
        away = Absence(person=worker.name, days=request.dates)
        gone = tuple(each for each in request.absent if each.person != worker.name)
        assert best(request.model_copy(update={"absent": (*gone, away)}), world) <= whole
    for slug in world.sites:
        shut = (*request.closed, ClosedSite(site=slug, because="road works"))
        assert best(request.model_copy(update={"closed": shut}), world) <= whole
    if request.vehicles is not None:
        assert best(request.model_copy(update={"vehicles": request.vehicles[1:]}), world) <= whole
    if len(request.groups) > 1 and not (request.pinned or request.excluded):
        fewer = best(request.model_copy(update={"groups": request.groups[1:]}), world)
        assert fewer <= whole  # the others can always be placed as if it were not there


@pytest.mark.parametrize("seed", range(max(CENTRES // 3, 1)))
def test_what_is_settled_as_it_is_best_costs_nothing_and_nothing_moves(seed: int) -> None:
    request, world = centre(300 + seed)
    made = make_schedule(request, world, limits=PROVED, explain=False)
    again = make_schedule(request, world, before=made, limits=PROVED, explain=False)
    assert (again.moved, again.objective, again.terms["moved"]) == ((), made.objective, 0)
    for outing in made.outings:
        if outing.pinned:
            continue
        pin = Pin(
            group=outing.group,
            dives=tuple(dive.number for dive in outing.dives),
            day=outing.day,
            site=outing.site,
            entry=outing.dives[0].entry.time(),
            leader=outing.leader,
            assistants=outing.assistants,
        )
        assert best(request.model_copy(update={"pinned": (*request.pinned, pin)}), world) == made.objective


# ---- somebody falls ill ----

ILL: dict[str, Case] = {
    "two groups of one morning": (
        school(*PAIRS, crew=crew("Ida", "Gil", "Kay", Sol="ashore", Bea="ashore")),
        school_world(),
    ),
    "one group on each of two days": (
        school(
            guided("Dabs", "Ann", "Ben", days=(ONE,)),
            guided("Eels", "Cy", "Dee", days=(TWO,), preferred_leader="Gil"),
            days=2,
            crew=crew("Ida", "Gil", "Kay", Sol="ashore", Bea="ashore"),
        ),
        school_world(step=120),
    ),
    "nobody to stand in on the same day": (
        school(guided("Dabs", "Ann", "Ben", number=2), guided("Eels", "Cy", "Dee"), days=2),
        school_world(step=120),
    ),
}


@pytest.mark.parametrize("name", ILL)
def test_what_has_to_move_when_a_leader_falls_ill_is_the_least_that_can(name: str) -> None:
    request, world = ILL[name]
    before = make_schedule(request, world, limits=PROVED, explain=False)
    for outing in before.outings:
        assert outing.leader is not None
        ill = request.model_copy(update={"absent": (Absence(person=outing.leader, days=(outing.day,)),)})
        after = make_schedule(ill, world, before=before, limits=PROVED, explain=False)
        assert violations(after, ill, world, before=before, explained=False) == []
        assert dict(after.terms) == points(after.outings, after.shore, ill, world, before)
        assert after.objective == best_of(ill, world, before).objective


def test_the_groups_of_others_stay_where_they_are_when_a_leader_falls_ill() -> None:
    request, world = ILL["one group on each of two days"]
    before = make_schedule(request, world, limits=PROVED, explain=False)
    first = next(outing for outing in before.outings if outing.group == "Dabs")
    assert first.leader is not None
    ill = request.model_copy(update={"absent": (Absence(person=first.leader, days=(ONE,)),)})
    after = make_schedule(ill, world, before=before, limits=PROVED, explain=False)
    assert {each.group for each in after.moved} == {"Dabs"}
    assert [each for each in after.outings if each.group == "Eels"] == [
        each for each in before.outings if each.group == "Eels"
    ]
