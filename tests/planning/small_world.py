"""A small invented world for the tests of planning: one site, a few people, the baseline rules, dates given."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from types import MappingProxyType
from typing import Any

from tests.planning.readiness import on_record, ready, ready_on
from tripplan.catalogue.site import Site, site_from
from tripplan.catalogue.station import Station
from tripplan.check import Check, Outcome
from tripplan.environment.tide import PrintedTide, TurningPoint
from tripplan.people.level import Level
from tripplan.people.person import Person
from tripplan.planning.day import plan_day
from tripplan.planning.plan import DayPlan
from tripplan.planning.request import Crew, DiveWish, GroupWish, Request
from tripplan.planning.world import World
from tripplan.record import TomlFile
from tripplan.rulebook import RuleBook, baseline

DAY = date(2027, 6, 12)  # a Saturday; the Azores keep UTC+0 in summer, so the local clock is UTC
TEXT = Path(__file__).with_name("plain-cove.toml").read_text(encoding="utf-8")


def edited(*edits: tuple[str, str], text: str = TEXT) -> str:
    """Return the site's text with each first word replaced by the second; a word that is not there is an error."""
    for old, new in edits:
        assert old in text, old
        text = text.replace(old, new, 1)
    return text


def site(*edits: tuple[str, str]) -> Site:
    return site_from(TomlFile(Path("plain-cove.toml"), edited(*edits)))


TIDAL = ('none_because = "the tests give none"', 'station = "swing"')
SOUTH = (  # the same shore near another clock
    ("Atlantic/Azores", "Australia/Lord_Howe"),
    ("47.0000, -17.0000", "-31.5000, 159.0000"),
    ("47.0005, -17.0005", "-31.5005, 159.0005"),
    ("47.1000, -17.0000", "-31.6000, 159.0000"),
    ("47.2000, -17.0000", "-31.7000, 159.0000"),
)


def limits(going_in: str = "{}", coming_out: str = "{}") -> tuple[str, str]:
    """Return an edit of the tide limits of the beach."""
    return "going_in = {}\ncoming_out = {}\ncasualty", f"going_in = {going_in}\ncoming_out = {coming_out}\ncasualty"


def swing(around: date = DAY, days: int = 3, hours: float = 6.0) -> Station:
    """Return a tide of 3 m plus or minus 2 m: high at 00:00 and 12:00 UTC, low at 06:00 and 18:00 UTC."""
    start = datetime(around.year, around.month, around.day, tzinfo=UTC) - timedelta(days=days)
    points = tuple(
        TurningPoint(start + timedelta(hours=hours * n), "high" if n % 2 == 0 else "low", 5.0 if n % 2 == 0 else 1.0)
        for n in range(round(days * 2 * 24 / hours) + 1)
    )
    return Station(
        "swing", "Swing", 47.0, -17.0, "Atlantic/Azores", "chart datum", PrintedTide(points, 14.0), "printed"
    )


def person(name: str, level: Level = Level.LEVEL_2, born: date = date(1995, 1, 1), **other: Any) -> Person:
    """Return somebody with all papers in order."""
    given: dict[str, Any] = {
        "medical": date(2027, 1, 1),
        "medical_clear": True,
        "last_dive": date(2027, 6, 1),
        "logged_dives": 80,
        "guardian_consent": True,
        "oxygen_provider_until": date(2029, 1, 1),
        **on_record(name),
    }
    return Person(name=name, level=level, born=born, **{**given, **other})


PEOPLE = (
    person("Ida", Level.INSTRUCTOR_2),
    person("Ola", Level.INSTRUCTOR_2),
    person("Tia", Level.INSTRUCTOR_1),
    person("Gil", Level.LEVEL_3),
    person("Max", Level.LEVEL_3),
    person("Ann"),
    person("Ben"),
    person("Cy"),
    person("Dee"),
    person("Eva"),
    person("Flo"),
    person("Sol", Level.LEVEL_1),
    person("Una", Level.LEVEL_1),
    person("New", Level.FIRST_EXPERIENCE, logged_dives=0, last_dive=None),
    person("Raw", Level.FIRST_EXPERIENCE, logged_dives=0, last_dive=None),
    person("Kim", Level.LEVEL_1, date(2016, 2, 1)),  # 11 on the day
    person("Lou", Level.LEVEL_2, date(2011, 2, 1)),  # 16 on the day
    person("Shore"),
    person("Oxy"),
)
CREW = Crew(dive_director="Shore", shore_watch=("Shore",), oxygen_provider=("Oxy",))


def rules_with(**values: float) -> RuleBook:
    """Return the baseline with some values replaced; in a key "__" stands for the dot."""
    rules = dict(baseline().rules)
    for name, value in values.items():
        key = name.replace("__", ".")
        rules[key] = replace(rules[key], value=value, reason="for the test", baseline_value=rules[key].value)
    return RuleBook(MappingProxyType(rules))


def world(
    where: Site | None = None,
    people: tuple[Person, ...] = (),
    rules: RuleBook | None = None,
    station: Station | None = None,
) -> World:
    """Return the world; people given here replace those of the same name."""
    everybody = {one.name: one for one in (*PEOPLE, *people)}
    stations = {station.slug: station} if station else {}
    where = ready(where or site())
    kept = ready_on(DAY, "Shore", "Oxy")
    return World({where.slug: where}, stations, everybody, rules or baseline(), "Test centre", readiness=kept)


def group(*divers: str, kind: str = "guided", dives: int | tuple[DiveWish, ...] = 1, **other: Any) -> GroupWish:
    """Return a wish of a group; Ida leads it where nobody else is named."""
    wishes = (DiveWish(),) * dives if isinstance(dives, int) else dives
    given: dict[str, Any] = {"name": "Group", "leader": "Ida", "place": "Slope"}
    return GroupWish(kind=kind, divers=divers, dives=wishes, **{**given, **other})  # type: ignore[arg-type]


def ask(*groups: GroupWish, **other: Any) -> Request:
    given: dict[str, Any] = {"site": "plain-cove", "date": DAY, "crew": CREW, "recent_dives": "none"}
    return Request(groups=groups, **{**given, **other})


def plan(*groups: GroupWish, where: World | None = None, **other: Any) -> DayPlan:
    return plan_day(ask(*groups, **other), where or world())


def checks_of(made: DayPlan, rule: str, subject: str | None = None) -> list[Check]:
    return [check for check in made.checks if check.rule == rule and subject in (None, check.subject)]


def the_check(made: DayPlan, rule: str, subject: str | None = None) -> Check:
    found = checks_of(made, rule, subject)
    assert len(found) == 1, (rule, found)
    return found[0]


def stops(made: DayPlan) -> set[str]:
    return {check.rule for check in made.checks if check.outcome is Outcome.STOP}


def cautions(made: DayPlan) -> set[str]:
    return {check.rule for check in made.checks if check.outcome is Outcome.CAUTION}


def wish(depth_m: float | None = None, minutes: int | None = None, **other: Any) -> DiveWish:
    return DiveWish(depth_m=depth_m, minutes=minutes, **other)
