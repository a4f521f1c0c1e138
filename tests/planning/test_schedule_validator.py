"""The validator accepts a schedule that was made by hand, and names every rule that a planted fault breaks.

The right schedule is placed here, dive by dive, with `plan_day` alone: two sites, two days, four groups.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from functools import cache
from typing import Any

import pytest

from tests.bench.schedules import invented
from tests.planning.readiness import ready_on
from tests.planning.schedule_validator import violations
from tests.planning.small_world import person
from tripplan.catalogue.site import Site, TideLimits
from tripplan.check import Check, Outcome
from tripplan.people.group import KINDS
from tripplan.people.kit import (
    CylinderItem,
    Kit,
    RegulatorItem,
    SafetyItem,
    SafetyThing,
    SizedItem,
    SuitItem,
    UnsizedItem,
)
from tripplan.people.level import Level
from tripplan.planning.day import plan_day
from tripplan.planning.request import Crew, DiveWish, GroupWish, RecentDive, Request
from tripplan.planning.schedule import (
    DayTrip,
    Filling,
    Load,
    Moved,
    Outing,
    Schedule,
    ScheduledDive,
    ShoreTeam,
    Unplaced,
)
from tripplan.planning.schedule_request import (
    Absence,
    ClosedSite,
    Compressor,
    DriveTime,
    Exclusion,
    Pin,
    ScheduleRequest,
    SchoolGroup,
    Start,
    Vehicle,
    Worker,
)
from tripplan.planning.world import World

ONE, TWO = date(2027, 6, 7), date(2027, 6, 8)
DAY_LATER = timedelta(days=1)
COVE, QUARRY = "cove", "quarry"
Case = tuple[Schedule, ScheduleRequest, World]
Plant = Callable[[Schedule, ScheduleRequest, World], Case]
SIZE = {"mask": "any", "fins": "42", "boots": "42", "suit": "L", "buoyancy_device": "L"}
DRIVES = {COVE: (15, 9.0), QUARRY: (20, 12.5)}


# ---- the world and what is asked for ----


def _people() -> dict[str, Any]:
    crew = [
        person(name, level, sizes=SIZE)
        for name, level in (
            ("Ida", Level.INSTRUCTOR_2), ("Ola", Level.INSTRUCTOR_2), ("Uwe", Level.INSTRUCTOR_2),
            ("Gil", Level.LEVEL_3), ("Kay", Level.LEVEL_3), ("Sol", Level.LEVEL_2), ("Oxy", Level.LEVEL_2),
            ("Bea", Level.LEVEL_2), ("Mae", Level.LEVEL_2),
        )
    ]  # fmt: skip
    divers = [
        person(name, Level.LEVEL_2, sizes=SIZE, oxygen_provider_until=None) for name in ("Ann", "Ben", "Cy", "Dee")
    ]
    new = {"logged_dives": 0, "last_dive": None, "sizes": SIZE, "oxygen_provider_until": None}
    learners = [person(name, Level.FIRST_EXPERIENCE, **new) for name in ("Lea", "Ron", "Vic", "Wim", "Zoe")]
    guests = [person(name, Level.LEVEL_2, sizes=SIZE, oxygen_provider_until=None) for name in ("Flo", "Hal")]
    return {each.name: each for each in (*crew, *divers, *learners, *guests)}


def _kit() -> Kit:
    """Return a store whose cylinders last for one day only where they are filled again."""
    tested, seen = date(2026, 6, 1), date(2027, 5, 1)
    return Kit(
        cylinders=tuple(
            CylinderItem(
                identity=f"C{n}", volume_l=15, metal="steel", working_bar=232, last_visual=seen, last_test=tested
            )
            for n in range(25)
        ),
        regulators=tuple(
            RegulatorItem(identity=f"R{n}", serviced=seen, has_second_stage_spare=True, has_pressure_gauge=True)
            for n in range(15)
        ),
        suits=tuple(SuitItem(identity=f"W{n}", size="L", mm=7) for n in range(15)),
        buoyancy_devices=(SizedItem(size="L", count=15),),
        masks=(UnsizedItem(count=15),),
        fins=(SizedItem(size="42-43", count=15),),
        safety=_safety(),
    )


def _safety(**other: int) -> tuple[SafetyItem, ...]:
    """Return what is taken for everybody's safety: three of each, or as many as told."""
    things: tuple[SafetyThing, ...] = ("flag", "float", "oxygen_kit", "first_aid_kit")
    return tuple(SafetyItem(thing=thing, count=other.get(thing, 3)) for thing in things)


def _world() -> World:
    """Return a world of two sites of the invented centre: the first is a cove, the second a quarry."""
    world = invented(1, 2, 4, 2, 5)[1]
    cove, quarry = world.sites.values()
    people = _people()
    return replace(
        world,
        sites={
            COVE: cove.model_copy(update={"slug": COVE}),
            QUARRY: quarry.model_copy(update={"slug": QUARRY}),
        },
        people=people,
        readiness=ready_on(ONE, *people),
        kit=_kit(),
        ticks={},
    )


