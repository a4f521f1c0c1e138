"""What a shore-dive site is: one TOML file a site, every field judged, nothing assumed.

A field that a plan cannot do without is required. A field that may be unknown is optional, and the plan says what it
does not know; nothing is filled in silently.
"""

from __future__ import annotations

import re
import zoneinfo
from datetime import date
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BeforeValidator, Field, model_validator

from tripplan.environment.position import Position, read_position
from tripplan.errors import BadRecord, Fault
from tripplan.people.level import Level
from tripplan.record import ClockTime, Record, TomlFile, judge, read_toml

LOWEST_SURFACE_M = -430.0  # the Dead Sea; nothing lower holds water to dive in
HIGHEST_SURFACE_M = 3048.0  # 10,000 ft: the handbook's altitude tables end there


def _position(value: object) -> Position:
    if isinstance(value, Position):
        return value
    if not isinstance(value, str):
        raise ValueError('a position is text in quotes, like "47.0512, -17.1234" or "47 03.072 N, 17 07.404 W"')
    return read_position(value)


def _timezone(value: str) -> str:
    try:
        zoneinfo.ZoneInfo(value)
    except (zoneinfo.ZoneInfoNotFoundError, ValueError, OSError):
        raise ValueError("not a time zone known here; give an IANA name such as Atlantic/Azores") from None
    return value


def _phone(value: str) -> str:
    if not re.fullmatch(r"\+?[0-9][0-9 ()/.-]{1,24}", value) or sum(c.isdigit() for c in value) < 3:
        raise ValueError("not a telephone number; give digits, spaces, and + in front of a country code")
    return value


Place_ = Annotated[Position, BeforeValidator(_position)]
Bearing = Annotated[float, Field(ge=0, lt=360, description="degrees true, 0 to below 360")]
PhoneNumber = Annotated[str, AfterValidator(_phone)]
Suits = Literal["confined_skills", "first_open_water", "further_training", "guided", "night"]
MonthTemperatures = Annotated[
    tuple[Annotated[float, Field(ge=-2, le=40)], ...],
    Field(min_length=12, max_length=12, description="twelve numbers, January to December, degrees Celsius"),
]


class Water(Record):
    """What the water is: sets its density, and how cold it usually is."""

    kind: Literal["sea", "brackish", "fresh"]
    salinity: float | None = Field(default=None, ge=0, le=45, description="practical salinity, 0 to 45")
    temperature_c: MonthTemperatures | None = Field(
        default=None, description="usual temperature by month, twelve numbers, degrees Celsius"
    )

    @model_validator(mode="after")
    def _kind_fits_salinity(self) -> Water:
        if self.salinity is not None:
            low, high = {"sea": (20, 45), "brackish": (0.5, 30), "fresh": (0, 0.5)}[self.kind]
            if not low <= self.salinity <= high:
                raise ValueError(f"salinity {self.salinity:g} is not {self.kind} water ({low:g} to {high:g})")
        return self


class Place(Record):
    """A place under water at the site."""

    name: str = Field(min_length=1, description="what the place is called")
    shallowest_m: float = Field(ge=0, le=100, description="shallowest depth, metres, 0 to 100")
    deepest_m: float = Field(gt=0, le=100, description="deepest depth, metres, above 0 to 100")
    bottom: str = Field(min_length=1, description="what the bottom is: sand, rock, weed")
    suits: tuple[Suits, ...] = Field(min_length=1, description="what the place suits")
    swim_min: float = Field(default=0, ge=0, le=60, description="surface swim from the entry, minutes, 0 to 60")
    notes: str = ""

    @model_validator(mode="after")
    def _shallow_above_deep(self) -> Place:
        if self.shallowest_m > self.deepest_m:
            raise ValueError(f"shallowest_m {self.shallowest_m:g} is deeper than deepest_m {self.deepest_m:g}")
        return self


class TideLimits(Record):
    """Heights of tide above the station's datum between which a way in or out can be used; None: no limit."""

    lowest_m: float | None = Field(default=None, ge=-15, le=20, description="metres above the station's datum")
    highest_m: float | None = Field(default=None, ge=-15, le=20, description="metres above the station's datum")

    @model_validator(mode="after")
    def _in_order(self) -> TideLimits:
        if self.lowest_m is not None and self.highest_m is not None and self.lowest_m >= self.highest_m:
            raise ValueError(f"lowest_m {self.lowest_m:g} is not below highest_m {self.highest_m:g}")
        return self


