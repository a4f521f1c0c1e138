"""Edits of what a centre asks for over some days, as small values: posted by a page, kept, told in words, applied."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime, time
from itertools import groupby
from typing import Annotated, Any, Literal, get_args

from pydantic import BeforeValidator, Field, ValidationError

from tripplan.errors import TripplanError
from tripplan.people.kit import CylinderItem, Kit, RegulatorItem, SuitItem
from tripplan.people.person import Person
from tripplan.people.skills import as_compared
from tripplan.planning.packing import PLURAL, SAFETY_WORDS, SINGULAR
from tripplan.planning.request import Day, Line, Name
from tripplan.planning.schedule_request import (
    Absence,
    ClosedSite,
    Compressor,
    Exclusion,
    Names,
    Pin,
    ScheduleRequest,
    SchoolGroup,
    Vehicle,
    Worker,
    schedule_faults,
)
from tripplan.planning.world import World
from tripplan.record import ClockTime, Misfit, OneLine, Record, describe_fault, toml_of

MOST_EDITS = 200  # of one list; more is a mistake or an attack


class EditRefused(TripplanError, ValueError):
    """An edit does not fit; ``sentence`` says what was given and what is accepted, ``edit`` is the edit, if any."""

    def __init__(self, sentence: str, edit: Edit | None = None) -> None:
        self.sentence = sentence
        self.edit = edit
        super().__init__(sentence)


# ---- words ----


def _listed(words: Sequence[str]) -> str:
    return " and ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)


def _days(days: Sequence[date]) -> str:
    """Return days in words, like "9, 10 and 12 December 2026"; "all days" for none."""
    months = []
    for _, same in groupby(sorted(days), key=lambda day: (day.year, day.month)):
        found = list(same)
        months.append(f"{_listed([str(day.day) for day in found])} {found[0]:%B %Y}")
    return ", and ".join(months) or "all days"


def _dives(numbers: Sequence[int], group: str) -> str:
    what = "Dive" if len(numbers) == 1 else "Dives"
    return f"{what} {_listed([str(number) for number in numbers])} of {group}"


def _are(numbers: Sequence[Any]) -> str:
    return "is" if len(numbers) == 1 else "are"


def _site(slug: str, world: World | None) -> str:
    return world.sites[slug].name if world is not None and slug in world.sites else slug


# ---- what an edit is judged against ----


def _day_word(value: object) -> object:
    """Read "YYYY-MM-DD" where a date is wanted: what a page posts and a store keeps has no dates."""
    if isinstance(value, date) and not isinstance(value, datetime):
        return value
    try:
        if isinstance(value, str) and len(value.strip()) == len("2026-12-09"):
            return date.fromisoformat(value.strip())
    except ValueError:
        pass
    raise ValueError('a day is written "YYYY-MM-DD", like "2026-12-09"')


EditDay = Annotated[Day, BeforeValidator(_day_word)]
EditDays = tuple[EditDay, ...]


def _twice(values: Sequence[Any], key: str) -> Iterator[Misfit]:
    for index, value in enumerate(values):
        if value in values[:index]:
            yield (key, index), f'is "{value}", which stands in the list already'


def _found_group(request: ScheduleRequest, name: str) -> SchoolGroup:
    for group in request.groups:
        if group.name == name:
            return group
    raise EditRefused(f'There is no group "{name}"; the groups are {_listed([one.name for one in request.groups])}.')


def _found_worker(request: ScheduleRequest, name: str) -> Worker:
    for worker in request.crew:
        if worker.name == name:
            return worker
    crew = _listed([one.name for one in request.crew])
    raise EditRefused(f'"{name}" is not in the crew of these days; the crew is {crew}.')


def _known_sites(world: World, *slugs: str | None) -> None:
    for slug in slugs:
        if slug is not None and slug not in world.sites:
            known = ", ".join(world.sites) or "none"
            raise EditRefused(f'Site "{slug}" is not in the catalogue; known: {known}.')


def _within(request: ScheduleRequest, *days: date | None) -> None:
    for day in days:
        if day is not None and day not in request.dates:
            first, last = _days(request.dates[:1]), _days(request.dates[-1:])
            raise EditRefused(f"{_days([day])} is not one of these days, which go from {first} to {last}.")


def _found_dives(group: SchoolGroup, numbers: Iterable[int]) -> None:
    has = len(group.dives)
    for number in numbers:
        if number > has:
            dives = "1 dive" if has == 1 else f"{has} dives"
            raise EditRefused(f'"{group.name}" has {dives}; there is no dive {number}.')


def _found_kit(world: World) -> Kit:
    if world.kit is None:
        raise EditRefused("The centre has no kit file, so that kit is not judged and nothing can be added to it.")
    return world.kit


def _with_kit(world: World, key: str, more: Sequence[Mapping[str, Any]]) -> World:
    """Return the world with items added to one table of its kit, judged again."""
    values = _found_kit(world).model_dump()
    return replace(world, kit=Kit.model_validate({**values, key: (*values[key], *more)}))


Applied = tuple[ScheduleRequest, World]


class _Edit(Record):
    """Base of the edits."""

    def words(self, world: World | None) -> str:
        """Return one plain sentence of what it does; sites by name where the world knows them."""
        raise NotImplementedError

    def onto(self, request: ScheduleRequest, world: World) -> Applied:
        """Return request and world changed, not yet judged.  Raises EditRefused where it cannot fit."""
        raise NotImplementedError


# ---- what is settled and what must not be ----


class PinEdit(_Edit):
    """Settle dives of a group: what is given stays as given. An earlier pin that shares a dive is replaced."""

    do: Literal["pin"] = "pin"
    group: Name = Field(description="name of the group")
    dives: tuple[Annotated[int, Field(ge=1, le=6)], ...] = Field(
        min_length=1, description="numbers of the group's dives, made in one outing, like [1, 2]"
    )
    day: EditDay | None = Field(default=None, description="the day")
    site: Name | None = Field(default=None, description="the site's file name without .toml")
    entry: ClockTime | None = Field(default=None, description='when the first of these dives goes in, "HH:MM" local')
    leader: Name | None = Field(default=None, description="who leads, as in the roster")
    assistants: Names | None = Field(default=None, description="who assists; [] for nobody")

    @classmethod
    def misfits(cls, parts: Mapping[str, Any]) -> Iterator[Misfit]:
        """Yield what a pin of a file refuses too."""
        yield from Pin.misfits(parts)

    def words(self, world: World | None) -> str:
        """Return what is settled."""
        said = [
            f"on {_days([self.day])}" if self.day else "",
            f"at {_site(self.site, world)}" if self.site else "",
            f"in at {self.entry:%H:%M}" if self.entry is not None else "",
            f"led by {self.leader}" if self.leader else "",
            f"assisted by {_listed(self.assistants)}" if self.assistants else "",
            "assisted by nobody" if self.assistants == () else "",
        ]
        details = ", ".join(each for each in said if each)
        return f"{_dives(self.dives, self.group)} {_are(self.dives)} settled: {details or 'made in one outing'}."

    def onto(self, request: ScheduleRequest, world: World) -> Applied:
        """Put the pin in the place of the first one that it replaces, else at the end."""
        _found_dives(_found_group(request, self.group), self.dives)
        _within(request, self.day)
        _known_sites(world, self.site)
        for name in (self.leader, *(self.assistants or ())):
            if name is not None:
                _found_worker(request, name)
        pin = Pin(**{name: getattr(self, name) for name in Pin.model_fields})
        shared = _sharing(request, self.group, self.dives)
        kept = [(pin if index == shared[0] else each) for index, each in enumerate(request.pinned)
                if index not in shared[1:]] if shared else [*request.pinned, pin]  # fmt: skip
        return request.model_copy(update={"pinned": tuple(kept)}), world


class UnpinEdit(_Edit):
    """Settle dives of a group no longer: every pin that holds one of them goes."""

    do: Literal["unpin"] = "unpin"
    group: Name = Field(description="name of the group")
    dives: tuple[Annotated[int, Field(ge=1, le=6)], ...] = Field(
        min_length=1, description="numbers of the group's dives, like [1, 2]"
    )

    def words(self, world: World | None) -> str:
        """Return what is no longer settled."""
        return f"{_dives(self.dives, self.group)} {_are(self.dives)} no longer settled."

    def onto(self, request: ScheduleRequest, world: World) -> Applied:
        """Take away the pins that share a dive."""
        _found_dives(_found_group(request, self.group), self.dives)
        shared = _sharing(request, self.group, self.dives)
        if not shared:
            raise EditRefused(f"{_dives(self.dives, self.group)} {_are(self.dives)} not settled.")
        left = tuple(each for index, each in enumerate(request.pinned) if index not in shared)
        return request.model_copy(update={"pinned": left}), world


def _sharing(request: ScheduleRequest, group: str, dives: Sequence[int]) -> list[int]:
    """Return the numbers of the pins that hold one of a group's dives."""
    return [n for n, pin in enumerate(request.pinned) if pin.group == group and set(pin.dives) & set(dives)]


