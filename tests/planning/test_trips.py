"""The day plans of a schedule: who is on one trip, what they have behind them, and what is refused together."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta

from tests.planning.school_world import COVE, GUEST, ONE, QUARRY, TWO, both_sites, crew, guided, school, school_world
from tests.planning.small_world import person
from tripplan.check import Outcome
from tripplan.people.level import Level
from tripplan.planning.day import plan_day
from tripplan.planning.outings import Block, Ground, options_of
from tripplan.planning.request import DiveWish, RecentDive
from tripplan.planning.schedule_request import SchoolGroup, Start
from tripplan.planning.solution import Ashore, Made, Solution
from tripplan.planning.trips import Judge
from tripplan.planning.world import World

LONG_DAYS = Start(position="46.9000, -16.9000", timezone="Atlantic/Azores", opens=time(4, 0), closes=time(23, 0))
DABS, EELS = guided("Dabs", "Ann", "Ben", number=2), guided("Eels", "Cy", "Dee")


def ground_of(*groups: SchoolGroup, world: World | None = None, recent: object = "none") -> Ground:
    staff = crew("Ida", "Gil", Sol="ashore", Bea="ashore", Mae="ashore", Oxy="ashore")
    request = school(*(groups or (DABS, EELS)), days=2, centre=LONG_DAYS, crew=staff, recent_dives=recent)
    return Ground(request, world or school_world())


def outing(
    ground: Ground, group: str, numbers: tuple[int, ...], site: str, day: date, clock: int, leader: str = "Ida"
) -> Made:
    runs = options_of(ground).runs[Block(group, numbers)]
    run = next(each for each in runs if (each.site, each.day) == (site, day))
    return Made(run, ground.minute(day, time(clock)), leader, ())


def solved(*made: Made, people: tuple[str, ...] = ("Sol", "Bea")) -> Solution:
    places = dict.fromkeys((each.run.site, each.run.day) for each in made)
    teams = []
    for site, day in places:
        here = [each for each in made if (each.run.site, each.run.day) == (site, day)]
        first, last = min(each.on_site for each in here), max(each.off_site for each in here)
        teams.append(Ashore(site, day, people, (), first, last))
    return Solution(tuple(sorted(made, key=lambda each: each.leaves)), tuple(teams))


def test_groups_whose_times_meet_are_on_one_trip_and_others_are_not() -> None:
    ground = ground_of()
    first = outing(ground, "Dabs", (1,), COVE, ONE, 9)
    for clock, number in ((9, 1), (10, 1), (14, 2)):
        trips = Judge(ground).trips(solved(first, outing(ground, "Eels", (1,), COVE, ONE, clock, "Gil")))
        assert len(trips) == number
        assert [trip.slug for trip in trips] == [f"2027-06-07-cove-{n}" for n in range(1, number + 1)]
        assert sorted(name for trip in trips for name in trip.names) == ["Dabs", "Eels"]
    elsewhere = Judge(ground).trips(solved(first, outing(ground, "Eels", (1,), QUARRY, ONE, 9, "Gil")))
    assert {trip.site for trip in elsewhere} == {COVE, QUARRY}


def test_a_trip_is_asked_of_the_day_plan_with_the_minutes_and_people_of_the_schedule() -> None:
    ground = ground_of()
    made = outing(ground, "Dabs", (1, 2), COVE, ONE, 9)
    (trip,) = Judge(ground).trips(solved(made))
    (group,) = trip.request.groups
    second = made.run.times[1].entry
    assert [wish.entry for wish in group.dives] == [time(9), time(9 + second // 60, second % 60)]
    assert (group.leader, group.divers, group.place) == ("Ida", ("Ann", "Ben"), made.run.place)
    assert (trip.request.site, trip.request.date) == (COVE, ONE)
    judged = Judge(ground).judge(trip)
    plan = plan_day(trip.request, ground.world)
    assert {check.sentence for check in judged.stops} == {
        check.sentence for check in plan.checks if check.outcome is Outcome.STOP
    }


def test_who_gives_oxygen_does_not_watch_where_there_are_enough() -> None:
    world = school_world(person("Sol", Level.LEVEL_2, oxygen_provider_until=None))
    ground = ground_of(world=world)
    made = outing(ground, "Dabs", (1,), COVE, ONE, 9)
    for people in (("Sol", "Bea"), ("Bea", "Mae"), ("Mae", "Oxy", "Sol")):
        (trip,) = Judge(ground).trips(solved(made, people=people))
        asked = trip.request.crew
        assert {*asked.shore_watch, *asked.oxygen_provider} == set(people)
        assert not {*asked.shore_watch} & {*asked.oxygen_provider}
        assert "Sol" not in asked.oxygen_provider
        assert asked.dive_director in people


def test_everybody_has_the_dives_of_the_days_before_behind_them() -> None:
    eve = RecentDive(person="Ben", depth_m=10, minutes=30, surfaced=datetime(2027, 6, 6, 17, tzinfo=UTC))
    ground = ground_of(recent=(eve,))
    one, two = outing(ground, "Dabs", (1,), COVE, ONE, 9), outing(ground, "Dabs", (2,), QUARRY, TWO, 9, "Gil")
    other = outing(ground, "Eels", (1,), COVE, ONE, 14, "Gil")
    trips = {trip.site + str(trip.day): trip for trip in Judge(ground).trips(solved(one, two, other))}
    recent = trips[f"{QUARRY}{TWO}"].request.recent_dives
    assert isinstance(recent, tuple)
    wish = ground.group("Dabs").dives[0]
    assert [(each.person, each.depth_m) for each in recent] == [
        ("Ben", 10.0), ("Ann", wish.depth_m), ("Ben", wish.depth_m), ("Gil", wish.depth_m),
    ]  # fmt: skip
    surfaced = {each.surfaced.timestamp() / 60 for each in recent if each.person == "Ann"}
    assert surfaced == {one.start + one.run.times[0].surfaced}


def test_outings_at_altitude_are_planned_apart() -> None:
    """Who comes later has been up there for less long."""
    sites = both_sites()
    high = sites[COVE].model_copy(update={"elevation_m": 500.0})
    ground = ground_of(world=school_world(sites={**sites, COVE: high}))
    runs = {b: r for b, each in options_of(ground).runs.items() for r in each if r.site == COVE}
    assert runs, options_of(ground).refusals
    blocks = [Block("Dabs", (1,)), Block("Eels", (1,))]
    made = [Made(runs[block], runs[block].first, name, ()) for block, name in zip(blocks, ("Ida", "Gil"), strict=True)]
    assert len(Judge(ground).trips(solved(*made))) == 2


def test_the_one_outing_that_a_plan_refuses_is_named_and_not_the_ones_beside_it() -> None:
    """Cy's papers are in order on the first day and out of date on the second: only that outing is refused."""
    ground = ground_of()
    made_out = TWO - timedelta(days=int(ground.value("people.medical_valid_days")) + 1)
    dabs, eels = outing(ground, "Dabs", (1,), COVE, TWO, 9), outing(ground, "Eels", (1,), COVE, TWO, 9, "Gil")
    assert Judge(ground).refused(solved(dabs, eels)) == ()
    world = school_world(person("Cy", Level.LEVEL_2, medical=made_out, **GUEST))
    refused = Judge(Ground(ground.request, world)).refused(solved(dabs, eels))
    assert [[made.run.block.group for made in cut.made] for cut, _ in refused] == [["Eels"]]
    assert [cut.ashore for cut, _ in refused] == [()]  # no other shore team would mend it