class Access(Record):
    """A way into or out of the water; going in and coming out are judged apart."""

    name: str = Field(min_length=1, description="what the way in or out is called")
    kind: Literal["beach", "steps", "slipway", "ledge", "ladder", "pontoon", "rocks"]
    position: Place_ | None = Field(default=None, description="where it is")
    facing_deg: Bearing = Field(description="which way the shore faces, degrees true, 0 to below 360")
    slope: float | None = Field(default=None, gt=0, le=3, description="rise over run of the beach, 0.05 is gentle")
    going_in: TideLimits | Literal["not_used"] = Field(description='tide limits going in, or "not_used"')
    coming_out: TideLimits | Literal["not_used"] = Field(description='tide limits coming out, or "not_used"')
    casualty: bool = Field(default=False, description="whether a casualty can be brought out here")
    casualty_people: int | None = Field(default=None, ge=1, le=12, description="people it takes to lift a casualty out")
    notes: str = ""


class AlternativeExit(Record):
    """Where to come out when the usual exit is closed, and the swim to it."""

    access: str = Field(min_length=1, description="the name of one of the site's ways in and out")
    swim_m: float = Field(ge=0, le=2000, description="swim to it, metres, 0 to 2000")
    notes: str = ""


class TideLink(Record):
    """Which station's tide holds here, with the offsets to the site; or none, inland."""

    station: str | None = Field(default=None, description="file name of the station without .toml; leave out inland")
    none_because: str = Field(default="", description="why there is no tide here, when there is no station")
    high_time_min: float = Field(default=0, ge=-360, le=360, description="minutes after the station's high water")
    low_time_min: float = Field(default=0, ge=-360, le=360, description="minutes after the station's low water")
    high_ratio: float = Field(default=1, gt=0, le=5, description="factor on the station's high water height")
    low_ratio: float = Field(default=1, gt=0, le=5, description="factor on the station's low water height")
    high_add_m: float = Field(default=0, ge=-10, le=10, description="metres added to the high water height")
    low_add_m: float = Field(default=0, ge=-10, le=10, description="metres added to the low water height")

    @model_validator(mode="after")
    def _one_of_the_two(self) -> TideLink:
        if (self.station is None) == (not self.none_because):
            raise ValueError("give either a station, or none_because with the reason why there is no tide here")
        return self


class Stream(Record):
    """The tidal stream: none worth the name, or slack by an offset from high and low water."""

    kind: Literal["none", "slack"]
    high_water_slack_min: float | None = Field(
        default=None, ge=-360, le=360, description="minutes from high water at the site's station to slack"
    )
    low_water_slack_min: float | None = Field(
        default=None, ge=-360, le=360, description="minutes from low water at the site's station to slack"
    )
    spring_rate_kn: float | None = Field(default=None, gt=0, le=20, description="peak at springs, knots")
    neap_rate_kn: float | None = Field(default=None, gt=0, le=20, description="peak at neaps, knots")
    spring_range_m: float | None = Field(default=None, gt=0, le=20, description="range of tide at springs, metres")
    neap_range_m: float | None = Field(default=None, gt=0, le=20, description="range of tide at neaps, metres")
    flood_toward_deg: Bearing | None = Field(default=None, description="where the flood runs to, degrees true")
    ebb_toward_deg: Bearing | None = Field(default=None, description="where the ebb runs to, degrees true")

    @model_validator(mode="after")
    def _complete(self) -> Stream:
        needed = (
            "high_water_slack_min", "low_water_slack_min", "spring_rate_kn", "neap_rate_kn", "spring_range_m",
            "neap_range_m",
        )  # fmt: skip
        if self.kind == "slack":
            missing = [name for name in needed if getattr(self, name) is None]
            if missing:
                raise ValueError(f'kind "slack" also needs {", ".join(missing)}')
            if (self.neap_rate_kn or 0) > (self.spring_rate_kn or 0):
                raise ValueError("neap_rate_kn is above spring_rate_kn")
            if (self.neap_range_m or 0) >= (self.spring_range_m or 0):
                raise ValueError("neap_range_m is not below spring_range_m")
        return self


class Sector(Record):
    """A range of bearings, clockwise from ``from_deg`` to ``to_deg``, seen from the site."""

    from_deg: Bearing
    to_deg: Bearing


class Fetch(Record):
    """Open water in one direction."""

    bearing_deg: Bearing
    km: float = Field(ge=0, le=2000, description="kilometres of open water in that direction, 0 to 2000")


class Exposure(Record):
    """What reaches the site from the open water."""

    open_to_swell: tuple[Sector, ...] = Field(default=(), description="sectors of bearings open to swell")
    fetch: tuple[Fetch, ...] = Field(default=(), description="open water by bearing")


