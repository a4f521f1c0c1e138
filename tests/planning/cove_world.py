"""A small invented world for the tests of a whole day: one cove, a handful of people, the baseline rule book."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any

from tests.planning.readiness import on_record, ready, ready_on
from tripplan.catalogue.site import Site
from tripplan.catalogue.station import Station
from tripplan.environment.tide import Constituent, HarmonicTide
from tripplan.people.level import Level
from tripplan.people.person import Person
from tripplan.planning.request import Crew, DiveWish, GroupWish, Request
from tripplan.planning.world import World
from tripplan.rulebook import RuleBook, baseline

DAY = date(2027, 6, 12)
RECENT = date(2027, 6, 1)
CHECKED = {"checked": date(2027, 6, 1), "checked_by": "Ana"}

STATION = Station(
    slug="quay",
    name="Test quay",
    latitude_deg=47.0,
    longitude_deg=-17.0,
    timezone="Atlantic/Azores",
    datum="chart datum",
    tide=HarmonicTide(mean_level_m=2.5, constituents=(Constituent("M2", 1.5, 60.0), Constituent("S2", 0.5, 90.0))),
    kind="constants",
    issued=None,
    source="invented",
)


def site(**changes: Any) -> Site:
    """Return the test site with some fields replaced."""
    whole: dict[str, Any] = {
        "slug": "cove",
        "name": "Test cove",
        "position": "47.0000, -17.0000",
        "timezone": "Atlantic/Azores",
        "elevation_m": 0.0,
        "water": {"kind": "sea", "salinity": 35.0, "temperature_c": (14.0,) * 12},
        "lowest_level": Level.FIRST_EXPERIENCE,
        "flag_rule": "flag A on the beach",
        "survey_date": date(2027, 3, 1),
        "road": "Cove Road, car park",
        "tide": {"station": "quay"},
        "stream": {"kind": "none"},
        "communications": {"phone_signal": "good on the beach"},
        "capacity": {"divers": 20},
        "rendezvous": {"place": "Cove Road gate", "position": "47.0010, -17.0010"},
        "places": (
            {
                "name": "Sand",
                "shallowest_m": 1.0,
                "deepest_m": 5.0,
                "bottom": "sand",
                "swim_min": 0.0,
                "suits": ("confined_skills", "first_open_water"),
            },
            {
                "name": "Reef",
                "shallowest_m": 5.0,
                "deepest_m": 40.0,
                "bottom": "rock",
                "swim_min": 0.0,
                "suits": ("guided", "further_training", "first_open_water", "night"),
            },
        ),
        "entries": (
            {"name": "Beach", "kind": "beach", "facing_deg": 180.0, "going_in": {}, "coming_out": {}, "casualty": True},
            {"name": "Rocks", "kind": "rocks", "facing_deg": 200.0, "going_in": "not_used", "coming_out": {}},
        ),
        "alternative_exit": {"access": "Rocks", "swim_m": 80.0},
        "contacts": (
            {"role": "emergency", "name": "Control", "number": "+44 1632 960001", "hours": "24 h", **CHECKED},
        ),
        "hospitals": (
            {"name": "General", "number": "+44 1632 960002", "position": "47.05, -17.05", "drive_min": 20.0, **CHECKED},
        ),
        "chambers": (
            {"name": "Chamber", "number": "+44 1632 960003", "position": "47.06, -17.02", "drive_min": 30.0, **CHECKED},
        ),
    }
    whole.update(changes)
    return Site.model_validate(whole)


def person(name: str, level: Level, born: date = date(1990, 1, 1), **more: Any) -> Person:
    """Return somebody who is ready to dive today."""
    ready: dict[str, Any] = {
        "last_dive": RECENT,
        "medical": RECENT,
        "medical_clear": True,
        "guardian_consent": True,
        "logged_dives": 80,
        **on_record(name),
    }
    ready.update(more)
    return Person(name=name, level=level, born=born, **ready)


PEOPLE = {
    one.name: one
    for one in (
        person("Chief", Level.INSTRUCTOR_2),
        person("Tutor", Level.INSTRUCTOR_2),
        person("Guide", Level.LEVEL_3),
        person("Helper", Level.LEVEL_3),
        person("Shore", Level.LEVEL_2, oxygen_provider_until=date(2028, 1, 1)),
        person("Watch", Level.LEVEL_2),
        person("Two", Level.LEVEL_2),
        person("Deux", Level.LEVEL_2),
        person("Dos", Level.LEVEL_2),
        person("One", Level.LEVEL_1),
        person("Uno", Level.LEVEL_1),
        person("New", Level.FIRST_EXPERIENCE),
        person("Eleven", Level.LEVEL_1, born=date(2015, 9, 1)),
        person("Nine", Level.FIRST_EXPERIENCE, born=date(2017, 9, 1)),
        person("Sixteen", Level.LEVEL_2, born=date(2011, 1, 1)),
    )
}
CREW = Crew(dive_director="Chief", shore_watch=("Watch",), oxygen_provider=("Shore",))


def world(
    test_site: Site | None = None,
    people: Mapping[str, Person] = PEOPLE,
    rules: RuleBook | None = None,
    stations: Mapping[str, Station] | None = None,
) -> World:
    """Return the small world, with a site or people of the test's own."""
    return World(
        sites={"cove": ready(test_site or site())},
        stations={"quay": STATION} if stations is None else stations,
        people=people,
        rules=rules or baseline(),
        readiness=ready_on(DAY, "Chief", "Watch", "Shore"),
    )


def group(*divers: str, **more: Any) -> GroupWish:
    """Return a guided group led by Guide, one dive, unless said otherwise."""
    whole: dict[str, Any] = {
        "name": "Terns",
        "kind": "guided",
        "leader": "Guide",
        "divers": divers or ("Two", "Deux"),
        "cylinder_l": 18.0,
        "fill_bar": 230.0,
        "dives": (DiveWish(),),
    }
    whole.update(more)
    return GroupWish(**whole)


def request(*groups: GroupWish, **more: Any) -> Request:
    """Return a request for the test day."""
    whole: dict[str, Any] = {
        "site": "cove",
        "date": DAY,
        "crew": CREW,
        "recent_dives": "none",
        "groups": groups or (group(),),
    }
    whole.update(more)
    return Request(**whole)