def test_a_refusal_that_another_shore_team_would_mend_names_the_team() -> None:
    world = school_world(person("Sol", Level.LEVEL_2, oxygen_provider_until=None))
    ground = ground_of(world=world)
    made = outing(ground, "Dabs", (1,), COVE, ONE, 9)
    ((cut, judged),) = Judge(ground).refused(solved(made, people=("Sol",)))
    assert any("oxygen" in check.rule for check in judged.stops)
    assert [(team.people, team.site) for team in cut.ashore] == [(("Sol",), COVE)]
    assert Judge(ground).refused(solved(made, people=("Sol", "Bea"))) == ()


def test_the_skills_of_the_dives_before_count_as_done() -> None:
    world = school_world()
    wishes = tuple(DiveWish(depth_m=4, minutes=25, course_dive=n, ascents=2) for n in (1, 2))
    course = SchoolGroup(
        name="Prawns", kind="level_1_course", divers=("Lea", "Ron"), dives=wishes, cylinder_l=15, fill_bar=200,
        suit_mm=7,
    )  # fmt: skip
    ground = ground_of(course, world=world)
    later = outing(ground, "Prawns", (2,), COVE, TWO, 9)
    judge = Judge(ground)
    (trip,) = judge.trips(solved(later))
    learnt = {(tick.person, tick.skill) for tick in judge.world_of(trip).ticks["level_1_course"]}
    first = world.skills.course("level_1_course")
    assert first is not None
    wanted = first.dive(1)
    assert wanted is not None
    assert learnt == {(name, skill) for name in ("Lea", "Ron") for skill in wanted.skills}
