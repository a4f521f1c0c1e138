"""What a centre asks for over some days: groups and dives, who works when, vehicles, compressor. One TOML file."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import date, timedelta
from pathlib import Path
from typing import Annotated, Any, Literal
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from pydantic import AfterValidator, Field

from tripplan.environment.position import BadPosition, read_position
from tripplan.people.group import KINDS
from tripplan.people.skills import as_compared
from tripplan.planning.request import (
    FIRST_DAY,
    LAST_DAY,
    Day,
    GroupWish,
    Line,
    Name,
    RecentDives,
    _ill_timed,
)
from tripplan.planning.world import World
from tripplan.record import ClockTime, Location, Misfit, Record, TomlFile, judge, read_toml

MOST_DAYS = 14
Days = tuple[Day, ...]
Names = tuple[Name, ...]


def _twice(values: Sequence[Any], key: str) -> Iterator[Misfit]:
    seen: set[Any] = set()
    for index, value in enumerate(values):
        like = as_compared(value) if isinstance(value, str) else value
        if like in seen:
            yield (key, index), f'is "{value}", which stands in the list already'
        seen.add(like)


def _position(value: str) -> str:
    try:
        position = read_position(value)
    except BadPosition as error:
        raise ValueError(str(error).removeprefix(f'"{value}" is ')) from None
    if position.latitude_deg == 0 == position.longitude_deg:
        raise ValueError("0, 0 lies in the Gulf of Guinea, where positions that were never filled in are found")
    return value


def _timezone(value: str) -> str:
    try:
        ZoneInfo(value)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        raise ValueError("not a time zone known here; give an IANA name such as Atlantic/Azores") from None
    return value


class Start(Record):
    """Where every outing starts and ends, and when the doors are open."""

    position: Annotated[str, AfterValidator(_position)] = Field(
        min_length=1, description='where the centre is, like "46.8862, -16.8571"'
    )
    timezone: Annotated[str, AfterValidator(_timezone)] = Field(
        min_length=1, description="IANA name of the centre's time zone"
    )
    opens: ClockTime = Field(description='nobody leaves before, "HH:MM" local')
    closes: ClockTime = Field(description='everybody is back by, "HH:MM" local')

    @classmethod
    def misfits(cls, parts: Mapping[str, Any]) -> Iterator[Misfit]:
        """Yield doors that close before they open."""
        if {"opens", "closes"} <= parts.keys() and parts["closes"] <= parts["opens"]:
            yield (
                ("closes",),
                f"is {parts['closes']:%H:%M}, not after opens {parts['opens']:%H:%M}; no day goes on after midnight",
            )


class DriveTime(Record):
    """The drive between the centre and one site, as somebody has timed it."""

    site: Name = Field(description="the site's file name without .toml")
    minutes: int = Field(ge=0, le=600, description="one way, minutes, loaded and without hurry")
    km: float = Field(ge=0, le=600, description="one way, kilometres")


class Compressor(Record):
    """What fills the cylinders between outings."""

    fill_min: float = Field(gt=0, le=120, description="minutes to fill one cylinder, connecting included")
    opens: ClockTime = Field(description='fills from, "HH:MM" local')
    closes: ClockTime = Field(description='the last fill is done by, "HH:MM" local')

    @classmethod
    def misfits(cls, parts: Mapping[str, Any]) -> Iterator[Misfit]:
        """Yield a compressor that stops before it starts."""
        if {"opens", "closes"} <= parts.keys() and parts["closes"] <= parts["opens"]:
            yield ("closes",), f"is {parts['closes']:%H:%M}, not after opens {parts['opens']:%H:%M}"


class Vehicle(Record):
    """One vehicle: it goes with one group, or with the shore team, from leaving to being back."""

    name: Line = Field(min_length=1, max_length=40, description="what it is called")
    seats: int = Field(ge=1, le=80, description="seats, the driver's included")
    off: Days = Field(default=(), description="days on which it is not there")

    @classmethod
    def misfits(cls, parts: Mapping[str, Any]) -> Iterator[Misfit]:
        """Yield days that stand twice: another one was meant."""
        yield from _twice(parts.get("off", ()), "off")


class Worker(Record):
    """Somebody who may be given work in these days."""

    name: Name = Field(description="name as in the roster")
    off: Days = Field(default=(), description="days off")
    starts: ClockTime | None = Field(default=None, description='leaves no earlier, "HH:MM" local; left out: opens')
    ends: ClockTime | None = Field(default=None, description='is back by, "HH:MM" local; left out: closes')
    duties: Literal["both", "water", "ashore"] = Field(default="both", description="in the water, ashore, or both")

    @classmethod
    def misfits(cls, parts: Mapping[str, Any]) -> Iterator[Misfit]:
        """Yield days off that stand twice and hours that end before they start."""
        yield from _twice(parts.get("off", ()), "off")
        starts, ends = parts.get("starts"), parts.get("ends")
        if starts is not None and ends is not None and ends <= starts:
            yield ("ends",), f"is {ends:%H:%M}, not after starts {starts:%H:%M}"


class ClosedSite(Record):
    """A site at which nobody dives on some days, whatever sea and light allow."""

    site: Name = Field(description="the site's file name without .toml")
    days: Days = Field(default=(), description="on these days; left out: all")
    because: Line = Field(min_length=1, max_length=120, description="why, in words")

    @classmethod
    def misfits(cls, parts: Mapping[str, Any]) -> Iterator[Misfit]:
        """Yield days that stand twice: another one was meant."""
        yield from _twice(parts.get("days", ()), "days")


class SchoolGroup(GroupWish):
    """A group to be placed: as in a day's request, without those who lead it, and with what it wants."""

    days: Days = Field(default=(), description="days on which it can come; left out: all")
    preferred_days: Days = Field(default=(), description="days that it would like best")
    preferred_leader: str | None = Field(default=None, min_length=1, description="name as in the roster")
    not_with: Names = Field(default=(), description="who is not to lead or assist it")
    sites: Names = Field(default=(), description="sites it may go to; left out: all that suit")
    not_sites: Names = Field(default=(), description="sites it is not to go to")
    not_before: ClockTime | None = Field(default=None, description='leaves no earlier, "HH:MM" local')
    not_after: ClockTime | None = Field(default=None, description='is back by, "HH:MM" local')
    most_dives_per_day: int | None = Field(default=None, ge=1, le=6, description="dives in one day; left out: the rule")
    apart_h: float | None = Field(
        default=None, ge=0, le=336, description="hours between one outing of it and the next; left out: the rule"
    )
    needs_seats: bool = Field(default=True, description="false where it comes to the site by itself")

    @classmethod
    def misfits(cls, parts: Mapping[str, Any]) -> Iterator[Misfit]:
        """Yield what the schedule decides itself, and what it needs for that."""
        yield from super().misfits(parts)
        for key in ("leader", "assistants"):
            if parts.get(key):
                yield (key,), "is given; the schedule chooses who leads. Pin somebody by [[pinned]], or prefer one"
        for index, dive in enumerate(parts.get("dives", ())):
            for key in ("depth_m", "minutes"):
                if getattr(dive, key) is None:
                    yield ("dives", index, key), "is missing; a schedule needs depth and bottom time of every dive"
            for key in ("entry", "not_before"):
                if getattr(dive, key) is not None:
                    yield ("dives", index, key), "is given; a dive is fixed by [[pinned]], a group by its not_before"
        for key in ("days", "preferred_days", "not_with", "sites", "not_sites"):
            yield from _twice(parts.get(key, ()), key)
        days, wanted = parts.get("days", ()), parts.get("preferred_days", ())
        for index, day in enumerate(wanted):
            if days and day not in days:
                yield ("preferred_days", index), f"is {day}, on which the group cannot come by its days"
        liked, avoided = parts.get("preferred_leader"), parts.get("not_with", ())
        if liked is not None and liked in avoided:
            yield ("preferred_leader",), f'is "{liked}", whom not_with names too'
        for index, slug in enumerate(parts.get("not_sites", ())):
            if slug in parts.get("sites", ()):
                yield ("not_sites", index), f'is "{slug}", which sites names too'
        early, late = parts.get("not_before"), parts.get("not_after")
        if early is not None and late is not None and late <= early:
            yield ("not_after",), f"is {late:%H:%M}, not after not_before {early:%H:%M}"