class WindLimit(Record):
    """Wind above which nobody goes in, for winds from a sector."""

    from_deg: Bearing
    to_deg: Bearing
    most_kn: float = Field(gt=0, le=60, description="knots, above 0 to 60")


class Limits(Record):
    """The site's own numbers at which diving stops; the rule book's hold where the site gives none."""

    breaker_m: float | None = Field(default=None, ge=0, le=3, description="breaking waves at the entry, metres")
    stream_kn: float | None = Field(default=None, ge=0, le=3, description="stream, knots, 0 to 3")
    visibility_m: float | None = Field(default=None, ge=0.5, le=30, description="visibility under water, metres")
    wind: tuple[WindLimit, ...] = ()


class Season(Record):
    """Days of the year on which access is open, both included, "MM-DD"."""

    first: str = Field(pattern=r"^(0[1-9]|1[0-2])-(0[1-9]|[12]\d|3[01])$", description='"MM-DD"')
    last: str = Field(pattern=r"^(0[1-9]|1[0-2])-(0[1-9]|[12]\d|3[01])$", description='"MM-DD"')


class Hours(Record):
    """Hours of the day in which one may be there."""

    opens: ClockTime = Field(description='"HH:MM"')
    closes: ClockTime = Field(description='"HH:MM", later than opens')

    @model_validator(mode="after")
    def _in_order(self) -> Hours:
        if self.opens >= self.closes:
            raise ValueError(f"opens {self.opens:%H:%M} is not before closes {self.closes:%H:%M}")
        return self


class SiteAccess(Record):
    """Getting to the water: when, and with whose leave."""

    hours: Hours | None = Field(default=None, description="leave out where it is open day and night")
    seasons: tuple[Season, ...] = Field(default=(), description="leave out where it is open all year")
    gate_code: str | None = None
    permission: str | None = Field(default=None, description="whose permission is needed, and how it is given")
    carry_m: float | None = Field(default=None, ge=0, le=5000, description="carry from the vehicle, metres")
    notes: str = ""


class Hazard(Record):
    """Something at the site that hurts people, and what is done about it."""

    kind: Literal[
        "wreck", "line", "anglers", "traffic", "outfall", "stream", "surf", "cold", "entanglement", "overhead",
        "falling_rock", "marine_life", "depth", "other",
    ]  # fmt: skip
    what: str = Field(min_length=3, description="what it is and where")
    control: str = Field(min_length=3, description="what is done about it, and by whom")


class Communications(Record):
    """How to reach help from the beach."""

    phone_signal: str = Field(min_length=3, description="where there is a signal, and how good")
    vhf: str | None = Field(default=None, description="VHF cover and the station that answers")
    landline: str | None = None


class Capacity(Record):
    """How many the site takes."""

    divers: int = Field(ge=1, le=200, description="divers in the water at once, 1 to 200")
    vehicles: int | None = Field(default=None, ge=0, le=500, description="parking places")


class Rendezvous(Record):
    """Where the ambulance is met."""

    place: str = Field(min_length=3, description="the place in words: road, gate, building")
    position: Place_
    notes: str = ""


ContactRole = Literal[
    "emergency", "coastguard", "ambulance", "hospital", "chamber", "diving_doctor", "police", "harbour", "landowner",
    "centre",
]  # fmt: skip


class Contact(Record):
    """Somebody to call. The order in the file is the calling order."""

    role: ContactRole
    name: str = Field(min_length=1)
    number: PhoneNumber = Field(description="the number as dialled")
    hours: str = Field(min_length=1, description='when it answers, like "24 h"')
    checked: date | None = Field(default=None, description="date last checked; leave out if never")
    checked_by: str | None = Field(default=None, description="who checked it")
    notes: str = ""

    @model_validator(mode="after")
    def _checked_by_somebody(self) -> Contact:
        if (self.checked is None) != (self.checked_by is None):
            raise ValueError("checked and checked_by go together: when, and who")
        return self


class Care(Record):
    """A hospital or a recompression chamber."""

    name: str = Field(min_length=1)
    number: PhoneNumber
    position: Place_
    drive_min: float | None = Field(default=None, gt=0, le=1440, description="known drive time, minutes")
    hours: str = Field(default="", description='when it takes casualties, like "24 h"')
    highest_road_m: float | None = Field(
        default=None, ge=-430, le=6000, description="highest point of the road, metres"
    )
    checked: date | None = None
    checked_by: str | None = None
    notes: str = ""

    @model_validator(mode="after")
    def _checked_by_somebody(self) -> Care:
        if (self.checked is None) != (self.checked_by is None):
            raise ValueError("checked and checked_by go together: when, and who")
        return self


