"""What a leader asks for: who wants to dive, where, when, with what. One TOML file a day at one site."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BeforeValidator, Discriminator, Field, Tag

from tripplan.people.group import KINDS, KindName
from tripplan.people.skills import as_compared as _alike
from tripplan.record import ClockTime, Misfit, PhoneNumber, Record, TomlFile, judge, read_toml

FIRST_DAY, LAST_DAY = date(1901, 1, 1), date(2099, 12, 31)  # the tides are reckoned for these two centuries
OLDEST_DIVE_DAYS = 31  # an older dive no longer counts: it is there by a slip of the pen, and another may be missing


def _day(value: date) -> date:
    if not FIRST_DAY <= value <= LAST_DAY:
        raise ValueError(f"it must be from {FIRST_DAY} to {LAST_DAY}")
    return value


Day = Annotated[date, AfterValidator(_day)]


def _moment(value: object) -> object:
    if not isinstance(value, datetime):
        raise ValueError("it must be date, time and offset from UTC without quotes, like 2027-06-11T16:40:00+00:00")
    if value.tzinfo is None:
        raise ValueError("it needs its offset from UTC, like 2027-06-11T16:40:00+00:00")
    return value


Moment = Annotated[datetime, BeforeValidator(_moment)]


def _line(value: str) -> str:
    if not value.isprintable():
        raise ValueError("it holds a character that does not print; write it on one line")
    return value


Line = Annotated[str, AfterValidator(_line)]  # it is printed on the sheets
Name = Annotated[str, Field(min_length=1)]  # an empty one would pass for "nobody"


def _doubled(names: Sequence[str], key: str) -> Iterator[Misfit]:
    """Yield every name of a list that stood in it before."""
    seen: set[str] = set()
    for index, name in enumerate(names):
        if _alike(name) in seen:
            yield (key, index), f'is "{name}", who stands in the list already; name each person once'
        seen.add(_alike(name))


class DiveWish(Record):
    """One dive of a group as wished; what is left out is chosen by the plan within the limits."""

    depth_m: float | None = Field(default=None, gt=0, le=100, description="wished depth, metres; left out: the limit")
    minutes: int | None = Field(default=None, ge=1, le=240, description="wished bottom time, minutes")
    not_before: ClockTime | None = Field(default=None, description='earliest entry, "HH:MM" local')
    entry: ClockTime | None = Field(default=None, description='fixed entry, "HH:MM" local')
    oxygen_percent: float = Field(default=21, ge=20.9, le=40, description="oxygen in the gas, 20.9 to 40 per cent")
    ascents: int = Field(default=1, ge=1, le=12, description="ascents that the dive holds, more than one in training")
    course_dive: int | None = Field(
        default=None, ge=1, le=60, description="number of the dive in the course, as in the centre's list of skills"
    )

    @classmethod
    def misfits(cls, parts: Mapping[str, Any]) -> Iterator[Misfit]:
        """Yield a second time of entry."""
        entry, not_before = parts.get("entry"), parts.get("not_before")
        if entry is not None and not_before is not None:
            yield (
                ("not_before",),
                f"is {not_before:%H:%M} and entry is {entry:%H:%M}; give either entry (fixed) or not_before "
                "(earliest), not both",
            )


class GroupWish(Record):
    """A group that dives together."""

    name: Line = Field(min_length=1, max_length=40, description="what the group is called")
    kind: KindName = Field(description="kind of dive")
    leader: str | None = Field(default=None, min_length=1, description="name of the leader as in the roster")
    assistants: tuple[Name, ...] = Field(default=(), description="names as in the roster")
    divers: tuple[Name, ...] = Field(min_length=1, description="names as in the roster")
    place: str | None = Field(default=None, min_length=1, description="place under water, as named in the site file")
    going_in_by: str | None = Field(default=None, min_length=1, description="way in, as named in the site file")
    coming_out_by: str | None = Field(default=None, min_length=1, description="way out, as named in the site file")
    cylinder_l: float | None = Field(default=None, ge=1, le=40, description="each diver's cylinder, litres of water")
    fill_bar: float | None = Field(
        default=None, ge=1, le=350, description="fill of each cylinder, bar on the gauge once as cold as the water"
    )
    suit_mm: float | None = Field(default=None, ge=0, le=30, description="neoprene today, layers added up, millimetres")
    dry_suit: bool = Field(default=False, description="true where everybody wears a dry suit today")
    mixes: dict[Name, Annotated[float, Field(ge=20.9, le=40)]] = Field(
        default_factory=dict, description="oxygen of those who breathe another gas than the dive's, per cent by name"
    )
    pairs: tuple[Annotated[tuple[Name, ...], Field(min_length=2, max_length=3)], ...] | None = Field(
        default=None, description="pairs or threes of divers as the leader wants them; left out: proposed"
    )
    dives: tuple[DiveWish, ...] = Field(min_length=1, max_length=6, description="one to six dives")

    def oxygen_percent(self, name: str, wish: DiveWish) -> float:
        """Return the oxygen in one person's gas on a dive, per cent."""
        return self.mixes.get(name, wish.oxygen_percent)

    def richest_percent(self, wish: DiveWish) -> float:
        """Return the most oxygen that anybody of the group breathes on a dive, per cent."""
        return max(self.oxygen_percent(name, wish) for name in self.everybody)

    @property
    def everybody(self) -> tuple[str, ...]:
        """Leader, assistants and divers, in that order."""
        return ((self.leader,) if self.leader else ()) + self.assistants + self.divers

    @classmethod
    def misfits(cls, parts: Mapping[str, Any]) -> Iterator[Misfit]:
        """Yield everybody who would be in the water twice at once, and mixes for people who are not in the group."""
        if parts.get("dry_suit") and parts.get("suit_mm") is not None:
            yield (
                ("suit_mm",),
                f"is {parts['suit_mm']:g}, but dry_suit is true; neoprene is for wet suits, give one of them",
            )
        members = {*parts.get("assistants", ()), *parts.get("divers", ()), parts.get("leader")}
        for name in parts.get("mixes", {}):
            if name not in members:
                yield (
                    ("mixes", name),
                    f'is for "{name}", who is not in the group; name its leader, assistants or divers',
                )
        first: dict[str, str] = {}
        if leader := parts.get("leader"):
            first[_alike(leader)] = "as leader"
        for key, role in (("assistants", "as assistant"), ("divers", "as diver")):
            for index, name in enumerate(parts.get(key, ())):
                before = first.setdefault(_alike(name), f"{role}, item {index + 1}")
                if before != f"{role}, item {index + 1}":
                    yield (
                        (key, index),
                        f'is "{name}", who stands in the group already, {before}; name each person once',
                    )
        yield from cls._unpaired(parts)

    @classmethod
    def _unpaired(cls, parts: Mapping[str, Any]) -> Iterator[Misfit]:
        """Yield everybody in no pair or in two, and who may not be paired: where somebody leads, divers alone are."""
        pairs, kind = parts.get("pairs"), KINDS.get(parts.get("kind", ""))
        if pairs is None or kind is None or "divers" not in parts:
            return
        led = kind.led
        leading = (*((parts["leader"],) if parts.get("leader") else ()), *parts.get("assistants", ()))
        divers = parts["divers"] if led else (*leading, *parts["divers"])
        first: dict[str, int] = {}
        for number, pair in enumerate(pairs):
            for index, name in enumerate(pair):
                before = first.setdefault(_alike(name), number)
                where = ("pairs", number, index)
                if name not in divers:
                    whom = "one of the divers" if led else "in the group"
                    yield where, f'is "{name}", who is not {whom}; who leads or assists stands in no pair of a led dive'
                elif before != number or [_alike(each) for each in pair[:index]].count(_alike(name)):
                    yield where, f'is "{name}", who stands in pairs[{before + 1}] already; name each person once'
        if left := [name for name in divers if _alike(name) not in first]:
            yield (
                ("pairs",),
                f"leaves out {', '.join(left)}; put everybody into a pair or a three, or leave pairs out altogether",
            )