class _OfExclusion(_Edit):
    group: Name = Field(description="name of the group")
    day: EditDay | None = Field(default=None, description="not on this day")
    site: Name | None = Field(default=None, description="not at this site")
    person: Name | None = Field(default=None, description="not led or assisted by this person")

    @classmethod
    def misfits(cls, parts: Mapping[str, Any]) -> Iterator[Misfit]:
        """Yield an exclusion of nothing."""
        yield from _nothing(parts, ("day", "site", "person"))

    def _exclusion(self) -> Exclusion:
        return Exclusion(group=self.group, day=self.day, site=self.site, person=self.person)

    def _details(self, world: World | None) -> str:
        said = (
            f" on {_days([self.day])}" if self.day else "",
            f" at {_site(self.site, world)}" if self.site else "",
            f" with {self.person} leading or assisting" if self.person else "",
        )
        return "".join(said)


class ExcludeEdit(_OfExclusion):
    """Keep a group from a day, a site or a person, or from the three together."""

    do: Literal["exclude"] = "exclude"

    def words(self, world: World | None) -> str:
        """Return what must not be."""
        return f"{self.group} does not dive{self._details(world)}."

    def onto(self, request: ScheduleRequest, world: World) -> Applied:
        """Add the exclusion."""
        _found_group(request, self.group)
        _within(request, self.day)
        _known_sites(world, self.site)
        if self.person is not None:
            _found_worker(request, self.person)
        if self._exclusion() in request.excluded:
            raise EditRefused(f"It is excluded already that {self.group} dives{self._details(world)}.")
        return request.model_copy(update={"excluded": (*request.excluded, self._exclusion())}), world