class Pin(Record):
    """What is settled already: everything given here stays as given; what is left out is still chosen."""

    group: Name = Field(description="name of the group")
    dives: tuple[Annotated[int, Field(ge=1, le=6)], ...] = Field(
        min_length=1, description="numbers of the group's dives, made in one outing, like [1, 2]"
    )
    day: Day | None = Field(default=None, description="the day")
    site: Name | None = Field(default=None, description="the site's file name without .toml")
    entry: ClockTime | None = Field(default=None, description='when the first of these dives goes in, "HH:MM" local')
    leader: Name | None = Field(default=None, description="who leads, as in the roster")
    assistants: Names | None = Field(default=None, description="who assists; [] for nobody")

    @classmethod
    def misfits(cls, parts: Mapping[str, Any]) -> Iterator[Misfit]:
        """Yield dives that are not one after the other, a minute without a day, and who would be there twice."""
        dives = parts.get("dives", ())
        for index, number in enumerate(dives):
            if number != dives[0] + index:
                yield ("dives", index), f"is {number}; dives of one outing follow each other, like [1, 2]"
        if parts.get("entry") is not None and "day" in parts and parts["day"] is None:
            yield ("entry",), "is given without a day"
        assistants = parts.get("assistants") or ()
        yield from _twice(assistants, "assistants")
        leader = parts.get("leader")
        for index, name in enumerate(assistants):
            if leader is not None and as_compared(name) == as_compared(leader):
                yield ("assistants", index), f'is "{name}", who leads'


