"""What a schedule is: plain frozen values that every face (board, wall sheet, calendar, table, JSON) shows."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any, Literal

from tripplan.check import Check, Outcome
from tripplan.planning.request import Request

Status = Literal["optimal", "feasible", "none"]


@dataclass(frozen=True)
class ScheduledDive:
    """One dive of an outing."""

    number: int  # of the group's dives, from 1
    entry: datetime
    exit: datetime  # planned time out of the water
    exit_by: datetime  # out by then or overdue
    depth_m: float
    minutes: int  # bottom time
    course_dive: int | None = None


@dataclass(frozen=True)
class Outing:
    """One group at one site on one day, from leaving the centre to being back."""

    group: str
    kind: str
    kind_words: str
    day: date
    site: str
    site_name: str
    place: str
    going_in_by: str
    coming_out_by: str
    dives: tuple[ScheduledDive, ...]
    leader: str | None
    assistants: tuple[str, ...]
    divers: tuple[str, ...]
    vehicles: tuple[str, ...]
    leaves: datetime  # the centre
    on_site: datetime
    off_site: datetime
    back: datetime
    margin_min: int  # delay of the first entry after which it no longer fits its window
    km: float  # there and back, one vehicle
    drive_min: int  # one way
    drive_words: str  # "as entered" or "18 km, reckoned from the straight line times 1.4"
    pinned: bool = False

    @property
    def crew(self) -> tuple[str, ...]:
        """Who leads and assists, in the water."""
        return ((self.leader,) if self.leader else ()) + self.assistants

    @property
    def everybody(self) -> tuple[str, ...]:
        """Leader, assistants and divers."""
        return (*self.crew, *self.divers)

    @property
    def key(self) -> str:
        """What tells it from every other: group and dives."""
        return f"{self.group}: {','.join(str(dive.number) for dive in self.dives)}"

    @property
    def title(self) -> str:
        """What it is called in a list."""
        numbers = [dive.number for dive in self.dives]
        words = f"dive {numbers[0]}" if len(numbers) == 1 else f"dives {numbers[0]} to {numbers[-1]}"
        return f"{self.group}, {words}"


@dataclass(frozen=True)
class ShoreTeam:
    """Who stays ashore at one site on one day, from the first group's arrival until the last is away."""

    site: str
    site_name: str
    day: date
    director: str
    watch: tuple[str, ...]
    oxygen_providers: tuple[str, ...]
    vehicles: tuple[str, ...]
    leaves: datetime
    on_site: datetime
    off_site: datetime
    back: datetime

    @property
    def people(self) -> tuple[str, ...]:
        """Everybody of the team, each once."""
        return tuple(dict.fromkeys((self.director, *self.watch, *self.oxygen_providers)))


@dataclass(frozen=True)
class Filling:
    """Cylinders of one outing on the compressor."""

    group: str
    outing: str  # its key
    sizes: Mapping[str, int]  # cylinders by size in words, like "15 l"
    starts: datetime
    ends: datetime

    @property
    def count(self) -> int:
        """How many cylinders."""
        return sum(self.sizes.values())


@dataclass(frozen=True)
class Change:
    """One change of the request, and what it does; ``edits`` are what `change.apply` writes into the request."""

    sentence: str
    kind: str  # "crew", "site", "day", "smaller", "vehicle", "kit", "hours", ...
    edits: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class Unplaced:
    """A group of which not every dive could be placed."""

    group: str
    dives: tuple[int, ...]  # numbers of those without a place
    because: tuple[str, ...]
    would_fit_if: tuple[Change, ...]  # each tried by solving again; smallest first


@dataclass(frozen=True)
class Load:
    """What one member of the crew has to do in these days."""

    person: str
    outings: int
    dives: int
    ascents: int
    water_min: int
    ashore_min: int
    days: int
    most_dives_day: int
    shortest_rest_h: float | None  # between the work of two days; None: works on one day only


@dataclass(frozen=True)
class Moved:
    """One thing that is not as in the schedule before."""

    group: str
    sentence: str


@dataclass(frozen=True)
class DayTrip:
    """The plan that a part of the schedule comes from: groups at one site whose times overlap."""

    slug: str  # "2026-12-07-gull-cove-1"
    site: str
    day: date
    outings: tuple[str, ...]  # keys
    request: Request
    verdict: Outcome
    cautions: tuple[str, ...]


@dataclass(frozen=True)
class Progress:
    """How far a solver has come."""

    seconds: float
    placed: int  # dives
    wanted: int  # dives
    objective: int
    bound: int
    words: str


@dataclass(frozen=True)
class Schedule:
    """Some days of outings, and how good they are."""

    title: str
    demonstration: bool
    centre_name: str
    first_day: date
    days: tuple[date, ...]
    timezone: str
    outings: tuple[Outing, ...]  # by time of leaving
    shore: tuple[ShoreTeam, ...]
    fillings: tuple[Filling, ...]
    unplaced: tuple[Unplaced, ...]
    trips: tuple[DayTrip, ...]
    loads: tuple[Load, ...]
    checks: tuple[Check, ...]  # of the days together: rest, weeks, kit, cylinders
    terms: Mapping[str, int]  # points of the objective by what they are for; their sum is the objective
    status: Status
    objective: int
    bound: int  # nothing better than this is possible
    seconds: float
    seed: int
    rounds: int  # solutions judged by the day plans
    revision: str  # short hash of everything it was made from
    moved: tuple[Moved, ...] = ()  # against the schedule before
    notes: tuple[str, ...] = ()  # what was reckoned and not entered, what was not judged

    @property
    def gap(self) -> float | None:
        """How far the objective may be from the best possible, as a share of it; None where nothing is placed."""
        if self.status == "none":
            return None
        return max(self.bound - self.objective, 0) / max(abs(self.objective), 1)

    @property
    def wanted(self) -> int:
        """Dives that were asked for."""
        return sum(len(outing.dives) for outing in self.outings) + sum(len(each.dives) for each in self.unplaced)

    @property
    def placed(self) -> int:
        """Dives that have a place."""
        return sum(len(outing.dives) for outing in self.outings)

    def of_day(self, day: date) -> tuple[Outing, ...]:
        """Return the outings of a day."""
        return tuple(outing for outing in self.outings if outing.day == day)