def _request() -> ScheduleRequest:
    def group(name: str, kind: str, divers: tuple[str, ...], *dives: DiveWish, **more: Any) -> SchoolGroup:
        given = {"cylinder_l": 15.0, "fill_bar": 200.0, "suit_mm": 7.0, **more}
        return SchoolGroup(name=name, kind=kind, divers=divers, dives=dives, **given)  # type: ignore[arg-type]

    return ScheduleRequest(
        title="Two days by hand",
        first_day=ONE,
        days=2,
        centre=Start(position="46.9000, -16.9000", timezone="Atlantic/Azores", opens=time(7, 0), closes=time(20, 0)),
        drives=tuple(DriveTime(site=slug, minutes=least, km=km) for slug, (least, km) in DRIVES.items()),
        compressor=Compressor(fill_min=4.0, opens=time(7, 0), closes=time(20, 0)),
        vehicles=(
            *(Vehicle(name=f"Bus {n}", seats=9) for n in (1, 2, 3)),
            *(Vehicle(name=f"Car {n}", seats=5) for n in (1, 2, 3)),
        ),
        crew=tuple(
            Worker(name=name) for name in ("Ida", "Ola", "Uwe", "Gil", "Kay", "Sol", "Oxy", "Bea", "Mae")
        ),
        groups=(
            group("Dabs", "guided", ("Ann", "Ben", "Cy", "Dee"), DiveWish(depth_m=14, minutes=25),
                  DiveWish(depth_m=12, minutes=25)),
            group("Eels", "level_1_course", ("Lea", "Ron", "Vic"),
                  DiveWish(depth_m=4, minutes=25, course_dive=1, ascents=2),
                  DiveWish(depth_m=4, minutes=25, course_dive=2, ascents=2),
                  DiveWish(depth_m=6, minutes=25, course_dive=3)),
            group("Gobies", "first_experience", ("Wim", "Zoe"), DiveWish(depth_m=3, minutes=20, course_dive=1)),
            group("Herrings", "guided", ("Flo", "Hal"), DiveWish(depth_m=12, minutes=25),
                  DiveWish(depth_m=10, minutes=25), DiveWish(depth_m=9, minutes=25), not_with=("Ola",)),
        ),
        pinned=(Pin(group="Herrings", dives=(1,), day=TWO, leader="Ida"),),
        excluded=(Exclusion(group="Dabs", day=TWO), Exclusion(group="Dabs", person="Kay")),
        recent_dives="none",
    )  # fmt: skip


# ---- placing by hand ----

# group, dives, day, site, place, leader, assistants, vehicles, earliest entry
SCRIPT = (
    ("Dabs", (1, 2), ONE, QUARRY, "Crane ledge", "Ida", ("Gil",), ("Bus 1",), time(9, 30)),
    ("Eels", (1, 2), ONE, COVE, "Sand bay", "Ola", ("Kay",), ("Bus 2",), time(9, 0)),
    ("Gobies", (1,), ONE, COVE, "Sand bay", "Uwe", (), ("Car 1",), time(9, 20)),
    ("Eels", (3,), TWO, COVE, "Sea-grass edge", "Ola", (), ("Bus 2",), time(9, 0)),
    ("Herrings", (1,), TWO, QUARRY, "Crane ledge", "Ida", (), ("Car 1",), time(10, 0)),
)  # fmt: skip
# site, day, director, watch, oxygen, vehicles
TEAMS = (
    (QUARRY, ONE, "Sol", ("Sol",), ("Oxy",), ("Car 2",)),
    (COVE, ONE, "Bea", ("Bea",), ("Mae",), ("Car 3",)),
    (COVE, TWO, "Bea", ("Bea",), ("Mae",), ("Car 3",)),
    (QUARRY, TWO, "Sol", ("Sol",), ("Oxy",), ("Car 2",)),
)


def _wish(group: SchoolGroup, line: Any, entries: Mapping[int, time], *, skills: bool = True) -> GroupWish:
    fields = {key: getattr(group, key) for key in GroupWish.model_fields}
    dives = []
    for number in line[1]:
        edits: dict[str, Any] = {"entry": entries.get(number)}
        if not entries and number == line[1][0]:
            edits["not_before"] = line[8]
        if not skills:
            edits["course_dive"] = None
        dives.append(group.dives[number - 1].model_copy(update=edits))
    fields.update(leader=line[5], assistants=line[6], place=line[4], dives=tuple(dives))
    return GroupWish(**fields)


def _outing(line: Any, request: ScheduleRequest, world: World) -> Outing:
    name, numbers, day, slug, _, leader, assistants, vehicles, _ = line
    group, site, rules = request.group(name), world.sites[slug], world.rules
    team = next(each for each in TEAMS if each[:2] == (slug, day))
    plan = plan_day(
        Request(
            site=slug,
            date=day,
            crew=Crew(dive_director=team[2], shore_watch=team[3], oxygen_provider=team[4]),
            recent_dives="none",
            groups=(_wish(group, line, {}, skills=False),),
        ),
        world,
    )
    planned = sorted(plan.dives, key=lambda dive: dive.number)
    dives, drive = [], timedelta(minutes=DRIVES[slug][0])
    for number, dive in zip(numbers, planned, strict=True):
        assert dive.entry and dive.exit and dive.exit_by and dive.depth_m and dive.bottom_time_min, plan.nearest_edge
        dives.append(
            ScheduledDive(
                number=number,
                entry=dive.entry,
                exit=dive.exit,
                exit_by=dive.exit_by,
                depth_m=dive.depth_m,
                minutes=dive.bottom_time_min,
                course_dive=group.dives[number - 1].course_dive,
            )
        )
    on_site = dives[0].entry - timedelta(minutes=rules.value("schedule.kit_up_min"))
    after = timedelta(minutes=rules.value("schedule.after_exit_min"))
    off_site = max(dives[-1].exit + after, dives[-1].exit_by)
    return Outing(
        group=name,
        kind=group.kind,
        kind_words=KINDS[group.kind].words,
        day=day,
        site=slug,
        site_name=site.name,
        place=planned[0].place,
        going_in_by=planned[0].going_in_by,
        coming_out_by=planned[0].coming_out_by,
        dives=tuple(dives),
        leader=leader,
        assistants=assistants,
        divers=group.divers,
        vehicles=vehicles,
        leaves=on_site - drive,
        on_site=on_site,
        off_site=off_site,
        back=off_site + drive,
        margin_min=5,
        km=2 * DRIVES[slug][1],
        drive_min=DRIVES[slug][0],
        drive_words="as entered",
        pinned=name == "Herrings",
    )