class AllowEdit(_OfExclusion):
    """Take an exclusion away: the one with exactly these values."""

    do: Literal["allow"] = "allow"

    def words(self, world: World | None) -> str:
        """Return what may be again."""
        return f"{self.group} may dive{self._details(world)} again."

    def onto(self, request: ScheduleRequest, world: World) -> Applied:
        """Take the exclusion away."""
        _found_group(request, self.group)
        if self._exclusion() not in request.excluded:
            raise EditRefused(f"It is not excluded that {self.group} dives{self._details(world)}.")
        left = tuple(each for each in request.excluded if each != self._exclusion())
        return request.model_copy(update={"excluded": left}), world


# ---- who is there ----


class AbsentEdit(_Edit):
    """Somebody of the crew is away on some days; days on which they are away already stay as they are."""

    do: Literal["absent"] = "absent"
    person: Name = Field(description="name as in the roster")
    days: EditDays = Field(min_length=1, description="the days")
    because: Line = Field(default="", max_length=120, description="why, in words; nothing about health")

    @classmethod
    def misfits(cls, parts: Mapping[str, Any]) -> Iterator[Misfit]:
        """Yield days that stand twice."""
        yield from _twice(parts.get("days", ()), "days")

    def words(self, world: World | None) -> str:
        """Return who is away and when."""
        because = f": {self.because.rstrip('.')}" if self.because else ""
        return f"{self.person} is away on {_days(self.days)}{because}."

    def onto(self, request: ScheduleRequest, world: World) -> Applied:
        """Add the days on which the person is not away yet."""
        _found_worker(request, self.person)
        _within(request, *self.days)
        away = {day for each in request.absent if each.person == self.person for day in each.days}
        new = tuple(day for day in self.days if day not in away)
        if not new:
            raise EditRefused(f"{self.person} is away on {_days(self.days)} already.")
        absence = Absence(person=self.person, days=new, because=self.because)
        return request.model_copy(update={"absent": (*request.absent, absence)}), world


class PresentEdit(_Edit):
    """Somebody of the crew is not away on some days after all; a day off stays one."""

    do: Literal["present"] = "present"
    person: Name = Field(description="name as in the roster")
    days: EditDays = Field(min_length=1, description="the days")

    @classmethod
    def misfits(cls, parts: Mapping[str, Any]) -> Iterator[Misfit]:
        """Yield days that stand twice."""
        yield from _twice(parts.get("days", ()), "days")

    def words(self, world: World | None) -> str:
        """Return who is there again and when."""
        return f"{self.person} is not away on {_days(self.days)}."

    def onto(self, request: ScheduleRequest, world: World) -> Applied:
        """Take the days out of every absence of the person."""
        worker = _found_worker(request, self.person)
        left: list[Absence] = []
        for each in request.absent:
            days = tuple(day for day in each.days if day not in self.days)
            if each.person != self.person or days == each.days:
                left.append(each)
            elif days:
                left.append(each.model_copy(update={"days": days}))
        if tuple(left) == request.absent:
            off = [day for day in self.days if day in worker.off]
            more = f" {_days(off)} {_are(off)} off: make it a work day instead." if off else ""
            raise EditRefused(f"{self.person} is not away on {_days(self.days)} as it is.{more}")
        return request.model_copy(update={"absent": tuple(left)}), world


class WorkDayEdit(_Edit):
    """Somebody of the crew works on a day off."""

    do: Literal["work_day"] = "work_day"
    person: Name = Field(description="name as in the roster")
    day: EditDay = Field(description="the day off that becomes a work day")

    def words(self, world: World | None) -> str:
        """Return who works and when."""
        return f"{self.person} works on {_days([self.day])}, a day off before."

    def onto(self, request: ScheduleRequest, world: World) -> Applied:
        """Take the day off away."""
        worker = _found_worker(request, self.person)
        if self.day not in worker.off:
            raise EditRefused(f"{_days([self.day])} is no day off of {self.person}.")
        off = tuple(day for day in worker.off if day != self.day)
        crew = tuple(one.model_copy(update={"off": off}) if one is worker else one for one in request.crew)
        return request.model_copy(update={"crew": crew}), world


class AddWorkerEdit(_Edit):
    """One more in the crew, with level, papers and sizes of somebody of the roster, under a new name.

    Dives that the other made before these days are not copied: who really comes has to be asked.
    """

    do: Literal["add_worker"] = "add_worker"
    like: Name = Field(description="name as in the roster, whose level and papers are copied")
    name: OneLine = Field(min_length=1, max_length=60, description="the new name, nobody's in the roster")
    days: EditDays = Field(default=(), description="the days on which they come; left out: all")
    duties: Literal["both", "water", "ashore"] = Field(default="both", description="in the water, ashore, or both")

    @classmethod
    def misfits(cls, parts: Mapping[str, Any]) -> Iterator[Misfit]:
        """Yield days that stand twice."""
        yield from _twice(parts.get("days", ()), "days")

    def words(self, world: World | None) -> str:
        """Return who comes, and when."""
        where = {"both": "in the water and ashore", "water": "in the water", "ashore": "ashore"}[self.duties]
        same = f"with the level and papers of {self.like}"
        return f'"{self.name}" comes on {_days(self.days)} and works {where}, {same}.'

    def onto(self, request: ScheduleRequest, world: World) -> Applied:
        """Add a worker, and a copy of the person."""
        like = world.people.get(self.like)
        if like is None:
            raise EditRefused(f'"{self.like}" is not in the list of people, so nothing can be copied.')
        _within(request, *self.days)
        known = {as_compared(name): name for name in (*world.people, *(one.name for one in request.crew))}
        if as_compared(self.name) in known:
            before = known[as_compared(self.name)]
            raise EditRefused(f'"{before}" is somebody already; give the one who is added another name.')
        person = Person.model_validate({**like.model_dump(), "name": self.name, "identity": ""})
        off = tuple(day for day in request.dates if self.days and day not in self.days)
        worker = Worker(name=self.name, off=off, duties=self.duties)
        people = {**world.people, self.name: person}
        return request.model_copy(update={"crew": (*request.crew, worker)}), replace(world, people=people)