class Exclusion(Record):
    """What must not be: a group not on a day, not at a site, not with somebody; or the three together."""

    group: Name = Field(description="name of the group")
    day: Day | None = Field(default=None, description="not on this day")
    site: Name | None = Field(default=None, description="not at this site")
    person: Name | None = Field(default=None, description="not led or assisted by this person")

    @classmethod
    def misfits(cls, parts: Mapping[str, Any]) -> Iterator[Misfit]:
        """Yield an exclusion of nothing."""
        if all(key in parts and parts[key] is None for key in ("day", "site", "person")):
            yield (), "excludes nothing; give day, site or person"


class Absence(Record):
    """Somebody who cannot work on some days: one line when somebody falls ill."""

    person: Name = Field(description="name as in the roster")
    days: Days = Field(min_length=1, description="the days")
    because: Line = Field(default="", max_length=120, description="why, in words; nothing about health")

    @classmethod
    def misfits(cls, parts: Mapping[str, Any]) -> Iterator[Misfit]:
        """Yield days that stand twice: another one was meant."""
        yield from _twice(parts.get("days", ()), "days")


class ScheduleRequest(Record):
    """Some days of groups, crew, vehicles and kit."""

    title: Line = Field(default="", max_length=80, description="what these days are called")
    first_day: Day = Field(description="the first day")
    days: int = Field(ge=1, le=MOST_DAYS, description="how many days, 1 to 14")
    centre: Start
    drives: tuple[DriveTime, ...] = ()
    compressor: Compressor | None = None
    vehicles: tuple[Vehicle, ...] | None = Field(
        default=None, max_length=60, description="the vehicles; left out: everybody comes by themselves"
    )
    crew: tuple[Worker, ...] = Field(min_length=1, max_length=80, description="at least one [[crew]]")
    sites: Names = Field(default=(), description="sites to choose from; left out: the whole catalogue")
    closed: tuple[ClosedSite, ...] = ()
    groups: tuple[SchoolGroup, ...] = Field(min_length=1, max_length=80, description="at least one [[groups]]")
    pinned: tuple[Pin, ...] = ()
    excluded: tuple[Exclusion, ...] = ()
    absent: tuple[Absence, ...] = ()
    settled: bool = Field(default=False, description="true where everybody lives at the altitude of the sites")
    recent_dives: RecentDives | None = Field(
        default=None,
        description='a [[recent_dives]] for each dive before the first day, or "none": everybody was asked',
    )

    @property
    def dates(self) -> tuple[date, ...]:
        """Every day, in order."""
        return tuple(self.first_day + timedelta(days=ahead) for ahead in range(self.days))

    def group(self, name: str) -> SchoolGroup:
        """Return a group by its name.  Raises KeyError for one that is not there."""
        return {group.name: group for group in self.groups}[name]

    def worker(self, name: str) -> Worker:
        """Return a member of the crew by name.  Raises KeyError for one that is not there."""
        return {worker.name: worker for worker in self.crew}[name]

    @classmethod
    def misfits(cls, parts: Mapping[str, Any]) -> Iterator[Misfit]:
        """Yield what stands twice, lies outside the days, or names nobody."""
        first, count = parts.get("first_day"), parts.get("days")
        dates: frozenset[date] | None = None
        if first is not None and count is not None:
            if first + timedelta(days=count - 1) > LAST_DAY or first < FIRST_DAY:
                yield ("days",), f"is {count}; all days must be from {FIRST_DAY} to {LAST_DAY}"
            else:
                dates = frozenset(first + timedelta(days=ahead) for ahead in range(count))
        for key, of in (("groups", "name"), ("crew", "name"), ("vehicles", "name"), ("drives", "site")):
            yield from _same(parts.get(key) or (), key, of)
        yield from _twice(parts.get("sites", ()), "sites")
        recent = parts.get("recent_dives")
        if recent == ():
            yield ("recent_dives",), 'is an empty list; write "none" where everybody was asked, or leave it out'
        if isinstance(recent, tuple):
            yield from _ill_timed(recent, first)
        if dates is not None:
            yield from _outside(parts, dates, f"{min(dates)} to {max(dates)}")
        groups = {group.name: group for group in parts.get("groups", ())}
        if groups:
            yield from _unknown_groups(parts, groups)
        yield from _unknown_crew(parts)