def _team(line: Any, outings: tuple[Outing, ...], world: World) -> ShoreTeam:
    slug, day, director, watch, oxygen, vehicles = line
    there = [each for each in outings if (each.site, each.day) == (slug, day)]
    drive = timedelta(minutes=DRIVES[slug][0])
    on_site, off_site = min(each.on_site for each in there), max(each.off_site for each in there)
    return ShoreTeam(
        site=slug,
        site_name=world.sites[slug].name,
        day=day,
        director=director,
        watch=watch,
        oxygen_providers=oxygen,
        vehicles=vehicles,
        leaves=on_site - drive,
        on_site=on_site,
        off_site=off_site,
        back=off_site + drive,
    )


def _fillings(outings: tuple[Outing, ...], request: ScheduleRequest) -> tuple[Filling, ...]:
    """Return the fillings of the first day, one after the other."""
    found: list[Filling] = []
    assert request.compressor is not None
    for outing in sorted((each for each in outings if each.day == ONE), key=lambda each: each.back):
        count = len(outing.everybody) * len(outing.dives)
        starts = max([outing.back, *(each.ends for each in found)])
        ends = starts + timedelta(minutes=count * request.compressor.fill_min)
        found.append(Filling(outing.group, outing.key, {"15 l": count}, starts, ends))
    return tuple(found)


def _trips(outings: tuple[Outing, ...], request: ScheduleRequest) -> tuple[DayTrip, ...]:
    found = []
    for slug, day, director, watch, oxygen, _ in TEAMS:
        there = [each for each in outings if (each.site, each.day) == (slug, day)]
        lines = {each.key: next(x for x in SCRIPT if x[0] == each.group and x[2] == day) for each in there}
        groups = tuple(
            _wish(request.group(each.group), lines[each.key], {dive.number: dive.entry.time() for dive in each.dives})
            for each in there
        )
        crew = Crew(dive_director=director, shore_watch=watch, oxygen_provider=oxygen)
        asked = Request(site=slug, date=day, crew=crew, recent_dives="none", groups=groups)
        keys = tuple(each.key for each in there)
        found.append(DayTrip(f"{day}-{slug}-1", slug, day, keys, asked, Outcome.CAUTION, ()))
    return tuple(found)