# ---- where, with what, and when the doors are open ----


class CloseSiteEdit(_Edit):
    """Nobody dives at a site on some days, or on all; days on which it is closed already stay as they are."""

    do: Literal["close_site"] = "close_site"
    site: Name = Field(description="the site's file name without .toml")
    days: EditDays = Field(default=(), description="on these days; left out: all")
    because: Line = Field(min_length=1, max_length=120, description="why, in words")

    @classmethod
    def misfits(cls, parts: Mapping[str, Any]) -> Iterator[Misfit]:
        """Yield days that stand twice."""
        yield from _twice(parts.get("days", ()), "days")

    def words(self, world: World | None) -> str:
        """Return what is closed, when and why."""
        return f"{_site(self.site, world)} is closed on {_days(self.days)}: {self.because.rstrip('.')}."

    def onto(self, request: ScheduleRequest, world: World) -> Applied:
        """Add the days on which it is not closed yet."""
        _known_sites(world, self.site)
        _within(request, *self.days)
        shut = {day for each in request.closed if each.site == self.site for day in each.days or request.dates}
        new = tuple(day for day in self.days or request.dates if day not in shut)
        if not new:
            raise EditRefused(f"{_site(self.site, world)} is closed on {_days(self.days)} already.")
        closed = ClosedSite(site=self.site, days=new if self.days or shut else (), because=self.because)
        return request.model_copy(update={"closed": (*request.closed, closed)}), world


class OpenSiteEdit(_Edit):
    """A site that was closed is open on some days, or on all."""

    do: Literal["open_site"] = "open_site"
    site: Name = Field(description="the site's file name without .toml")
    days: EditDays = Field(default=(), description="on these days; left out: all")

    @classmethod
    def misfits(cls, parts: Mapping[str, Any]) -> Iterator[Misfit]:
        """Yield days that stand twice."""
        yield from _twice(parts.get("days", ()), "days")

    def words(self, world: World | None) -> str:
        """Return what is open again, and when."""
        return f"{_site(self.site, world)} is open on {_days(self.days)}."

    def onto(self, request: ScheduleRequest, world: World) -> Applied:
        """Take the days out of every closure of the site."""
        _known_sites(world, self.site)
        _within(request, *self.days)
        opened = self.days or request.dates
        left: list[ClosedSite] = []
        for each in request.closed:
            before = each.days or request.dates
            days = tuple(day for day in before if day not in opened)
            if each.site != self.site or days == before:
                left.append(each)
            elif days:
                left.append(each.model_copy(update={"days": days}))
        if tuple(left) == request.closed:
            raise EditRefused(f"{_site(self.site, world)} is not closed on {_days(self.days)}.")
        return request.model_copy(update={"closed": tuple(left)}), world


class AddVehicleEdit(_Edit):
    """One more vehicle."""

    do: Literal["add_vehicle"] = "add_vehicle"
    name: Line = Field(min_length=1, max_length=40, description="what it is called")
    seats: int = Field(ge=1, le=80, description="seats, the driver's included")
    days: EditDays = Field(default=(), description="the days on which it is there; left out: all")

    @classmethod
    def misfits(cls, parts: Mapping[str, Any]) -> Iterator[Misfit]:
        """Yield days that stand twice."""
        yield from _twice(parts.get("days", ()), "days")

    def words(self, world: World | None) -> str:
        """Return what comes, and when."""
        seats = "1 seat" if self.seats == 1 else f"{self.seats} seats"
        return f'A vehicle "{self.name}" with {seats} is there on {_days(self.days)}.'

    def onto(self, request: ScheduleRequest, world: World) -> Applied:
        """Add it."""
        _within(request, *self.days)
        if request.vehicles is None:
            # With one vehicle the seats of everybody would count, and fewer people would go than before.
            raise EditRefused("Everybody comes by themselves: no vehicle is listed, so seats are not counted.")
        for each in request.vehicles:
            if as_compared(each.name) == as_compared(self.name):
                raise EditRefused(f'There is a vehicle "{each.name}" already; give another name.')
        off = tuple(day for day in request.dates if self.days and day not in self.days)
        vehicle = Vehicle(name=self.name, seats=self.seats, off=off)
        return request.model_copy(update={"vehicles": (*request.vehicles, vehicle)}), world