CREW_LISTS = ("shore_watch", "oxygen_provider", "rescue", "caller", "recorder", "meeter", "crowd_control")


class Crew(Record):
    """Who does what ashore."""

    dive_director: str | None = Field(default=None, min_length=1, description="name as in the roster")
    shore_watch: tuple[Name, ...] = Field(default=(), description="names as in the roster")
    oxygen_provider: tuple[Name, ...] = Field(default=(), description="names as in the roster")
    rescue: tuple[Name, ...] = Field(default=(), description="who goes in after a casualty, names as in the roster")
    caller: tuple[Name, ...] = Field(default=(), description="who calls for help, names as in the roster")
    recorder: tuple[Name, ...] = Field(default=(), description="who writes down times, names as in the roster")
    meeter: tuple[Name, ...] = Field(default=(), description="who meets the ambulance, names as in the roster")
    crowd_control: tuple[Name, ...] = Field(default=(), description="who keeps others away, names as in the roster")
    beach_phone: PhoneNumber | None = Field(default=None, description="the telephone that is on the beach, as dialled")

    @property
    def everybody(self) -> tuple[str, ...]:
        """Everybody with a duty ashore, the dive director first, each once."""
        director = (self.dive_director,) if self.dive_director else ()
        return tuple(dict.fromkeys((*director, *(name for key in CREW_LISTS for name in getattr(self, key)))))

    @classmethod
    def misfits(cls, parts: Mapping[str, Any]) -> Iterator[Misfit]:
        """Yield everybody who would count twice."""
        for key in CREW_LISTS:
            yield from _doubled(parts.get(key, ()), key)


class RecentDive(Record):
    """A dive that somebody made before today's plan starts."""

    person: Name = Field(description="name as in the roster")
    depth_m: float = Field(gt=0, le=100, description="deepest point, metres")
    minutes: int = Field(ge=1, le=1440, description="bottom time, minutes")
    surfaced: Moment = Field(description="when it ended, like 2027-06-11T16:40:00+00:00")
    altitude_m: float | None = Field(
        default=None, ge=-430, le=3048, description="height of that water above sea level, metres; unknown: left out"
    )
    oxygen_percent: float = Field(default=21, ge=20.9, le=40, description="oxygen in the gas, 20.9 to 40 per cent")


