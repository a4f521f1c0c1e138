"""What each group could do alone: drives, blocks, hours, who may take it, and the sentences where nobody may."""

from __future__ import annotations

import math
import os
import subprocess
import sys
from dataclasses import replace
from datetime import time
from itertools import combinations
from pathlib import Path

import pytest
from geopy.distance import geodesic

from tests.planning.school_world import (
    COVE,
    GUEST,
    ONE,
    QUARRY,
    SIZE,
    TWO,
    crew,
    guided,
    school,
    school_world,
    trial,
)
from tests.planning.small_world import person
from tripplan.check import Outcome
from tripplan.people.level import Level
from tripplan.planning.day import plan_day
from tripplan.planning.outings import Block, Ground, Needs, options_of
from tripplan.planning.request import Crew, GroupWish, Request
from tripplan.planning.schedule_request import Absence, ClosedSite, Exclusion, Pin, ScheduleRequest, SchoolGroup
from tripplan.planning.world import World

FOUR = ("Ann", "Ben", "Cy", "Dee")
ABROAD = person("Ann", Level.LEVEL_2, language="Hungarian", **GUEST)
SPEAKS = person("Kay", Level.LEVEL_3, sizes=SIZE, speaks=("Hungarian",))
STAFF = crew("Ida", "Gil", "Kay", Sol="ashore", Bea="ashore")


def test_a_drive_is_as_entered_else_reckoned_from_the_straight_line() -> None:
    request = school(guided("Dabs", "Ann", "Ben"))
    world = school_world()
    assert Ground(request, world).drive(COVE).minutes == 15
    reckoned = Ground(request.model_copy(update={"drives": ()}), world).drive(COVE)
    there = world.sites[COVE].position
    km = geodesic((46.9, -16.9), (there.latitude_deg, there.longitude_deg)).kilometers * 1.4
    assert reckoned.minutes == math.ceil(km / 40 * 60)
    assert reckoned.km == pytest.approx(km, abs=0.06)
    assert "times 1.4 for the road" in reckoned.words


def test_dives_that_follow_each_other_make_blocks_up_to_the_most_of_a_day() -> None:
    group = guided("Dabs", "Ann", "Ben", number=3)
    numbers = {block.numbers for block in Ground(school(group), school_world()).blocks_of(group)}
    assert numbers == {(1,), (2,), (3,), (1, 2), (2, 3)}
    pinned = school(group, pinned=(Pin(group="Dabs", dives=(2, 3)),))
    assert {block.numbers for block in Ground(pinned, school_world()).blocks_of(group)} == {(1,), (2, 3)}
    one_a_day = group.model_copy(update={"most_dives_per_day": 1})
    assert {block.numbers for block in Ground(school(group), school_world()).blocks_of(one_a_day)} == {(1,), (2,), (3,)}


def test_somebody_works_within_the_hours_of_the_centre_and_not_on_days_off() -> None:
    staff = (
        crew("Ida")[0].model_copy(update={"starts": time(7, 0), "ends": time(12, 0)}),
        crew("Gil")[0].model_copy(update={"off": (TWO,)}),
    )
    request = school(guided("Dabs", "Ann", "Ben"), days=2, crew=staff, absent=(Absence(person="Ida", days=(TWO,)),))
    ground = Ground(request, school_world())
    ida, gil = staff
    assert ground.hours(ida, ONE) == (ground.minute(ONE, time(8, 0)), ground.minute(ONE, time(12, 0)))
    assert ground.hours(gil, ONE) == (ground.minute(ONE, time(8, 0)), ground.minute(ONE, time(19, 0)))
    assert ground.hours(ida, TWO) is None and ground.hours(gil, TWO) is None