def _loads(outings: tuple[Outing, ...], shore: tuple[ShoreTeam, ...], request: ScheduleRequest) -> tuple[Load, ...]:
    found = []
    for worker in request.crew:
        name = worker.name
        led = [each for each in outings if name in each.crew]
        ashore = [each for each in shore if name in each.people]
        ascents = {
            each.key: sum(request.group(each.group).dives[dive.number - 1].ascents for dive in each.dives)
            for each in led
        }
        ends = {task.day: task.back for task in (*led, *ashore)}
        starts = {task.day: task.leaves for task in (*led, *ashore)}
        rest = (starts[TWO] - ends[ONE]).total_seconds() / 3600 if len(starts) == 2 else None
        found.append(
            Load(
                person=name,
                outings=len(led) + len(ashore),
                dives=sum(len(each.dives) for each in led),
                ascents=sum(ascents.values()),
                water_min=sum(int((d.exit - d.entry).total_seconds() // 60) for each in led for d in each.dives),
                ashore_min=sum(int((each.off_site - each.on_site).total_seconds() // 60) for each in ashore),
                days=len(starts),
                most_dives_day=max((len(each.dives) for each in led), default=0),
                shortest_rest_h=rest,
            )
        )
    return tuple(found)


@cache
def right() -> Case:
    """Return a schedule made by hand that breaks nothing, with its request and world."""
    request, world = _request(), _world()
    outings = tuple(sorted((_outing(line, request, world) for line in SCRIPT), key=lambda each: each.leaves))
    shore = tuple(_team(line, outings, world) for line in TEAMS)
    schedule = Schedule(
        title=request.title,
        demonstration=True,
        centre_name=world.centre_name,
        first_day=ONE,
        days=(ONE, TWO),
        timezone=request.centre.timezone,
        outings=outings,
        shore=shore,
        fillings=_fillings(outings, request),
        unplaced=(Unplaced("Herrings", (2, 3), ("nobody had time",), ()),),
        trips=_trips(outings, request),
        loads=_loads(outings, shore, request),
        checks=(Check("rest", Outcome.OK, "Everybody rests.", "work.rest_h"),),
        terms={"dives": 7000, "km": -90},
        status="feasible",
        objective=6910,
        bound=7000,
        seconds=0.0,
        seed=1,
        rounds=1,
        revision="00000000",
    )
    return schedule, request, world


def test_a_right_schedule_is_accepted() -> None:
    schedule, request, world = right()
    assert violations(schedule, request, world) == []
    assert schedule.placed == 7 and schedule.wanted == 9


def test_the_hand_made_days_hold_what_the_plants_need() -> None:
    """Two groups at one site at once, a filling that is needed, a course over two days."""
    schedule, request, world = right()
    cove = [each for each in schedule.outings if (each.site, each.day) == (COVE, ONE)]
    assert len(cove) == 2 and cove[0].back > cove[1].leaves
    assert {dive.course_dive for each in schedule.outings if each.group == "Eels" for dive in each.dives} == {1, 2, 3}
    assert slugs(replace(schedule, fillings=()), request, world) >= {"cylinder-short"}


# ---- planting ----


def slugs(schedule: Schedule, request: ScheduleRequest, world: World, **more: Any) -> set[str]:
    return {sentence.split(":")[0] for sentence in violations(schedule, request, world, **more)}


def outing(group: str, number: int = 0, /, **changes: Any) -> Plant:
    """Plant changes of the n-th outing of a group."""

    def plant(schedule: Schedule, request: ScheduleRequest, world: World) -> Case:
        own = [each for each in schedule.outings if each.group == group][number]
        made = {key: change(own) if callable(change) else change for key, change in changes.items()}
        others = tuple(replace(own, **made) if each is own else each for each in schedule.outings)
        return replace(schedule, outings=others), request, world

    return plant


def later(group: str, minutes: int, number: int = 0) -> Plant:
    """Plant another time of everything of an outing."""
    span = timedelta(minutes=minutes)

    def dives(own: Outing) -> tuple[ScheduledDive, ...]:
        return tuple(
            replace(dive, entry=dive.entry + span, exit=dive.exit + span, exit_by=dive.exit_by + span)
            for dive in own.dives
        )

    keys = ("leaves", "on_site", "off_site", "back")
    moved = {key: (lambda own, key=key: getattr(own, key) + span) for key in keys}
    return outing(group, number, dives=dives, **moved)


def shifted(key: str, minutes: int) -> Callable[[Any], datetime]:
    return lambda own: getattr(own, key) + timedelta(minutes=minutes)


def team(number: int = 0, /, **changes: Any) -> Plant:
    def plant(schedule: Schedule, request: ScheduleRequest, world: World) -> Case:
        own = schedule.shore[number]
        made = {key: change(own) if callable(change) else change for key, change in changes.items()}
        shore = tuple(replace(own, **made) if each is own else each for each in schedule.shore)
        return replace(schedule, shore=shore), request, world

    return plant


def filling(number: int = 0, /, **changes: Any) -> Plant:
    def plant(schedule: Schedule, request: ScheduleRequest, world: World) -> Case:
        own = schedule.fillings[number]
        made = {key: change(own) if callable(change) else change for key, change in changes.items()}
        fillings = tuple(replace(own, **made) if each is own else each for each in schedule.fillings)
        return replace(schedule, fillings=fillings), request, world

    return plant


def stated(**changes: Any) -> Plant:
    """Plant changes of the schedule's own values."""

    def plant(schedule: Schedule, request: ScheduleRequest, world: World) -> Case:
        made = {key: change(schedule) if callable(change) else change for key, change in changes.items()}
        return replace(schedule, **made), request, world

    return plant


def asked(**changes: Any) -> Plant:
    """Plant another request."""
    return lambda schedule, request, world: (schedule, request.model_copy(update=changes), world)


def wished(name: str, /, **changes: Any) -> Plant:
    """Plant another wish of a group."""

    def plant(schedule: Schedule, request: ScheduleRequest, world: World) -> Case:
        groups = tuple(g.model_copy(update=changes) if g.name == name else g for g in request.groups)
        return schedule, request.model_copy(update={"groups": groups}), world

    return plant


def worker(name: str, /, **changes: Any) -> Plant:
    def plant(schedule: Schedule, request: ScheduleRequest, world: World) -> Case:
        crew = tuple(w.model_copy(update=changes) if w.name == name else w for w in request.crew)
        return schedule, request.model_copy(update={"crew": crew}), world

    return plant


def paper(name: str, /, **changes: Any) -> Plant:
    """Plant other papers of a person."""

    def plant(schedule: Schedule, request: ScheduleRequest, world: World) -> Case:
        people = {**world.people, name: world.people[name].model_copy(update=changes)}
        return schedule, request, replace(world, people=people)

    return plant


def rule(key: str, value: float) -> Plant:
    def plant(schedule: Schedule, request: ScheduleRequest, world: World) -> Case:
        rules = dict(world.rules.rules)
        rules[key] = replace(rules[key], value=value, reason="planted", baseline_value=rules[key].value)
        return schedule, request, replace(world, rules=replace(world.rules, rules=rules))

    return plant


def place(slug: str, change: Callable[[Any], Mapping[str, Any]]) -> Plant:
    """Plant another site file."""

    def plant(schedule: Schedule, request: ScheduleRequest, world: World) -> Case:
        site = world.sites[slug]
        return schedule, request, replace(world, sites={**world.sites, slug: site.model_copy(update=change(site))})

    return plant


def store(**changes: Any) -> Plant:
    def plant(schedule: Schedule, request: ScheduleRequest, world: World) -> Case:
        assert world.kit is not None
        return schedule, request, replace(world, kit=world.kit.model_copy(update=changes))

    return plant


def both(*plants: Plant) -> Plant:
    def plant(schedule: Schedule, request: ScheduleRequest, world: World) -> Case:
        case = (schedule, request, world)
        for each in plants:
            case = each(*case)
        return case

    return plant


def numbered(*numbers: int) -> Callable[[Outing], tuple[ScheduledDive, ...]]:
    """Give the dives of an outing other numbers, their times left as they are."""
    return lambda own: tuple(replace(d, number=n) for d, n in zip(own.dives, numbers, strict=True))


def dive(**changes: Any) -> Callable[[Outing], tuple[ScheduledDive, ...]]:
    """Change the first dive of an outing."""

    def changed(own: Outing) -> tuple[ScheduledDive, ...]:
        made = {key: change(own.dives[0]) if callable(change) else change for key, change in changes.items()}
        return (replace(own.dives[0], **made), *own.dives[1:])

    return changed


def load(**changes: Any) -> Plant:
    return stated(loads=lambda s: (replace(s.loads[0], **changes), *s.loads[1:]))


def trip(**changes: Any) -> Plant:
    return stated(trips=lambda s: (replace(s.trips[0], **changes), *s.trips[1:]))


def depth(metres: float) -> Plant:
    """Plant a depth, in the request and in the schedule alike."""
    dives = (DiveWish(depth_m=metres, minutes=25), DiveWish(depth_m=12, minutes=25))
    return both(wished("Dabs", dives=dives), outing("Dabs", dives=dive(depth_m=metres)))


def without(*, group: str, numbers: tuple[int, ...] = (0,)) -> Plant:
    def left(schedule: Schedule) -> tuple[Outing, ...]:
        own = [each for each in schedule.outings if each.group == group]
        gone = [own[n].key for n in numbers]
        return tuple(each for each in schedule.outings if each.key not in gone)

    return stated(outings=left)


def split(schedule: Schedule) -> tuple[DayTrip, ...]:
    """Take the two groups that are at the cove at once apart."""
    whole = schedule.trips[1]
    halves = [
        replace(
            whole, slug=f"{whole.slug}{n}", outings=(key,), request=whole.request.model_copy(update={"groups": (g,)})
        )
        for n, (key, g) in enumerate(zip(whole.outings, whole.request.groups, strict=True))
    ]
    return (schedule.trips[0], *halves, *schedule.trips[2:])


def recent(name: str, hours: float) -> RecentDive:
    """Return a dive of somebody that ended so many hours before half past nine of the first day."""
    at = datetime(2027, 6, 7, 9, 30, tzinfo=UTC) - timedelta(hours=hours)
    return RecentDive(person=name, depth_m=18, minutes=40, surfaced=at, altitude_m=0)


def cylinders(**changes: Any) -> Plant:
    """Plant other cylinders, as many as before."""
    return store(cylinders=tuple(each.model_copy(update=changes) for each in _kit().cylinders))


def dry_beach(site: Site) -> dict[str, Any]:
    """Close the first way in for all heights of tide that there are."""
    first = site.entries[0].model_copy(update={"going_in": TideLimits(lowest_m=6.0)})
    return {"entries": (first, *site.entries[1:])}


def alone(site: Site) -> dict[str, Any]:
    """Leave nobody to call who comes to the rescue."""
    return {"contacts": tuple(each for each in site.contacts if each.role in ("centre", "police"))}


def gone(schedule: Schedule, request: ScheduleRequest, world: World) -> Case:
    """Plant a fleet that is away on the first day."""
    fleet = tuple(each.model_copy(update={"off": (ONE,)}) for each in request.vehicles or ())
    return schedule, request.model_copy(update={"vehicles": fleet}), world


def long(schedule: Schedule, request: ScheduleRequest, world: World) -> Case:
    """Plant a dive far beyond its no-stop time, in the request and in the schedule alike."""
    dives = (DiveWish(depth_m=14, minutes=200), DiveWish(depth_m=12, minutes=25))
    return both(wished("Dabs", dives=dives), outing("Dabs", dives=dive(minutes=200)))(schedule, request, world)


def without_cylinder(schedule: Schedule, request: ScheduleRequest, world: World) -> Case:
    """Plant one cylinder fewer than are out at once on the first day."""
    assert world.kit is not None
    return store(cylinders=world.kit.cylinders[1:])(schedule, request, world)


def no_oxygen(schedule: Schedule, request: ScheduleRequest, world: World) -> Case:
    return schedule, request, replace(world, readiness=world.readiness.model_copy(update={"oxygen_units": ()}))


PLANTED: tuple[tuple[str, Plant], ...] = (
    # names
    ("unknown-group", outing("Dabs", group="Crabs")),
    ("unknown-site", outing("Dabs", site="nowhere")),
    ("unknown-place", outing("Dabs", place="Elsewhere")),
    ("unknown-way", outing("Dabs", going_in_by="Cliff")),
    ("unknown-dive", outing("Dabs", dives=numbered(1, 3))),
    ("unknown-vehicle", outing("Dabs", vehicles=("Bus 9",))),
    ("not-crew", outing("Dabs", leader="Flo")),
    ("no-dives", outing("Gobies", dives=())),
    # the dives of a group
    ("dive-twice", outing("Eels", 1, dives=numbered(2))),
    ("dive-missing", without(group="Eels")),
    ("dive-order", outing("Eels", dives=numbered(2, 1))),
    ("dive-order", both(outing("Eels", dives=numbered(1, 3)), outing("Eels", 1, dives=numbered(2)))),
    ("not-as-asked", outing("Eels", divers=("Lea", "Ron"))),
    ("not-as-asked", outing("Dabs", dives=dive(depth_m=15.0))),
    ("not-as-asked", outing("Dabs", dives=dive(minutes=30))),
    ("not-as-asked", outing("Eels", dives=dive(course_dive=2))),
    ("not-as-asked", wished("Dabs", place="The pit")),
    # times of an outing
    ("on-site-wrong", outing("Dabs", on_site=shifted("on_site", 5), leaves=shifted("leaves", 5))),
    ("off-site-wrong", outing("Dabs", off_site=shifted("off_site", -5), back=shifted("back", -5))),
    ("leaves-wrong", outing("Dabs", leaves=shifted("leaves", 5))),
    ("back-wrong", outing("Dabs", back=shifted("back", -5))),
    ("times-mixed", outing("Dabs", dives=dive(exit=lambda d: d.exit_by + timedelta(minutes=1)))),
    ("drive-wrong", outing("Dabs", drive_min=10)),
    ("drive-wrong", asked(drives=())),
    ("km-wrong", outing("Dabs", km=20.0)),
    ("drive-words", outing("Dabs", drive_words="reckoned")),
    ("entry-step", later("Gobies", 2)),
    ("outside-hours", asked(centre=_request().centre.model_copy(update={"opens": time(9, 0)}))),
    ("outside-hours", asked(centre=_request().centre.model_copy(update={"closes": time(12, 0)}))),
    ("outside-days", outing("Dabs", day=TWO)),
    ("outside-days", both(asked(days=1), stated(days=(ONE,)))),
    ("group-hours", wished("Dabs", not_before=time(10, 0))),
    ("group-hours", wished("Dabs", not_after=time(12, 0))),
    # what a group may
    ("group-day", wished("Dabs", days=(TWO,))),
    ("group-site", wished("Dabs", sites=(COVE,))),
    ("group-site", wished("Dabs", not_sites=(QUARRY,))),
    ("site-not-asked", asked(sites=(COVE,))),
    ("site-closed", asked(closed=(ClosedSite(site=QUARRY, days=(ONE,), because="fireworks"),))),
    ("site-closed", asked(closed=(ClosedSite(site=QUARRY, because="fireworks"),))),
    ("excluded", asked(excluded=(Exclusion(group="Dabs", day=ONE),))),
    ("excluded", asked(excluded=(Exclusion(group="Dabs", site=QUARRY),))),
    ("excluded", asked(excluded=(Exclusion(group="Dabs", person="Gil"),))),
    ("excluded", asked(excluded=(Exclusion(group="Dabs", day=ONE, site=QUARRY, person="Ida"),))),
    ("group-dives-per-day", wished("Dabs", most_dives_per_day=1)),
    ("group-dives-per-day", rule("schedule.group_dives_per_day", 1)),
    ("apart", wished("Eels", apart_h=30.0)),
    ("apart", rule("schedule.apart_h", 30)),
    ("group-turnaround", rule("schedule.turnaround_min", 1400)),
    ("not-with", outing("Herrings", leader="Ola")),
    # people
    ("person-twice", outing("Gobies", leader="Ola")),
    ("person-twice", team(0, oxygen_providers=("Mae",))),
    ("person-twice", outing("Dabs", assistants=("Ida",))),
    ("person-turnaround", rule("schedule.turnaround_min", 1400)),
    ("day-off", worker("Ida", off=(ONE,))),
    ("day-off", worker("Sol", off=(TWO,))),
    ("absent", asked(absent=(Absence(person="Gil", days=(ONE,)),))),
    ("duties", worker("Ida", duties="ashore")),
    ("duties", worker("Oxy", duties="water")),
    ("worker-hours", worker("Ida", starts=time(10, 0))),
    ("worker-hours", worker("Mae", ends=time(11, 0))),
    ("surface-interval", rule("surface_interval.shortest_min", 400)),
    ("surface-interval", asked(recent_dives=(recent("Ann", 0.5),))),
    ("dry-gap", rule("plan.dry_gap_min", 400)),
    # shore teams
    ("team-count", stated(shore=lambda s: s.shore[1:])),
    ("team-count", stated(shore=lambda s: (*s.shore, s.shore[0]))),
    ("team-idle", without(group="Dabs")),
    ("team-late", team(1, on_site=shifted("on_site", 30), leaves=shifted("leaves", 30))),
    ("team-early", team(1, off_site=shifted("off_site", -10), back=shifted("back", -10))),
    ("team-drive", team(1, back=shifted("back", -5))),
    ("team-small", team(0, oxygen_providers=("Sol",))),
    ("team-small", rule("crew.first_experience_ashore_fewest", 3)),
    ("team-minor", paper("Sol", born=date(2010, 1, 1))),
    ("team-oxygen", paper("Oxy", oxygen_provider_until=date(2027, 6, 6))),
    ("team-oxygen", team(0, watch=("Sol", "Oxy"), oxygen_providers=())),
    ("team-watch", team(0, watch=())),
    # room and seats
    ("capacity-divers", place(COVE, lambda s: {"capacity": s.capacity.model_copy(update={"divers": 7})})),
    ("capacity-vehicles", place(COVE, lambda s: {"capacity": s.capacity.model_copy(update={"vehicles": 2})})),
    ("vehicle-twice", outing("Gobies", vehicles=("Bus 2",))),
    ("vehicle-twice", team(0, vehicles=("Bus 1",))),
    ("vehicle-turnaround", rule("schedule.turnaround_min", 1400)),
    ("vehicle-off", gone),
    ("seats", outing("Dabs", vehicles=("Car 1",))),
    ("seats", team(0, vehicles=())),
    ("seats", both(wished("Gobies", needs_seats=False), outing("Gobies", vehicles=()))),
    # kit
    ("kit-short", store(fins=(SizedItem(size="42-43", count=12),))),
    ("kit-short", store(fins=(SizedItem(size="38", count=50),))),
    ("kit-short", store(masks=(UnsizedItem(count=50, out_of_service="lost"),))),
    ("kit-short", store(regulators=())),
    ("kit-short", store(suits=tuple(SuitItem(identity=f"W{n}", size="L", mm=5) for n in range(50)))),
    ("kit-short", store(suits=tuple(SuitItem(identity=f"W{n}", size="L", dry=True) for n in range(50)))),
    ("kit-short", store(safety=_safety(flag=2))),
    ("kit-short", store(safety=_safety(float=2))),
    ("kit-short", store(safety=_safety(oxygen_kit=1))),
    ("kit-short", store(safety=_safety(first_aid_kit=0))),
    ("cylinder-short", stated(fillings=())),
    ("cylinder-short", cylinders(volume_l=12.0)),
    ("cylinder-short", cylinders(working_bar=190.0)),
    ("cylinder-short", cylinders(oxygen_percent=32.0)),
    ("cylinder-short", cylinders(last_test=date(2022, 6, 1))),
    ("cylinder-short", stated(fillings=lambda s: tuple(replace(f, ends=f.ends + DAY_LATER) for f in s.fillings))),
    ("cylinder-short", without_cylinder),
    ("kit-note", lambda s, r, w: (s, r, replace(w, kit=None))),
    ("filling-early", filling(0, starts=shifted("starts", -5))),
    ("filling-short", filling(0, ends=shifted("ends", -1))),
    ("filling-overlap", filling(1, starts=shifted("starts", -90))),
    ("filling-count", filling(0, sizes={"15 l": 1})),
    ("filling-count", filling(0, sizes={"10 l": 3})),
    ("filling-unknown", filling(0, outing="Crabs: 1")),
    ("filling-unknown", stated(fillings=lambda s: (*s.fillings, s.fillings[0]))),
    ("filling-without-compressor", asked(compressor=None)),
    ("compressor-closed", asked(compressor=Compressor(fill_min=4.0, opens=time(7, 0), closes=time(12, 0)))),
    # what a person may
    ("dives-per-day", rule("dive.most_per_day", 1)),
    ("dives-per-day", rule("dive.most_per_day_staff", 1)),
    ("ascents-per-day", rule("ascent.most_per_day", 3)),
    ("days-in-seven", rule("work.most_in_seven_days", 1)),
    ("dives-in-seven", rule("work.dives_in_seven_most", 2)),
    ("ascents-in-seven", rule("work.ascents_in_seven_most", 4)),
    ("rest", rule("work.rest_h", 22)),
    # the day plans
    ("times-differ", outing("Dabs", dives=dive(exit=lambda d: d.exit - timedelta(minutes=1)))),
    ("times-differ", outing("Dabs", dives=dive(exit_by=lambda d: d.exit_by + timedelta(minutes=1)))),
    ("margin-wrong", outing("Dabs", margin_min=2000)),
    ("margin-wrong", outing("Dabs", margin_min=-1)),
    ("plan-differs", long),
    ("plan-request", outing("Dabs", assistants=("Ida",))),
    ("trip-outings", trip(outings=())),
    ("trip-outings", trip(outings=("Crabs: 1",))),
    ("trip-outings", stated(trips=lambda s: s.trips[1:])),
    ("trip-slug", stated(trips=lambda s: tuple(replace(each, slug="one") for each in s.trips))),
    ("trip-stop", trip(verdict=Outcome.STOP)),
    ("trip-split", stated(trips=split)),
    ("trip-request", stated(trips=lambda s: (replace(s.trips[0], request=s.trips[1].request), *s.trips[1:]))),
    # what was settled
    ("pin", asked(pinned=(Pin(group="Herrings", dives=(1,), day=ONE),))),
    ("pin", asked(pinned=(Pin(group="Herrings", dives=(1,), site=COVE),))),
    ("pin", asked(pinned=(Pin(group="Herrings", dives=(1,), day=TWO, entry=time(11, 0)),))),
    ("pin", asked(pinned=(Pin(group="Herrings", dives=(1,), leader="Uwe"),))),
    ("pin", asked(pinned=(Pin(group="Herrings", dives=(1,), assistants=("Gil",)),))),
    ("pin", asked(pinned=(Pin(group="Herrings", dives=(1, 2)),))),
    ("pin-flag", outing("Herrings", pinned=False)),
    # what the schedule says of itself
    ("loads", load(outings=1)),
    ("loads", load(dives=1)),
    ("loads", load(ascents=1)),
    ("loads", load(water_min=1)),
    ("loads", load(days=1)),
    ("loads", load(most_dives_day=1)),
    ("loads", load(shortest_rest_h=11.0)),
    ("loads", load(shortest_rest_h=None)),
    ("loads", stated(loads=lambda s: s.loads[1:])),
    ("loads", stated(loads=lambda s: (*s.loads, s.loads[0]))),
    ("loads", stated(loads=lambda s: tuple(replace(each, ashore_min=1) for each in s.loads))),
    ("terms", stated(objective=6911)),
    ("terms", stated(terms={"dives": 7000})),
    ("bound", stated(bound=6000)),
    ("bound", stated(status="optimal")),
    ("status", stated(status="none")),
    ("unplaced", stated(unplaced=())),
    ("unplaced", stated(unplaced=(Unplaced("Herrings", (2,), ("why",), ()),))),
    ("unplaced", stated(unplaced=lambda s: (*s.unplaced, Unplaced("Dabs", (2,), ("why",), ())))),
    ("unplaced", stated(unplaced=(Unplaced("Herrings", (2, 3), (), ()),))),
    ("outings-order", stated(outings=lambda s: tuple(reversed(s.outings)))),
    ("days-wrong", stated(days=(ONE,))),
    ("head-wrong", stated(demonstration=False)),
    ("head-wrong", stated(timezone="UTC")),
    ("check-stop", stated(checks=(Check("rest", Outcome.STOP, "Nobody rests.", "work.rest_h"),))),
)  # fmt: skip


@pytest.mark.parametrize(
    ("slug", "plant"), PLANTED, ids=[f"{number}-{slug}" for number, (slug, _) in enumerate(PLANTED)]
)
def test_a_planted_fault_is_named(slug: str, plant: Plant) -> None:
    assert slug in slugs(*plant(*right()))


STOPPED: tuple[tuple[str, Plant], ...] = (
    ("entry-possible", place(COVE, dry_beach)),
    ("entry-possible", later("Gobies", 12 * 60)),
    ("ratio", both(rule("ratio.guided_per_leader", 1), rule("ratio.guided_per_assistant", 1))),
    ("leader-level", outing("Eels", leader="Gil", assistants=())),
    ("assistant-level", outing("Eels", assistants=("Sol",))),
    ("leader-named", outing("Eels", leader=None, assistants=("Gil",))),
    ("diver-level", paper("Ann", level=Level.FIRST_EXPERIENCE)),
    ("depth-within-limit", depth(35.0)),
    ("time-within-limit", long),
    ("medical", paper("Ann", medical=date(2026, 6, 1))),
    ("first-aid-valid", paper("Ida", first_aid_until=date(2027, 6, 1))),
    ("guardian-consent", paper("Lea", born=date(2014, 1, 1), guardian_consent=False)),
    ("skills-open", without(group="Eels")),
    ("oxygen", no_oxygen),
    ("rescue-contact", place(COVE, alone)),
    ("place-suits", outing("Dabs", place="Training shelf")),
    ("entry-possible", asked(recent_dives=tuple(recent("Ann", 1.5 + 2 * n) for n in range(3)))),
    ("director-named", paper("Sol", born=date(2010, 1, 1))),
)  # fmt: skip


@pytest.mark.parametrize(("why", "plant"), STOPPED, ids=[f"{number}-{why}" for number, (why, _) in enumerate(STOPPED)])
def test_what_a_day_plan_stops_is_named(why: str, plant: Plant) -> None:
    said = [each for each in violations(*plant(*right())) if each.startswith("plan-stop: ")]
    assert any(f": {why}" in each for each in said), said


def test_moved_is_compared_with_the_schedule_before() -> None:
    schedule, request, world = right()
    assert violations(schedule, request, world, before=schedule) == []
    other, _, _ = later("Gobies", 30)(schedule, request, world)
    assert "moved" in slugs(schedule, request, world, before=other)
    told = replace(schedule, moved=(Moved("Gobies", "Gobies go in earlier."),))
    assert "moved" not in slugs(told, request, world, before=other)
    assert "moved" in slugs(told, request, world, before=schedule)


def test_nobody_counts_seats_where_no_vehicles_are_given() -> None:
    schedule, request, world = right()
    walked = replace(
        schedule,
        outings=tuple(replace(each, vehicles=()) for each in schedule.outings),
        shore=tuple(replace(each, vehicles=()) for each in schedule.shore),
    )
    assert "seats" in slugs(walked, request, world)
    assert violations(walked, request.model_copy(update={"vehicles": None}), world) == []


def test_a_store_of_exactly_what_is_out_at_once_is_enough() -> None:
    """Fourteen are out at once on the first day: thirteen pairs of fins are one too few, fourteen do."""
    schedule, request, world = right()
    assert sum(len(each.everybody) for each in schedule.outings if each.day == ONE) == 14
    for count, short in ((13, True), (14, False)):
        case = store(fins=(SizedItem(size="42-43", count=count),))(schedule, request, world)
        assert ("kit-short" in slugs(*case)) is short