class HoursEdit(_Edit):
    """When the doors of the centre are open."""

    do: Literal["hours"] = "hours"
    opens: ClockTime | None = Field(default=None, description='nobody leaves before, "HH:MM" local')
    closes: ClockTime | None = Field(default=None, description='everybody is back by, "HH:MM" local')

    @classmethod
    def misfits(cls, parts: Mapping[str, Any]) -> Iterator[Misfit]:
        """Yield a change of nothing."""
        yield from _nothing(parts, ("opens", "closes"))

    def words(self, world: World | None) -> str:
        """Return the new hours."""
        said = [
            f"opens at {self.opens:%H:%M}" if self.opens is not None else "",
            f"closes at {self.closes:%H:%M}" if self.closes is not None else "",
        ]
        return f"The centre {_listed([each for each in said if each])}."

    def onto(self, request: ScheduleRequest, world: World) -> Applied:
        """Set what is given."""
        centre = request.centre.model_copy(update=_given(self, ("opens", "closes")))
        return request.model_copy(update={"centre": centre}), world


class CompressorEdit(_Edit):
    """How fast and when the compressor fills; all three where there is none yet."""

    do: Literal["compressor"] = "compressor"
    fill_min: float | None = Field(default=None, gt=0, le=120, description="minutes to fill one cylinder")
    opens: ClockTime | None = Field(default=None, description='fills from, "HH:MM" local')
    closes: ClockTime | None = Field(default=None, description='the last fill is done by, "HH:MM" local')

    @classmethod
    def misfits(cls, parts: Mapping[str, Any]) -> Iterator[Misfit]:
        """Yield a change of nothing, and hours that end before they start."""
        yield from _nothing(parts, ("fill_min", "opens", "closes"))
        if parts.get("opens") is not None and parts.get("closes") is not None:
            yield from Compressor.misfits(parts)

    def words(self, world: World | None) -> str:
        """Return how it fills."""
        said = [
            f"fills from {self.opens:%H:%M}" if self.opens is not None else "",
            f"fills until {self.closes:%H:%M}" if self.closes is not None else "",
            f"needs {self.fill_min:g} min for a cylinder" if self.fill_min is not None else "",
        ]
        return f"The compressor {_listed([each for each in said if each])}."

    def onto(self, request: ScheduleRequest, world: World) -> Applied:
        """Set what is given."""
        keys = ("fill_min", "opens", "closes")
        given = _given(self, keys)
        if request.compressor is not None:
            compressor = request.compressor.model_copy(update=given)
        elif missing := [key for key in keys if key not in given]:
            raise EditRefused(f"There is no compressor yet; to add one, give {_listed(missing)} too.")
        else:
            compressor = Compressor(**given)
        return request.model_copy(update={"compressor": compressor}), world


def _nothing(parts: Mapping[str, Any], keys: Sequence[str]) -> Iterator[Misfit]:
    if all(key in parts and parts[key] is None for key in keys):
        yield (keys[0],), f"is missing; give at least one of {', '.join(keys)}"


def _given(edit: Record, keys: Sequence[str]) -> dict[str, Any]:
    return {key: getattr(edit, key) for key in keys if getattr(edit, key) is not None}


# ---- kit ----


class AddCylindersEdit(_Edit):
    """So many more steel cylinders for air, inspected and tested on the first of these days."""

    do: Literal["add_cylinders"] = "add_cylinders"
    volume_l: float = Field(ge=1, le=40, description="water capacity, litres")
    count: int = Field(ge=1, le=200, description="how many")
    working_bar: float | None = Field(
        default=None,
        ge=50,
        le=350,
        description="working pressure, bar at 15 C; left out: the lowest of the store's own of this size, else of all",
    )

    def words(self, world: World | None) -> str:
        """Return what comes into the store."""
        what = "cylinder" if self.count == 1 else "cylinders"
        bar = f" and {self.working_bar:g} bar" if self.working_bar is not None else ""
        return f"{self.count} more steel {what} of {self.volume_l:g} l{bar} {_are(range(self.count))} in the store."

    def onto(self, request: ScheduleRequest, world: World) -> Applied:
        """Add them under identities that no other item has."""
        kit = _found_kit(world)
        same = [each.working_bar for each in kit.cylinders if each.volume_l == self.volume_l]
        bar = self.working_bar or min(same or [each.working_bar for each in kit.cylinders], default=None)
        if bar is None:
            raise EditRefused("The store has no cylinder whose working pressure could be taken; give working_bar too.")
        more = [
            {
                "identity": identity,
                "volume_l": self.volume_l,
                "metal": "steel",
                "working_bar": bar,
                "last_visual": request.first_day,
                "last_test": request.first_day,
            }
            for identity in _new_identities(kit, f"More {self.volume_l:g} l", self.count)
        ]
        return request, _with_kit(world, "cylinders", more)


KitThing = Literal[
    "mask", "snorkel", "fins", "boots", "suit", "regulator", "buoyancy_device", "light", "spare_light", "flag", "float",
    "oxygen_kit", "first_aid_kit",
]  # fmt: skip
_COUNTED = {  # the table of the kit file for what is counted alike
    "mask": "masks", "snorkel": "snorkels", "fins": "fins", "boots": "boots", "buoyancy_device": "buoyancy_devices",
}  # fmt: skip


