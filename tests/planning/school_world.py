"""A small invented school for tests of schedules: a cove, a quarry, a crew, groups and a store, each easy to change."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import date, time
from functools import cache
from typing import Any

from tests.bench.schedules import invented
from tests.planning.readiness import ready_on
from tests.planning.small_world import person, rules_with
from tripplan.catalogue.site import Site
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
from tripplan.people.person import Person
from tripplan.planning.request import DiveWish
from tripplan.planning.schedule_request import (
    Compressor,
    DriveTime,
    ScheduleRequest,
    SchoolGroup,
    Start,
    Vehicle,
    Worker,
)
from tripplan.planning.world import World

ONE, TWO, THREE = date(2027, 6, 7), date(2027, 6, 8), date(2027, 6, 9)
COVE, QUARRY = "cove", "quarry"
SIZE = {"mask": "any", "fins": "42", "boots": "42", "suit": "L", "buoyancy_device": "L"}
HOURS = {"opens": time(8, 0), "closes": time(19, 0)}
GUEST: dict[str, Any] = {"sizes": SIZE, "oxygen_provider_until": None}
NEW: dict[str, Any] = {**GUEST, "logged_dives": 0, "last_dive": None}
SAFETY: tuple[SafetyThing, ...] = ("flag", "float", "oxygen_kit", "first_aid_kit")
FILLER = Compressor(fill_min=4.0, opens=time(8, 0), closes=time(19, 0))

LEADERS = (
    person("Ida", Level.INSTRUCTOR_2, sizes=SIZE),
    person("Ola", Level.INSTRUCTOR_2, sizes=SIZE),
    person("Gil", Level.LEVEL_3, sizes=SIZE),
    person("Kay", Level.LEVEL_3, sizes=SIZE),
)
ASHORE = tuple(person(name, Level.LEVEL_2, sizes=SIZE) for name in ("Sol", "Bea", "Mae", "Oxy"))
GUESTS = tuple(person(name, Level.LEVEL_2, **GUEST) for name in ("Ann", "Ben", "Cy", "Dee", "Eva", "Flo", "Hal", "Jo"))
LEARNERS = tuple(person(name, Level.FIRST_EXPERIENCE, **NEW) for name in ("Lea", "Ron", "Vic", "Wim", "Zoe"))


def both_sites() -> dict[str, Site]:
    """Return a cove of the sea and a quarry of fresh water: the first takes every kind of dive of these tests."""
    return dict(_sites())


@cache
def _sites() -> tuple[tuple[str, Site], ...]:
    cove, quarry = invented(1, 2, 4, 2, 5)[1].sites.values()
    return tuple((slug, site.model_copy(update={"slug": slug, "name": slug.title()}))
                 for slug, site in ((COVE, cove), (QUARRY, quarry)))  # fmt: skip


def school_world(
    *people: Person, sites: Mapping[str, Site] | None = None, kit: Kit | None = None, step: int = 60, **values: float
) -> World:
    """Return the school's world; people given here replace those of the same name, values those of the rule book.

    step -- minutes of the clock on which entries stand
    """
    everybody = {each.name: each for each in (*LEADERS, *ASHORE, *GUESTS, *LEARNERS, *people)}
    base = invented(1, 2, 4, 2, 5)[1]
    return replace(
        base,
        sites=both_sites() if sites is None else dict(sites),
        people=everybody,
        readiness=ready_on(ONE, *everybody),
        kit=kit,
        ticks={},
        rules=rules_with(plan__entry_step_min=step, **values),
    )


def dives(number: int, depth_m: float = 12.0, minutes: int = 25) -> tuple[DiveWish, ...]:
    return tuple(DiveWish(depth_m=depth_m - 2 * n, minutes=minutes) for n in range(number))


def guided(name: str, *divers: str, number: int = 1, **more: Any) -> SchoolGroup:
    """Return a guided group of so many dives."""
    given: dict[str, Any] = {"cylinder_l": 15.0, "fill_bar": 200.0, "suit_mm": 7.0, "dives": dives(number), **more}
    return SchoolGroup(name=name, kind="guided", divers=divers, **given)


def trial(name: str, *divers: str, **more: Any) -> SchoolGroup:
    """Return a first experience."""
    wish = DiveWish(depth_m=3, minutes=20, course_dive=1)
    given: dict[str, Any] = {"cylinder_l": 15.0, "fill_bar": 200.0, "suit_mm": 7.0, "dives": (wish,), **more}
    return SchoolGroup(name=name, kind="first_experience", divers=divers, **given)


def crew(*names: str, **duties: str) -> tuple[Worker, ...]:
    """Return members of the crew; by keyword those of one duty only."""
    one = tuple(Worker(name=name, duties=duty) for name, duty in duties.items())  # type: ignore[arg-type]
    return (*(Worker(name=name) for name in names), *one)


def school(*groups: SchoolGroup, days: int = 1, **more: Any) -> ScheduleRequest:
    """Return what the school asks for: Ida and Gil in the water, Sol and Bea ashore, unless said otherwise."""
    given: dict[str, Any] = {
        "title": "Days of a test",
        "first_day": ONE,
        "days": days,
        "centre": Start(position="46.9000, -16.9000", timezone="Atlantic/Azores", **HOURS),
        "drives": (DriveTime(site=COVE, minutes=15, km=9.0), DriveTime(site=QUARRY, minutes=20, km=12.5)),
        "crew": crew("Ida", "Gil", Sol="ashore", Bea="ashore"),
        "groups": groups,
        "recent_dives": "none",
        **more,
    }
    return ScheduleRequest(**given)


def fleet(*seats: int) -> tuple[Vehicle, ...]:
    return tuple(Vehicle(name=f"Van {number}", seats=each) for number, each in enumerate(seats, 1))


def store(cylinders: int = 40, **counts: int) -> Kit:
    """Return a store of one size, twenty of each thing where no other count is given."""
    seen = date(2027, 5, 1)

    def many(thing: str) -> int:
        return counts.get(thing, 20)

    return Kit(
        cylinders=tuple(
            CylinderItem(
                identity=f"C{n}", volume_l=15, metal="steel", working_bar=232, last_visual=seen,
                last_test=date(2026, 6, 1),
            )
            for n in range(cylinders)
        ),
        regulators=tuple(
            RegulatorItem(identity=f"R{n}", serviced=seen, has_second_stage_spare=True, has_pressure_gauge=True)
            for n in range(many("regulator"))
        ),
        suits=tuple(SuitItem(identity=f"W{n}", size="L", mm=7) for n in range(many("suit"))),
        buoyancy_devices=(SizedItem(size="L", count=many("buoyancy_device")),),
        masks=(UnsizedItem(count=many("mask")),),
        fins=(SizedItem(size="42-43", count=many("fins")),),
        safety=tuple(SafetyItem(thing=thing, count=many(thing)) for thing in SAFETY),
    )  # fmt: skip