@pytest.mark.parametrize(
    ("words", "request_"),
    [
        ("Cove is closed on 7 June 2027: road works.",
         school(guided("Dabs", "Ann", "Ben"), closed=(ClosedSite(site=COVE, because="road works"),))),
        ("Dabs does not go to Cove by its own list of sites.", school(guided("Dabs", "Ann", "Ben", sites=(QUARRY,)))),
        ("Dabs is not to go to Cove.", school(guided("Dabs", "Ann", "Ben", not_sites=(COVE,)))),
        ("Dabs cannot come on 7 June 2027.", school(guided("Dabs", "Ann", "Ben", days=(TWO,)), days=2)),
        ("Dabs is not to dive at Cove on 7 June 2027, as excluded.",
         school(guided("Dabs", "Ann", "Ben"), excluded=(Exclusion(group="Dabs", site=COVE),))),
        ("", school(guided("Dabs", "Ann", "Ben"), excluded=(Exclusion(group="Dabs", site=COVE, person="Ida"),))),
    ],
)  # fmt: skip
def test_what_the_request_itself_rules_out_is_said(words: str, request_: ScheduleRequest) -> None:
    ground = Ground(request_, school_world())
    assert ground.closed(request_.groups[0], COVE, ONE) == words


# ---- who may take a group ----

TEAMS = {
    "four divers": (guided("Dabs", *FOUR), school_world()),
    "five divers": (guided("Dabs", *FOUR, "Eva"), school_world()),
    "a language that one speaks": (guided("Dabs", *FOUR), school_world(ABROAD, SPEAKS)),
    "three who have never dived": (trial("Gobies", "Wim", "Zoe", "Lea"), school_world()),
}


PLANNED: dict[tuple[object, ...], set[str]] = {}


@pytest.mark.parametrize("name", TEAMS)
def test_a_team_is_enough_where_the_plan_of_a_day_does_not_stop_it(name: str) -> None:
    group, world = TEAMS[name]
    request = school(group, crew=STAFF, sites=(COVE,))
    run = next(run for runs in options_of(Ground(request, world)).runs.values() for run in runs)
    asked = 0
    for leader in ("Ida", "Gil", "Kay"):
        others = [each for each in ("Ida", "Gil", "Kay") if each != leader]
        for count in range(3):
            for helpers in combinations(others, count):
                stopped = stops(group, leader, helpers, world)
                least, most = run.needs.leaders.get(leader, (99, 99))
                if count >= most:
                    assert not stopped, (leader, helpers, stopped)
                if count < least:
                    assert stopped, (leader, helpers)
                asked += 1
        if leader in run.needs.leaders:  # as few as are told are enough for somebody
            least = run.needs.leaders[leader][0]
            assert any(not stops(group, leader, helpers, world) for helpers in combinations(others, least))
    assert asked == 12


def stops(group: SchoolGroup, leader: str, helpers: tuple[str, ...], world: World) -> set[str]:
    key = (group.name, len(group.divers), leader, helpers, id(world))
    if key not in PLANNED:
        PLANNED[key] = planned(group, leader, helpers, world)
    return PLANNED[key]


def planned(group: SchoolGroup, leader: str, helpers: tuple[str, ...], world: World) -> set[str]:
    fields = {key: getattr(group, key) for key in GroupWish.model_fields}
    dives = tuple(wish.model_copy(update={"entry": time(11, 0)}) for wish in group.dives)
    fields.update(leader=leader, assistants=helpers, dives=dives)
    asked = Request(
        site=COVE,
        date=ONE,
        crew=Crew(dive_director="Sol", shore_watch=("Sol",), oxygen_provider=("Bea",)),
        recent_dives="none",
        groups=(GroupWish(**fields),),
    )
    return {check.rule for check in plan_day(asked, world).checks if check.outcome is Outcome.STOP}


def needs_of(request: ScheduleRequest, world: World) -> tuple[tuple[str, ...], list[Needs]]:
    options = options_of(Ground(request, world))
    name = request.groups[0].name
    return options.group_refusals.get(name, ()), [run.needs for runs in options.runs.values() for run in runs]


