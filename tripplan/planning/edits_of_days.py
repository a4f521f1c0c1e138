"""Edits of the days themselves: what is settled, who is there, which sites are open, vehicles, hours and fillings."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Annotated, Any, Literal

from pydantic import Field

from tripplan.people.person import Person
from tripplan.people.skills import as_compared
from tripplan.planning.edit_base import (
    Applied,
    BaseEdit,
    EditDay,
    EditDays,
    EditRefused,
    are,
    days_words,
    dives_words,
    found_dives,
    found_group,
    found_worker,
    given_of,
    known_sites,
    listed,
    nothing_given,
    site_name,
    twice,
    within,
)
from tripplan.planning.request import Line, Name
from tripplan.planning.schedule_request import (
    Absence,
    ClosedSite,
    Compressor,
    Exclusion,
    Names,
    Pin,
    ScheduleRequest,
    Vehicle,
    Worker,
)
from tripplan.planning.world import World
from tripplan.record import ClockTime, Misfit, OneLine


class PinEdit(BaseEdit):
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
            f"on {days_words([self.day])}" if self.day else "",
            f"at {site_name(self.site, world)}" if self.site else "",
            f"in at {self.entry:%H:%M}" if self.entry is not None else "",
            f"led by {self.leader}" if self.leader else "",
            f"assisted by {listed(self.assistants)}" if self.assistants else "",
            "assisted by nobody" if self.assistants == () else "",
        ]
        details = ", ".join(each for each in said if each)
        return f"{dives_words(self.dives, self.group)} {are(self.dives)} settled: {details or 'made in one outing'}."

    def onto(self, request: ScheduleRequest, world: World) -> Applied:
        """Put the pin in the place of the first one that it replaces, else at the end."""
        found_dives(found_group(request, self.group), self.dives)
        within(request, self.day)
        known_sites(world, self.site)
        for name in (self.leader, *(self.assistants or ())):
            if name is not None:
                found_worker(request, name)
        pin = Pin(**{name: getattr(self, name) for name in Pin.model_fields})
        shared = _sharing(request, self.group, self.dives)
        kept = [(pin if index == shared[0] else each) for index, each in enumerate(request.pinned)
                if index not in shared[1:]] if shared else [*request.pinned, pin]  # fmt: skip
        return request.model_copy(update={"pinned": tuple(kept)}), world


class UnpinEdit(BaseEdit):
    """Settle dives of a group no longer: every pin that holds one of them goes."""

    do: Literal["unpin"] = "unpin"
    group: Name = Field(description="name of the group")
    dives: tuple[Annotated[int, Field(ge=1, le=6)], ...] = Field(
        min_length=1, description="numbers of the group's dives, like [1, 2]"
    )

    def words(self, world: World | None) -> str:
        """Return what is no longer settled."""
        return f"{dives_words(self.dives, self.group)} {are(self.dives)} no longer settled."

    def onto(self, request: ScheduleRequest, world: World) -> Applied:
        """Take away the pins that share a dive."""
        found_dives(found_group(request, self.group), self.dives)
        shared = _sharing(request, self.group, self.dives)
        if not shared:
            raise EditRefused(f"{dives_words(self.dives, self.group)} {are(self.dives)} not settled.")
        left = tuple(each for index, each in enumerate(request.pinned) if index not in shared)
        return request.model_copy(update={"pinned": left}), world


def _sharing(request: ScheduleRequest, group: str, dives: Sequence[int]) -> list[int]:
    """Return the numbers of the pins that hold one of a group's dives."""
    return [n for n, pin in enumerate(request.pinned) if pin.group == group and set(pin.dives) & set(dives)]