def _tables_or_word(value: object) -> str:
    """Tell which form is meant, so that a fault in one dive is not also blamed on the word that was not written."""
    return "word" if isinstance(value, str) else "tables"


RecentDives = Annotated[
    Annotated[tuple[RecentDive, ...], Tag("tables")] | Annotated[Literal["none"], Tag("word")],
    Discriminator(_tables_or_word),
]


class Altitude(Record):
    """How long the group has been at the site's altitude; needed above 300 m."""

    arrived: ClockTime | None = Field(default=None, description='arrival on the day, "HH:MM" local')
    settled: bool = Field(default=False, description="true where everybody lives at this altitude")

    @classmethod
    def misfits(cls, parts: Mapping[str, Any]) -> Iterator[Misfit]:
        """Yield a claim to have settled by somebody who arrives on the day."""
        if parts.get("settled") and parts.get("arrived") is not None:
            yield ("settled",), f"is true but arrived is {parts['arrived']:%H:%M}; give one of the two"


class HomeStage(Record):
    """One height on the way home: a pass, a home in the hills, a flight."""

    name: Line = Field(min_length=1, max_length=40, description="what it is called")
    kind: Literal["road", "aircraft", "airliner"] = Field(description="how it is climbed")
    height_m: float | None = Field(
        default=None, ge=-430, le=13_000, description="height of the road or flight, metres; unknown: left out"
    )
    leaves: ClockTime | None = Field(default=None, description='planned start, "HH:MM" local, on the day of the dives')


class Drive(Record):
    """A drive over a height between two dives of the day."""

    name: Line = Field(min_length=1, max_length=40, description="what it is called")
    height_m: float = Field(ge=-430, le=6000, description="highest point of the road, metres above sea level")
    leaves: ClockTime = Field(description='start of the climb, "HH:MM" local')


class Request(Record):
    """One day at one site."""

    title: Line = Field(default="", max_length=80, description="what the day is called")
    site: str = Field(min_length=1, description="the site's file name without .toml")
    date: Day = Field(description="the day of diving")
    crew: Crew = Crew()
    altitude: Altitude = Altitude()
    measured_pressure_bar: float | None = Field(default=None, ge=0.6, le=1.1, description="station pressure, bar")
    recent_dives: RecentDives | None = Field(
        default=None, description='a [[recent_dives]] for each dive of the days before, or "none": everybody was asked'
    )
    refilled: bool = Field(
        default=False, description="true where the cylinders of the day's earlier dives are full again"
    )
    drives_between: tuple[Drive, ...] = Field(default=(), max_length=8, description="drives between dives of the day")
    way_home: tuple[HomeStage, ...] = Field(default=(), max_length=8, description="heights on the way home")
    groups: tuple[GroupWish, ...] = Field(min_length=1, description="at least one [[groups]]")


class _Written(Request):
    """A request as written in a file: what can only be a slip of the pen there is refused."""

    @classmethod
    def misfits(cls, parts: Mapping[str, Any]) -> Iterator[Misfit]:
        first: dict[str, int] = {}
        for index, group in enumerate(parts.get("groups", ())):
            before = first.setdefault(_alike(group.name), index)
            if before != index:
                yield ("groups", index, "name"), f'is "{group.name}", as groups[{before + 1}] is; names must differ'
        recent = parts.get("recent_dives")
        if recent == ():
            yield ("recent_dives",), 'is an empty list; write "none" where everybody was asked, or leave it out'
        if isinstance(recent, tuple):
            yield from _ill_timed(recent, parts.get("date"))


def _ill_timed(dives: Sequence[RecentDive], day: date | None) -> Iterator[Misfit]:
    """Yield every recent dive that cannot have ended when it says: a wrong date would hide gas still in the body."""
    for index, dive in enumerate(dives):
        where = ("recent_dives", index, "surfaced")
        given = f"is {dive.surfaced.isoformat()}"
        if day is not None and dive.surfaced.date() > day:
            yield where, f"{given}; it must not be after the day of diving, {day}"
        elif day is not None and (day - dive.surfaced.date()).days > OLDEST_DIVE_DAYS:
            yield where, f"{given}; it must be at most {OLDEST_DIVE_DAYS} days before {day}; leave out older dives"
        for number, other in enumerate(dives):
            if number == index or _alike(dive.person) != _alike(other.person):
                continue
            last = other.surfaced < dive.surfaced or (other.surfaced == dive.surfaced and number < index)
            if last and dive.surfaced - timedelta(minutes=dive.minutes) < other.surfaced:
                yield (
                    where,
                    f"{given}; {dive.minutes} min before, recent_dives[{number + 1}] of this person had not ended",
                )
                break


def read_request(path: Path) -> Request:
    """Read and judge a request file.  Raises BadRecord with every fault found."""
    return request_from(read_toml(path))


def request_from(file: TomlFile) -> Request:
    """Judge a request already read.  Raises BadRecord with every fault found."""
    found = judge(file, _Written)
    return Request(**{name: getattr(found, name) for name in Request.model_fields})
