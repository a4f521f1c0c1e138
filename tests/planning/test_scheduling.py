"""From a request to a schedule: what is refused, what a stop leaves, what plans refuse, what moved, what is noted."""

from __future__ import annotations

from dataclasses import replace
from datetime import time
from typing import Any

import pytest

from tests.planning.schedule_validator import violations
from tests.planning.school_world import (
    COVE,
    ONE,
    QUARRY,
    TWO,
    both_sites,
    crew,
    fleet,
    guided,
    school,
    school_world,
    store,
)
from tripplan.planning import scheduling
from tripplan.planning.schedule import Progress, Schedule
from tripplan.planning.schedule_request import Absence, Exclusion, ScheduleRequest
from tripplan.planning.scheduling import Limits, find, make_schedule
from tripplan.planning.solution import Cut, Solution
from tripplan.planning.trips import Judge, JudgedTrip
from tripplan.planning.world import CannotPlan

PROVED = Limits(seconds=None, seed=1, workers=1)
DABS, EELS = guided("Dabs", "Ann", "Ben", number=2), guided("Eels", "Cy", "Dee")
WORLD = school_world()


def made(request: ScheduleRequest, **more: Any) -> Schedule:
    return make_schedule(request, WORLD, limits=PROVED, explain=False, **more)


def test_a_name_that_the_world_does_not_know_is_refused_with_its_place() -> None:
    request = school(guided("Dabs", "Ann", "Nobody"), sites=("nowhere",))
    with pytest.raises(CannotPlan) as refused:
        made(request)
    assert ("groups", 0, "divers", 1) in {where for where, _ in refused.value.faults}
    assert any('"nowhere" is not in the catalogue' in words for _, words in refused.value.faults)


def test_progress_ends_with_what_the_schedule_holds() -> None:
    told: list[Progress] = []
    schedule = made(school(DABS, EELS), told=told.append)
    assert told[-1].placed == schedule.placed == schedule.wanted == told[-1].wanted == 3
    assert told[-1].objective == schedule.objective


def test_a_search_that_is_stopped_at_once_still_keeps_every_rule() -> None:
    request = school(DABS, EELS, days=2)
    schedule = make_schedule(request, WORLD, limits=Limits(seconds=5.0), stop=lambda: True)
    assert violations(schedule, request, WORLD) == []
    assert schedule.status == "none" and schedule.objective < made(request).objective <= schedule.bound


def test_a_short_search_never_claims_more_than_it_knows() -> None:
    request = school(DABS, EELS, guided("Rays", "Eva", "Jo", number=2), days=3)
    best = made(request)
    short = make_schedule(request, WORLD, limits=Limits(seconds=0.01), explain=False)
    assert best.status == "optimal" and best.gap == 0.0
    assert short.objective <= best.objective <= short.bound
    assert (short.status == "optimal") == (short.objective == short.bound)
    assert violations(short, request, WORLD, explained=False) == []


# ---- what the plans of the days refuse ----


class NoIda(Judge):
    """Refuses every outing that Ida leads, one at a time, as a plan of a day would."""

    def refused(self, solution: Solution) -> tuple[tuple[Cut, JudgedTrip], ...]:
        trips = [(made, trip) for trip in self.trips(solution) for made in trip.made]
        return tuple((Cut((made,)), self.judge(trip)) for made, trip in trips if made.leader == "Ida")


def test_what_plans_refuse_is_looked_for_elsewhere_until_they_refuse_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    request = school(guided("Dabs", "Ann", "Ben", preferred_leader="Ida"))
    wanted = made(request)
    assert [outing.leader for outing in wanted.outings] == ["Ida"]
    monkeypatch.setattr(scheduling, "Judge", NoIda)
    found = made(request)
    monkeypatch.undo()
    barred = made(request.model_copy(update={"excluded": (Exclusion(group="Dabs", person="Ida"),)}))
    assert found.rounds > 1
    assert [outing.leader for outing in found.outings] == ["Gil"]
    assert (found.status, found.objective) == ("optimal", barred.objective)


class NoEels(Judge):
    """Refuses one group whatever is tried."""

    def refused(self, solution: Solution) -> tuple[tuple[Cut, JudgedTrip], ...]:
        trips = [(made, trip) for trip in self.trips(solution) for made in trip.made]
        return tuple((Cut((made,)), self.judge(trip)) for made, trip in trips if made.run.block.group == "Eels")