def test_it_is_said_who_works_that_day_and_must_not_go_with_the_group() -> None:
    group = guided("Dabs", "Ann", "Ben", not_with=("Ida",))
    said, _ = needs_of(school(group, crew=crew("Ida", Sol="ashore")), school_world())
    assert said == ("Dabs: nobody of the crew works in the water on 7 June 2027 but Ida, who must not go with it.",)
    away = school(group, crew=crew("Ida", Sol="ashore"), absent=(Absence(person="Ida", days=(ONE,)),))
    said, _ = needs_of(away, school_world())
    assert said == ("Dabs: nobody of the crew works in the water on 7 June 2027.",)


def test_health_is_no_part_of_what_is_said() -> None:
    world = school_world(person("Ann", Level.LEVEL_2, medical_clear=False, **GUEST))
    said, needs = needs_of(school(guided("Dabs", "Ann", "Ben")), world)
    assert not needs
    assert said == ("Ann: the personal papers stop this dive. What they say is for the leader: ask.",)


# ---- runs ----


def test_first_entries_stand_on_the_clock_and_leave_time_for_drive_kit_and_window() -> None:
    request = school(guided("Dabs", "Ann", "Ben", number=2), drives=())
    for step in (5, 30, 60):
        world = school_world(step=step)
        ground = Ground(request, world)
        options = options_of(ground)
        assert any(options.runs.values())
        for block, runs in options.runs.items():
            for run in runs:
                assert run.first % step == 0 == run.last % step and run.first <= run.last <= run.latest
                assert run.first - run.drive.minutes - 45 >= ground.minute(ONE, time(8, 0))
                last = run.times[-1]
                off_site = last.out + 30  # overdue is earlier, ten minutes after the planned time out
                assert run.last + off_site + run.drive.minutes <= ground.minute(ONE, time(19, 0))
                assert (run.off_site_min, run.on_site_min) == (off_site, 45)
                assert len(run.times) == len(block.numbers)
        finer = {run.first for runs in options.runs.values() for run in runs}
        assert finer


def test_dives_of_one_outing_are_as_far_apart_as_the_surface_interval_asks() -> None:
    request = school(guided("Dabs", "Ann", "Ben", number=2))
    for shortest in (60, 120):
        world = school_world(step=5, surface_interval__shortest_min=shortest)
        runs = options_of(Ground(request, world)).runs[Block("Dabs", (1, 2))]
        assert runs
        for run in runs:
            first, second = run.times
            assert shortest <= second.descent - first.surfaced < shortest + 5


def test_nobody_drives_away_before_a_dive_is_overdue() -> None:
    """A window that closes soon makes a dive overdue earlier; entries long before it close are not cut short by it."""
    world = school_world(step=5, schedule__after_exit_min=0)
    for runs in options_of(Ground(school(guided("Dabs", "Ann", "Ben", number=2)), world)).runs.values():
        for run in runs:
            assert run.off_site_min >= run.times[-1].out + world.rules.value("overdue.after_min")


def test_a_site_that_takes_nobody_says_why() -> None:
    world = school_world()
    world = replace(world, readiness=world.readiness.model_copy(update={"oxygen_units": ()}))
    options = options_of(Ground(school(guided("Dabs", "Ann", "Ben")), world))
    assert not any(options.runs.values())
    assert any("oxygen" in words.casefold() for words in options.group_refusals["Dabs"])


SCRIPT = """
from tests.planning.school_world import guided, school, school_world, dives
from tripplan.planning.outings import Ground, options_of
request = school(guided("Dabs", *("Ann", "Ben", "Cy", "Dee"), dives=dives(1, depth_m=50)))
print(options_of(Ground(request, school_world())).group_refusals)
"""


def test_reasons_of_equal_weight_stand_in_the_same_order_in_every_process() -> None:
    said = {
        subprocess.run(
            [sys.executable, "-c", SCRIPT],
            env={**os.environ, "PYTHONHASHSEED": number, "PYTHONPATH": str(Path.cwd())},
            capture_output=True,
            text=True,
            check=True,
        ).stdout
        for number in ("1", "2")
    }
    assert len(said) == 1
    assert "50 m is wished" in said.pop()