def _same(items: Sequence[Any], key: str, of: str) -> Iterator[Misfit]:
    first: dict[str, int] = {}
    for index, item in enumerate(items):
        before = first.setdefault(as_compared(getattr(item, of)), index)
        if before != index:
            yield (key, index, of), f'is "{getattr(item, of)}", as {key}[{before + 1}] is; each stands once'


def _outside(parts: Mapping[str, Any], dates: frozenset[date], span: str) -> Iterator[Misfit]:
    """Yield every day that is not one of the days asked for: it is there by a slip of the pen."""

    def wrong(day: date | None, where: Location) -> Iterator[Misfit]:
        if day is not None and day not in dates:
            yield where, f"is {day}, outside the days of this file, {span}"

    for key, lists in (
        ("vehicles", ("off",)),
        ("crew", ("off",)),
        ("closed", ("days",)),
        ("groups", ("days", "preferred_days")),
        ("absent", ("days",)),
    ):
        for index, item in enumerate(parts.get(key) or ()):
            for name in lists:
                for number, day in enumerate(getattr(item, name)):
                    yield from wrong(day, (key, index, name, number))
    for key in ("pinned", "excluded"):
        for index, item in enumerate(parts.get(key, ())):
            yield from wrong(item.day, (key, index, "day"))


def _unknown_groups(parts: Mapping[str, Any], groups: Mapping[str, SchoolGroup]) -> Iterator[Misfit]:
    taken: dict[tuple[str, int], int] = {}
    for key in ("pinned", "excluded"):
        for index, item in enumerate(parts.get(key, ())):
            if item.group not in groups:
                yield (key, index, "group"), f'is "{item.group}", which is none of the groups: {", ".join(groups)}'
                continue
            if key == "excluded":
                continue
            most = len(groups[item.group].dives)
            for place, number in enumerate(item.dives):
                if number > most:
                    has = "1 dive" if most == 1 else f"{most} dives"
                    yield (key, index, "dives", place), f"is {number}; {item.group} has {has}"
                before = taken.setdefault((item.group, number), index)
                if before != index:
                    yield (key, index, "dives", place), f"is {number}, which pinned[{before + 1}] holds already"


def _unknown_crew(parts: Mapping[str, Any]) -> Iterator[Misfit]:
    """Yield everybody who is to work without standing in the crew."""
    if "crew" not in parts:
        return
    crew = [worker.name for worker in parts["crew"]]

    def missing(name: str | None, where: Location) -> Iterator[Misfit]:
        if name is not None and name not in crew:
            yield where, f'is "{name}", who is not in the crew of these days: {", ".join(crew)}'

    for index, group in enumerate(parts.get("groups", ())):
        yield from missing(group.preferred_leader, ("groups", index, "preferred_leader"))
        for number, name in enumerate(group.not_with):
            yield from missing(name, ("groups", index, "not_with", number))
        for number, name in enumerate(group.divers):
            if name in crew:
                where = ("groups", index, "divers", number)
                yield where, f'is "{name}", who is in the crew: somebody who learns or is guided does not work as well'
    for index, pin in enumerate(parts.get("pinned", ())):
        yield from missing(pin.leader, ("pinned", index, "leader"))
        for number, name in enumerate(pin.assistants or ()):
            yield from missing(name, ("pinned", index, "assistants", number))
    for index, excluded in enumerate(parts.get("excluded", ())):
        yield from missing(excluded.person, ("excluded", index, "person"))
    for index, absent in enumerate(parts.get("absent", ())):
        yield from missing(absent.person, ("absent", index, "person"))