def test_what_is_refused_again_and_again_is_left_out_and_nothing_is_proved(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(scheduling, "Judge", NoEels)
    monkeypatch.setattr(scheduling, "MOST_ROUNDS", 3)
    schedule = made(school(DABS, EELS))
    assert (schedule.rounds, schedule.status) == (3, "feasible")
    assert {outing.group for outing in schedule.outings} == {"Dabs"}
    assert [each.group for each in schedule.unplaced] == ["Eels"]
    assert schedule.objective < schedule.bound


def test_groups_keep_the_dives_that_are_asked_to_be_kept() -> None:
    """Three dives for one leader in two at most: either group may have its place, and one of them must."""
    world = school_world(dive__most_per_day_staff=2)
    request = school(DABS, guided("Eels", "Cy", "Dee", number=2), crew=crew("Ida", Sol="ashore", Bea="ashore"))
    for name in ("Dabs", "Eels"):
        found = find(request, world, limits=PROVED, least_dives={name: 2})
        assert {made.run.block.group for made in found.solution.made} == {name}


# ---- what is said of a schedule ----


def test_what_moved_is_said_line_by_line() -> None:
    request = school(DABS, EELS, days=2, crew=crew("Ida", "Gil", "Kay", Sol="ashore", Bea="ashore"))
    before = made(request)
    first = before.outings[0]
    assert first.leader is not None
    ill = request.model_copy(update={"absent": (Absence(person=first.leader, days=(first.day,)),)})
    after = made(ill, before=before)
    lines = {each.group: each.sentence for each in after.moved}
    assert f"not {first.leader}" in lines[first.group] and "led by" in lines[first.group]
    assert after.terms["moved"] < 0
    assert made(request, before=before).moved == ()
    fewer = made(request.model_copy(update={"groups": (DABS,)}), before=before)
    assert any("is not in the request any more" in each.sentence for each in fewer.moved if each.group == "Eels")
    back = made(request, before=fewer)
    assert next(each.sentence for each in back.moved if each.group == "Eels").startswith("Eels, dive 1 is new: ")


def test_another_day_and_another_minute_are_moves_too() -> None:
    request = school(guided("Dabs", "Ann", "Ben", days=(ONE,)), days=2)
    before = made(request)
    other_day = school(guided("Dabs", "Ann", "Ben", days=(TWO,)), days=2)
    assert ", 7 June 2027 to " in made(other_day, before=before).moved[0].sentence
    later = school(guided("Dabs", "Ann", "Ben", days=(ONE,), not_before=time(12, 0)), days=2)
    (moved,) = made(later, before=before).moved
    assert f"not {before.outings[0].dives[0].entry:%H:%M}" in moved.sentence


def test_what_was_reckoned_and_what_was_not_judged_is_noted() -> None:
    bare = school(DABS, drives=(), vehicles=None, recent_dives=None)
    notes = " ".join(made(bare).notes)
    for words in (
        "reckoned from the straight line",
        "seats are not counted",
        "kit is not on record",
        "ask each person",
    ):
        assert words in notes
    whole = make_schedule(school(DABS, vehicles=fleet(9, 9)), school_world(kit=store()), limits=PROVED)
    notes = " ".join(whole.notes)
    for words in (
        "reckoned from the straight line",
        "seats are not counted",
        "kit is not on record",
        "ask each person",
    ):
        assert words not in notes
    assert "Who may drive which vehicle is not on record" in notes


def test_the_revision_tells_every_input_apart() -> None:
    request = school(DABS)
    seen = {
        made(request).revision,
        made(school(EELS)).revision,
        make_schedule(request, school_world(step=30), limits=PROVED, explain=False).revision,
        make_schedule(request, school_world(kit=store()), limits=PROVED, explain=False).revision,
        make_schedule(request, WORLD, limits=replace(PROVED, seed=2), explain=False).revision,
        made(request, before=made(request)).revision,
    }
    assert len(seen) == 6
    assert made(request).revision == made(school(DABS)).revision


def test_a_schedule_of_nothing_says_so() -> None:
    shut = school(DABS, sites=(QUARRY,), excluded=(Exclusion(group="Dabs", site=QUARRY),))
    schedule = make_schedule(shut, WORLD, limits=PROVED)
    assert (schedule.outings, schedule.shore, schedule.trips, schedule.objective) == ((), (), (), 0)
    assert [each.dives for each in schedule.unplaced] == [(1, 2)]
    assert violations(schedule, shut, WORLD) == []


def test_the_schedule_is_of_the_demonstration_where_a_site_is() -> None:
    real = {slug: site.model_copy(update={"demonstration": False}) for slug, site in both_sites().items()}
    world = replace(school_world(sites=real), demonstration=False)
    shown = replace(school_world(sites={**real, COVE: both_sites()[COVE]}), demonstration=False)
    assert both_sites()[COVE].demonstration
    assert not make_schedule(school(DABS), world, limits=PROVED, explain=False).demonstration
    assert make_schedule(school(DABS), shown, limits=PROVED, explain=False).demonstration