class AddKitEdit(_Edit):
    """So many more alike of one thing, in service on these days."""

    do: Literal["add_kit"] = "add_kit"
    thing: KitThing = Field(description="what it is")
    size: OneLine = Field(
        default="any", min_length=1, max_length=20, description='size as in the roster; left out: "any"'
    )
    count: int = Field(ge=1, le=200, description="how many")
    mm: float | None = Field(default=None, ge=0.5, le=30, description="a suit's neoprene, millimetres")
    dry: bool = Field(default=False, description="true for a dry suit")

    @classmethod
    def misfits(cls, parts: Mapping[str, Any]) -> Iterator[Misfit]:
        """Yield a suit of no thickness, and a thickness or size of what has none."""
        thing, mm, dry = parts.get("thing"), parts.get("mm"), parts.get("dry")
        if thing is None:
            return
        if thing == "suit":
            if "mm" in parts and "dry" in parts and (mm is None) != bool(dry):
                yield ("mm",), "is missing; give mm, or dry = true" if mm is None else "is given, but dry is true"
            return
        if mm is not None:
            yield ("mm",), f"is {mm:g}; only a suit has a thickness"
        if dry:
            yield ("dry",), "is true; only a suit is dry"
        if thing not in _COUNTED and parts.get("size", "any") != "any":
            yield ("size",), f'is "{parts["size"]}"; this thing has no size, leave it out'

    def words(self, world: World | None) -> str:
        """Return what comes into the store."""
        known = {**{key: f"{words}s" for key, words in SAFETY_WORDS.items()}, **PLURAL}
        what = known[self.thing]
        if self.count == 1:
            pair = what.startswith("pairs of ")
            what = (
                what.replace("pairs", "pair", 1)
                if pair
                else SINGULAR.get(self.thing, SAFETY_WORDS.get(self.thing, self.thing))
            )
        kind = "dry " if self.dry else f"{self.mm:g} mm " if self.mm is not None else ""
        size = "" if self.size == "any" else f" of size {self.size}"
        return f"{self.count} more {kind}{what}{size} {_are(range(self.count))} in the store."

    def onto(self, request: ScheduleRequest, world: World) -> Applied:
        """Add them; pieces with an identity get one that no other item has."""
        kit = _found_kit(world)
        if self.thing in _COUNTED:
            return request, _with_kit(world, _COUNTED[self.thing], [{"size": self.size, "count": self.count}])
        if self.thing == "suit":
            named = _new_identities(kit, "More suits", self.count)
            suits = [{"identity": one, "size": self.size, "mm": self.mm, "dry": self.dry} for one in named]
            return request, _with_kit(world, "suits", suits)
        if self.thing == "regulator":
            regulators = [
                {
                    "identity": one,
                    "serviced": request.first_day,
                    "has_second_stage_spare": True,
                    "has_pressure_gauge": True,
                }
                for one in _new_identities(kit, "More regulators", self.count)
            ]
            return request, _with_kit(world, "regulators", regulators)
        return request, _with_kit(world, "safety", [{"thing": self.thing, "count": self.count}])


def _new_identities(kit: Kit, start: str, count: int) -> list[str]:
    """Return identities that no item of the store has: the start and a number."""
    items: tuple[CylinderItem | RegulatorItem | SuitItem, ...] = (*kit.cylinders, *kit.regulators, *kit.suits)
    taken = {_run_together(each.identity) for each in items}
    found: list[str] = []
    number = 0
    while len(found) < count:
        number += 1
        identity = f"{start}, {number}"
        if _run_together(identity) not in taken:
            found.append(identity)
    return found


def _run_together(identity: str) -> str:
    """Return an identity as the kit file compares them: spaces tell no two apart."""
    return "".join(as_compared(identity).split())


# ---- groups ----


class LeaveOutDiversEdit(_Edit):
    """Some divers do not dive with their group."""

    do: Literal["leave_out"] = "leave_out"
    group: Name = Field(description="name of the group")
    divers: Names = Field(min_length=1, description="names as in the roster")

    @classmethod
    def misfits(cls, parts: Mapping[str, Any]) -> Iterator[Misfit]:
        """Yield names that stand twice."""
        yield from _twice(parts.get("divers", ()), "divers")

    def words(self, world: World | None) -> str:
        """Return who stays behind."""
        do = "does" if len(self.divers) == 1 else "do"
        return f"{_listed(self.divers)} {do} not dive with {self.group}."

    def onto(self, request: ScheduleRequest, world: World) -> Applied:
        """Take them out, their gas too; where somebody of a pair is left alone, pairs are proposed anew."""
        group = _found_group(request, self.group)
        for name in self.divers:
            if name not in group.divers:
                its = _listed(group.divers)
                raise EditRefused(f'"{name}" does not dive with {group.name}; its divers are {its}.')
        divers = tuple(name for name in group.divers if name not in self.divers)
        if not divers:
            raise EditRefused(f"Nobody would be left in {group.name}; leave the whole group out instead.")
        pairs: tuple[tuple[str, ...], ...] | None = None
        if group.pairs is not None:
            left = [tuple(name for name in pair if name not in self.divers) for pair in group.pairs]
            if all(len(pair) != 1 for pair in left):
                pairs = tuple(pair for pair in left if pair)
        mixes = {name: percent for name, percent in group.mixes.items() if name not in self.divers}
        return _with_group(request, group, {"divers": divers, "pairs": pairs, "mixes": mixes}), world


_SET_BY_EDIT = (
    "days", "sites", "not_sites", "not_before", "not_after", "most_dives_per_day", "apart_h", "preferred_days",
    "preferred_leader",
)  # fmt: skip
Cleared = Literal["not_before", "not_after", "most_dives_per_day", "apart_h", "preferred_leader"]


