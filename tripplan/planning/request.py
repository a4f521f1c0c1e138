"""What a leader asks for: who wants to dive, where, when, with what. One TOML file a day at one site."""

from __future__ import annotations

from datetime import date, datetime
from pathlib import Path
from typing import Annotated, Literal

from pydantic import AfterValidator, Field, model_validator

from tripplan.errors import BadRecord, Fault
from tripplan.people.group import KindName
from tripplan.record import ClockTime, Record, TomlFile, judge, read_toml

FIRST_DAY, LAST_DAY = date(1901, 1, 1), date(2099, 12, 31)  # the tides are reckoned for these two centuries


def _day(value: date) -> date:
    if not FIRST_DAY <= value <= LAST_DAY:
        raise ValueError(f"it must be from {FIRST_DAY} to {LAST_DAY}")
    return value


Day = Annotated[date, AfterValidator(_day)]


class DiveWish(Record):
    """One dive of a group as wished; what is left out is chosen by the plan within the limits."""

    depth_m: float | None = Field(default=None, gt=0, le=100, description="wished depth, metres; left out: the limit")
    minutes: int | None = Field(default=None, ge=1, le=240, description="wished bottom time, minutes")
    not_before: ClockTime | None = Field(default=None, description='earliest entry, "HH:MM" local')
    entry: ClockTime | None = Field(default=None, description='fixed entry, "HH:MM" local')
    oxygen_percent: float = Field(default=21, ge=20.9, le=40, description="oxygen in the gas, 20.9 to 40 per cent")

    @model_validator(mode="after")
    def _one_time(self) -> DiveWish:
        if self.entry is not None and self.not_before is not None:
            raise ValueError("give either entry (fixed) or not_before (earliest), not both")
        return self


class GroupWish(Record):
    """A group that dives together."""

    name: str = Field(min_length=1, max_length=40, description="what the group is called")
    kind: KindName = Field(description="kind of dive")
    leader: str | None = Field(default=None, description="name of the leader as in the roster")
    assistants: tuple[str, ...] = ()
    divers: tuple[str, ...] = Field(min_length=1, description="names as in the roster")
    place: str | None = Field(default=None, description="place under water, as named in the site file")
    going_in_by: str | None = Field(default=None, description="way in, as named in the site file")
    coming_out_by: str | None = Field(default=None, description="way out, as named in the site file")
    dives: tuple[DiveWish, ...] = Field(min_length=1, max_length=6, description="one to six dives")

    @property
    def everybody(self) -> tuple[str, ...]:
        """Leader, assistants and divers, in that order."""
        return ((self.leader,) if self.leader else ()) + self.assistants + self.divers


class Crew(Record):
    """Who does what ashore."""

    dive_director: str | None = None
    shore_watch: tuple[str, ...] = ()
    oxygen_provider: tuple[str, ...] = ()


class RecentDive(Record):
    """A dive that somebody made before today's plan starts."""

    person: str = Field(min_length=1)
    depth_m: float = Field(gt=0, le=100, description="deepest point, metres")
    minutes: int = Field(ge=1, le=1440, description="bottom time, minutes")
    surfaced: datetime = Field(description="when it ended, like 2027-06-11T16:40:00+00:00")
    oxygen_percent: float = Field(default=21, ge=20.9, le=40)

    @model_validator(mode="after")
    def _zoned(self) -> RecentDive:
        if self.surfaced.tzinfo is None:
            raise ValueError("surfaced needs its offset from UTC, like 2027-06-11T16:40:00+00:00")
        return self


class Altitude(Record):
    """How long the group has been at the site's altitude; needed above 300 m."""

    arrived: ClockTime | None = Field(default=None, description='arrival on the day, "HH:MM" local')
    settled: bool = Field(default=False, description="true where everybody lives at this altitude")


class Request(Record):
    """One day at one site."""

    title: str = Field(default="", max_length=80)
    site: str = Field(min_length=1, description="the site's file name without .toml")
    date: Day
    crew: Crew = Crew()
    altitude: Altitude = Altitude()
    measured_pressure_bar: float | None = Field(default=None, ge=0.6, le=1.1, description="station pressure, bar")
    recent_dives: tuple[RecentDive, ...] | Literal["none"] | None = Field(
        default=None, description='dives made in the days before; "none" where everybody was asked'
    )
    groups: tuple[GroupWish, ...] = Field(min_length=1, description="at least one group")


def read_request(path: Path) -> Request:
    """Read and judge a request file.  Raises BadRecord with every fault found."""
    return request_from(read_toml(path))


def request_from(file: TomlFile) -> Request:
    """Judge a request already read.  Raises BadRecord with every fault found."""
    request = judge(file, Request)
    faults: list[Fault] = []
    names = [group.name for group in request.groups]
    for index, group in enumerate(request.groups):
        if names.index(group.name) != index:
            faults.append(file.fault(("groups", index, "name"), f'the group name "{group.name}" stands twice'))
        for name in sorted({n for n in group.everybody if group.everybody.count(n) > 1}):
            faults.append(file.fault(("groups", index, "divers"), f'"{name}" stands twice in the group "{group.name}"'))
    if faults:
        raise BadRecord(tuple(faults))
    return request