def schedule_faults(request: ScheduleRequest, world: World) -> tuple[tuple[Location, str], ...]:
    """Return every name in a request that the world does not know, with its place in the request.

    So is a leader for divers whom nobody leads, a place or way in that no site has, and a minute off the clock of
    entries (rule plan.entry_step_min).
    """
    faults: list[tuple[Location, str]] = []

    def person(name: str, where: Location) -> None:
        if name not in world.people:
            faults.append((where, f'"{name}" is not in the list of people'))

    def site(slug: str, where: Location) -> None:
        if slug not in world.sites:
            known = ", ".join(world.sites) or "none"
            faults.append((where, f'site "{slug}" is not in the catalogue; known: {known}'))

    for index, worker in enumerate(request.crew):
        person(worker.name, ("crew", index, "name"))
    for index, group in enumerate(request.groups):
        for number, name in enumerate(group.divers):
            person(name, ("groups", index, "divers", number))
        for key in ("sites", "not_sites"):
            for number, slug in enumerate(getattr(group, key)):
                site(slug, ("groups", index, key, number))
        if not KINDS[group.kind].led and group.preferred_leader:
            words = f'"{group.name}" is a {KINDS[group.kind].words}; nobody leads it'
            faults.append((("groups", index, "preferred_leader"), words))
        faults.extend((("groups", index, key), words) for key, words in _nowhere(group, request, world))
    for number, slug in enumerate(request.sites):
        site(slug, ("sites", number))
    for key in ("drives", "closed", "pinned", "excluded"):
        for index, item in enumerate(getattr(request, key)):
            if item.site is not None:
                site(item.site, (key, index, "site"))
    if isinstance(request.recent_dives, tuple):
        for index, dive in enumerate(request.recent_dives):
            person(dive.person, ("recent_dives", index, "person"))
    faults.extend(_pin_faults(request, world))
    return tuple(faults)


def _nowhere(group: SchoolGroup, request: ScheduleRequest, world: World) -> Iterator[tuple[str, str]]:
    """Yield the place and the ways in and out of a group that none of the sites has to which it may go."""
    slugs = [slug for slug in group.sites or request.sites or world.sites if slug not in group.not_sites]
    sites = [world.sites[slug] for slug in slugs if slug in world.sites]
    if not sites:
        return  # an unknown site has its own sentence
    for key, what in (("place", "place"), ("going_in_by", "way in"), ("coming_out_by", "way out")):
        wanted = getattr(group, key)
        known = [one.name for site in sites for one in (site.places if key == "place" else site.entries)]
        if wanted is not None and wanted not in known:
            listed = ", ".join(dict.fromkeys(known)) or "none"
            yield key, f'{what} "{wanted}" is at none of the sites to which "{group.name}" may go; known: {listed}'


def _pin_faults(request: ScheduleRequest, world: World) -> Iterator[tuple[Location, str]]:
    step = max(int(world.rules.value("plan.entry_step_min")), 1)
    kinds = {group.name: KINDS[group.kind] for group in request.groups}
    for index, pin in enumerate(request.pinned):
        kind = kinds[pin.group]
        if not kind.led:
            for key in ("leader", "assistants"):
                if getattr(pin, key):
                    yield ("pinned", index, key), f'"{pin.group}" is a {kind.words}; nobody leads it'
        if pin.entry is not None and (pin.entry.hour * 60 + pin.entry.minute) % step:
            words = f"entry is {pin.entry:%H:%M}; entries stand on a clock of {step} min, counted from 00:00"
            yield ("pinned", index, "entry"), words


def read_schedule_request(path: Path) -> ScheduleRequest:
    """Read and judge a file of some days.  Raises BadRecord with every fault found."""
    return schedule_request_from(read_toml(path))


def schedule_request_from(file: TomlFile) -> ScheduleRequest:
    """Judge a file already read.  Raises BadRecord with every fault found."""
    return judge(file, ScheduleRequest)