class _OfExclusion(BaseEdit):
    group: Name = Field(description="name of the group")
    day: EditDay | None = Field(default=None, description="not on this day")
    site: Name | None = Field(default=None, description="not at this site")
    person: Name | None = Field(default=None, description="not led or assisted by this person")

    @classmethod
    def misfits(cls, parts: Mapping[str, Any]) -> Iterator[Misfit]:
        """Yield an exclusion of nothing."""
        yield from nothing_given(parts, ("day", "site", "person"))

    def _exclusion(self) -> Exclusion:
        return Exclusion(group=self.group, day=self.day, site=self.site, person=self.person)

    def _details(self, world: World | None) -> str:
        said = (
            f" on {days_words([self.day])}" if self.day else "",
            f" at {site_name(self.site, world)}" if self.site else "",
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
        found_group(request, self.group)
        within(request, self.day)
        known_sites(world, self.site)
        if self.person is not None:
            found_worker(request, self.person)
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
        found_group(request, self.group)
        if self._exclusion() not in request.excluded:
            raise EditRefused(f"It is not excluded that {self.group} dives{self._details(world)}.")
        left = tuple(each for each in request.excluded if each != self._exclusion())
        return request.model_copy(update={"excluded": left}), world


class AbsentEdit(BaseEdit):
    """Somebody of the crew is away on some days; days on which they are away already stay as they are."""

    do: Literal["absent"] = "absent"
    person: Name = Field(description="name as in the roster")
    days: EditDays = Field(min_length=1, description="the days")
    because: Line = Field(default="", max_length=120, description="why, in words; nothing about health")

    @classmethod
    def misfits(cls, parts: Mapping[str, Any]) -> Iterator[Misfit]:
        """Yield days that stand twice."""
        yield from twice(parts.get("days", ()), "days")

    def words(self, world: World | None) -> str:
        """Return who is away and when."""
        because = f": {self.because.rstrip('.')}" if self.because else ""
        return f"{self.person} is away on {days_words(self.days)}{because}."

    def onto(self, request: ScheduleRequest, world: World) -> Applied:
        """Add the days on which the person is not away yet."""
        found_worker(request, self.person)
        within(request, *self.days)
        away = {day for each in request.absent if each.person == self.person for day in each.days}
        new = tuple(day for day in self.days if day not in away)
        if not new:
            raise EditRefused(f"{self.person} is away on {days_words(self.days)} already.")
        absence = Absence(person=self.person, days=new, because=self.because)
        return request.model_copy(update={"absent": (*request.absent, absence)}), world


class PresentEdit(BaseEdit):
    """Somebody of the crew is not away on some days after all; a day off stays one."""

    do: Literal["present"] = "present"
    person: Name = Field(description="name as in the roster")
    days: EditDays = Field(min_length=1, description="the days")

    @classmethod
    def misfits(cls, parts: Mapping[str, Any]) -> Iterator[Misfit]:
        """Yield days that stand twice."""
        yield from twice(parts.get("days", ()), "days")

    def words(self, world: World | None) -> str:
        """Return who is there again and when."""
        return f"{self.person} is not away on {days_words(self.days)}."

    def onto(self, request: ScheduleRequest, world: World) -> Applied:
        """Take the days out of every absence of the person."""
        worker = found_worker(request, self.person)
        left: list[Absence] = []
        for each in request.absent:
            days = tuple(day for day in each.days if day not in self.days)
            if each.person != self.person or days == each.days:
                left.append(each)
            elif days:
                left.append(each.model_copy(update={"days": days}))
        if tuple(left) == request.absent:
            off = [day for day in self.days if day in worker.off]
            more = f" {days_words(off)} {are(off)} off: make it a work day instead." if off else ""
            raise EditRefused(f"{self.person} is not away on {days_words(self.days)} as it is.{more}")
        return request.model_copy(update={"absent": tuple(left)}), world


class WorkDayEdit(BaseEdit):
    """Somebody of the crew works on a day off."""

    do: Literal["work_day"] = "work_day"
    person: Name = Field(description="name as in the roster")
    day: EditDay = Field(description="the day off that becomes a work day")

    def words(self, world: World | None) -> str:
        """Return who works and when."""
        return f"{self.person} works on {days_words([self.day])}, a day off before."

    def onto(self, request: ScheduleRequest, world: World) -> Applied:
        """Take the day off away."""
        worker = found_worker(request, self.person)
        if self.day not in worker.off:
            raise EditRefused(f"{days_words([self.day])} is no day off of {self.person}.")
        off = tuple(day for day in worker.off if day != self.day)
        crew = tuple(one.model_copy(update={"off": off}) if one is worker else one for one in request.crew)
        return request.model_copy(update={"crew": crew}), world


class AddWorkerEdit(BaseEdit):
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
        yield from twice(parts.get("days", ()), "days")

    def words(self, world: World | None) -> str:
        """Return who comes, and when."""
        where = {"both": "in the water and ashore", "water": "in the water", "ashore": "ashore"}[self.duties]
        same = f"with the level and papers of {self.like}"
        return f'"{self.name}" comes on {days_words(self.days)} and works {where}, {same}.'

    def onto(self, request: ScheduleRequest, world: World) -> Applied:
        """Add a worker, and a copy of the person."""
        like = world.people.get(self.like)
        if like is None:
            raise EditRefused(f'"{self.like}" is not in the list of people, so nothing can be copied.')
        within(request, *self.days)
        known = {as_compared(name): name for name in (*world.people, *(one.name for one in request.crew))}
        if as_compared(self.name) in known:
            before = known[as_compared(self.name)]
            raise EditRefused(f'"{before}" is somebody already; give the one who is added another name.')
        person = Person.model_validate({**like.model_dump(), "name": self.name, "identity": ""})
        off = tuple(day for day in request.dates if self.days and day not in self.days)
        worker = Worker(name=self.name, off=off, duties=self.duties)
        people = {**world.people, self.name: person}
        return request.model_copy(update={"crew": (*request.crew, worker)}), replace(world, people=people)


class CloseSiteEdit(BaseEdit):
    """Nobody dives at a site on some days, or on all; days on which it is closed already stay as they are."""

    do: Literal["close_site"] = "close_site"
    site: Name = Field(description="the site's file name without .toml")
    days: EditDays = Field(default=(), description="on these days; left out: all")
    because: Line = Field(min_length=1, max_length=120, description="why, in words")

    @classmethod
    def misfits(cls, parts: Mapping[str, Any]) -> Iterator[Misfit]:
        """Yield days that stand twice."""
        yield from twice(parts.get("days", ()), "days")

    def words(self, world: World | None) -> str:
        """Return what is closed, when and why."""
        return f"{site_name(self.site, world)} is closed on {days_words(self.days)}: {self.because.rstrip('.')}."

    def onto(self, request: ScheduleRequest, world: World) -> Applied:
        """Add the days on which it is not closed yet."""
        known_sites(world, self.site)
        within(request, *self.days)
        shut = {day for each in request.closed if each.site == self.site for day in each.days or request.dates}
        new = tuple(day for day in self.days or request.dates if day not in shut)
        if not new:
            raise EditRefused(f"{site_name(self.site, world)} is closed on {days_words(self.days)} already.")
        closed = ClosedSite(site=self.site, days=new if self.days or shut else (), because=self.because)
        return request.model_copy(update={"closed": (*request.closed, closed)}), world


class OpenSiteEdit(BaseEdit):
    """A site that was closed is open on some days, or on all."""

    do: Literal["open_site"] = "open_site"
    site: Name = Field(description="the site's file name without .toml")
    days: EditDays = Field(default=(), description="on these days; left out: all")

    @classmethod
    def misfits(cls, parts: Mapping[str, Any]) -> Iterator[Misfit]:
        """Yield days that stand twice."""
        yield from twice(parts.get("days", ()), "days")

    def words(self, world: World | None) -> str:
        """Return what is open again, and when."""
        return f"{site_name(self.site, world)} is open on {days_words(self.days)}."

    def onto(self, request: ScheduleRequest, world: World) -> Applied:
        """Take the days out of every closure of the site."""
        known_sites(world, self.site)
        within(request, *self.days)
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
            raise EditRefused(f"{site_name(self.site, world)} is not closed on {days_words(self.days)}.")
        return request.model_copy(update={"closed": tuple(left)}), world


class AddVehicleEdit(BaseEdit):
    """One more vehicle."""

    do: Literal["add_vehicle"] = "add_vehicle"
    name: Line = Field(min_length=1, max_length=40, description="what it is called")
    seats: int = Field(ge=1, le=80, description="seats, the driver's included")
    days: EditDays = Field(default=(), description="the days on which it is there; left out: all")

    @classmethod
    def misfits(cls, parts: Mapping[str, Any]) -> Iterator[Misfit]:
        """Yield days that stand twice."""
        yield from twice(parts.get("days", ()), "days")

    def words(self, world: World | None) -> str:
        """Return what comes, and when."""
        seats = "1 seat" if self.seats == 1 else f"{self.seats} seats"
        return f'A vehicle "{self.name}" with {seats} is there on {days_words(self.days)}.'

    def onto(self, request: ScheduleRequest, world: World) -> Applied:
        """Add it."""
        within(request, *self.days)
        if request.vehicles is None:
            # With one vehicle the seats of everybody would count, and fewer people would go than before.
            raise EditRefused("Everybody comes by themselves: no vehicle is listed, so seats are not counted.")
        for each in request.vehicles:
            if as_compared(each.name) == as_compared(self.name):
                raise EditRefused(f'There is a vehicle "{each.name}" already; give another name.')
        off = tuple(day for day in request.dates if self.days and day not in self.days)
        vehicle = Vehicle(name=self.name, seats=self.seats, off=off)
        return request.model_copy(update={"vehicles": (*request.vehicles, vehicle)}), world


class HoursEdit(BaseEdit):
    """When the doors of the centre are open."""

    do: Literal["hours"] = "hours"
    opens: ClockTime | None = Field(default=None, description='nobody leaves before, "HH:MM" local')
    closes: ClockTime | None = Field(default=None, description='everybody is back by, "HH:MM" local')

    @classmethod
    def misfits(cls, parts: Mapping[str, Any]) -> Iterator[Misfit]:
        """Yield a change of nothing."""
        yield from nothing_given(parts, ("opens", "closes"))

    def words(self, world: World | None) -> str:
        """Return the new hours."""
        said = [
            f"opens at {self.opens:%H:%M}" if self.opens is not None else "",
            f"closes at {self.closes:%H:%M}" if self.closes is not None else "",
        ]
        return f"The centre {listed([each for each in said if each])}."

    def onto(self, request: ScheduleRequest, world: World) -> Applied:
        """Set what is given."""
        centre = request.centre.model_copy(update=given_of(self, ("opens", "closes")))
        return request.model_copy(update={"centre": centre}), world


class CompressorEdit(BaseEdit):
    """How fast and when the compressor fills; all three where there is none yet."""

    do: Literal["compressor"] = "compressor"
    fill_min: float | None = Field(default=None, gt=0, le=120, description="minutes to fill one cylinder")
    opens: ClockTime | None = Field(default=None, description='fills from, "HH:MM" local')
    closes: ClockTime | None = Field(default=None, description='the last fill is done by, "HH:MM" local')

    @classmethod
    def misfits(cls, parts: Mapping[str, Any]) -> Iterator[Misfit]:
        """Yield a change of nothing, and hours that end before they start."""
        yield from nothing_given(parts, ("fill_min", "opens", "closes"))
        if parts.get("opens") is not None and parts.get("closes") is not None:
            yield from Compressor.misfits(parts)

    def words(self, world: World | None) -> str:
        """Return how it fills."""
        said = [
            f"fills from {self.opens:%H:%M}" if self.opens is not None else "",
            f"fills until {self.closes:%H:%M}" if self.closes is not None else "",
            f"needs {self.fill_min:g} min for a cylinder" if self.fill_min is not None else "",
        ]
        return f"The compressor {listed([each for each in said if each])}."

    def onto(self, request: ScheduleRequest, world: World) -> Applied:
        """Set what is given."""
        keys = ("fill_min", "opens", "closes")
        given = given_of(self, keys)
        if request.compressor is not None:
            compressor = request.compressor.model_copy(update=given)
        elif missing := [key for key in keys if key not in given]:
            raise EditRefused(f"There is no compressor yet; to add one, give {listed(missing)} too.")
        else:
            compressor = Compressor(**given)
        return request.model_copy(update={"compressor": compressor}), world