class Site(Record):
    """A place where people dive from the shore, and everything a plan needs to know about it."""

    slug: str = Field(default="", exclude=True, description="taken from the file's name")
    name: str = Field(min_length=1, max_length=60, description="what the site is called")
    demonstration: bool = Field(default=False, description="true for an invented place: every sheet is marked")
    summary: str = Field(default="", max_length=400)
    position: Place_
    timezone: Annotated[str, AfterValidator(_timezone)] = Field(description="IANA name, like Atlantic/Azores")
    elevation_m: float = Field(
        ge=LOWEST_SURFACE_M,
        le=HIGHEST_SURFACE_M,
        description="height of the water's surface, metres above sea level",
    )
    water: Water
    lowest_level: Level = Field(description="lowest level admitted")
    flag_rule: str = Field(min_length=3, description="which flag is shown, where, by whose rule")
    survey_date: date = Field(description="date of the last survey, like 2026-05-01")
    surveyed_by: str = ""
    road: str = Field(min_length=3, description="the nearest road and parking, in words")
    facilities: tuple[str, ...] = ()
    rules_here: str = Field(default="", description="code or by-law that holds here")
    tide: TideLink
    stream: Stream
    exposure: Exposure = Exposure()
    limits: Limits = Limits()
    access: SiteAccess = SiteAccess()
    communications: Communications
    capacity: Capacity
    rendezvous: Rendezvous
    places: tuple[Place, ...] = Field(min_length=1, description="at least one place under water")
    entries: tuple[Access, ...] = Field(min_length=1, description="at least one way in and out")
    alternative_exit: AlternativeExit | None = None
    hazards: tuple[Hazard, ...] = ()
    contacts: tuple[Contact, ...] = Field(min_length=1, description="at least one contact, in calling order")
    hospitals: tuple[Care, ...] = Field(min_length=1, description="at least one hospital")
    chambers: tuple[Care, ...] = Field(min_length=1, description="at least one recompression chamber")

    @model_validator(mode="after")
    def _hangs_together(self) -> Site:
        names = [access.name for access in self.entries]
        for kind, all_names in (("entries", names), ("places", [place.name for place in self.places])):
            doubled = {name for name in all_names if all_names.count(name) > 1}
            if doubled:
                raise ValueError(f"{kind}: the name {', '.join(sorted(doubled))} stands twice")
        if all(access.going_in == "not_used" for access in self.entries):
            raise ValueError("entries: there is no way in")
        if all(access.coming_out == "not_used" for access in self.entries):
            raise ValueError("entries: there is no way out")
        if not any(access.casualty for access in self.entries):
            raise ValueError("entries: no casualty extraction point; set casualty = true where one can be brought out")
        if self.alternative_exit and self.alternative_exit.access not in names:
            raise ValueError(
                f'alternative_exit.access "{self.alternative_exit.access}" is not one of: {", ".join(names)}'
            )
        if self.tide.station is None and self.stream.kind == "slack":
            raise ValueError('stream.kind "slack" needs a tide station')
        if self.tide.station is None:
            for access in self.entries:
                for way in (access.going_in, access.coming_out):
                    if isinstance(way, TideLimits) and (way.lowest_m is not None or way.highest_m is not None):
                        raise ValueError(f'entries: "{access.name}" has tide limits but the site has no tide station')
        return self

    def entry(self, name: str) -> Access | None:
        """Return a way in or out by its name."""
        return next((access for access in self.entries if access.name == name), None)

    def place(self, name: str) -> Place | None:
        """Return a place under water by its name."""
        return next((place for place in self.places if place.name == name), None)


def read_site(path: Path) -> Site:
    """Read and judge one site file.  Raises BadRecord with every fault found."""
    file = read_toml(path)
    return site_from(file)


def site_from(file: TomlFile) -> Site:
    """Judge a site file already read.  Raises BadRecord with every fault found."""
    data: dict[str, Any] = dict(file.data)
    if "slug" in data:
        raise BadRecord((file.fault(("slug",), "slug is not a known key; the file's name is the slug"),))
    return judge(file, Site, {**data, "slug": file.path.stem})


def read_sites(paths: tuple[Path, ...]) -> tuple[dict[str, Site], tuple[Fault, ...]]:
    """Read site files; a bad one never hides the others.  Returns the sites by slug and every fault."""
    sites: dict[str, Site] = {}
    faults: list[Fault] = []
    for path in paths:
        try:
            site = read_site(path)
        except BadRecord as error:
            faults.extend(error.faults)
        else:
            sites[site.slug] = site
    return sites, tuple(faults)