class GroupEdit(_Edit):
    """What a group wants. What is left out stays; an empty list means all, or none preferred; ``clear`` takes away."""

    do: Literal["group"] = "group"
    group: Name = Field(description="name of the group")
    days: EditDays | None = Field(default=None, description="days on which it can come; []: all")
    preferred_days: EditDays | None = Field(default=None, description="days that it would like best; []: none")
    preferred_leader: Name | None = Field(default=None, description="name as in the roster")
    sites: Names | None = Field(default=None, description="sites it may go to; []: all that suit")
    not_sites: Names | None = Field(default=None, description="sites it is not to go to; []: none")
    not_before: ClockTime | None = Field(default=None, description='leaves no earlier, "HH:MM" local')
    not_after: ClockTime | None = Field(default=None, description='is back by, "HH:MM" local')
    most_dives_per_day: int | None = Field(default=None, ge=1, le=6, description="dives in one day")
    apart_h: float | None = Field(
        default=None, ge=0, le=336, description="hours between one outing of it and the next"
    )  # fmt: skip
    clear: tuple[Cleared, ...] = Field(default=(), description="keys to take away, so that the rule or nothing counts")

    @classmethod
    def misfits(cls, parts: Mapping[str, Any]) -> Iterator[Misfit]:
        """Yield lists in which something stands twice, a key both set and taken away, and a change of nothing."""
        for key in ("days", "preferred_days", "sites", "not_sites", "clear"):
            yield from _twice(parts.get(key) or (), key)
        for index, key in enumerate(parts.get("clear", ())):
            if parts.get(key) is not None:
                yield ("clear", index), f'is "{key}", which is set too; give one of the two'
        if parts.get("clear") == ():
            yield from _nothing(parts, _SET_BY_EDIT)

    def words(self, world: World | None) -> str:
        """Return what the group wants now."""

        def places(slugs: Sequence[str], none: str) -> str:
            return _listed([_site(slug, world) for slug in slugs]) if slugs else none

        dives = self.most_dives_per_day
        said = [
            f"comes on {_days(self.days)}" if self.days is not None else "",
            ("prefers " + (_days(self.preferred_days) if self.preferred_days else "no day"))
            if self.preferred_days is not None
            else "",
            f"prefers {self.preferred_leader} as leader" if self.preferred_leader is not None else "",
            f"may go to {places(self.sites, 'all sites that suit')}" if self.sites is not None else "",
            f"does not go to {places(self.not_sites, 'no site by name')}" if self.not_sites else "",
            "is kept from no site by name" if self.not_sites == () else "",
            f"leaves no earlier than {self.not_before:%H:%M}" if self.not_before is not None else "",
            f"is back by {self.not_after:%H:%M}" if self.not_after is not None else "",
            f"makes at most {dives} {'dive' if dives == 1 else 'dives'} a day" if dives is not None else "",
            f"has at least {self.apart_h:g} h between outings" if self.apart_h is not None else "",
            *(_CLEARED_WORDS[key] for key in self.clear),
        ]
        return f"{self.group} {_listed([each for each in said if each])}."

    def onto(self, request: ScheduleRequest, world: World) -> Applied:
        """Set what is given and take away what is to be cleared."""
        group = _found_group(request, self.group)
        _within(request, *(self.days or ()), *(self.preferred_days or ()))
        _known_sites(world, *(self.sites or ()), *(self.not_sites or ()))
        if self.preferred_leader is not None:
            _found_worker(request, self.preferred_leader)
        changed: dict[str, Any] = {key: None for key in self.clear}
        return _with_group(request, group, {**_given(self, _SET_BY_EDIT), **changed}), world


_CLEARED_WORDS: Mapping[str, str] = {
    "not_before": "leaves at any time",
    "not_after": "is back at any time",
    "most_dives_per_day": "makes as many dives a day as the rule says",
    "apart_h": "has as many hours between outings as the rule says",
    "preferred_leader": "prefers no leader",
}


class WithoutGroupEdit(_Edit):
    """A group is left out with its pins and exclusions."""

    do: Literal["without"] = "without"
    group: Name = Field(description="name of the group")

    def words(self, world: World | None) -> str:
        """Return who is left out."""
        return f"{self.group} is left out, with what was settled and excluded for it."

    def onto(self, request: ScheduleRequest, world: World) -> Applied:
        """Take the group away."""
        group = _found_group(request, self.group)
        if len(request.groups) == 1:
            raise EditRefused(f"{group.name} is the only group; without it there is nothing to plan.")
        update = {
            key: tuple(each for each in getattr(request, key) if each.group != group.name)
            for key in ("pinned", "excluded")
        }
        groups = tuple(each for each in request.groups if each is not group)
        return request.model_copy(update={"groups": groups, **update}), world


def _with_group(request: ScheduleRequest, group: SchoolGroup, update: Mapping[str, Any]) -> ScheduleRequest:
    groups = tuple(each.model_copy(update=dict(update)) if each is group else each for each in request.groups)
    return request.model_copy(update={"groups": groups})


# ---- all of them ----


Edit = Annotated[
    PinEdit
    | UnpinEdit
    | ExcludeEdit
    | AllowEdit
    | AbsentEdit
    | PresentEdit
    | CloseSiteEdit
    | OpenSiteEdit
    | AddWorkerEdit
    | AddVehicleEdit
    | WorkDayEdit
    | LeaveOutDiversEdit
    | GroupEdit
    | HoursEdit
    | CompressorEdit
    | AddCylindersEdit
    | AddKitEdit
    | WithoutGroupEdit,
    Field(discriminator="do"),
]
EDITS: Mapping[str, type[_Edit]] = {kind.model_fields["do"].default: kind for kind in get_args(get_args(Edit)[0])}


def apply(request: ScheduleRequest, world: World, edits: Sequence[Edit]) -> Applied:
    """Return request and world with the edits made, one after the other; what was given stays as it was.

    Raises EditRefused for the first edit that does not fit: everything that a file could not say either.
    """
    for edit in edits:
        try:
            changed, seen = edit.onto(request, world)
        except EditRefused as error:
            raise EditRefused(error.sentence, edit) from None
        request, world = _judged(changed, edit, (request, world), seen), seen
    return request, world


def _judged(changed: ScheduleRequest, edit: Edit, before: Applied, world: World) -> ScheduleRequest:
    """Return a changed request judged like a file: by its schema, and by names that the world did not miss before."""
    values = changed.model_dump()
    try:
        judged = ScheduleRequest.model_validate(values)
        missed = {sentence for _, sentence in schedule_faults(*before)}
        said = [sentence for _, sentence in schedule_faults(judged, world) if sentence not in missed]
    except ValidationError as error:
        said = describe_fault(error, ScheduleRequest, values)
    if said:
        raise EditRefused(f"This does not fit: {'; '.join(each.rstrip('.') for each in said)}.", edit) from None
    return judged


def edit_words(edit: Edit, world: World | None = None) -> str:
    """Return one plain sentence of what an edit does.

    world -- names the sites; without it they are called by their files' names

    >>> edit_words(AbsentEdit(person="Ines Faro", days=(date(2026, 12, 9),)))
    'Ines Faro is away on 9 December 2026.'
    """
    return edit.words(world)


def edits_data(edits: Iterable[Edit]) -> list[dict[str, Any]]:
    """Return edits as plain values that JSON can hold; ``edits_from`` reads them back as equal edits."""
    return [
        {"do": edit.do, **{key: _plain(value) for key, value in edit.model_dump(exclude_none=True).items()}}
        for edit in edits
    ]


def _plain(value: Any) -> Any:
    if isinstance(value, tuple):
        return [_plain(inner) for inner in value]
    if isinstance(value, time):
        return f"{value:%H:%M}"
    return value.isoformat() if isinstance(value, date) else value


def edits_from(data: object) -> tuple[Edit, ...]:
    """Read edits from plain values that nobody has judged: a list of tables, or a table with such a list at "edits".

    Raises EditRefused with a sentence for every edit that cannot be read.
    """
    listed = data["edits"] if isinstance(data, Mapping) and set(data) == {"edits"} else data
    if not isinstance(listed, list | tuple):
        raise EditRefused(
            f'Edits are {_kind_of(listed)}; accepted: a list of tables with the key "do", or a table whose one key '
            '"edits" holds that list.'
        )
    if len(listed) > MOST_EDITS:
        raise EditRefused(f"There are {len(listed)} edits; at most {MOST_EDITS} are accepted at once.")
    found: list[Any] = []
    faults: list[str] = []
    for number, each in enumerate(listed, 1):
        try:
            found.append(_edit_from(each, number))
        except EditRefused as error:
            faults.append(error.sentence)
    if faults:
        raise EditRefused(" ".join(faults))
    return tuple(found)


def _edit_from(data: object, number: int) -> _Edit:
    if not isinstance(data, Mapping) or not all(isinstance(key, str) for key in data):
        raise EditRefused(f'Edit {number} is {_kind_of(data)}; accepted: a table with the key "do".')
    do = data.get("do")
    kind = EDITS.get(do) if isinstance(do, str) else None
    if kind is None:
        known = ", ".join(f'"{each}"' for each in EDITS)
        given = "is missing" if do is None else f"is {_shown(do)}"
        near = difflib.get_close_matches(do, EDITS, n=1) if isinstance(do, str) else []
        hint = f' Did you mean "{near[0]}"?' if near else ""
        raise EditRefused(f"Edit {number}: do {given}; accepted: {known}.{hint}")
    # A page's lists are tuples here; nothing that an edit holds lies deeper than one list.
    values = {key: tuple(value) if isinstance(value, list) else value for key, value in data.items()}
    try:
        return kind.model_validate(values)
    except ValidationError as error:
        said = "; ".join(sentence.rstrip(".") for sentence in describe_fault(error, kind))
        raise EditRefused(f'Edit {number}, "{do}": {said}.') from None


def _shown(value: object) -> str:
    text = f'"{value}"' if isinstance(value, str) else _kind_of(value)
    plain = "".join(c if c.isprintable() else c.encode("unicode_escape", "surrogatepass").decode() for c in text)
    return plain if len(plain) <= 60 else f"{plain[:57]}..."


def _kind_of(value: object) -> str:
    """Say what sort of value was given, in a reader's words."""
    if value is None:
        return "nothing"
    if isinstance(value, bool):
        return "true or false"
    words = ((str, "text"), (Mapping, "a table"), (list | tuple, "a list"), (int | float, "a number"))
    return next((said for kind, said in words if isinstance(value, kind)), "something else")


# ---- written back ----


def as_toml(request: ScheduleRequest) -> str:
    """Return the request as the text of a file that ``schedule_request_from`` reads back as an equal request.

    People and kit that edits added to the world are no part of it: enter them in the centre's own files.
    """
    return f"# Some days of dives, written from the request as it stands.\n{toml_of(request)}"
